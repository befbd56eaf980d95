"""The map of the movement report: every animal's positions, numbered in order of time, with their regions."""

from __future__ import annotations

from pipeline.figures import MapSheet
from pipeline.geodesy import Projection
from pipeline.stages.movement_words import two_figures
from pipeline.stages.movement_summaries import MovementTables, optional
from pipeline.stages.workspace import Workspace


def movement_sheet(workspace: Workspace, tables: MovementTables) -> MapSheet:
    """Positions and calibrated regions of the usable fixes; the study area and relief where there are any."""
    regions = workspace.read_work("regions")
    used = set(zip(tables.places["tag_id"], tables.places["flight_id"]))
    shown = regions[[pair in used for pair in zip(regions["tag_id"], regions["flight_id"])]]
    sheet = MapSheet(Projection(regions.crs, regions.crs.name), alt=_alt(tables))
    area = optional(lambda: workspace.read_work("study_area"))
    return sheet.study_area(area).regions(shown).fixes(fix_marks(tables))


def fix_marks(tables: MovementTables):
    """The crosses: label "H07 2", and date, flight and radius in words."""
    places = tables.places
    totals = places["tag_id"].map(places.groupby("tag_id").size())
    notes = [f"position {number} of {total}, {time:%Y-%m-%d %H:%M} UTC, flight {flight}, 95 % radius {two_figures(radius)} m"
             for number, total, time, flight, radius in zip(places["number"], totals, places["time_utc"], places["flight_id"], places["error_radius_95_m"])]
    return places.assign(label=places["tag_id"] + " " + places["number"].astype(str), note=notes)


def _alt(tables: MovementTables) -> str:
    animals = tables.places["tag_id"].nunique()
    return f"{len(tables.places)} positions of {animals} animals, numbered in order of time, with the regions that hold the animal with probability 0.5, 0.8 and 0.95."
