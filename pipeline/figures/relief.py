"""Ground under a map: relief shaded from heights, contour lines, and the spacing of a metric grid."""

from __future__ import annotations

import math

import contourpy
import numpy as np
from scipy.ndimage import distance_transform_edt

# Warm greys of the relief: deepest shade and brightest slope, light page.
SHADE_DEEP = np.array([176, 170, 158], dtype=float)
SHADE_BRIGHT = np.array([250, 248, 242], dtype=float)


def crop(terrain, extent_m: tuple[float, float, float, float], largest_cells: int = 700):
    """Heights within an extent, thinned to at most `largest_cells` a side: heights, west_m, north_m, cell_m; None if nothing is there.

    terrain : height_m (2-D, north up, NaN for holes), west_m, north_m, cell_m. extent_m : west, south, east, north.
    """
    west, south, east, north = extent_m
    rows, columns = terrain.height_m.shape
    first_column = max(0, math.floor((west - terrain.west_m) / terrain.cell_m))
    last_column = min(columns, math.ceil((east - terrain.west_m) / terrain.cell_m))
    first_row = max(0, math.floor((terrain.north_m - north) / terrain.cell_m))
    last_row = min(rows, math.ceil((terrain.north_m - south) / terrain.cell_m))
    if last_column - first_column < 2 or last_row - first_row < 2:
        return None
    step = max(1, math.ceil(max(last_column - first_column, last_row - first_row) / largest_cells))
    heights = np.asarray(terrain.height_m, dtype=float)[first_row:last_row:step, first_column:last_column:step]
    return _without_ragged_rim(heights, terrain.west_m + first_column * terrain.cell_m, terrain.north_m - first_row * terrain.cell_m, terrain.cell_m * step)


def _without_ragged_rim(heights: np.ndarray, west_m: float, north_m: float, cell_m: float):
    """The same without outer rows and columns that have holes, as a model turned into the survey CRS leaves them; never more than a twentieth from a side."""
    first, last, limit = [0, 0], list(heights.shape), [side // 20 for side in heights.shape]
    for axis in (0, 1):
        for ends, step in ((first, 1), (last, -1)):
            for _ in range(limit[axis]):
                at = ends[axis] if step > 0 else ends[axis] - 1
                # the corners are those of the whole picture, so that one ragged side does not give the next one away
                line = np.take(heights, at, axis=axis)
                inner = line[limit[1 - axis]: len(line) - limit[1 - axis]]
                if np.isfinite(inner).all():
                    break
                ends[axis] += step
    kept = heights[first[0]:last[0], first[1]:last[1]]
    return (heights, west_m, north_m, cell_m) if not np.isfinite(kept).any() else (kept, west_m + first[1] * cell_m, north_m - first[0] * cell_m, cell_m)


def shaded_relief(height_m: np.ndarray, cell_m: float) -> np.ndarray:
    """Relief as an RGBA picture (rows, columns, 4; 0 to 255), holes transparent.

    Light comes from the north-west, softened by weaker light from west and north, so that ridges in any direction show.
    Shade of a plane under a light: Horn, B. K. P. (1981), Hill shading and the reflectance map, Proceedings of the IEEE 69.
    """
    filled = _holes_filled(height_m)
    down, right = np.gradient(filled, cell_m)
    slope_north, slope_east = -down, right
    # gentle country is drawn steeper, steep country as it is
    typical = np.percentile(np.hypot(slope_east, slope_north), 90)
    exaggeration = float(np.clip(0.55 / max(typical, 1e-6), 1.0, 6.0))
    shade = np.zeros_like(filled)
    for azimuth_deg, weight in ((315.0, 0.6), (270.0, 0.2), (0.0, 0.2)):
        shade += weight * _lit(slope_east * exaggeration, slope_north * exaggeration, azimuth_deg)
    low, high = np.percentile(shade, [1.0, 99.0])
    share = np.clip((shade - low) / max(high - low, 1e-6), 0.0, 1.0)
    if high - low < 0.02:        # a plain: one quiet tone instead of magnified noise
        share = np.full_like(shade, 0.85)
    colour = SHADE_DEEP + share[..., None] * (SHADE_BRIGHT - SHADE_DEEP)
    alpha = np.where(np.isfinite(height_m), 255.0, 0.0)[..., None]
    return np.concatenate([colour, alpha], axis=-1).round().astype(np.uint8)


def _holes_filled(height_m: np.ndarray) -> np.ndarray:
    """Heights with holes at the height of the nearest cell, so that the rim of a hole throws no shadow."""
    holes = ~np.isfinite(height_m)
    if holes.all():
        return np.zeros_like(height_m, dtype=float)
    row, column = distance_transform_edt(holes, return_distances=False, return_indices=True)
    return np.asarray(height_m, dtype=float)[row, column]


def _lit(slope_east: np.ndarray, slope_north: np.ndarray, azimuth_deg: float, elevation_deg: float = 45.0) -> np.ndarray:
    east = math.cos(math.radians(elevation_deg)) * math.sin(math.radians(azimuth_deg))
    north = math.cos(math.radians(elevation_deg)) * math.cos(math.radians(azimuth_deg))
    up = math.sin(math.radians(elevation_deg))
    return np.clip((up - slope_east * east - slope_north * north) / np.sqrt(1.0 + slope_east**2 + slope_north**2), 0.0, 1.0)


def lines_at(values: np.ndarray, west_m: float, north_m: float, cell_m: float, level: float) -> list[np.ndarray]:
    """Contour lines of a raster at one level, each (n, 2) eastings and northings; cells count at their centres."""
    rows, columns = values.shape
    if rows < 2 or columns < 2:
        return []
    eastings = west_m + (np.arange(columns) + 0.5) * cell_m
    northings = north_m - (np.arange(rows) + 0.5) * cell_m
    generator = contourpy.contour_generator(eastings, northings, np.ma.masked_invalid(values))
    return [np.asarray(line) for line in generator.lines(level) if len(line) > 3]


def height_step(height_m: np.ndarray) -> float:
    """Step between height contours in metres: about ten lines over the relief, a round number, at least 5 m."""
    finite = height_m[np.isfinite(height_m)]
    return max(5.0, round_step((float(finite.max()) - float(finite.min())) / 8.0)) if finite.size else 5.0


def round_step(rough: float) -> float:
    """The nearest of 1, 2, 5, 10, 20, 50... at or above a rough step."""
    if rough <= 0:
        return 1.0
    base = 10.0 ** math.floor(math.log10(rough))
    return next(factor * base for factor in (1.0, 2.0, 5.0, 10.0) if factor * base >= rough * (1 - 1e-9))
