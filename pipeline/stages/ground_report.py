"""What the localisation report shows and says of fixes from the ground crew alone."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.location import PLACED
from pipeline.report import Book
from pipeline.stages.ground_fixes import GROUND_FIXES, GROUND_TESTS
from pipeline.stages.workspace import Workspace
from pipeline.wording import as_given, counted, listed, two_figures


def ground_part(workspace: Workspace, book: Book, fixes: pd.DataFrame):
    """The table of ground fixes with its words; nothing where there are none. fixes : those of the flights."""
    ground = workspace.read_table("ground_fixes", GROUND_FIXES)
    if ground.empty:
        return book.words(None)
    tests, method = workspace.read_table("ground_fix_tests", GROUND_TESTS), workspace.read_json("ground_method")
    frame = ground.assign(evidence=[evidence_words(row.bearings, row.sightings) for row in ground.itertuples()], place=[place_words(*pair) for pair in zip(ground["easting_m"], ground["northing_m"])])
    table = book.table("ground_fixes", frame, "Fixes from bearings and sightings that were taken outside flights.", {
        "tag_id": ("Tag", "", "text"), "session_start_utc": ("Session from", "UTC", "time"), "evidence": ("Evidence", "", "text"), "status": ("Status", "", "text"), "place": ("East, north", "m, survey grid", as_given),
        "error_radius_50_m": ("50 % radius", "m", two_figures), "error_radius_95_m": ("95 % radius", "m", two_figures), "region_95_ha": ("95 % region", "ha", two_figures)},
        saved_as="ground_fixes.csv", tag_column="tag_id", most_rows=400,
        notes="The reason of every status, latitude, longitude, ellipse, the end of the session, crossing angle and misfit are in the file. These fixes are in no row of fixes.csv.")
    return book.together(book.words(ground_heading(ground), *ground_paragraphs(ground, fixes, tests, method)), table)


def use_words(taken: pd.DataFrame) -> list[str]:
    """What became of each bearing and sighting, for the table of evidence."""
    in_session = (taken["session_id"].notna() & (taken["session_id"] != "")).to_numpy(bool)
    return list(np.select([in_session, taken["used"].to_numpy(bool)], ["in a ground fix", "in the fix"], "not used"))


def evidence_words(bearings: int, sightings: int) -> str:
    """"3 bearings, 1 sighting"."""
    return ", ".join(counted(count, noun) for count, noun in ((bearings, "bearing"), (sightings, "sighting")) if count)


def place_words(easting_m: float, northing_m: float) -> str:
    """A position in whole metres, a dash where none is stated."""
    return f"{easting_m:.0f}, {northing_m:.0f}".replace("-", "−") if np.isfinite(easting_m) else "–"


def ground_heading(ground: pd.DataFrame) -> str:
    """How many sessions ended with a position."""
    placed = int(ground["status"].isin(PLACED).sum())
    return f"The ground crew alone placed a tag in {placed} of {counted(len(ground), 'session')}"


def ground_paragraphs(ground: pd.DataFrame, fixes: pd.DataFrame, tests: pd.DataFrame, method: dict) -> list[str]:
    """What a session is, what its region rests on, what tests it, and whom no flight heard."""
    session = (f"A session holds the bearings and sightings of one tag that were taken by hand with no gap of more than {method['gap_min']:g} minutes between them, while no flight listened for the tag and not within ten minutes of one that did. "
               f"Bearings are weighed by the von Mises distribution and sightings by the normal one, over the ground within {method['reach_m']:,.0f} m of where they were taken.")
    rests = ("A position needs two bearings that cross, or a sighting; the gates on the region are those of the flights. The widening found on beacons concerns strengths and touches no bearing or sighting: these regions rest on the errors stated for each"
             f"{_unstated(method)}. Where the parts of a session contradict each other, its region is drawn with all errors scaled up until they agree, and no position is stated.")
    return [words for words in (session, rests, words_of_tests(tests), unheard_words(ground, fixes)) if words]


def _unstated(method: dict) -> str:
    if not method["unstated"]:
        return ""
    source = f"found on {counted(method['from_beacons'], 'bearing')} to beacons" if method["from_beacons"] else "as is common practice"
    return f", and {counted(method['unstated'], 'bearing')} without one {'was' if method['unstated'] == 1 else 'were'} given a standard deviation of {two_figures(method['usual_sd_deg'])} degrees, {source}"


def words_of_tests(tests: pd.DataFrame) -> str:
    """What bearings to beacons say of such regions."""
    if tests.empty:
        return "No beacon was found by bearings alone, so how often these regions hold the truth is tested by nothing."
    return (f"Beacons located in the same way, by bearings alone: the 95 % region held {int(tests['inside_95'].sum())} of {counted(len(tests), 'session')}, with a median error of "
            f"{two_figures(tests['error_m'].median())} m.")


def unheard_words(ground: pd.DataFrame, fixes: pd.DataFrame) -> str:
    """Tags placed from the ground that no flight heard."""
    placed = ground.loc[ground["status"].isin(PLACED), "tag_id"]
    heard = set(fixes.loc[fixes["records_heard"].fillna(0) > 0, "tag_id"])
    unheard = sorted(set(placed) - heard)
    return f"No flight heard {listed(unheard)}: what is said below of animals not found speaks of the flights alone." if unheard else ""
