"""The methods of the appendix in words, with this campaign's settings and numbers."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from pipeline.location import PLACED
from pipeline.quality.effort import CAMPAIGN
from pipeline.stages.calibration_numbers import percent, significant
from pipeline.stages.calibration_words import by_place_sentence, held, widening_words
from pipeline.wording import counted, listed, number_word, two_figures


@dataclass(frozen=True)
class Material:
    """What the appendix is made from. Every table is there; one that the campaign does not have is empty."""

    survey: object
    tables: dict[str, pd.DataFrame]
    tags: pd.DataFrame
    animals: pd.DataFrame           # fixes of animals
    best: pd.DataFrame              # best fix of each animal
    models: dict                    # as work/signal_models.json
    software: str = ""
    positions: pd.DataFrame = field(default_factory=pd.DataFrame)

    def table(self, name: str) -> pd.DataFrame:
        """A table by name."""
        return self.tables.get(name, pd.DataFrame())


def opening(found: Material) -> list[str]:
    """What the appendix is about, in two or three sentences."""
    effort, whole = campaign_effort(found), found.table("error_summary")
    said = found.survey.publication.note.strip()
    first = (f"Radio-tagged animals were searched for from a drone: {counted(len(found.table('flights')), 'flight')}, {effort['listening_min']:.0f} minutes of listening, {effort['distance_km']:.0f} km on effort. "
             f"{len(found.best)} of {counted(found.animals['tag_id'].nunique(), 'animal')} have a position.") if effort is not None else "No flight listened to a tag."
    tested = "No error was tested: no beacon was heard."
    if len(whole):
        row = whole.iloc[0]
        tested = (f"On {counted(int(row['places']), 'beacon')} that the model had not seen, the median error was {two_figures(row['median_m'])} m and the 95 % regions held the truth in {held(found.table('coverage'), 'after')} of "
                  f"{counted(int(row['n']), 'fix', 'fixes')}.")
    return [text for text in (said, f"{first} {tested}", "This appendix gives the methods with the settings of the survey, the tables behind the results, a reporting checklist and a data dictionary.") if text]


def campaign_effort(found: Material):
    """The row of the whole campaign in the table of effort, None without flights."""
    effort = found.table("effort")
    rows = effort[effort["flight_id"] == CAMPAIGN] if len(effort) else effort
    return rows.iloc[0] if len(rows) else None


def animals(found: Material) -> list[str]:
    tags = found.tags
    own = tags[tags["role"] == "animal"] if len(tags) else tags
    if not len(own) or found.survey.tags is None:
        return ["No register of tagged animals was given; every tag that is no beacon counts as an animal."]
    kinds = own["species"].replace("", "species not recorded").value_counts()
    said = [f"{counted(len(own), 'tagged animal')}: {listed(f'{name} ({count})' for name, count in sorted(kinds.items()))}."]
    types = sorted(set(own["tag_type"]) - {""})
    said.append(f"Tag types: {listed(types)}." if types else "Tag types are not recorded.")
    band = tags["frequency_mhz"].dropna()
    said.append(f"Frequencies {_between(band, '.2f')} MHz." if len(band) else "Frequencies are not recorded.")
    for column, words in (("pulse_rate_live_per_min", "in live mode"), ("pulse_rate_mortality_per_min", "in mortality mode")):
        rates = own[column].dropna()
        said += [f"Pulse rates {words} {_between(rates, '.0f')} per minute."] if len(rates) else []
    decoys = int((tags["role"] == "decoy").sum())
    false = found.table("false_detections")
    if decoys and len(false):
        row = false.iloc[0]
        said.append(f"{counted(decoys, 'tag')} known to be switched off measured false detections: heard in {int(row['records_heard'])} of {int(row['records_listened']):,d} records.")
    return [" ".join(said)]


def _between(values, how: str) -> str:
    """"40 to 55", or one number where both ends read the same."""
    return " to ".join(dict.fromkeys(format(value, how) for value in (values.min(), values.max())))


def flights(found: Material) -> list[str]:
    rows, effort, log = found.table("flights"), campaign_effort(found), found.survey.receiver_log
    if effort is None:
        return ["No flight was made."]
    styles = rows["style"].value_counts()
    times = pd.to_datetime(rows["start_utc"], utc=True)
    said = [f"{counted(len(rows), 'flight')} on {counted(times.dt.date.nunique(), 'day')}, {_between(times, '%Y-%m-%d')}, begun {_between(times.dt.strftime('%H:%M'), '')} UTC; flight pattern as found from the track: "
            f"{listed(f'{style} ({count})' for style, count in sorted(styles.items()))}.",
            f"On effort the receiver listened for {effort['listening_min']:.0f} minutes over {effort['distance_km']:.0f} km, at a median speed of {effort['speed_median_m_per_s']:.0f} m/s and a median height of {effort['height_median_m']:.0f} m above ground, "
            f"one record every {rows['record_interval_s'].median():g} s, {int(effort['tags_listened'])} tags listened to.",
            f"Heights in the log are {_HEIGHTS[log.height_reference]}; azimuths count from {log.azimuth_reference} north."]
    return [" ".join(said), _heard_words(found), _reading_words(found)]


_HEIGHTS = {"ground": "above ground", "takeoff": "above the take-off point", "sea_level": "above sea level", "ellipsoid": "above the WGS 84 ellipsoid"}


def _heard_words(found: Material) -> str:
    above = found.survey.receiver_log.heard_above_noise_db
    said = f"A tag counted as heard where its strength was {above:g} dB or more above the background noise of the record" if above is not None else "A tag counted as heard where the log holds a strength"
    return f"{said}. A record that listened and did not hear was kept as such and used as a strength below the threshold; a tag that was not listened to gave no record. The two were never merged."


def _reading_words(found: Material) -> str:
    rows, changes = found.table("flights"), found.table("changes")
    rejected = rows[rows["verdict"] == "rejected"] if len(rows) else rows
    said = f"{number_word(len(rejected)).capitalize()} {'flight was' if len(rejected) in (0, 1) else 'flights were'} rejected by the quality check."
    if len(changes):
        said += f" On reading: {listed(f'{rule} ({count})' for rule, count in changes.groupby('rule', sort=True)['rows'].sum().items())}."
    suspect = int((found.animals["status"] == "suspect").sum())
    return said + (f" In {counted(suspect, 'search', 'searches')} of an animal in a flight what was heard was not believed to be its tag and gave no position." if suspect else "")


def signal(found: Material) -> list[str]:
    value = {row.parameter: row.value for row in found.table("signal_model").itertuples()}
    models = found.models
    said = ("Strength was modelled by the log-distance law (Rappaport 2002): the power of the tag at 1 m, less 10 n log10 of the slant distance, plus an antenna pattern in the direction to the tag relative to the antenna azimuth and below the horizon. "
            "The power varies between tags of a type and between flights of a tag; shadowing is normal and correlated along the track (exponentially), each record has noise of its own, and a small share of records is missed or faulty.")
    fitted = (f"Its numbers were fitted, with the priors of the table of the signal model, to {models['records']:,d} records of {counted(models['beacons'], 'beacon')}, {models['records_heard']:,d} of them heard; records not heard entered as strengths below the threshold."
              if models.get("beacons") else "No beacon was heard, so that its numbers are those of the priors.")
    if {"exponent", "shadowing_sd_db", "shadowing_length_m", "noise_sd_db"} <= set(value):
        fitted += (f" Path-loss exponent n = {significant(value['exponent'])}, shadowing {significant(value['shadowing_sd_db'])} dB (standard deviation) with a correlation length of {two_figures(value['shadowing_length_m'])} m, "
                   f"noise {significant(value['noise_sd_db'])} dB.")
    terrain = ("Loss behind hills was computed from the terrain model by Bullington's construction (ITU-R P.526-15)" + (f" and entered with the share of it that the beacons showed, {value['terrain_share']:.2f}." if "terrain_share" in value else ".")
               if found.survey.terrain else "No terrain model was given: the ground was taken as level between receiver and tag.")
    return [said, fitted, f"{terrain} {_canopy_words(value)}".strip(), _correction_words(found, value)]


def _canopy_words(value: dict) -> str:
    if "canopy_db_per_m" not in value:
        return "Loss in vegetation was not modelled; where beacons stood in it, it is part of the scatter."
    return f"Loss in vegetation was computed from canopy heights along the straight way between tag and receiver, in the form of ITU-R P.833-9, with {value['canopy_db_per_m']:.2g} dB per metre at first, as fitted on beacons."


def _correction_words(found: Material, value: dict) -> str:
    lags = found.table("clock_lags")
    taken = lags[lags["applied_s"] != 0] if len(lags) else lags
    said = (f"A clock lag of {listed(f'{row.applied_s:g} s in flight {row.flight_id}' for row in taken.itertuples())} was found on beacons and taken out." if len(taken)
            else "No clear lag between receiver clock and positions was found on beacons." if len(lags) else "Without beacons nothing tests the receiver's clock.")
    bias, error = value.get("azimuth_bias_deg"), {row.parameter: row.standard_error for row in found.table("signal_model").itertuples()}.get("azimuth_bias_deg")
    turned = (f" The antenna was estimated to point {abs(bias):.0f} degrees {'clockwise' if bias > 0 else 'counter-clockwise'} of the azimuth in the log (standard error {error:.0f}); that was taken out."
              if bias is not None and abs(bias) >= 0.5 else "")
    return f"{said}{turned}{_left_in_words(found)}"


def _left_in_words(found: Material) -> str:
    """What was looked for within flights and is not taken out."""
    looked, messages = found.table("instruments"), found.table("messages")
    if not len(looked) or looked[["drift_s", "azimuth_lag_s"]].isna().all(axis=None):
        return ""
    counts = [(name, int((messages["code"] == code).sum()) if len(messages) else 0) for name, code in (("a drift", "clock-drift"), ("an azimuth lag", "azimuth-lag"))]
    clear = [f"{name} in {counted(count, 'flight')}" for name, count in counts if count]
    return (" A drift of the clock within a flight and a lag of the azimuths behind the positions were looked for on beacons; "
            + (f"{listed(clear)} was clear, and the model does not hold it." if clear else "neither was clear, and the model holds neither."))


def location(found: Material) -> list[str]:
    settings, gates = found.survey.localisation, found.survey.localisation.gates
    walk = (f"An animal was allowed to walk {settings.walk_m:g} m (root mean square) during a flight." if settings.walk_m else "An animal was taken to stay during a flight; the reports test that.")
    return [
        "Each tag was located in each flight on its own. The prior was flat over the ground within reach of the track. The likelihood of a place is that of all records of the tag in the flight, heard and not heard, in order along the track: shadowing and "
        "tag power are carried as two correlated normal unknowns and integrated out, records not heard by matching mean and variance (Minka 2001). Records that share their shadowing thereby count for less than their number. "
        "The posterior was computed on an adaptive grid, and averaged over signal models that stand for the uncertainty of the fit (cubature points; Arasaratnam & Haykin 2009). "
        f"{walk}{_by_hand_words(found)}",
        f"A position (the posterior mean) was stated only where at least {gates.records_heard} records were heard, worth at least {gates.effective_records:g} independent ones, on at least {gates.passes} passes or from directions that spread over at least "
        f"{gates.bearing_spread_deg:g} degrees, one place held at least {gates.main_place:g} of the probability, and the radius that holds 95 % was at most {gates.radius_95_m:g} m. Otherwise the region alone was stated. What became of each search, and how many "
        "failed, is in the table of statuses.",
    ]


def _by_hand_words(found: Material) -> str:
    taken = found.table("hand_evidence")
    if not len(taken) or not taken["used"].astype(bool).any():
        return ""
    return " Bearings taken by hand and sightings had during a flight entered its fixes with their own errors (von Mises and normal; Mardia 1972, Lenth 1981)."


def errors(found: Material) -> list[str]:
    summary, widening, coverage = found.table("error_summary"), found.table("widening"), found.table("coverage")
    if not len(summary):
        return ["No beacon was heard. The errors and regions of this survey are those of the model and were tested by nothing."]
    row = summary.iloc[0]
    return [
        f"Errors were measured on {counted(int(row['places']), 'beacon')} (tags at surveyed places, treated as if unknown), {counted(int(row['n']), 'fix', 'fixes')}. Each beacon was located by a model fitted without it, and regions of each were widened by what the others showed; "
        "the held-out position was compared with the surveyed one.",
        f"The density of every posterior was raised to the power that gives held-out beacons the highest logarithmic score (Good 1952), {widening_words(widening, found.table('beacon_error_details'))}; below one is wider than computed, above one narrower. "
        f"The median error was {two_figures(row['median_m'])} m" + (f" (95 % interval {two_figures(row['median_low_95_m'])} to {two_figures(row['median_high_95_m'])} m, beacons drawn again as wholes; Davison & Hinkley 1997)" if pd.notna(row["median_low_95_m"]) else "")
        + f", the mean {two_figures(row['mean_m'])} m, and nine in ten errors were below about {two_figures(row['p90_m'])} m.",
        f"The 95 % regions held the truth in {held(coverage, 'after')} of {counted(int(row['n']), 'fix', 'fixes')}. Repeated flights over one beacon are not independent. {by_place_sentence(coverage)} "
        "The limits are those of Clopper & Pearson (1934) at a mean count that need not be whole, and so approximate.",
    ]


def search(found: Material) -> list[str]:
    area, missing, well = found.table("searched_area"), found.table("not_found"), found.table("well_searched_beacons")
    whole = area[area["flight_id"] == CAMPAIGN] if len(area) else area
    cautious = found.survey.search
    said = ["Ground counts as searched by the probability that a tag of the type lying there would have been heard at least once. Cautious figures count each pass as one look and take "
            f"{100 * cautious.weak_share:g} % of tags to be {cautious.weak_db:g} dB weaker than the beacons of their type (an assumption, no source). The figures presume a working tag above ground."]
    if len(whole):
        least = whole.sort_values("area_90_cautious_ha", kind="stable").iloc[0]
        said.append(f"Of {two_figures(least['area_ha'])} ha, {two_figures(least['area_50_cautious_ha'])} ha were searched to 0.5 or more and {two_figures(least['area_90_cautious_ha'])} ha to 0.9 or more over all flights{_type_words(whole, least)}.")
    if len(well):
        said.append(str(well.iloc[0]["text"]))
    silent = missing[missing["class"] == "not heard"] if len(missing) else missing
    if len(silent):
        said.append(f"{number_word(len(silent)).capitalize()} {'animal was' if len(silent) == 1 else 'animals were'} not heard in any flight ({listed(silent['tag_id'])}); a silence was not taken for absence, emigration or death.")
    unsought = list(missing.loc[missing["class"] == "not searched", "tag_id"]) if len(missing) else []
    if unsought:
        said.append(f"Not listened to, and therefore not absent: {listed(unsought)}.")
    return [" ".join(said)]


def _type_words(whole: pd.DataFrame, least) -> str:
    return f" for the tag type heard least far ({least['tag_type']})" if len(whole) > 1 and least["tag_type"] else ""


def fate_and_movement(found: Material) -> list[str]:
    steps, ranges, survival = found.table("movement_steps"), found.table("ranges"), found.table("survival")
    tested = steps[(steps["kind"] != "") & steps["p"].notna()] if len(steps) else steps
    said = ["Pulse rates were compared with the live and mortality rates of each tag. A mortality rate is a signal of the tag; nothing was called dead without proof on the ground."]
    moved = int((tested["verdict"] == "moved").sum()) if len(tested) else 0
    test = (f"Whether an animal moved between two fixes was tested on the difference of both posteriors, with the tails that beacons show, at the level {found.survey.movement.significance:g} adjusted for the number of tests (Holm 1979)"
            + (f": {moved} of {counted(len(tested), 'test')} showed movement." if len(tested) else "; no animal had two fixes to test."))
    given = int((ranges["verdict"] == "given").sum()) if len(ranges) else 0
    space = ("Ranges were stated from thirty fixes on, where the extent no longer grows and errors are small against the range; " + (f"{given} were stated (bivariate normal, Jennrich & Turner 1969; kernel, Silverman 1986)." if given else
             "no animal reached that, and no range is stated.") + " The extent of fixes is no home range. The animal, not the fix, is the unit of every statement.")
    curve = ("Survival was estimated with staggered entry (Kaplan & Meier 1958, Pollock et al. 1989); animals of unknown fate leave at their last certain life, and both extreme curves (all of them alive, all dead) are in survival.csv."
             if len(survival) else "No survival curve was estimated.")
    return [" ".join(said), test, f"{space} {curve}"]


def software(found: Material) -> list[str]:
    seed = f"Random numbers start from seed {found.survey.seed}."
    return [f"{found.software or 'Fixledger; the version is in run.json'}. {seed} The survey file, the hashes of all input files and the versions of all packages are in run.json of the archive; the run is repeated with one command."]


def table_words(found: Material) -> str:
    """What became of the searches, as a heading."""
    placed = int(found.animals["status"].isin(PLACED).sum())
    return f"{placed} of {counted(len(found.animals), 'search', 'searches')} ended with a position" if len(found.animals) else "No search for an animal was made"


def coverage_alt(found: Material) -> str:
    coverage = found.table("coverage")
    rows = coverage[(coverage["calibration"] == "after") & (coverage["counted_by"] == "fixes")]
    return "Stated probability against the share of truths held: " + listed(f"{percent(row.nominal)} regions held {row.inside:.0f} of {row.tests}" for row in rows.itertuples()) + "."


def error_alt(found: Material) -> str:
    row = found.table("error_summary").iloc[0]
    return f"Rising curve of {number_word(int(row['n']))} errors of beacon fixes: half are below {two_figures(row['median_m'])} m, nine in ten below {two_figures(row['p90_m'])} m."
