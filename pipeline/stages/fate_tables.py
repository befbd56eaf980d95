"""What the pulse rates call for: the triage of every animal's tag, and the list to walk with.

    tables/   fate_triage, retrieval_list; the same in work/; search_areas.gpx and search_areas.geojson for a hand-held receiver of satellite positions
"""

from __future__ import annotations

import pandas as pd

from pipeline.fate import Ladder, retrieval_list, search_areas, to_geojson, to_gpx, triage
from pipeline.movement import animals_with_fixes, displacement_table, stillness
from pipeline.stages.ground_files import Ground
from pipeline.stages.movement_summaries import DRAWS_FILE, read_draws
from pipeline.stages.next_flight import take_offs_m
from pipeline.stages.search_circle import search_circles
from pipeline.stages.walking_card import KnownPoint, known_points, with_cards
from pipeline.stages.workspace import Workspace


def write_fate(workspace: Workspace, fixes: pd.DataFrame, pulses: pd.DataFrame, tags: pd.DataFrame, projection, known: tuple[KnownPoint, ...] = ()) -> None:
    """Judge every animal's tag and list those to be fetched or checked; work/sightings, work/draws.npz and work/regions are read.

    fixes : columns of FIXES. pulses : of pipeline.fate.pulse_table. tags : columns of TAGS. known : points from which the way to a tag is told.
    """
    sightings = workspace.read_work("sightings")
    ladder = Ladder(**workspace.survey.fate.model_dump())
    judged = triage(pulses, tags, fixes, sightings=sightings, stillness=_stillness(workspace, fixes, tags, ladder), ladder=ladder)
    walk, regions = retrieval_list(judged, fixes, pulses), workspace.read_work("regions")
    walk = with_cards(walk, search_circles(walk, regions), list(known))
    for name, table in (("fate_triage", judged), ("retrieval_list", walk)):
        workspace.write_work(name, table)
        workspace.write_table(name, table)
    areas = search_areas(walk, regions, projection)
    for ending, text in (("gpx", to_gpx(areas)), ("geojson", to_geojson(areas))):
        workspace.path_to_write(f"tables/search_areas.{ending}").write_text(text, encoding="utf-8")


def points_to_start_from(workspace: Workspace, records: pd.DataFrame, ground: Ground) -> tuple[KnownPoint, ...]:
    """Where those who walk may start: take-off points, else the middle of the study area. records : of the campaign, with those not usable."""
    usable = records[records["usable"].to_numpy(bool)]
    settings = workspace.survey.next_flight
    return tuple(known_points(take_offs_m(settings, usable, ground.projection), bool(settings.take_offs), ground.study_area, ground.projection))


def _stillness(workspace: Workspace, fixes: pd.DataFrame, tags: pd.DataFrame, ladder: Ladder) -> pd.DataFrame:
    """In how many of its last flights each tag stayed where it was, by the displacement test: closely, and coarsely."""
    draws = read_draws(workspace.path_to_read(DRAWS_FILE))
    steps = displacement_table(animals_with_fixes(tags, fixes, draws), significance=workspace.survey.movement.significance)
    coarse = stillness(steps, ladder.unmoved_m).rename(columns={"same_place_flights": "unmoved_flights", "minimum_detectable_m": "unmoved_detectable_m"})
    return stillness(steps, ladder.same_place_m).merge(coarse, on="tag_id")
