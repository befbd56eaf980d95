"""Tags that some flights heard and others, which would probably have heard them, did not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.fate.triage import FLIGHTS_OF_SILENCE
from pipeline.search import stated_probability
from pipeline.search.missing import CAUTION
from pipeline.stages.calibration_numbers import percent
from pipeline.wording import counted, listed

# The best of the silent flights alone is the least that all of them together can do, whatever their looks share.
WELL_SEARCHED = 0.9
RULE = ("Named as silent is an animal that was heard, and then in none of the last two flights or more that listened to it, of which the best alone would have heard a tag of its type with probability 0.9 or more "
        "(averaged over the ground looked at, and reckoned with weak tags). One silent flight may be chance; flights together search at least as well as the best of them.")


@dataclass(frozen=True)
class Silence:
    """One tag that was heard, in so many flights (heard_in). flights, later : flights that listened in vain, and those of them after the last one that heard it; chances of each, NaN where unknown, are
    the probability (cautious, mean over the ground) that the flight would have heard a tag of its type."""

    tag_id: str
    last_flight: str
    last_utc: pd.Timestamp
    heard_in: int
    flights: int
    chances: tuple[float, ...]
    later: int
    later_chances: tuple[float, ...]

    @property
    def fell_silent(self) -> bool:
        """Whether so many flights have missed it since, and one of them searched so well, that chance alone is a poor reason: RULE."""
        return self.later >= FLIGHTS_OF_SILENCE and self.best_later >= WELL_SEARCHED

    @property
    def since(self) -> str:
        """Since when it is silent, in words: "silent since 2026-04-21"."""
        return f"silent since {self.last_utc:%Y-%m-%d}"

    @property
    def best_later(self) -> float:
        """Probability that the best of the flights since alone would have heard a tag of its type; 0 where none is known."""
        return max((chance for chance in self.later_chances if np.isfinite(chance)), default=0.0)


def heard_searches(animals: pd.DataFrame) -> pd.DataFrame:
    """Rows of FIXES in which something of the animal was heard and is believed."""
    return animals[(animals["records_heard"].fillna(0) > 0) & (animals["status"] != "suspect")]


def silences(animals: pd.DataFrame, tags: pd.DataFrame, area: pd.DataFrame, triage: pd.DataFrame) -> dict[str, Silence]:
    """Tag -> the flights that listened to it in vain, of every tag that some flight heard and another did not; what was found on the ground is not missed.

    animals : rows of FIXES. area : of searched_area. triage : of fate_triage.
    """
    found_on_ground = set(triage.loc[triage["class"].str.startswith("Confirmed"), "tag_id"]) if len(triage) else set()
    kinds = {row.tag_id: _kind(row.tag_type) for row in tags.itertuples()} if "tag_type" in tags else {}
    chance = {(row.flight_id, _kind(row.tag_type)): float(row.mean_cautious) for row in area.itertuples()}
    found = {}
    for tag_id, rows in animals.groupby("tag_id", sort=True):
        heard = heard_searches(rows)
        missed = rows[(rows["records_listened"].fillna(0) > 0) & ~rows["flight_id"].isin(heard["flight_id"])].sort_values("time_start_utc", kind="stable")
        if heard.empty or missed.empty or tag_id in found_on_ground:
            continue
        last = heard.sort_values("time_end_utc", kind="stable").iloc[-1]
        own = tuple(chance.get((flight_id, kinds.get(tag_id, "")), np.nan) for flight_id in missed["flight_id"])
        after = (missed["time_start_utc"] > last["time_end_utc"]).to_numpy(bool)
        found[tag_id] = Silence(tag_id, str(last["flight_id"]), last["time_end_utc"], heard["flight_id"].nunique(), len(missed), own, int(after.sum()), tuple(np.array(own)[after]))
    return found


def _kind(stated: object) -> str:
    # A table in which no tag has a type is read as a column of numbers without a value, which takes no text in its place.
    return "" if pd.isna(stated) else str(stated)


def fell_silent(found: dict[str, Silence]) -> dict[str, Silence]:
    """Those of them that fell silent, by RULE."""
    return {tag_id: each for tag_id, each in found.items() if each.fell_silent}


# What to do about an animal that fell silent, for the index and for its own section.
WHAT_TO_DO = "listen round the last position and beyond the area"


def battery_sentence(used: dict[str, float]) -> str:
    """How much of the expected life of the batteries has passed, so that nobody asks for what the register knows; used : tag -> share, NaN where it does not."""
    known = {tag_id: share for tag_id, share in used.items() if np.isfinite(share)}
    unknown = [tag_id for tag_id in used if tag_id not in known]
    ask = f"Ask for the age of the {'battery' if len(unknown) == 1 else 'batteries'}{f' of {listed(unknown)}' if known else ''}." if unknown else ""
    if not known:
        return ask
    shares = listed(f"{percent(share)}{f' ({tag_id})' if len(used) > 1 else ''}" for tag_id, share in known.items())
    return f"By the register {shares} of the expected life of {'its battery' if len(known) == 1 else 'their batteries'} has passed. {ask}".strip()


def in_the_lead(found: dict[str, Silence]) -> str:
    """Who was heard earlier and fell silent, for the first paragraph of a page; nothing where nobody did."""
    named = [f"{each.tag_id} (since {each.last_utc:%Y-%m-%d}, {counted(each.later, 'later flight')}{_had(each.later_chances)})" for each in fell_silent(found).values()]
    return f"Heard earlier and silent since: {listed(named)}." if named else ""


def in_full(silence: Silence | None) -> str:
    """Which flights missed a tag; nothing where none did."""
    if silence is None:
        return ""
    if silence.fell_silent:
        earlier = silence.flights - silence.later
        before = f" Before that {counted(earlier, 'flight')} missed it as well." if earlier else ""
        return (f"Silent since {silence.last_utc:%Y-%m-%d}: last heard in flight {silence.last_flight} at {silence.last_utc:%H:%M} UTC, and not in the {counted(silence.later, 'flight')} since then"
                f"{_had(silence.later_chances)}, had it been on the ground asked about (cautious).{before} {CAUTION}")
    return f"Not heard in {counted(silence.flights, 'other flight')}{_had(silence.chances)}, had it been on the ground asked about (cautious)."


def _had(chances: tuple[float, ...]) -> str:
    known = [chance for chance in chances if np.isfinite(chance)]
    if not known:
        return ""
    least, most = stated_probability(min(known)), stated_probability(max(known))
    return f" that would have heard it with {least}" if least == most else f" that would have heard it with {least} to {most}"
