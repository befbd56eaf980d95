"""Which tags call for a walk, in order of urgency, and what else could explain them.

The evidence ladder: A the mortality rate in 3 or more records on 2 or more passes, B the same place in flight after flight,
C the mortality rate kept up over days, longer than any usual delay of the sensor, with no movement shown in between, E an animal or tag found by eye.
A with B or C calls for a retrieval. Nothing here is called dead without E.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.columns import conform
from pipeline.fate.evidence import TagEvidence, gather_evidence
from pipeline.fate.pulse import is_part

CLASSES = (
    "Confirmed dead", "Confirmed dropped tag", "Retrieve", "Check soon", "Watch",
    "Live mode heard", "Heard, mode unknown", "Battery end expected", "Not heard", "Not searched",
)

TRIAGE = {
    "urgency": "int",                       # 1 = first
    "tag_id": "text",
    "animal_id": "text",
    "species": "text",
    "class": "text",
    "why": "text",
    "other_explanations": "text",
    "last_live_utc": "time",                # last certain: a verdict on 3 or more records, or seen alive
    "first_mortality_utc": "time",
    "records_mortality": "int",
    "passes_mortality": "int",
    "flights_mortality": "int",
    "flights_heard": "int",
    "flights_silent_since": "int",          # that listened after the last one that heard it
    "flights_searched": "int",
    "pulse_rate_per_min": "float",
    "pulse_rate_mortality_per_min": "float",
    "same_place_flights": "int",
    "minimum_detectable_m": "float",
    "unmoved_flights": "int",
    "unmoved_detectable_m": "float",
    "mortality_days": "float",
}

# Frequencies nearer than this are one channel of a receiver, so that each tag is heard for the other. Our assumption.
ONE_CHANNEL_MHZ = 0.010
# A place kept over so many flights is worth a look even without a clear pulse rate. Our assumption.
FLIGHTS_WITHOUT_A_RATE = 3
# One flight may miss a sound tag by chance; a tag that two or more have missed since it was heard is silent. Our assumption.
FLIGHTS_OF_SILENCE = 2


@dataclass(frozen=True)
class Ladder:
    """What each rung of the evidence asks for. Defaults are our proposal; the survey file may state others.

    records, passes : at the mortality rate, for rung A. [1]
    same_place_m : a movement of this size must have shown for a tag to count as in one place, rung B. [m]
    kept_up_days : the mortality rate over so many days outlasts the delay of the sensor, rung C. Sensors switch after hours without movement, at most a day: common practice, no source. [days]
    unmoved_m : the same as same_place_m beside a rate kept up, rung C. [m]
    capture_days : a rate that began within so many days of deployment is marked as a possible effect of capture. Deaths within one to three weeks are often left out of
        survival (Blomberg et al. 2018, Detecting capture-related mortality in radio-marked birds, from memory); whether to is the user's to decide. [days]
    """

    records: int = 3
    passes: int = 2
    same_place_m: float = 100.0
    kept_up_days: float = 1.0
    unmoved_m: float = 500.0
    capture_days: float = 21.0


def triage(pulses, tags, fixes, *, sightings=None, stillness=None, campaign_end_utc=None, ladder=Ladder()):
    """Every animal's tag in one class, the most urgent first.

    Parameters
    ----------
    pulses : DataFrame of pulse_table
    tags : DataFrame with the columns of TAGS; only tags with the role "animal" (or none) are judged
    fixes : DataFrame with the columns of FIXES, one row per tag and flight listened to
    sightings : DataFrame | None
        time_utc, tag_id, state ("alive", "dead", "tag only").
    stillness : DataFrame | None
        tag_id, same_place_flights, minimum_detectable_m (of movement.stillness), and unmoved_flights, unmoved_detectable_m: the same for a coarser movement;
        without it rungs B and C are never reached.
    campaign_end_utc : Timestamp | None
        What battery ends are compared with; None = last record of any fix.
    ladder : Ladder
        What each rung asks for.

    Returns
    -------
    DataFrame with the columns of TRIAGE. Within a class the most recent first mortality signal comes first:
    a prompt visit decides whether the cause can still be told.
    """
    if campaign_end_utc is None:
        campaign_end_utc = fixes["time_end_utc"].max()
    rows = []
    for tag in _animals(tags).to_dict("records"):
        evidence = gather_evidence(tag, pulses, fixes, sightings, stillness)
        name, why = _classify(evidence, campaign_end_utc, ladder)
        rows.append(_row(tag, evidence, name, why, _other_explanations(evidence, name, tags, ladder)))
    table = pd.DataFrame(rows, columns=list(TRIAGE))
    return conform(_in_order(table), TRIAGE)


def _animals(tags):
    role = tags["role"].fillna("") if "role" in tags.columns else pd.Series("", index=tags.index)
    return tags[role.isin(["animal", ""])].sort_values("tag_id", kind="stable")


def _classify(evidence: TagEvidence, campaign_end_utc, ladder: Ladder):
    """Class and the sentence that says why."""
    if evidence.seen_state == "dead" and evidence.alive_after_dead:
        return "Watch", f"Found dead on {evidence.seen_utc:%Y-%m-%d} and seen alive after that: one of the two sightings is of another animal."
    if evidence.seen_state == "dead":
        return "Confirmed dead", f"Found dead on {evidence.seen_utc:%Y-%m-%d}."
    if evidence.seen_state == "tag only":
        return "Confirmed dropped tag", f"The tag was found without the animal on {evidence.seen_utc:%Y-%m-%d}."
    if evidence.flights_searched == 0:
        return "Not searched", "No usable flight listened to this tag. This is not an absence."
    if evidence.flights_heard == 0:
        return _silent(evidence, campaign_end_utc)
    if evidence.flights_mortality:
        return _mortality_class(evidence, ladder)
    if evidence.last_state == "live":
        return "Live mode heard", f"Live rate in {evidence.records_live} records of {_count(evidence.flights_live, 'flight')}.{_silence(evidence)}"
    if _still(evidence, ladder) and evidence.same_place_flights >= FLIGHTS_WITHOUT_A_RATE:
        return "Check soon", (f"Same place in {evidence.same_place_flights} flights; a movement of {evidence.minimum_detectable_m:.0f} m "
                              "would have shown in 8 of 10 cases. No clear pulse rate.")
    return _unclear_class(evidence, ladder)


def _silent(evidence, campaign_end_utc):
    searched = f"Listened to in {_count(evidence.flights_searched, 'flight')}, never heard."
    if pd.notna(evidence.expected_end_utc) and evidence.expected_end_utc <= campaign_end_utc:
        return "Battery end expected", f"{searched} Silence expected since {evidence.expected_end_utc:%Y-%m-%d}."
    return "Not heard", f"{searched} This does not show that the animal has left or died."


def _mortality_class(evidence, ladder):
    signal = (f"Mortality rate in {evidence.records_mortality} records on {_count(evidence.passes_mortality, 'pass', 'passes')} "
              f"of {_count(evidence.flights_mortality, 'flight')}")
    if evidence.last_state == "live" or evidence.alive_after_mortality:
        return "Watch", f"{signal}, then live again."
    if evidence.records_mortality < ladder.records or evidence.passes_mortality < ladder.passes:
        return "Watch", f"{signal}; {_needed(ladder)} needed."
    if _still(evidence, ladder):
        return "Retrieve", (f"{signal}; same place in {evidence.same_place_flights} flights, where a movement of "
                            f"{evidence.minimum_detectable_m:.0f} m would have shown in 8 of 10 cases.")
    if _kept_up(evidence, ladder):
        return "Retrieve", (f"{signal}, kept up over {_count(round(evidence.mortality_days), 'day')}; no movement shown over its last {evidence.unmoved_flights} flights, where one of "
                            f"{evidence.unmoved_detectable_m:.0f} m would have shown in 8 of 10 cases.")
    return "Check soon", f"{signal}. That it stayed in one place is not shown to {ladder.same_place_m:.0f} m."


def _unclear_class(evidence, ladder):
    if evidence.stray_mortality_records >= 2:
        return "Watch", (f"{evidence.stray_mortality_records} records at the mortality rate, no verdict in any flight; "
                         f"{_needed(ladder)} needed.")
    if _still(evidence, ladder):
        return "Watch", f"Same place in {evidence.same_place_flights} flights. No clear pulse rate."
    single = " 1 record at the mortality rate; not counted." if evidence.stray_mortality_records == 1 else ""
    what = "No pulse rates in the log." if evidence.records_with_rate == 0 else f"No verdict from {_count(evidence.records_with_rate, 'record')} with a pulse rate."
    return "Heard, mode unknown", what + single + _silence(evidence)


def _silence(evidence):
    """What the flights since add to a sign of life: one may miss a sound tag by chance."""
    return f" Not heard in the {evidence.flights_silent_since} flights since then that listened to it." if evidence.flights_silent_since >= FLIGHTS_OF_SILENCE else ""


def _needed(ladder):
    return f"{_count(ladder.records, 'record')} on {_count(ladder.passes, 'pass', 'passes')}"


def _still(evidence, ladder):
    return evidence.same_place_flights >= 2 and evidence.minimum_detectable_m < ladder.same_place_m


def _kept_up(evidence, ladder):
    """The mortality rate in two flights or more, so many days apart, live in none between; all of them among the last flights without a movement shown."""
    return (evidence.flights_mortality >= 2 and evidence.mortality_days >= ladder.kept_up_days and evidence.unmoved_flights >= evidence.flights_mortality
            and not (pd.notna(evidence.last_live_utc) and evidence.last_live_utc > evidence.first_mortality_utc))


def _other_explanations(evidence, name, tags, ladder):
    """What else could explain a mortality rate or a tag that stays where it is."""
    if name not in ("Retrieve", "Check soon", "Watch"):
        return ""
    said = ["resting, incubating or denning animal", "dropped tag", "over-sensitive motion sensor"]
    if evidence.last_state == "live" or evidence.alive_after_mortality:
        said = ["false alarm of a resting animal", "scavenger or wind moving the tag"]
    if 0 <= evidence.days_since_deployed <= ladder.capture_days:
        said.insert(0, f"effects of capture: the rate was first heard {_count(round(evidence.days_since_deployed), 'day')} after deployment")
    said += _twins(evidence, tags)
    if is_part(evidence.live_rate_per_min, evidence.mortality_rate_per_min):
        said.append("missed pulses: the mortality rate is a half or a third of the live rate")
    return "; ".join(said)


def _twins(evidence, tags):
    """Other tags whose live rate looks like this tag's mortality rate."""
    if "pulse_rate_live_per_min" not in tags.columns or not np.isfinite(evidence.mortality_rate_per_min):
        return []
    live = pd.to_numeric(tags["pulse_rate_live_per_min"]).astype(float)
    alike = (live - evidence.mortality_rate_per_min).abs() <= 3.0
    frequency = pd.to_numeric(tags["frequency_mhz"]).astype(float) if "frequency_mhz" in tags.columns else pd.Series(np.nan, index=tags.index)
    close = (frequency - evidence.frequency_mhz).abs() <= ONE_CHANNEL_MHZ
    names = sorted(tags.loc[alike & close & (tags["tag_id"] != evidence.tag_id), "tag_id"])
    return [f"tag {name}, within {1000 * ONE_CHANNEL_MHZ:.0f} kHz, whose live rate is the same" for name in names]


