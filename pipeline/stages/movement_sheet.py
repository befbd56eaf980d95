"""The map of the movement report: every animal's positions, numbered in order of time, with their regions."""

from __future__ import annotations

from pipeline.figures import MapSheet
from pipeline.stages.ground_files import read_ground
from pipeline.wording import two_figures
from pipeline.stages.movement_summaries import MovementTables
from pipeline.stages.workspace import Workspace


def movement_sheet(workspace: Workspace, tables: MovementTables) -> MapSheet:
    """Positions and calibrated regions of the usable fixes; the study area and relief where there are any."""
    ground, regions = read_ground(workspace), workspace.read_work("regions")
    used = set(zip(tables.places["tag_id"], tables.places["flight_id"]))
    shown = regions[[pair in used for pair in zip(regions["tag_id"], regions["flight_id"])]]
    sheet = MapSheet(ground.projection, alt=_alt(tables)).backdrop(ground.terrain).study_area(ground.study_area)
    if not len(tables.places):  # a sheet needs something on it
        return sheet.track(workspace.read_work("track"))
    marks = fix_marks(tables)
    return sheet.regions(shown).fixes(marks).retrace_dates(marks.assign(words=date_words(tables)))


def fix_marks(tables: MovementTables):
    """The crosses: label "H07 2", and date, flight and radius in words."""
    places = tables.places
    totals = places["tag_id"].map(places.groupby("tag_id").size())
    notes = [f"position {number} of {total}, {time:%Y-%m-%d %H:%M} UTC, flight {flight}, 95 % radius {two_figures(radius)} m"
             for number, total, time, flight, radius in zip(places["number"], totals, places["time_utc"], places["flight_id"], places["error_radius_95_m"])]
    return places.assign(label=places["tag_id"].astype(str) + " " + places["number"].astype(str), note=notes)


def date_words(tables: MovementTables) -> list[str]:
    """What is said of each position when the dates are gone through: number, date, flight, status, radius, days since the one before."""
    places = tables.places
    totals, days = places.groupby("tag_id")["number"].transform("size"), places.groupby("tag_id")["time_utc"].diff().dt.total_seconds() / 86400.0
    status = ["several places" if several else "located" for several in places["several_places"]]
    return [f"{tag}, position {number} of {total}: {time:%Y-%m-%d %H:%M} UTC, flight {flight}, {what}, 95 % radius {two_figures(radius)} m" + (f", {since:.1f} days after the one before." if since == since else ".")
            for tag, number, total, time, flight, what, radius, since in zip(places["tag_id"], places["number"], totals, places["time_utc"], places["flight_id"], status, places["error_radius_95_m"], days)]


def _alt(tables: MovementTables) -> str:
    if not len(tables.places):
        return "The tracks flown. No animal has a position good enough to be used."
    animals = tables.places["tag_id"].nunique()
    return f"{len(tables.places)} positions of {animals} animals, numbered in order of time, with the regions that hold the animal with probability 0.5, 0.8 and 0.95."
