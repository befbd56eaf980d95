"""The ground of a campaign on its way between stages: projection, study area and terrain as the quality check read them."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pyproj

from pipeline.geodesy import Projection
from pipeline.intake import Intake, Terrain


@dataclass(frozen=True)
class Ground:
    """Where everything lies. study_area : GeoDataFrame in the survey CRS, or None. terrain : ground heights, or None."""

    projection: Projection
    study_area: gpd.GeoDataFrame | None
    terrain: Terrain | None


def write_ground(workspace, intake: Intake) -> None:
    """Leave projection, study area and terrain for the later stages, in work/ground.json, study_area.parquet and terrain.npy."""
    terrain = intake.terrain
    place = None if terrain is None else {"west_m": terrain.west_m, "north_m": terrain.north_m, "cell_m": terrain.cell_m}
    workspace.write_json("ground", {
        "projection_name": intake.projection.name, "crs_wkt": intake.projection.crs.to_wkt(),
        "has_study_area": intake.study_area is not None, "terrain": place,
    })
    if intake.study_area is not None:
        workspace.write_work("study_area", intake.study_area)
    if terrain is not None:
        # not np.savez: it stamps the time into the file
        np.save(workspace.path_to_write("work/terrain.npy"), np.asarray(terrain.height_m, dtype="float32"))


def read_ground(workspace) -> Ground:
    """What write_ground left."""
    kept = workspace.read_json("ground")
    projection = Projection(pyproj.CRS.from_wkt(kept["crs_wkt"]), kept["projection_name"])
    area = workspace.read_work("study_area") if kept["has_study_area"] else None
    terrain = Terrain(np.load(workspace.path_to_read("work/terrain.npy")), **kept["terrain"]) if kept["terrain"] else None
    return Ground(projection, area, terrain)
