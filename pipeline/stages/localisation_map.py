"""The map that opens the localisation report: every animal where it was placed last, as on the index, with its regions; its best fix stands in the words on it."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd

from pipeline.figures import MapSheet
from pipeline.stages import localisation_words as say
from pipeline.stages.evidence_frames import REGION_FRAMES
from pipeline.stages.ground_fixes import GROUND_FIXES
from pipeline.stages.newest_places import newest_places, place_marks
from pipeline.stages.place_words import dated_place, found_at, latest_places, since_then
from pipeline.stages.search_circle import MAP_NOTE
from pipeline.stages.silences import Silence, fell_silent
from pipeline.wording import as_printed_m, counted, two_figures


def localisation_map(workspace, book, ground, animals: pd.DataFrame, tags: pd.DataFrame, *, tests: pd.DataFrame, walk: pd.DataFrame, found: pd.DataFrame, silent: dict[str, Silence], doubts: dict[str, str]):
    """The map with its caption.

    ground : of read_ground. animals : rows of FIXES. tests : beacon_tests. walk : the retrieval list. found : see found_by_eye. silent : of silences. doubts : tag -> what its hits rest on.
    """
    flights, walked = workspace.read_work("flights"), walk[walk["easting_m"].notna()]  # a tag may call for a walk although no flight gave a place
    newest = newest_places(animals, workspace.read_table("ground_fixes", GROUND_FIXES))
    marks, last_day = place_marks(newest[~newest["tag_id"].isin([*walked["tag_id"], *found["tag_id"]])], flights)
    alt = (f"Map of {counted(len(marks), 'animal')} at the newest position with its 50, 80 and 95 % regions, {counted(len(walk), 'tag')} to be looked for, {counted(len(found), 'tag')} found on the ground, "
           f"{counted(tests['place_id'].nunique(), 'beacon')} and {counted(len(flights), 'track')}.")
    sheet = MapSheet(ground.projection, alt=alt).backdrop(ground.terrain).study_area(ground.study_area).track(workspace.read_work("track"))
    sheet = sheet.regions(drawn_regions(workspace.read_work("regions"), workspace.read_work("ground_regions"), marks, walked))
    sheet = sheet.fixes(marks.assign(note=mark_notes(marks, animals, silent)), newest=True)
    if len(tests):
        sheet = sheet.beacons(tests.drop_duplicates("place_id")[["tag_id", "true_easting_m", "true_northing_m"]])
    sheet = sheet.retrace_flights(workspace.read_work("records"), workspace.read_table("region_frames", REGION_FRAMES), workspace.read_work("region_frames"), flight_places(animals))
    if len(walk):
        sheet = sheet.fetch(walk[["tag_id", "easting_m", "northing_m"]].assign(search_radius_m=walk["error_radius_95_m"].map(as_printed_m), note=_cards(walk, animals)))
    if len(found):
        sheet = sheet.found(found.assign(note=[found_at(row) for row in found.itertuples()]))
    sheet = sheet.without_a_place(say.unplaced_words(animals, tags.loc[tags["role"] == "decoy", "tag_id"], doubts))
    return book.map("localisation_map", sheet, " ".join(words for words in (
        "Each animal at its newest position, with the regions that hold it with probability 0.50, 0.80 and 0.95. Type a tag to see it alone and to read of its best fix; while a flight is gone over, the map shows that flight.",
        f"A date beside a name says that the position is older than the last day of flights, {last_day}." if marks["old"].any() else "", f"A tag to look for on foot stands where the walk goes. {MAP_NOTE}" if len(walked) else "",
        f"Coordinates are in the {ground.projection.name}.") if words))


def drawn_regions(regions, ground_regions, marks: pd.DataFrame, walked: pd.DataFrame) -> gpd.GeoDataFrame:
    """The regions that belong to what is marked. regions, ground_regions : of flights and of sessions of the ground crew. marks : tag_id, position_from. walked : the retrieval list, with places."""
    both = [regions, ground_regions.rename(columns={"session_id": "flight_id"})]
    every = pd.concat([rows for rows in both if len(rows)] or both[:1], ignore_index=True)
    wanted = {*zip(marks["tag_id"], marks["position_from"]), *zip(walked["tag_id"], walked["flight_id"])}
    return every[np.array([pair in wanted for pair in zip(every["tag_id"], every["flight_id"])], bool)]


def mark_notes(marks: pd.DataFrame, animals: pd.DataFrame, silent: dict[str, Silence]) -> list[str]:
    """What is known of the place that is drawn, of the best fix where that is another, and since when the animal is silent. marks : of place_marks. animals : rows of FIXES."""
    flown = {(row.tag_id, row.flight_id): row for row in animals.itertuples()}
    best = {row.tag_id: row for row in say.best_per_animal(animals).itertuples()}
    gone = fell_silent(silent)
    notes = []
    for mark in marks.itertuples():
        row, other = flown.get((mark.tag_id, mark.position_from)), best.get(mark.tag_id)
        said = [mark.note if row is None else f"{row.time_end_utc:%Y-%m-%d}, flight {row.flight_id}: {row.status}, 95 % radius {two_figures(row.error_radius_95_m)} m, heard in {row.records_heard} of {row.records_listened} records"]
        if mark.tag_id in gone:
            said.append(f"{gone[mark.tag_id].since}, see its section for what to do")
        if other is not None and other.flight_id != mark.position_from:
            said.append(f"not drawn: its best fix, {dated_place(other)}, 95 % radius {two_figures(other.error_radius_95_m)} m")
        notes.append("; ".join(said))
    return notes


def _cards(walk: pd.DataFrame, animals: pd.DataFrame) -> list[str]:
    """The card of each tag to look for, and where it was placed since."""
    latest = latest_places(animals)
    flown = {(row.tag_id, row.flight_id): row for row in animals.itertuples()}
    since = [since_then(row, latest.get(row.tag_id)) if row is not None else "" for row in (flown.get(pair) for pair in zip(walk["tag_id"], walk["flight_id"]))]
    return [f"{card} {words[:1].upper()}{words[1:]}.".strip() if words else card for card, words in zip(walk["note"].fillna(""), since)]


def flight_places(animals: pd.DataFrame) -> dict[tuple[str, str], str]:
    """(tag_id, flight_id) -> the place that each flight gave, with its date, for those who go over it. animals : rows of FIXES."""
    said = {}
    for row in animals.itertuples():
        place = dated_place(row)
        said[row.tag_id, row.flight_id] = (f"its place of {place.replace(f', flight {row.flight_id}', '')}, within {two_figures(row.error_radius_95_m)} m of it with probability 0.95" if place else
                                           f"flown on {row.time_end_utc:%Y-%m-%d}, it gave no position" if pd.notna(row.time_end_utc) else "")
    return said
