"""The supervisor's ten questions, answered from the tables in a few plain sentences each."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from pipeline.calibration import error_summary
from pipeline.location import PLACED
from pipeline.stages import calibration_words as tested
from pipeline.stages import localisation_words as located
from pipeline.stages import quality_words as quality
from pipeline.stages.calibration_numbers import probability
from pipeline.stages.check import unnamed_permits
from pipeline.stages.next_flight_report import WORTH_FLYING
from pipeline.wording import counted, listed, two_figures

# Below so many beacon fixes nine in ten of them is nearly all: the largest error is told instead.
FEWEST_FOR_NINE_IN_TEN = 10
PILOT_DECIDES = "Where and how to fly is for the licensed pilot to decide."
NO_COMPARISON = "Nothing is compared with an earlier campaign: each run stands for itself, and a change of tags, gain, antenna or settings between campaigns is not looked for."


@dataclass(frozen=True)
class Found:
    """The tables that the answers are made from."""

    flights: pd.DataFrame
    tags_heard: pd.DataFrame
    messages: pd.DataFrame
    changes: pd.DataFrame
    animals: pd.DataFrame        # fixes of animals
    decoys: pd.DataFrame         # fixes of decoys
    tests: pd.DataFrame          # held-out beacons
    errors: pd.DataFrame         # beacon_errors
    beacons: pd.DataFrame        # beacon_places
    coverage: pd.DataFrame
    reach: pd.DataFrame          # beacon_reach
    levels: pd.DataFrame         # flight_levels
    triage: pd.DataFrame
    walk: pd.DataFrame
    not_found: pd.DataFrame
    searched: pd.DataFrame
    well_searched: pd.DataFrame
    steps: pd.DataFrame
    has_register: bool
    permits: dict
    status: str
    sensitive: bool
    false: pd.DataFrame          # false_detections: one row over all decoys
    blind_share: float | None    # largest share of a flight's paths beyond the terrain model; None without one
    canopy: bool = False         # whether canopy heights were given
    candidates: pd.DataFrame = field(default_factory=pd.DataFrame)   # next_flight, the most telling first


def opening(found: Found) -> list[str]:
    """What the campaign found, in two paragraphs: where the animals are and how well that is known; what is missing, to look for on foot, and moved."""
    return [located.answer(found.animals, found.tests, found.not_found, found.walk, found.triage)[0],
            " ".join(words for words in (missing(found), _heard_without_place(found), fates(found), movement(found), "This page holds exact positions and must not leave the office." if found.sensitive else "") if words)]


def _heard_without_place(found: Found) -> str:
    """Animals that were heard, and in no flight well enough to be placed."""
    unplaced = never_placed(found)
    return f"Heard, but in no flight well enough for a position: {listed(unplaced)}." if unplaced else ""


def answers(found: Found) -> list[tuple[str, list[str]]]:
    """Question and paragraphs, in the order in which a supervisor asks."""
    return [
        ("Can I trust the positions, and where not?", trust(found)),
        ("How many beacons say so, and were they independent of the fit?", [independence(found)]),
        ("Which animals are missing, and did we really look there?", [missing(found), searched(found)]),
        ("Which tags must be looked for on foot, how urgently, and how sure is that?", [fetch(found)]),
        ("Did anything move or change?", [movement(found), NO_COMPARISON]),
        ("What was thrown away, by whose rule?", thrown_away(found)),
        ("Which statements would fall if one assumption fell?", [assumptions(found)]),
        ("Was the work legal and gentle?", [permits(found)]),
        ("What should the next flight do?", [next_flight(found)]),
        ("May this page leave the office?", [leaving(found)]),
    ]


# Errors and their test

def trust(found: Found) -> list[str]:
    """The errors measured on beacons, and what the beacons do not speak for."""
    if found.errors.empty:
        return [f"That is not known: {_why_untested(found)}, so no error was measured. The regions are as wide as simulations of such models ask for, and untested here."]
    return [f"{_error_sentence(found.errors)} {_held_sentence(found.errors)}", f"{tested.reach_sentence(found.reach)} {_not_in_the_model(found.blind_share, found.canopy)}"]


def _not_in_the_model(blind_share: float | None, canopy: bool = False) -> str:
    """What of the ground the signal model knows nothing of; blind_share : of the paths of a flight that lie beyond the terrain model, None without one."""
    plants = "loss in vegetation is in the model by the canopy heights given." if canopy else "loss in vegetation is not in the model, and no register names the habitat."
    if blind_share is None:
        return f"No terrain model was given, so hills are not in the model; {plants}"
    beyond = f", but for up to {blind_share:.2f} of the paths of a flight, which lie beyond the terrain model and count as open" if blind_share > 0.005 else ""
    return f"Loss behind hills is in the model{beyond}; {plants}"


def _why_untested(found: Found) -> str:
    count = found.beacons["tag_id"].nunique()
    return "no beacon was put out" if not count else "the one beacon was not heard" if count == 1 else f"none of the {count} beacons was heard"


def _error_sentence(errors: pd.DataFrame) -> str:
    whole, largest = error_summary(errors), two_figures(errors["error_m"].max())
    if whole["n"] == 1:
        return f"One beacon fix was tested; its error was {largest} m."
    rest = f"nine in ten errors were below about {two_figures(whole['p90_m'])} m" if whole["n"] >= FEWEST_FOR_NINE_IN_TEN else f"the largest of {whole['n']} was {largest} m"
    return f"On beacons the median error was {two_figures(whole['median_m'])} m, and {rest}."


def _held_sentence(errors: pd.DataFrame) -> str:
    inside = int((errors["level_after"] <= 0.95).sum())
    if len(errors) == 1:
        return f"The 95 % region {'held' if inside else 'did not hold'} it."
    return f"The 95 % regions held the truth in {inside} of {counted(len(errors), 'fix', 'fixes')}."


def independence(found: Found) -> str:
    """How many beacons tested, how, and what so many can show."""
    places = found.tests["place_id"].nunique() if len(found.tests) else 0
    if not places:
        return f"None: {_why_untested(found)}."
    heard = f"{places} of {counted(len(found.beacons), 'beacon')} {'was' if places == 1 else 'were'} heard, in {counted(len(found.tests), 'fix', 'fixes')}."
    if places == 1:
        return f"{heard} It was located by a model that never saw it and so rests on its priors, with a region as wide as simulations ask for. One beacon proves next to nothing."
    row = found.coverage[(found.coverage["calibration"] == "after") & (found.coverage["nominal"] == 0.95) & (found.coverage["counted_by"] == tested.COUNTED_PLACES)].iloc[0]
    return (f"{heard} Each was located by a model fitted without it and widened by what the others showed. Flights repeated over one beacon are not new beacons: counted as {counted(places, 'place')}, "
            f"the 95 % regions held {probability(row['share'])} of the truths, with a 95 % interval of {probability(row['low_95'])} to {probability(row['high_95'])}.")


# Animals missing, to look for on foot, moving

def missing(found: Found) -> str:
    """Who was not found; without a register nobody can be missed."""
    if found.has_register:
        return located.missing_sentence(found.not_found)
    unheard = f" {located.missing_sentence(found.not_found)}" if len(found.not_found) else ""
    return f"There is no register, so every tag of the logs that is no beacon counts as an animal, and an animal that no log names cannot be missed.{unheard}"


def searched(found: Found) -> str:
    """How much ground was searched for the weakest tags, and the test of that on beacons."""
    whole = found.searched[found.searched["flight_id"] == "all flights"]
    if whole.empty:
        return "No ground can be called searched."
    least = whole.sort_values("area_90_cautious_ha", kind="stable").iloc[0]
    first = (f"On {_part_of_ground(least['area_90_cautious_ha'], least['area_ha'])} a tag of the type heard least far would have been heard with probability 0.9 or more. That is a cautious figure, "
             f"{located.CAUTIOUS}.")
    if found.well_searched.empty or not found.well_searched.iloc[0]["beacons"]:
        return f"{first} No beacon lay on such ground, so that is untested."
    return f"{first} {found.well_searched.iloc[0]['text']}"


def _part_of_ground(part_ha: float, whole_ha: float) -> str:
    if part_ha >= whole_ha:
        return f"all {two_figures(whole_ha)} ha"
    if two_figures(part_ha) == two_figures(whole_ha):
        return f"nearly all of {two_figures(whole_ha)} ha"
    return f"{two_figures(part_ha)} of {two_figures(whole_ha)} ha"


def fates(found: Found) -> str:
    """What calls for a walk, or why pulse rates cannot tell."""
    if len(found.walk) or found.triage["class"].str.startswith("Confirmed").any():
        return located.fetch_sentence(found.walk, found.triage)
    if not found.animals["records_heard"].gt(0).any():
        return "No tag of an animal was heard, so nothing is known of their pulse rates."
    if not found.tags_heard["pulse_interval_s"].notna().any():
        return "The logs hold no pulse rate, so no tag can be called to a walk by it."
    if not found.triage["pulse_rate_mortality_per_min"].notna().any():
        return "No register names a mortality rate, so pulse rates call no tag to a walk."
    return located.fetch_sentence(found.walk, found.triage)


def fetch(found: Found) -> str:
    """The first tag to walk to, and what its rate rests on."""
    if found.walk.empty:
        return fates(found)
    first = found.walk.iloc[0]
    behind = found.triage.set_index("tag_id").loc[first["tag_id"]]
    first_of_many = f"First {first['tag_id']}" if len(found.walk) > 1 else ""
    if not behind["records_mortality"]:
        why, proof = f"{first_of_many}. {behind['why']}".removeprefix(". "), "A tag that stays where it is proves no death."
    else:
        why, proof = (f"{f'{first_of_many}: the' if first_of_many else 'The'} mortality rate stands in {counted(int(behind['records_mortality']), 'record')} on {counted(int(behind['passes_mortality']), 'pass', 'passes')} of "
                      f"{counted(int(behind['flights_mortality']), 'flight')}."), "A mortality rate is no proof of death."
    return f"{fates(found)} {why} {first['note']} {_urgency(first)} {proof}"


def _urgency(first) -> str:
    """How soon to look, where the circle is, and what else it could be."""
    centre = f" The middle of the circle is {first['latitude']:.5f}, {first['longitude']:.5f} (latitude, longitude, WGS84)." if pd.notna(first["latitude"]) else ""
    else_words = f" What else it could be: {first['other_explanations']}." if isinstance(first["other_explanations"], str) and first["other_explanations"] else ""
    rank = {"Retrieve": ", the more urgent", "Check soon": ", the less urgent"}.get(first["class"], "")
    return f"Of the two classes that call for a walk it is in \"{first['class']}\"{rank}.{centre}{else_words}"


def movement(found: Found) -> str:
    """How many animals moved for certain, and what could not have been seen."""
    tested_steps = found.steps[found.steps["verdict"].isin(["moved", "not shown"])] if len(found.steps) else found.steps
    if tested_steps.empty:
        why = "There was one flight" if len(found.flights) == 1 else "No animal has two usable positions"
        return f"{why}, so nothing can be said of movement between flights."
    moved = tested_steps.loc[tested_steps["verdict"] == "moved", "tag_id"].nunique()
    return (f"{moved} of {counted(tested_steps['tag_id'].nunique(), 'animal')} with two positions or more moved farther than the error of the positions allows; in half of the comparisons of one position with another, a movement below "
            f"{two_figures(tested_steps['minimum_detectable_m'].median())} m could not have been seen.")


# Rules, assumptions, permits

def thrown_away(found: Found) -> list[str]:
    """Rows and flights left out by the software, positions withheld, hits not believed."""
    changes = found.changes[found.changes["rows"] > 0] if len(found.changes) else found.changes
    said = [f"{row.rule} ({counted(int(row.rows), 'row')})" for row in changes.itertuples()]
    unfit = int((found.flights["verdict"] != "fit for location").sum())
    rows = f"By rules of the software: {listed(said, most=6)}." if said else "Nothing was changed or left out on reading."
    flights = f"{unfit} of {counted(len(found.flights), 'flight')} {'was' if unfit == 1 else 'were'} not fit for location." if unfit else "Every flight was fit for location."
    return [f"{rows} {flights} No record was dropped for being weak.", " ".join([*_withheld(found.animals), *_disbelieved(found)])]


def _withheld(animals: pd.DataFrame) -> list[str]:
    withheld = int(animals["status"].isin(["area only", "heard once"]).sum())
    if not withheld:
        return []
    return [f"In {withheld} of {counted(len(animals), 'search', 'searches')} for animals, one animal in one flight each, something was heard, but less than the survey file asks of a position (localisation.gates: records heard, passes, "
            "radius), so that none is stated; the regions are kept."]


def _disbelieved(found: Found) -> list[str]:
    doubted = int((found.animals["status"] == "suspect").sum())
    words = [f"{counted(doubted, 'search', 'searches')} of animals gave hits that are doubted." if doubted else "No hit of an animal is doubted."]
    for row in found.false.itertuples():
        placed = found.decoys.loc[found.decoys["status"].isin(PLACED), "tag_id"].nunique()
        listened = f"Of {counted(int(row.decoys), 'decoy')}, known to be switched off, {int(row.decoys_heard) or 'none'} seemed to be heard"
        words.append(f"{listened}, in {int(row.records_heard)} of {int(row.records_listened):,d} usable records that listened to them, and {placed or 'none'} got a position." if row.decoys_heard else
                     f"{listened} in {int(row.records_listened):,d} usable records that listened to them.")
    return words


def levels(table: pd.DataFrame) -> str:
    """What beacons say of the level of strengths in each flight; rows of flight_levels."""
    if table.empty:
        return "too few beacons were heard in two flights to test it."
    off = [f"{row.flight_id} read them {abs(row.level_db):.0f} dB {'stronger' if row.level_db > 0 else 'weaker'}" for row in table[table["clear"]].itertuples()]
    if off:
        return f"beacons say that something was changed, since flight {listed(off)} than the other flights did."
    return f"beacons show no clear change; the largest difference of a flight from the others is {table['level_db'].abs().max():.1f} dB."


def assumptions(found: Found) -> str:
    """What rests on what."""
    if found.errors.empty:
        return "All of them: without a beacon heard every radius rests on the priors of the signal model, on the heights and azimuths as logged, and on clocks that agree."
    return ("Clocks and the antenna's azimuth were held against the beacons, and what they showed was taken out; the report on error calibration lists it. Heights are taken as the survey file says. Every animal is taken to have stayed where it was during a flight, unless the survey file says how far it may walk. "
            f"If the gain was changed between flights, neither strengths nor the threshold of hearing mean the same in each, and positions and ground searched fall together: {levels(found.levels)} "
            "The detection figures fall if animals hide where tags cannot be heard; the fates fall if the register's pulse rates are wrong.")


def permits(found: Found) -> str:
    """Which permits the survey file names."""
    unnamed = unnamed_permits(found.permits)
    gentle = "Whether the work was gentle the logs do not tell: reactions of animals and incidents are to be added by those who were there."
    if not unnamed:
        return f"Permits are named below. {gentle}"
    final = " The status says final; it should not, until they are, and a message marked look says so." if found.status == "final" else ""
    return f"Permits not recorded in the survey file: {listed(unnamed)}.{final} Whether the work was legal is for the authority, the licensed pilot and the permit holder to say. {gentle}"


def leaving(found: Found) -> str:
    """Whether the page may be shared."""
    if found.sensitive:
        return "No: exact positions are inside, and a campaign counts as sensitive unless its survey file says otherwise. Generalise to a grid before anything is shared, and never by random shifts."
    return "Exact positions and flight tracks are inside. The survey file does not call them sensitive; ask the permit holder before sharing."


# What comes next

def never_placed(found: Found) -> list[str]:
    """Animals that were heard, and in no flight well enough for a position."""
    heard, placed = (set(found.animals.loc[rows, "tag_id"]) for rows in (found.animals["status"].isin(["several places", "area only", "heard once"]), found.animals["status"].isin(PLACED)))
    return sorted(heard - placed)


def next_flight(found: Found) -> str:
    """What another flight is worth most for."""
    unplaced, silent, best = never_placed(found), list(found.not_found["tag_id"]) if len(found.not_found) else [], located.best_per_animal(found.animals)
    if not found.animals["records_heard"].gt(0).any():
        return f"Nothing was heard of any animal. Before another flight, test the receiver and its settings on a tag at a known place. {PILOT_DECIDES}"
    if unplaced:
        return f"Pass closer, and on more than one side, to what was heard and never placed: {listed(unplaced)}.{_block_sentence(found)} {PILOT_DECIDES}"
    if best.empty:
        return f"Nothing that was heard is believed enough to be flown to. {PILOT_DECIDES}"
    widest = best.loc[best["error_radius_95_m"].idxmax()]
    also = f"those not found ({listed(silent)}) and for " if silent else ""
    return (f"Every animal that was believed heard has a position in some flight. Another flight is worth most for {also}the widest regions, first {widest['tag_id']} "
            f"(95 % radius {two_figures(widest['error_radius_95_m'])} m).{_block_sentence(found)} {PILOT_DECIDES}")


def _block_sentence(found: Found) -> str:
    """The block that tells most of tags not found or badly placed, where one stands out."""
    if found.candidates.empty or not found.candidates.iloc[0]["score"] >= WORTH_FLYING:
        return ""
    best = found.candidates.iloc[0]
    return f" Of {counted(len(found.candidates), 'candidate flight')}, block {best['name']} tells most of the tags not found or badly placed; the map is in the localisation report."


def next_steps(found: Found) -> list[str]:
    """At most five lines, the most urgent first."""
    silent, unsought = (list(found.not_found.loc[found.not_found["class"] == name, "tag_id"]) if len(found.not_found) else [] for name in ("not heard", "not searched"))
    steps = [
        f"Look for {listed(found.walk['tag_id'])} on foot, with the circles of the localisation report and its cautions." if len(found.walk) else "",
        _messages_step(found.messages),
        f"Fly again for {listed(never_placed(found))}: heard, and in no flight well enough for a position." if never_placed(found) else "",
        f"Listen for {listed(unsought)}, which no usable record did." if unsought else "",
        f"Decide on {listed(silent)}: fly wider, ask for the battery's age, or keep listening." if silent else "",
        _beacon_step(found),
        "When this page has been read, sign its printed first sheet and set the status to checked in the survey file." if found.status == "draft" else "",
    ]
    return [step for step in steps if step][:5]


def _messages_step(messages: pd.DataFrame) -> str:
    counts = messages["severity"].value_counts()
    stop, look = int(counts.get("stop", 0)), int(counts.get("look", 0))
    if not stop and not look:
        return ""
    said = listed([f"{verb} {'the one message' if count == 1 else f'the {count} messages'} marked {mark}" for verb, count, mark in (("settle", stop, "stop"), ("read", look, "look")) if count])
    return f"{said[0].upper()}{said[1:]}, in the quality report."


def _beacon_step(found: Found) -> str:
    heard = found.tests["place_id"].nunique() if len(found.tests) else 0
    if not heard and len(found.beacons):
        return "Find out why no beacon was heard: its tag, the frequency, the gain, the distance."
    if not heard:
        return "Put out beacons: four or more in every flight, eight or more over the campaign."
    return "Put out more beacons next time: eight places or more." if heard < 8 else ""


def report_sentences(found: Found) -> dict[str, str]:
    """The one-sentence answer of each report."""
    return {
        "1_quality_check": quality.fitness_sentence(found.flights),
        "2_localisation": located.answer(found.animals, found.tests, found.not_found, found.walk, found.triage)[0].split(". ")[0].rstrip(".") + ".",
        "3_error_calibration": f"No error claim is tested: {_why_untested(found)}." if found.errors.empty else
        f"Median error {two_figures(error_summary(found.errors)['median_m'])} m on {counted(found.tests['place_id'].nunique(), 'beacon')} that the model had not seen.",
        "4_movement_summaries": movement(found).split(";")[0].rstrip(".") + ".",
    }


def appendix_sentence(sensitive: bool, sensitive_species) -> str:
    """What the publication appendix holds, and how exact its positions are."""
    holds = "Methods with the numbers of this campaign, tables, a reporting checklist and a data dictionary"
    if sensitive:
        return f"{holds}; positions are generalised to a coarse grid. Names of places in titles and names of files are yours to check."
    if sensitive_species:
        return f"{holds}; positions of {listed(sensitive_species)} are generalised to a coarse grid, the others are exact."
    return f"{holds}; positions in it are exact, because the survey file does not mark the campaign as sensitive."
