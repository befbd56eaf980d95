"""An invented upland valley: ground heights on a grid, made from a seed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .draws import stream, uniforms


@dataclass(frozen=True)
class InventedTerrain:
    """Ground height on a square grid in local metres.

    height_m : array (rows, columns), first row in the south; west_m, south_m : the first grid point; cell_m : spacing.
    """

    height_m: np.ndarray
    west_m: float
    south_m: float
    cell_m: float

    def at(self, easting_m, northing_m) -> np.ndarray:
        """Ground height by bilinear interpolation [m]; NaN outside the grid. Arrays of any one shape."""
        column = (np.asarray(easting_m, float) - self.west_m) / self.cell_m
        row = (np.asarray(northing_m, float) - self.south_m) / self.cell_m
        rows, columns = self.height_m.shape
        inside = (column >= 0) & (column <= columns - 1) & (row >= 0) & (row <= rows - 1)
        left = np.clip(np.where(inside, column, 0).astype(int), 0, columns - 2)
        lower = np.clip(np.where(inside, row, 0).astype(int), 0, rows - 2)
        across, up = column - left, row - lower
        south = (1 - across) * self.height_m[lower, left] + across * self.height_m[lower, left + 1]
        north = (1 - across) * self.height_m[lower + 1, left] + across * self.height_m[lower + 1, left + 1]
        return np.where(inside, (1 - up) * south + up * north, np.nan)


def undulation(easting_m, northing_m, generator, waves: int = 36) -> np.ndarray:
    """A smooth random field of standard deviation about 1: a sum of plane waves 900 to 3200 m long, the long ones the higher."""
    field = np.zeros(np.shape(easting_m))
    total = 0.0
    for _ in range(waves):
        wavelength_m = 900.0 * (3200.0 / 900.0) ** generator.random()
        bearing, phase = uniforms(generator, 0, np.pi), uniforms(generator, 0, 2 * np.pi)
        along_m = np.asarray(easting_m) * np.sin(bearing) + np.asarray(northing_m) * np.cos(bearing)
        field += wavelength_m / 1000.0 * np.cos(2 * np.pi * along_m / wavelength_m + phase)
        total += (wavelength_m / 1000.0) ** 2 / 2
    return field / np.sqrt(total)


def invented_valley(seed: int, *, relief_m: float = 300.0, floor_m: float = 310.0, half_width_m: float = 3900.0,
                    relief_half_width_m: float = 1700.0, cell_m: float = 25.0) -> InventedTerrain:
    """A U-shaped valley with a winding floor, side ridges and hollows, centred on (0, 0).

    Parameters
    ----------
    relief_m : float
        Highest minus lowest ground within relief_half_width_m of the centre, east-west and north-south. [m]
    floor_m : float
        Lowest ground there, above sea level. [m]
    """
    generator = stream(seed, 1)
    axis_m = np.arange(-half_width_m, half_width_m + cell_m / 2, cell_m)
    easting_m, northing_m = np.meshgrid(axis_m, axis_m)
    bearing = np.radians(62.0)
    along_m = easting_m * np.sin(bearing) + northing_m * np.cos(bearing)
    across_m = easting_m * np.cos(bearing) - northing_m * np.sin(bearing)
    across_m = across_m + 260.0 * np.sin(along_m / 1150.0 + uniforms(generator, 0, 2 * np.pi))
    walls = 1 - np.exp(-((across_m / 1050.0) ** 2))
    ground = 230.0 * walls - 0.018 * along_m + (10.0 + 16.0 * walls) * undulation(easting_m, northing_m, generator)
    near = (abs(easting_m) <= relief_half_width_m) & (abs(northing_m) <= relief_half_width_m)
    low, high = ground[near].min(), ground[near].max()
    heights = floor_m + (ground - low) * relief_m / (high - low)
    return InventedTerrain(np.round(heights, 1), -half_width_m, -half_width_m, cell_m)
