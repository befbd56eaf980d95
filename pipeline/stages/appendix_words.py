"""The methods of the appendix in words, with this campaign's settings and numbers."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from pipeline.fate import CERTAINTY, RECORDS_FOR_A_VERDICT
from pipeline.location import PLACED
from pipeline.movement import Tails, tails_of
from pipeline.movement.gates import gate
from pipeline.movement.tails import FREEDOMS, NORMAL_SHARE
from pipeline.quality.effort import CAMPAIGN
from pipeline.report import see
from pipeline.stages.appendix_positions import precision_sentences
from pipeline.stages.appendix_square import protection_words
from pipeline.stages.calibration_numbers import percent, probability
from pipeline.stages.search_tables import MARGIN_M
from pipeline.stages.calibration_words import COUNTED_PLACES, claimed_errors, held
from pipeline.wording import counted, listed, number_word, two_figures

# The folder of what may be attached to a paper.
ATTACHMENTS = "appendix_files"


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
    beacons: pd.DataFrame = field(default_factory=pd.DataFrame)     # as published
    missing: pd.DataFrame = field(default_factory=pd.DataFrame)     # animals heard in no flight, in single records only, or not any more
    lone: dict = field(default_factory=dict)        # tag -> LoneHits, of animals heard in single records only
    silent: dict = field(default_factory=dict)      # tag -> Silence, of animals that fell silent
    cells_m: pd.Series = field(default_factory=lambda: pd.Series(dtype=float))    # sides of the cells of every fix
    bearings: pd.DataFrame = field(default_factory=pd.DataFrame)    # taken by hand, as read
    terrain_cell_m: float | None = None     # of the terrain model, as it was used
    below_margin: tuple[int, int] = (0, 0)  # heard strengths below the margin over noise that the survey file names, and all with such a margin
    withheld: tuple[str, ...] = ()  # names of tables that hold exact positions
    withheld_files: tuple[str, ...] = ()    # names of files beside the tables that hold exact positions
    shown: frozenset = frozenset()  # names of the tables, and "figure:" names of the figures, that the appendix shows

    def table(self, name: str) -> pd.DataFrame:
        """A table by name."""
        return self.tables.get(name, pd.DataFrame())

    def cite(self, *names: str) -> str:
        """" (Table S3 and Figure S1)", of those that the appendix shows; "" of none. names : of tables, or "figure:" and a name."""
        marks = [see(*(("figure", name.removeprefix("figure:")) if name.startswith("figure:") else ("table", name))) for name in names if name in self.shown]
        return f" ({listed(marks)})" if marks else ""


def opening(found: Material, pairs: str = "") -> list[str]:
    """What the appendix is about, in two or three sentences. pairs : what pairs of fixes shortly after each other say of the errors."""
    effort = campaign_effort(found)
    said = found.survey.publication.note.strip()
    first = (f"Radio-tagged animals were searched for from a drone: {counted(len(found.table('flights')), 'flight')}, {effort['listening_min']:.0f} minutes of listening, {effort['distance_km']:.1f} km on effort. "
             f"{len(found.best)} of {counted(found.animals['tag_id'].nunique(), 'animal')} have a position.") if effort is not None else "No flight listened to a tag."
    return [text for text in (said, _STATUS.get(found.survey.status, ""), f"{first} {_tested(found)} {pairs}".strip(), "This appendix gives the methods with the settings of the survey, the tables behind the results, a reporting checklist and a data dictionary.") if text]


_STATUS = {"draft": "Draft: nobody has checked these results yet."}


def _tested(found: Material) -> str:
    """The errors in short: their interval, how often regions held by fix and by beacon, where that is claimed, and how many fixes lie outside of it."""
    whole, reach = found.table("error_summary"), found.table("beacon_reach")
    if not len(whole):
        return "No error was tested: no beacon was heard."
    row, by_place = whole.iloc[0], by_beacon(found.table("coverage"))
    interval = f"95 % interval {two_figures(row['median_low_95_m'])} to {two_figures(row['median_high_95_m'])} m" if pd.notna(row["median_low_95_m"]) else "too few beacons for an interval"
    said = (f"On {counted(int(row['places']), 'beacon')}, each located by a model fitted without it, though in the same flights and with some choices made in their view (see What the testing beacons had a part in), the median error was {two_figures(row['median_m'])} m ({interval}), "
            f"and the 95 % regions held the truth in {held(found.table('coverage'), 'after')} of {counted(int(row['n']), 'fix', 'fixes')} ({by_place}). {claimed_errors(whole)}")
    outside = reach.iloc[-1] if len(reach) else None
    if outside is not None and outside["fixes"]:
        said += f" {outside['fixes_outside']} of {outside['fixes']} fixes of animals lie outside of what the beacons tested."
    return said.strip()


def by_beacon(coverage: pd.DataFrame) -> str:
    """"every beacon counted once: 0.96, 95 % interval 0.61 to 1.00"; rows of coverage."""
    row = coverage[(coverage["calibration"] == "after") & (coverage["nominal"] == 0.95) & (coverage["counted_by"] == COUNTED_PLACES)].iloc[0]
    return f"every beacon counted once: {row['share']:.2f}, 95 % interval {probability(row['low_95'])} to {probability(row['high_95'])}"


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
    said = [f"{counted(len(own), 'tagged animal')}: {listed(f'{name} ({count})' for name, count in sorted(kinds.items()))}{found.cite('animals')}."]
    types = sorted(set(own["tag_type"]) - {""})
    said.append(f"Tag types: {listed(types)}." if types else "Tag types are not recorded.")
    band = tags["frequency_mhz"].dropna()
    said.append(f"Frequencies {between(band, '.2f')} MHz." if len(band) else "Frequencies are not recorded.")
    for column, words in (("pulse_rate_live_per_min", "in live mode"), ("pulse_rate_mortality_per_min", "in mortality mode")):
        rates = own[column].dropna()
        said += [f"Pulse rates {words} {few_or_span(rates, '.0f')} per minute."] if len(rates) else []
    said += [expected_life(found)] if expected_life(found) else []
    decoys = int((tags["role"] == "decoy").sum())
    false = found.table("false_detections")
    if decoys and len(false):
        row = false.iloc[0]
        said.append(f"{counted(decoys, 'tag')} known to be switched off measured false detections: heard in {int(row['records_heard'])} of {int(row['records_listened']):,d} records.")
    return [" ".join(said)]


def expected_life(found: Material) -> str:
    """Until when tags are expected to work, and how long that is after they were put out; "" where the register does not say."""
    own = found.tags[found.tags["role"] == "animal"] if len(found.tags) else found.tags
    if "expected_end_utc" not in own or own["expected_end_utc"].isna().all():
        return ""
    ends, starts = (pd.to_datetime(own[column], utc=True) for column in ("expected_end_utc", "deployed_utc"))
    days = ((ends - starts).dt.total_seconds() / 86400.0).dropna()
    after = f", {between(days, '.0f')} days after deployment" if len(days) else ""
    known = "" if ends.notna().all() else f" (known of {ends.notna().sum()})"
    return f"Tags are expected to work until {between(ends.dropna(), '%Y-%m-%d')}{after}{known}."


def few_or_span(values, how: str) -> str:
    """The values where they are few, else their two ends: "40 and 55", "30 to 55"."""
    kinds = sorted({format(value, how) for value in values}, key=float)
    return listed(kinds) if len(kinds) <= 3 else between(values, how)


def between(values, how: str) -> str:
    """Two ends of numbers: "40 to 55", or one number where both ends read the same."""
    return " to ".join(dict.fromkeys(format(value, how) for value in (values.min(), values.max())))


def flights(found: Material) -> list[str]:
    rows, effort, log = found.table("flights"), campaign_effort(found), found.survey.receiver_log
    if effort is None:
        return ["No flight was made."]
    styles = rows["style"].value_counts()
    times = pd.to_datetime(rows["start_utc"], utc=True)
    said = [f"{counted(len(rows), 'flight')} on {counted(times.dt.date.nunique(), 'day')}, {between(times, '%Y-%m-%d')}, begun {between(times.dt.strftime('%H:%M'), '')} UTC; flight pattern as found from the track: "
            f"{listed(f'{style} ({count})' for style, count in sorted(styles.items()))}; a loop keeps turning the same way round, lines undo each turn by the next, mixed holds both.",
            f"On effort the receiver listened for {effort['listening_min']:.0f} minutes over {effort['distance_km']:.1f} km, at a median speed of {effort['speed_median_m_per_s']:.0f} m/s and a median height of {effort['height_median_m']:.0f} m above ground, "
            f"one record every {rows['record_interval_s'].median():g} s, {int(effort['tags_listened'])} tags listened to{_among_them(found)}{found.cite('effort')}. On effort are records with a position that listened to a tag, without take-off, landing and transit{_off_effort(effort)}.",
            f"Heights in the log are {_HEIGHTS[log.height_reference]}; azimuths count from {log.azimuth_reference} north; strengths are in dB on the receiver's own scale. {_grid_words(found)}"]
    return [" ".join(said), _heard_words(found), _reading_words(found)]


def _off_effort(effort) -> str:
    """What was not on effort, by reason. effort : the row of the whole campaign."""
    why = effort["off_effort_why"]
    return f"; off effort were {effort['off_effort_min']:.1f} minutes ({why})" if effort["off_effort_min"] >= 0.05 and pd.notna(why) and why else "; nothing was off effort"


def _among_them(found: Material) -> str:
    """Tags of the register that are on no animal, in words."""
    roles = found.tags["role"].value_counts() if len(found.tags) else {}
    kinds = [counted(int(roles[role]), word) for role, word in (("beacon", "beacon"), ("decoy", "switched-off tag")) if role in roles]
    return f", the register holding {listed(kinds)} beside the animals" if kinds else ""


def _grid_words(found: Material) -> str:
    """Datum and projection; the centre of a local one would tell where the animals are."""
    if found.survey.crs:
        return f"Latitudes and longitudes are those of WGS 84, metres those of {found.survey.crs}."
    return f"Latitudes and longitudes are those of WGS 84, metres those of a local transverse Mercator projection{', whose centre is withheld' if found.withheld else ''}."


_HEIGHTS = {"ground": "above ground", "takeoff": "above the take-off point", "sea_level": "above sea level", "ellipsoid": "above the WGS 84 ellipsoid"}


def _heard_words(found: Material) -> str:
    """What counts as heard: the logger's own rule, with what the survey file's margin and the model make of it."""
    above, (below, with_margin) = found.survey.receiver_log.heard_above_noise_db, found.below_margin
    value = {row.parameter: row.value for row in found.table("signal_model").itertuples()}
    said = "Whether a tag was heard is as the receiver logged it: a record heard the tag where the log holds a strength for it, by a rule of the receiver that no log states."
    soft = f", soft by an estimated {value['softness_db']:.1f} dB (standard deviation)" if "softness_db" in value else ""
    if above is not None and with_margin:
        shift = f", shifted by an estimated {value['threshold_shift_db']:.1f} dB".replace("-", "\u2212") if "threshold_shift_db" in value else ""
        said += (f" The margin named for this survey, {above:g} dB above the background noise of the record, is where that rule lies roughly and is no strict limit: {below:,d} of {with_margin:,d} heard strengths that were used lie below it. "
                 f"The signal model takes it as the threshold of each record{shift}{soft}{found.cite('signal_model') if shift or soft else ''}.")
    else:
        said += f" The signal model has one threshold for all records{soft}, estimated with the rest{found.cite('signal_model')}."
    return f"{said} A record that listened and did not hear was kept as such and used as a strength below the threshold; a tag that was not listened to gave no record. The two were never merged."


def _reading_words(found: Material) -> str:
    rows, changes = found.table("flights"), found.table("changes")
    rejected = rows[rows["verdict"] == "rejected"] if len(rows) else rows
    said = f"{number_word(len(rejected)).capitalize()} {'flight was' if len(rejected) in (0, 1) else 'flights were'} rejected by the quality check."
    if len(changes):
        said += f" On reading, in rows of the logs: {listed(f'{rule} ({count:,d})' for rule, count in changes.groupby('rule', sort=True)['rows'].sum().items())}{found.cite('changes')}."
    suspect = int((found.animals["status"] == "suspect").sum())
    return said + (f" In {counted(suspect, 'search', 'searches')} of an animal in a flight what was heard was not believed to be its tag and gave no position." if suspect else "")


def search(found: Material) -> list[str]:
    area, missing, well = found.table("searched_area"), found.table("not_found"), found.table("well_searched_beacons")
    whole = area[area["flight_id"] == CAMPAIGN] if len(area) else area
    cautious = found.survey.search
    said = ["Ground counts as searched by the probability that a tag of the type lying there would have been heard at least once. Cautious figures count each pass as one look and take "
            f"{100 * cautious.weak_share:g} % of tags to be {cautious.weak_db:g} dB weaker than the beacons of their type (an assumption, no source). The figures presume a working tag above ground. "
            f"How far a tag is heard follows from the signal model{found.cite('detection') or ' (detection_ranges.csv)'}."]
    if len(whole):
        least = whole.sort_values("area_90_cautious_ha", kind="stable").iloc[0]
        ground = "the study area, as drawn by the authors" if found.survey.study_area is not None else f"the ground within {MARGIN_M:,.0f} m of the tracks"
        said.append(f"Of {ground}, {two_figures(least['area_ha'])} ha, {percent(least['area_50_cautious_ha'] / least['area_ha'])} were searched to 0.5 or more and {percent(least['area_90_cautious_ha'] / least['area_ha'])} to 0.9 or more over all flights by the cautious figures{_type_words(whole, least)}.")
    if len(well) and well.iloc[0]["beacons"] > 0:
        said.append(f"Beacons tested that, each by a model that had not seen it: {well.iloc[0]['text'][0].lower()}{well.iloc[0]['text'][1:]}{_not_proven(well.iloc[0])}")
    silent = missing[missing["class"] == "not heard"] if len(missing) else missing
    if len(silent):
        said.append(f"{number_word(len(silent)).capitalize()} {'animal was' if len(silent) == 1 else 'animals were'} not heard in any flight ({listed(silent['tag_id'])}); a silence was not taken for absence, emigration or death{found.cite('not_found')}.")
    if found.lone:
        said.append(f"Heard in single records only, which may be false{found.cite('not_found')}: {listed(f'{tag_id} ({each.hits} of {each.records_listened:,d})' for tag_id, each in found.lone.items())}.")
    if found.silent:
        gone = listed(f"{tag_id} (since {each.last_utc:%Y-%m-%d}; {counted(each.later, 'flight')}, of which the best alone would have heard it with {probability(each.best_later)}, cautious, had it been on the ground asked about, anywhere alike, and working; searched_area.csv)" for tag_id, each in found.silent.items())
        said.append(f"Heard earlier and silent since{found.cite('not_found')}: {gone}.")
    unsought = list(missing.loc[missing["class"] == "not searched", "tag_id"]) if len(missing) else []
    if unsought:
        said.append(f"Not listened to, and therefore not absent: {listed(unsought)}.")
    return [" ".join(said)]


def _not_proven(row) -> str:
    """That the lower limit of the share heard does not reach what the ground is said to be searched to; row : of well_searched_beacons."""
    return f" The lower limit, {probability(row['share_low'])}, does not prove {row['least']:g}." if row["share_low"] < row["least"] else ""


def _type_words(whole: pd.DataFrame, least) -> str:
    return f", for the tag type heard least far ({least['tag_type']})" if len(whole) > 1 and least["tag_type"] else ""


def fate_and_movement(found: Material, shortly_after: str = "") -> list[str]:
    """Fates, tests of movement, gates, ranges and survival. shortly_after : what pairs of fixes shortly after each other say of the errors."""
    steps, ranges, survival = found.table("movement_steps"), found.table("ranges"), found.table("survival")
    tested = steps[(steps["kind"] != "") & steps["p"].notna()] if len(steps) else steps
    said = [f"Pulse rates were compared with the live and mortality rates of each tag: a flight gives a verdict on a tag from {RECORDS_FOR_A_VERDICT} records with a rate on, where one mode has a probability of {CERTAINTY:g} or more (missed pulses and stray rates allowed for). A mortality rate is a signal of the tag; nothing was called dead without proof on the ground" + (f"{found.cite('fates')}." if found.cite("fates") else ".")]
    moved = int((tested["verdict"] == "moved").sum()) if len(tested) else 0
    test = (f"Whether an animal moved was tested between consecutive fixes, and between the first and the last of three or more, on the difference of both posteriors{_tails_words(found.table('beacon_error_details'))}, at the level {found.survey.movement.significance:g} adjusted for the number of tests (Holm 1979)"
            + (f": {moved} of {counted(len(tested), 'test')} showed movement (movement_steps.csv)." if len(tested) else "; no animal had two fixes to test."))
    given = int((ranges["verdict"] == "given").sum()) if len(ranges) else 0
    space = ("Ranges are stated from thirty fixes on, where the extent no longer grows and errors are small against the range; " + (f"{given} were stated (bivariate normal, Jennrich & Turner 1969; kernel, Silverman 1986){found.cite('ranges')}." if given else
             "no animal reached that, and no range is stated.") + " The extent of fixes is no home range. The animal, not the fix, is the unit of every statement.")
    curve = (f"Survival was estimated with staggered entry (Kaplan & Meier 1958, Klein & Moeschberger 2003); animals of unknown fate leave at their last certain life, which the estimate takes to have nothing to do with their fate{_doubt_of_leaving(found)}. {_survival_numbers(survival, found.table('flights'))}What all of them alive and all of them dead would come to (without sampling error) bounds the share of these animals that lived at that end, and is given over time{found.cite('survival') or ' in survival.csv'}."
             if len(survival) else "No survival curve was estimated.")
    gates = f"What may be said of an animal follows from its usable fixes: {listed(_GATE_WORDS)}{found.cite('animals')}. These numbers are our choice."
    return [" ".join(said), f"{test} {shortly_after}".strip(), gates, f"{space} {curve}"]


_GATE_WORDS = [f"{fixes} for {gate(fixes).name}" for fixes in (1, 2, 3, 5, 10, 30)]


def _tails_words(details: pd.DataFrame) -> str:
    """What p-values below 0.05 rest on: the tails that the beacons showed, as the movement test uses them. details : of beacon_error_details."""
    tails = tails_of(details["level_after"].to_numpy(float)) if len(details) else Tails()
    if tails.weights[0] == 1.0:
        return ", with normal tails"
    heavy = ", ".join(f"{weight:.2f}" for weight in tails.weights[1:])
    return (f", where p below 0.05 is a weighted mean over normal tails and those of Student t with {listed(f'{freedom:g}' for freedom in FREEDOMS)} degrees of freedom, all scaled to pass the 95 % region with probability 0.05; the weights, which {tails.levels} beacon fixes leave of a prior of "
            f"{NORMAL_SHARE:g} for normal and the rest in equal parts, are {tails.weights[0]:.2f} and {heavy}")


def _doubt_of_leaving(found: Material) -> str:
    """Animals that left with an unconfirmed mortality rate, of which that cannot be taken for granted."""
    triage = found.table("fate_triage")
    sending = list(triage.loc[triage["class"].isin(["Retrieve", "Check soon"]) & (triage["records_mortality"] > 0), "tag_id"]) if len(triage) else []
    return f"; of {listed(sending)}, which sent the mortality rate, that is doubtful" if sending else ""


def _survival_numbers(survival: pd.DataFrame, flights: pd.DataFrame) -> str:
    """Survival at the end of the survey, with its interval and what the lost ones could make of it."""
    row = survival.iloc[-1]
    if pd.isna(row["survival"]):
        return ""
    # before the first death there is none
    interval = f" (95 % interval {probability(row['survival_low'])} to {probability(row['survival_high'])}, log-minus-log)" if pd.notna(row["survival_low"]) else ""
    end = pd.to_datetime(flights["end_utc"], utc=True).max()
    days = row["days"] + (end - pd.Timestamp(row["date_utc"])).total_seconds() / 86400.0
    return (f"At the end of the survey, {end:%Y-%m-%d}, {days:.0f} days after the first tag was deployed, it was {probability(row['survival'])}{interval}, "
            f"{probability(row['if_lost_alive'])} if all lost ones lived and {probability(row['if_lost_dead'])} if all were dead. ")


def positions(found: Material) -> list[str]:
    """How exactly the positions of the animals are given."""
    first, *rest = precision_sentences(found.positions)
    if not found.cite("positions"):
        return [first]
    said = [" ".join([f"{first.removesuffix('.')}{found.cite('positions')}.", *rest]), BEST_FLIGHT]
    coarse = found.positions["precision"] != "exact"
    if coarse.any():
        said.append(protection_words(found.survey.publication.generalise_m, others_exact=not coarse.all()))
    return said


BEST_FLIGHT = ("The best flight of an animal is the one whose fix has the smallest 95 % radius; of a tag at the mortality rate it is the one of those flights that heard that rate. "
               "It was picked for that radius, and is no typical flight.")


def software(found: Material) -> list[str]:
    seed = f"Random numbers start from seed {found.survey.seed}."
    return [f"{found.software or 'Fixledger; the version is in run.json'}. {seed} The survey file, the hashes of all input files and the versions of all packages are in run.json of the archive; the command python3 -m pipeline run with that survey file repeats the run."]


def table_words(found: Material) -> str:
    """What became of the searches, as a heading."""
    placed = int(found.animals["status"].isin(PLACED).sum())
    return f"{placed} of {counted(len(found.animals), 'search', 'searches')} ended with a position" if len(found.animals) else "No search for an animal was made"
