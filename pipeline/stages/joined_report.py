"""What the localisation report shows and says of flights joined at the survey file's request."""

from __future__ import annotations

import pandas as pd

from pipeline.calibration.joining import BETWEEN
from pipeline.location import PLACED
from pipeline.report import Book
from pipeline.stages.ground_report import place_words
from pipeline.stages.joined_fixes import DISAGREE, JOINED_AGREEMENT, JOINED_FIXES, JOINED_TESTS
from pipeline.stages.workspace import Workspace
from pipeline.wording import as_given, counted, two_figures

CAUTION = ("A joined fix presumes that the animal did not move between the flights. That is said by the survey file and is no finding: a tag that moved less than the flights can show is placed between its places, with a region that is too small.")
TOGETHER = "together"


def joined_part(workspace: Workspace, book: Book, fixes: pd.DataFrame):
    """Joined fixes beside those of their single flights, and whether the flights agree; nothing where none is asked for. fixes : those of the flights."""
    joined = workspace.read_table("joined_fixes", JOINED_FIXES)
    if joined.empty:
        return book.words(None)
    agreement, tests = workspace.read_table("joined_agreement", JOINED_AGREEMENT), workspace.read_table("joined_fix_tests", JOINED_TESTS)
    beside = comparison(joined, fixes)
    frame = beside.assign(heard=[f"{row.records_heard} of {row.records_listened}" for row in beside.itertuples()], place=[place_words(*pair) for pair in zip(beside["easting_m"], beside["northing_m"])])
    table = book.table("joined_comparison", frame, "Flights that were joined, each alone and together.", {
        "tag_id": ("Tag", "", "text"), "flight_id": ("Flight", "", "text"), "status": ("Status", "", "text"), "place": ("East, north", "m, survey grid", as_given), "error_radius_50_m": ("50 % radius", "m", two_figures),
        "error_radius_95_m": ("95 % radius", "m", two_figures), "region_95_ha": ("95 % region", "ha", two_figures), "heard": ("Heard", "records", as_given)}, tag_column="tag_id", most_rows=400,
        notes="The joined fixes with latitude, longitude, ellipse and the reason of their status are in joined_fixes.csv; fixes.csv keeps the single flights.")
    words = book.words(joined_heading(joined), CAUTION, *(agreement_words(row, agreement) for row in joined.itertuples()), beacon_words(tests))
    return book.together(words, table, agreement_table(book, agreement))


def agreement_table(book: Book, agreement: pd.DataFrame):
    """The tests of agreement; nothing where no flight heard a tag."""
    if agreement.empty:
        return book.words(None)
    frame = agreement.assign(compared=[f"{row.from_flight_id} and {row.to_flight_id}" if row.test == "distance" else f"silence of {row.to_flight_id}" for row in agreement.itertuples()])
    return book.table("joined_agreement", frame, "Whether joined flights agree on one place.", {
        "tag_id": ("Tag", "", "text"), "flight_ids": ("Joined", "", "text"), "compared": ("Compared", "", "text"), "distance_m": ("Apart", "m", two_figures), "detectable_m": ("Would show", "m, 8 of 10 times", two_figures),
        "p": ("p", "", p_words), "p_adjusted": ("p adjusted", "Holm", p_words)}, saved_as="joined_agreement.csv", tag_column="tag_id",
        notes="Two flights that heard the tag: no displacement between their fixes, tested as in the movement report. A flight that did not: probability of its silence where the others put the tag.")


def p_words(p: float) -> str:
    """Three decimals, and never 0."""
    return "under 0.001" if p < 0.001 else f"{p:.3f}"


def comparison(joined: pd.DataFrame, fixes: pd.DataFrame) -> pd.DataFrame:
    """Rows of fixes.csv for the flights of each joined fix, followed by the joined one, whose flight_id says "together"."""
    parts = []
    for number, row in enumerate(joined.itertuples()):
        flights = row.flight_ids.split(BETWEEN)
        single = fixes[(fixes["tag_id"] == row.tag_id) & fixes["flight_id"].isin(flights)]
        single = single.assign(order=single["flight_id"].map(flights.index)).sort_values("order", kind="stable").drop(columns="order")
        whole = joined.iloc[[number]].assign(flight_id=TOGETHER if len(joined[joined["tag_id"] == row.tag_id]) == 1 else f"{row.flight_ids}, {TOGETHER}")
        parts += [single, whole]
    shared = [name for name in fixes.columns if name in parts[-1].columns]
    return pd.concat([part[shared] for part in parts], ignore_index=True)


def joined_heading(joined: pd.DataFrame) -> str:
    """How many joined fixes ended with a position."""
    placed = int(joined["status"].isin(PLACED).sum())
    return f"{placed} of {counted(len(joined), 'joined fix', 'joined fixes')} ended with a position"


def agreement_words(row, agreement: pd.DataFrame) -> str:
    """What the flights of one joined fix say of each other. row : of JOINED_FIXES."""
    named = f"{row.tag_id} ({row.flight_ids})"
    own = agreement[(agreement["tag_id"] == row.tag_id) & (agreement["flight_ids"] == row.flight_ids)]
    if own.empty:
        return f"{named}: no flight heard it, so there is nothing to join."
    p = f"p {p_words(row.agreement_p)}"
    distances = own[own["test"] == "distance"]
    apart = f", their fixes up to {two_figures(row.apart_m)} m apart" if len(distances) else ""
    if row.agreement == DISAGREE:
        return f"{named}: the flights contradict one place ({p}){apart}. No position is stated; the fixes of the single flights stand."
    shown = f" A move of {two_figures(distances['detectable_m'].max())} m would have shown in 8 of 10 cases; shorter ones may hide." if len(distances) else " One flight alone heard it, so that a move between them would hardly have shown."
    return f"{named}: nothing speaks against one place ({p}){apart}.{shown}"


def beacon_words(tests: pd.DataFrame) -> str:
    """What beacons joined over the same flights say of such regions."""
    if tests.empty:
        return "The regions carry the widening found on single flights. No beacon was heard in these flights at one place, so nothing tests it for joined ones."
    better = int((tests["error_radius_95_m"] < tests["single_radius_95_m"]).sum())
    return (f"The regions carry the widening found on single flights. Beacons joined over the same flights, each by a model that had not seen it: the 95 % region held {int(tests['inside_95'].sum())} of {len(tests)}; "
            f"in {better} the 95 % radius was smaller than that of the best single flight.")
