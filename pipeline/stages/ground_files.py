"""The ground of a campaign on its way between stages: projection, study area, terrain and canopy as the quality check read them."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pyproj

from pipeline.geodesy import Projection
from pipeline.intake import CanopyHeights, Intake, Terrain


@dataclass(frozen=True)
class Ground:
    """Where everything lies. study_area : GeoDataFrame in the survey CRS, or None. terrain, canopy : heights of the ground, and of the canopy above it, or None."""

    projection: Projection
    study_area: gpd.GeoDataFrame | None
    terrain: Terrain | None
    canopy: CanopyHeights | None = None


def write_ground(workspace, intake: Intake) -> None:
    """Leave everything for the later stages, in work/ground.json, study_area.parquet, terrain.npy and canopy.npy."""
    terrain, canopy = intake.terrain, intake.canopy
    workspace.write_json("ground", {
        "projection_name": intake.projection.name, "crs_wkt": intake.projection.crs.to_wkt(),
        "has_study_area": intake.study_area is not None, "terrain": _place(terrain),
    } | ({} if canopy is None else {"canopy": _place(canopy)}))
    if intake.study_area is not None:
        workspace.write_work("study_area", intake.study_area)
    for name, heights in (("terrain", terrain), ("canopy", canopy)):
        if heights is not None:
            # not np.savez: it stamps the time into the file
            np.save(workspace.path_to_write(f"work/{name}.npy"), np.asarray(heights.height_m, dtype="float32"))


def _place(heights) -> dict | None:
    return None if heights is None else {"west_m": heights.west_m, "north_m": heights.north_m, "cell_m": heights.cell_m}


def read_ground(workspace) -> Ground:
    """What write_ground left."""
    kept = workspace.read_json("ground")
    projection = Projection(pyproj.CRS.from_wkt(kept["crs_wkt"]), kept["projection_name"])
    area = workspace.read_work("study_area") if kept["has_study_area"] else None
    terrain = Terrain(np.load(workspace.path_to_read("work/terrain.npy")), **kept["terrain"]) if kept["terrain"] else None
    canopy = CanopyHeights(np.load(workspace.path_to_read("work/canopy.npy")), **kept["canopy"]) if kept.get("canopy") else None
    return Ground(projection, area, terrain, canopy)
