"""Whether the positions can be trusted, where not, and what that was tested on: sentences of the index page."""

from __future__ import annotations

import pandas as pd

from pipeline.calibration import error_summary
from pipeline.location import FIX_STATUSES, PLACED
from pipeline.stages import calibration_words as tested
from pipeline.stages.calibration_numbers import probability
from pipeline.stages.index_found import FEWEST_FOR_NINE_IN_TEN, Found
from pipeline.wording import counted, rounded_up, two_figures


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
    return f"{first}, {len(placed)} positions in all. Half of their 95 % radii are below {rounded_up(radii.median())} m; the widest is {two_figures(radii.max())} m."


def tests_in_short(found: Found) -> str:
    """What beacons say of the radii, with the interval that so few leave, and how many fixes lie outside of what they tested."""
    if found.tests.empty:
        return f"Nothing tests these radii: {why_untested(found)}."
    inside, tests, places = int((found.tests["level_after"] <= 0.95).sum()), len(found.tests), found.tests["place_id"].nunique()
    heard = f"{places} of {counted(len(found.beacons), 'beacon')} {'was' if places == 1 else 'were'} heard"
    held = f"{inside} of {counted(tests, 'test position')} lay inside {'its' if tests == 1 else 'their'} 95 % region, {tests - inside} outside"
    if places == 1:
        return f"{heard}; {held}. One beacon proves next to nothing."
    row, median = held_by_place(found.coverage), two_figures(error_summary(found.errors)["median_m"])
    return (f"{heard}, each located by a model that had not seen it: median error {median} m; {held}. So few beacons leave it open whether {100 * row['low_95']:.0f} or {100 * row['high_95']:.0f} of 100 such regions hold the truth (95 % interval, every beacon counted once). "
            f"{outside_sentence(found.reach)}").strip()


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


def trust(found: Found) -> list[str]:
    """The errors measured on beacons, and what the beacons do not speak for."""
    if found.errors.empty:
        return [f"That is not known: {why_untested(found)}, so no error was measured. The regions are as wide as simulations of such models ask for, and untested here."]
    return [f"{_error_sentence(found.errors)} {_held_sentence(found.errors)}", f"{counts_reconciled(found.animals)} {tested.reach_sentence(found.reach)} {_not_in_the_model(found.blind_share, found.canopy)}"]


def counts_reconciled(animals: pd.DataFrame) -> str:
    """How searches, fixes and positions, whose numbers all stand on this page, come from each other; animals : rows of FIXES."""
    fixes, placed = int(animals["status"].isin(FIX_STATUSES).sum()), int(animals["status"].isin(PLACED).sum())
    doubted = int((animals["status"].isin(["heard once", "suspect"])).sum())
    hits = f", {doubted} {'a hit' if doubted == 1 else 'hits'} that may be false," if doubted else ""
    return (f"Of {counted(len(animals), 'search', 'searches')}, one animal in one flight each, {len(animals) - fixes - doubted} gave nothing to locate{hits} and {fixes} gave a fix, that is, it was heard and a region drawn; "
            f"{placed} of the {counted(fixes, 'fix', 'fixes')} {'is a position' if placed == 1 else 'are positions'}.")


def _not_in_the_model(blind_share: float | None, canopy: bool = False) -> str:
    """What of the ground the signal model knows nothing of; blind_share : of the paths of a flight that lie beyond the terrain model, None without one."""
    plants = "loss in vegetation is in the model by the canopy heights given." if canopy else "loss in vegetation is not in the model, and no register names the habitat."
    if blind_share is None:
        return f"No terrain model was given, so hills are not in the model; {plants}"
    beyond = f", but for up to {blind_share:.2f} of the paths of a flight, which lie beyond the terrain model and count as open" if blind_share > 0.005 else ""
    return f"Loss behind hills is in the model{beyond}; {plants}"


def why_untested(found: Found) -> str:
    count = found.beacons["tag_id"].nunique()
    return "no beacon was put out" if not count else "the one beacon was not heard" if count == 1 else f"none of the {count} beacons was heard"


def _error_sentence(errors: pd.DataFrame) -> str:
    whole, largest = error_summary(errors), two_figures(errors["error_m"].max())
    if whole["n"] == 1:
        return f"One beacon fix was tested; its error was {largest} m."
    rest = f"nine in ten errors were below {rounded_up(whole['p90_m'])} m" if whole["n"] >= FEWEST_FOR_NINE_IN_TEN else f"the largest of {whole['n']} was {largest} m"
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
        return f"None: {why_untested(found)}."
    heard = f"{places} of {counted(len(found.beacons), 'beacon')} {'was' if places == 1 else 'were'} heard, in {counted(len(found.tests), 'fix', 'fixes')}."
    if places == 1:
        return f"{heard} It was located by a model that never saw it and so rests on its priors, with a region as wide as simulations ask for. One beacon proves next to nothing."
    row = held_by_place(found.coverage)
    return (f"{heard} Each was located by a model fitted without it and widened by what the others showed. Flights repeated over one beacon are not new beacons: counted as {counted(places, 'place')}, "
            f"the 95 % regions held {probability(row['share'])} of the truths, with a 95 % interval of {probability(row['low_95'])} to {probability(row['high_95'])}.")
