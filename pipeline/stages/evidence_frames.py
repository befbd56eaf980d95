"""How each fix came about: the region of a tag after the first records of a flight, after more of them, and after all.

    tables/   region_frames
    work/     region_frames (GeoParquet, outlines of few corners for the map)
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from pipeline.calibration import HeldOutModels, Widening, task_of
from pipeline.columns import conform
from pipeline.location import PLACED, Located, Task, moments, posteriors_so_far, spread_over_cores
from pipeline.stages.workspace import Workspace

FRAMES = 12
# A fix costs about 0.15 s of a core here: so many keep the stage within half a minute of what it would take without.
MOST_FIXES = 240
LEVELS_SHOWN = (0.5, 0.95)
# An outline may stray this share of the side of a square of its area; smaller parts of a region than the second share are not drawn.
_STRAY_SHARE, _LEAST_PART = 0.025, 0.01

REGION_FRAMES = {
    "tag_id": "text", "flight_id": "text",
    "frame": "int",               # 1 = after the first record heard
    "time_utc": "time",           # of the last record used
    "minutes_flown": "float",     # since the flight began
    "records_listened": "int",    # usable records until then
    "records_heard": "int",
    "region_50_ha": "float", "region_95_ha": "float",
    "error_radius_95_m": "float",  # round the mean
    "edge_probability": "float",  # share at the edge of the ground looked at: there the region is larger than said
}
OUTLINES = ["tag_id", "flight_id", "frame", "probability", "geometry"]


@dataclass(frozen=True)
class _Asked:
    """One fix and the counts of records before its last one."""

    task: Task
    counts: tuple[int, ...]


def write_evidence_frames(workspace: Workspace, fixed: list, records: pd.DataFrame, models: HeldOutModels, widening: Widening, projection) -> None:
    """Work out the moments of the fixes with a position, and leave the table and the outlines; both also where there is nothing to show.

    fixed : fixes of single flights, items with .heard, .located and .status.
    """
    tags, flights = workspace.read_work("tags"), workspace.read_work("flights")
    chosen = chosen_fixes(fixed, set(tags.loc[tags["role"].isin(["beacon", "decoy"]), "tag_id"]), workspace.survey.localisation.walk_m)
    margin_m = workspace.survey.localisation.search_margin_m
    asked = [_Asked(task_of(item.heard, models, widening.at(None, item.heard.style), margin_m), tuple(moments(item.heard.listening.heard, FRAMES)))
             for item in chosen]
    found = spread_over_cores(_before_the_last, asked)
    began = dict(zip(flights["flight_id"], flights["start_utc"]))
    usable = dict(list(records[records["usable"].to_numpy(bool)].groupby(["tag_id", "flight_id"])))
    rows, outlines = [], []
    for item, ask, looks in zip(chosen, asked, found):
        key = (item.heard.tag_id, item.heard.flight_id)
        times = usable[key].sort_values(["time_utc", "record"], kind="stable")["time_utc"]
        whole = [*looks, item.located]
        rows += [_row(key, number, count, look, item.heard.listening.heard, times, began[key[1]]) for number, (count, look) in enumerate(zip(ask.counts, whole), 1)]
        outlines += [{"tag_id": key[0], "flight_id": key[1], "frame": number, "probability": level, "geometry": few_corners(look.posterior.region_polygon(level))}
                     for number, look in enumerate(whole, 1) for level in LEVELS_SHOWN]
    workspace.write_table("region_frames", conform(pd.DataFrame(rows, columns=list(REGION_FRAMES)), REGION_FRAMES))
    workspace.write_work("region_frames", gpd.GeoDataFrame(outlines, columns=OUTLINES, geometry="geometry", crs=projection.crs))


def chosen_fixes(fixed: list, no_animals: set[str], walk_m: float = 0.0) -> list:
    """The fixes whose coming about is shown: those of animals with a position from strengths, at most MOST_FIXES, in order of tag and flight.

    Of too many, the best of every animal come first, then the second best. None where animals may walk (walk_m), since a moment takes them to stay.
    """
    able = [item for item in fixed if item.status in PLACED and item.heard.truth is None and item.heard.tag_id not in no_animals and item.heard.listening.heard.any()]
    if walk_m > 0:
        return []
    order = pd.DataFrame({"tag_id": [item.heard.tag_id for item in able], "radius_m": [item.located.posterior.radius_m(0.95) for item in able]})
    order["turn"] = order.groupby("tag_id")["radius_m"].rank(method="first") if len(order) else []
    first = order.sort_values(["turn", "radius_m"], kind="stable").index[:MOST_FIXES]
    return [able[index] for index in sorted(first)]


def few_corners(region: shapely.Geometry) -> shapely.MultiPolygon:
    """An outline for the map: parts below a hundredth of the area left out, corners taken out while it strays little."""
    parts = [part for part in shapely.get_parts(region) if part.area >= _LEAST_PART * region.area]
    plain = shapely.simplify(shapely.MultiPolygon(parts), _STRAY_SHARE * np.sqrt(region.area))
    return shapely.MultiPolygon([part for part in shapely.get_parts(plain) if part.geom_type == "Polygon" and not part.is_empty])


def _before_the_last(asked: _Asked) -> list[Located]:
    """After the last record the fix itself stands, with what was taken by hand."""
    return posteriors_so_far(asked.task, asked.counts[:-1]) if len(asked.counts) > 1 else []


def _row(key: tuple[str, str], number: int, count: int, look: Located, heard: np.ndarray, times: pd.Series, began: pd.Timestamp) -> dict:
    time, posterior = times.iloc[count - 1], look.posterior
    return {
        "tag_id": key[0], "flight_id": key[1], "frame": number, "time_utc": time, "minutes_flown": (time - began).total_seconds() / 60.0,
        "records_listened": count, "records_heard": int(heard[:count].sum()), "region_50_ha": posterior.region_area_ha(0.5), "region_95_ha": posterior.region_area_ha(0.95),
        "error_radius_95_m": posterior.radius_m(0.95), "edge_probability": look.edge_probability,
    }