def _row(tag, evidence, name, why, other):
    return {
        "tag_id": tag["tag_id"], "animal_id": tag.get("animal_id", ""), "species": tag.get("species", ""), "class": name, "why": why,
        "other_explanations": other, "last_live_utc": evidence.last_live_utc, "first_mortality_utc": evidence.first_mortality_utc,
        "records_mortality": evidence.records_mortality, "passes_mortality": evidence.passes_mortality,
        "flights_mortality": evidence.flights_mortality, "flights_heard": evidence.flights_heard, "flights_silent_since": evidence.flights_silent_since, "flights_searched": evidence.flights_searched,
        "pulse_rate_per_min": evidence.rate_per_min, "pulse_rate_mortality_per_min": evidence.mortality_rate_per_min,
        "same_place_flights": evidence.same_place_flights, "minimum_detectable_m": evidence.minimum_detectable_m,
        "unmoved_flights": evidence.unmoved_flights, "unmoved_detectable_m": evidence.unmoved_detectable_m, "mortality_days": evidence.mortality_days,
    }


def _in_order(table):
    """By class; then the most recent first mortality signal; then tag."""
    rank = table["class"].map({name: place for place, name in enumerate(CLASSES)})
    since = [-pd.Timestamp(time).timestamp() if pd.notna(time) else 0.0 for time in table["first_mortality_utc"]]
    order = pd.DataFrame({"rank": rank, "since": since, "tag_id": table["tag_id"]}).sort_values(["rank", "since", "tag_id"], kind="stable").index
    ordered = table.loc[order].reset_index(drop=True)
    return ordered.assign(urgency=range(1, len(ordered) + 1))


def _count(number, one, many=None):
    return f"{number} {one if number == 1 else many or one + 's'}"
