"""The supervisor's ten questions, answered from the tables in a few plain sentences each."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from pipeline.calibration import error_summary
from pipeline.location import PLACED
from pipeline.search import stated_probability
from pipeline.stages import calibration_words as tested
from pipeline.stages import localisation_words as located
from pipeline.stages import quality_words as quality
from pipeline.stages.calibration_numbers import probability
from pipeline.stages.check import unnamed_permits
from pipeline.stages.index_animals import SILENT, SILENT_RULE
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
    silent: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=SILENT))   # heard earlier, and not by the flights since
    single: dict = field(default_factory=dict)                       # tag -> records, of animals heard in single records only


def opening(found: Found) -> list[tuple[str, str]]:
    """What the campaign found, as labelled lines: how well the animals are placed and what tests that; who is missing, doubtful, to look for on foot, and moved."""
    unplaced = never_placed(found)
    lines = [
        ("Positions", positions(found.animals)),
        ("Tested", tests_in_short(found)),
        ("Missing", missing_in_short(found)),
        ("Doubtful", single_records(found)),
        ("Not placed", f"{listed(unplaced)} {'was' if len(unplaced) == 1 else 'were'} heard, and in no flight well enough for a position." if unplaced else ""),
        ("On foot", fates(found)),
        ("Moved", movement(found)),
        ("Keep inside", "Exact positions are on this page, so it must not leave the office; \"Before you sign\" says what may." if found.sensitive else ""),
    ]
    return [(label, words) for label, words in lines if words]


def positions(animals: pd.DataFrame) -> str:
    """How many animals have a position, and how wide all positions are; no flight is picked out."""
    total, placed = animals["tag_id"].nunique(), animals[animals["status"].isin(PLACED)]
    if not total:
        return "No tag of an animal was listened to, so there is nothing to locate."
    named = placed["tag_id"].nunique()
    first = f"{named} of {counted(total, 'animal')} {'has' if named == 1 else 'have'} a position in at least one flight"
    if placed.empty:
        return f"{first}."
    radii = placed["error_radius_95_m"]
    if len(placed) == 1:
        return f"{first}; the 95 % radius of this one position is {two_figures(radii.max())} m."
    return f"{first}, {len(placed)} positions in all. Half of their 95 % radii are below {two_figures(radii.median())} m; the widest is {two_figures(radii.max())} m."


def tests_in_short(found: Found) -> str:
    """What beacons say of the radii, with the interval that so few leave, and how many fixes lie outside of what they tested."""
    if found.tests.empty:
        return f"Nothing tests these radii: {_why_untested(found)}."
    inside, places = int((found.tests["level_after"] <= 0.95).sum()), found.tests["place_id"].nunique()
    first = (f"{places} of {counted(len(found.beacons), 'beacon')} {'was' if places == 1 else 'were'} heard. The 95 % regions held {inside} of {counted(len(found.tests), 'beacon position')} "
             "that the model had not seen")
    if places == 1:
        return f"{first}; one beacon proves next to nothing."
    row = held_by_place(found.coverage)
    return f"{first}; counted by beacon that is {probability(row['share'])}, with a 95 % interval of {probability(row['low_95'])} to {probability(row['high_95'])}. {outside_sentence(found.reach)}".strip()


def held_by_place(coverage: pd.DataFrame) -> pd.Series:
    """The row of coverage on which the index rests: 95 % regions as they are used, every beacon counted once."""
    return coverage[(coverage["calibration"] == "after") & (coverage["nominal"] == 0.95) & (coverage["counted_by"] == tested.COUNTED_PLACES)].iloc[0]


def outside_sentence(reach: pd.DataFrame) -> str:
    """How many fixes of animals no beacon speaks for; "" where there is none. reach : rows of beacon_reach."""
    outside, fixes = (int(reach.iloc[-1][name]) for name in ("fixes_outside", "fixes")) if len(reach) else (0, 0)
    if not outside:
        return ""
    share = ", more than half," if 2 * outside > fixes else ""
    return f"{outside} of {counted(fixes, 'fix', 'fixes')} of animals{share} lie{'s' if outside == 1 else ''} outside of what the beacons tested: there the radii rest on the model alone."


def answers(found: Found) -> list[tuple[str, list[str]]]:
    """Question and paragraphs, in the order in which a supervisor asks."""
    return [
        ("Can I trust the positions, and where not?", trust(found)),
        ("How many beacons say so, and were they independent of the fit?", [independence(found)]),
        ("Which animals are missing, and did we really look there?", [words for words in (missing(found), silent_later(found), single_records(found), searched(found)) if words]),
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
    return [f"{_error_sentence(found.errors)} {_held_sentence(found.errors)}", f"{counts_reconciled(found.animals)} {tested.reach_sentence(found.reach)} {_not_in_the_model(found.blind_share, found.canopy)}"]


def counts_reconciled(animals: pd.DataFrame) -> str:
    """How searches, fixes and positions, whose numbers all stand on this page, come from each other; animals : rows of FIXES."""
    heard, placed = int(animals["best_latitude"].notna().sum()), int(animals["status"].isin(PLACED).sum())
    return (f"Of {counted(len(animals), 'search', 'searches')}, one animal in one flight each, {len(animals) - heard} gave nothing to locate and {heard} gave a fix, that is, something was heard and a region drawn; "
            f"{placed} of the {counted(heard, 'fix', 'fixes')} {'is a position' if placed == 1 else 'are positions'}.")


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
    row = held_by_place(found.coverage)
    return (f"{heard} Each was located by a model fitted without it and widened by what the others showed. Flights repeated over one beacon are not new beacons: counted as {counted(places, 'place')}, "
            f"the 95 % regions held {probability(row['share'])} of the truths, with a 95 % interval of {probability(row['low_95'])} to {probability(row['high_95'])}.")


# Animals missing, to look for on foot, moving

def missing(found: Found) -> str:
    """Who was never heard; without a register nobody can be missed."""
    if found.has_register:
        return never_heard(found.not_found, with_figures=True)
    unheard = f" {never_heard(found.not_found, with_figures=True)}" if len(found.not_found) else ""
    return f"There is no register, so every tag of the logs that is no beacon counts as an animal, and an animal that no log names cannot be missed.{unheard}"


def missing_in_short(found: Found) -> str:
    """Those never heard and those that fell silent, for the opening."""
    heard_of_all = "" if found.has_register and len(found.silent) else NOBODY_MISSING if found.has_register else NO_REGISTER
    return " ".join(words for words in (never_heard(found.not_found) if len(found.not_found) else heard_of_all, _silent_sentence(found.silent)) if words)


NOBODY_MISSING = "Every animal of the register was heard in some flight."
NO_REGISTER = "Without a register nobody can be missed."


def never_heard(not_found: pd.DataFrame, with_figures: bool = False) -> str:
    """Who was never heard, with what that says, by how probably they would have been heard; not_found : rows of not_found."""
    if not_found.empty:
        return NOBODY_MISSING
    silent, said = not_found[not_found["class"] == "not heard"], []
    for words, rows in silent.groupby(silent["adequacy_cautious"].map(_had_it_been_there), sort=False):
        one = len(rows) == 1
        it, its, was = ("it", "its tag is", "was") if one else ("they", "their tags are", "were")
        figures = f" The probability of hearing {'it' if one else 'them'}, wherever in the area it was looked for, is {listed(map(stated_probability, rows['adequacy_cautious']))}; the figure is cautious, {located.CAUTIOUS}." if with_figures else ""
        said.append(f"{listed(rows['tag_id'])} {was} heard in no flight. {words.format(names='it' if one else 'each of them', them='it' if one else 'them', it=it, its=its, are='is' if one else 'are', silence='its silence' if one else 'their silence')}{figures}")
    unsought = list(not_found.loc[not_found["class"] == "not searched", "tag_id"])
    said += [located.NO_PROOF_OF_ABSENCE] if len(silent) and with_figures else []
    return " ".join([*said, f"Not listened to at all: {listed(unsought)}. That is not an absence."] if unsought else said)


def _had_it_been_there(probability_heard: float) -> str:
    """What the silence of a tag says, by the probability that it would have been heard; the limits are our choice."""
    if pd.isna(probability_heard):
        return "How probably {it} would have been heard is not known, so {silence} says nothing."
    if probability_heard >= 0.99:
        return "Had {names} been in the area with a working tag, {it} would almost surely have been heard: {it} {are} elsewhere or {its} silent."
    if probability_heard >= 0.9:
        return "Had {names} been in the area with a working tag, {it} would very probably have been heard: {it} {are} likely elsewhere or {its} silent."
    if probability_heard >= 0.5:
        return "Had {names} been in the area with a working tag, {it} would more likely than not have been heard; {silence} alone says little."
    return "The area was hardly searched for {them}, so that {silence} says next to nothing."


def _silent_sentence(silent: pd.DataFrame) -> str:
    """Those that were heard and then fell silent, each by name; silent : as silent_since gives it."""
    said = []
    for row in silent.itertuples():
        surely = "almost surely" if row.probability >= 0.99 else "very probably"
        said.append(f"{row.tag_id} was heard in {counted(int(row.flights_heard), 'flight')}, last on {row.last_heard_utc:%Y-%m-%d}, and in none of the {int(row.flights_silent)} flights since that listened to it; the best of them alone would {surely} "
                    "have heard it: it is elsewhere or its tag is silent.")
    return " ".join(said)


def silent_later(found: Found) -> str:
    """Those that fell silent, with the rule and its reason."""
    if found.silent.empty:
        return ""
    figures = listed(f"{row.tag_id} {stated_probability(row.probability)}" for row in found.silent.itertuples())
    return f"{_silent_sentence(found.silent)} {SILENT_RULE} The probability is: {figures}."


def single_records(found: Found) -> str:
    """Animals that count as heard by single records, which may be false."""
    listened = found.animals.groupby("tag_id")["records_listened"].sum()
    said = [f"{tag_id} was heard in {'one record' if count == 1 else f'{count} single records'} only, of {int(listened[tag_id]):,d} that listened to it; {'it' if count == 1 else 'they'} may be false."
            for tag_id, count in found.single.items()]
    return " ".join(said)


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
    # the note is the card of the tag: class, place, what to search, what else it could be
    return " ".join(words for words in (fates(found), why, first["note"], _urgency(first), proof) if words)


def _urgency(first) -> str:
    """How soon to look, beside the other class that calls for a walk."""
    rank = {"Retrieve": "the more urgent", "Check soon": "the less urgent"}.get(first["class"])
    return f"Of the two classes that call for a walk, {first['class']} is {rank}." if rank else ""


def movement(found: Found) -> str:
    """How many animals moved for certain, and what could not have been seen."""
    tested_steps = found.steps[found.steps["verdict"].isin(["moved", "not shown"])] if len(found.steps) else found.steps
    if tested_steps.empty:
        why = "There was one flight" if len(found.flights) == 1 else "No animal has two usable positions"
        return f"{why}, so nothing can be said of movement between flights."
    moved = tested_steps.loc[tested_steps["verdict"] == "moved", "tag_id"].nunique()
    return (f"{moved} of {counted(tested_steps['tag_id'].nunique(), 'animal')} with two positions or more moved farther than the error of the positions allows; in half of the comparisons of one position with another, a movement below "
            f"{two_figures(tested_steps['minimum_detectable_m'].median())} m would often have been missed.")


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
    single = f", and on such hits rest{'s' if len(found.single) == 1 else ''} {listed(found.single)}" if found.single else ""
    words = [f"{counted(doubted, 'search', 'searches')} of animals gave hits that are doubted by rule." if doubted else f"No rule of doubt caught a hit of an animal. A single hit may be false all the same{single}."]
    for row in found.false.itertuples():
        placed = found.decoys.loc[found.decoys["status"].isin(PLACED), "tag_id"].nunique()
        listened = f"Of {counted(int(row.decoys), 'decoy')}, known to be switched off, {int(row.decoys_heard) or 'none'} seemed to be heard"
        words.append(f"{listened}, in {int(row.records_heard)} of {int(row.records_listened):,d} usable records that listened to them{_with_unusable(found, int(row.records_listened))}, and {placed or 'none'} got a position." if row.decoys_heard else
                     f"{listened} in {int(row.records_listened):,d} usable records that listened to them{_with_unusable(found, int(row.records_listened))}.")
    return words


def _with_unusable(found: Found, usable: int) -> str:
    """The other count of the same records, which the messages give."""
    every = int(found.tags_heard.loc[found.tags_heard["role"] == "decoy", "records_listened"].sum())
    return f" ({every:,d} with those without a usable position, as the messages count them)" if every > usable else ""


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
        return f"Permits are named under \"Before you sign\". {gentle}"
    final = " The status says final; it should not, until they are, and a message marked look says so." if found.status == "final" else ""
    return f"Permits not recorded in the survey file: {listed(unnamed)}.{final} Whether the work was legal is for the authority, the licensed pilot and the permit holder to say. {gentle}"


def leaving(found: Found) -> str:
    """Whether the page may be shared."""
    if found.sensitive:
        return "No: exact positions are inside, and a campaign counts as sensitive unless its survey file says otherwise. Generalise to a grid before anything is shared, and never by random shifts. Of people on foot, those who look for a tag take its circle and its printed section, and nothing else."
    return "Exact positions and flight tracks are inside. The survey file does not call them sensitive; ask the permit holder before sharing."


# What comes next

def never_placed(found: Found) -> list[str]:
    """Animals that were heard, and in no flight well enough for a position; those heard in single records only are told apart."""
    heard, placed = (set(found.animals.loc[rows, "tag_id"]) for rows in (found.animals["status"].isin(["several places", "area only", "heard once"]), found.animals["status"].isin(PLACED)))
    return sorted(heard - placed - set(found.single))


def next_flight(found: Found) -> str:
    """What another flight is worth most for."""
    silent = [*(found.not_found["tag_id"] if len(found.not_found) else []), *found.silent["tag_id"], *(f"{tag_id}, {_single_words(count)}" for tag_id, count in found.single.items())]
    unplaced, best = never_placed(found), located.best_per_animal(found.animals)
    if not found.animals["records_heard"].gt(0).any():
        return f"Nothing was heard of any animal. Before another flight, test the receiver and its settings on a tag at a known place. {PILOT_DECIDES}"
    others = f" Not found or silent: {'; '.join(silent)}." if silent else ""
    if unplaced:
        return f"Pass closer, and on more than one side, to what was heard and never placed: {listed(unplaced)}.{others}{_block_sentence(found)} {PILOT_DECIDES}"
    if best.empty:
        return f"Nothing that was heard is believed enough to be flown to. {PILOT_DECIDES}"
    widest = best.loc[best["error_radius_95_m"].idxmax()]
    also = f"those not found or silent ({'; '.join(silent)}) and for " if silent else ""
    return (f"Every animal that was heard for certain has a position in some flight. Another flight is worth most for {also}the widest regions, first {widest['tag_id']} "
            f"(95 % radius {two_figures(widest['error_radius_95_m'])} m).{_block_sentence(found)} {PILOT_DECIDES}")


def _block_sentence(found: Found) -> str:
    """The block that tells most of tags not found or badly placed, where one stands out."""
    if found.candidates.empty or not found.candidates.iloc[0]["score"] >= WORTH_FLYING:
        return ""
    best = found.candidates.iloc[0]
    return f" Of {counted(len(found.candidates), 'candidate flight')}, block {best['name']} tells most of the tags not found or badly placed; the map is in the localisation report."


def _single_words(count: int) -> str:
    return "one record only, which may be false" if count == 1 else f"{count} single records only, which may be false"


def next_steps(found: Found) -> list[str]:
    """At most five lines, the most urgent first."""
    never, unsought = (list(found.not_found.loc[found.not_found["class"] == name, "tag_id"]) if len(found.not_found) else [] for name in ("not heard", "not searched"))
    stops, looks = (int((found.messages["severity"] == severity).sum()) for severity in ("stop", "look"))
    steps = [
        _walk_step(found.walk),
        _messages_step(stops, looks) if stops else "",
        f"Search for {listed(f'{row.tag_id}, silent since {row.last_heard_utc:%Y-%m-%d}' for row in found.silent.itertuples())}: listen round the last position and beyond the area; ask for the battery's age." if len(found.silent) else "",
        f"Fly again for {listed(never_placed(found))}: heard, and in no flight well enough for a position." if never_placed(found) else "",
        f"Listen for {listed(unsought)}, which no usable record did." if unsought else "",
        f"Listen again for {listed(f'{tag_id} ({_single_words(count)})' for tag_id, count in found.single.items())} before anything rests on that." if found.single else "",
        f"Decide on {listed(never)}: fly wider, ask for the battery's age, or keep listening." if never else "",
        _beacon_step(found),
        _messages_step(stops, looks) if looks and not stops else "",
    ]
    return [step for step in steps if step][:5]


def _walk_step(walk: pd.DataFrame) -> str:
    if walk.empty:
        return ""
    circles = int(walk["easting_m"].notna().sum())
    if not circles:
        return f"Look for {listed(walk['tag_id'])} on foot, as the localisation report says; there is no position to draw a circle round."
    return f"Look for {listed(walk['tag_id'])} on foot, with the {'circle' if circles == 1 else 'circles'} and the cautions of the localisation report (tables/search_areas.gpx)."


def _messages_step(stop: int, look: int) -> str:
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
