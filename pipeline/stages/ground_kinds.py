"""Of what kind the ground is, cell by cell: its height, slope and canopy, where the survey file names a terrain or a canopy."""

from __future__ import annotations

import numpy as np

from pipeline.intake import CanopyHeights, Terrain
from pipeline.search import SearchGrid, canopy_classes, height_classes, slope_classes
from pipeline.stages.ground_files import Ground


def kinds_of_ground(ground: Ground, grid: SearchGrid) -> dict[str, list[str]]:
    """kind -> name of the class of each cell inside the grid; empty where neither terrain nor canopy is given."""
    kinds = {}
    if ground.terrain is not None:
        kinds["height"] = height_classes(ground.terrain.at(grid.easting_m, grid.northing_m))
        kinds["slope"] = slope_classes(slope_deg(ground.terrain, grid))
    if ground.canopy is not None:
        kinds["canopy"] = canopy_classes(canopy_m(ground.canopy, grid))
    return kinds


def slope_deg(terrain: Terrain, grid: SearchGrid) -> np.ndarray:
    """Slope of the ground over each cell, from the heights half a cell to each side of its middle; shape (cells,), NaN where unknown. [deg]"""
    half_m = grid.cell_m / 2.0
    east = terrain.at(grid.easting_m + half_m, grid.northing_m) - terrain.at(grid.easting_m - half_m, grid.northing_m)
    north = terrain.at(grid.easting_m, grid.northing_m + half_m) - terrain.at(grid.easting_m, grid.northing_m - half_m)
    return np.degrees(np.arctan(np.hypot(east, north) / grid.cell_m))


def canopy_m(canopy: CanopyHeights, grid: SearchGrid) -> np.ndarray:
    """Height of the canopy in the middle of each cell, shape (cells,); NaN outside the canopy given. [m]"""
    column = np.floor((grid.easting_m - canopy.west_m) / canopy.cell_m).astype(int)
    row = np.floor((canopy.north_m - grid.northing_m) / canopy.cell_m).astype(int)
    rows, columns = canopy.height_m.shape
    inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    return np.where(inside, canopy.height_m[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)], np.nan)
