"""Ground heights looked up by the million: a raster of them, and the height at any place by bilinear interpolation."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np


@dataclass(frozen=True)
class GroundHeights:
    """Ground heights on a square grid, north up, NaN in holes.

    height_m : array (rows, columns). [m] west_m, north_m : outer corner of the first cell, survey CRS. cell_m : side of a cell. [m]
    """

    height_m: np.ndarray
    west_m: float
    north_m: float
    cell_m: float

    @cached_property
    def has_holes(self) -> bool:
        """True where a cell has no height."""
        return bool(np.isnan(self.height_m).any())

    @cached_property
    def _plates(self) -> np.ndarray:
        """Between every four cell centres the height as a + b x + c y + d x y, shape (plates, 4): one look into memory gives all of it.
        The outer half cell is level with its cell."""
        height = np.pad(np.asarray(self.height_m, float), 1, mode="edge")
        first, right, below = height[:-1, :-1], height[:-1, 1:], height[1:, :-1]
        parts = [first, right - first, below - first, height[1:, 1:] - right - below + first]
        return np.ascontiguousarray(np.stack(parts, axis=-1).reshape(-1, 4), dtype=np.float32)

    def in_cells(self, easting_m, northing_m) -> tuple[np.ndarray, np.ndarray]:
        """Columns and rows of positions, float32; the centre of the first cell is at (1, 1)."""
        column = (np.asarray(easting_m, float) - self.west_m) / self.cell_m + 0.5
        row = (self.north_m - np.asarray(northing_m, float)) / self.cell_m + 0.5
        return column.astype(np.float32), row.astype(np.float32)

    def at_cells(self, column, row) -> np.ndarray:
        """Ground height at float32 columns and rows that lie within the raster; float32, NaN beside holes. [m]"""
        across, down = column.astype(np.int32), row.astype(np.int32)
        plate = self._plates.take(down * np.int32(self.height_m.shape[1] + 1) + across, axis=0)
        x, y = column - across.astype(np.float32), row - down.astype(np.float32)
        return plate[..., 0] + x * plate[..., 1] + y * (plate[..., 2] + x * plate[..., 3])

    def at(self, easting_m, northing_m) -> np.ndarray:
        """Ground height at positions; float32, NaN outside the raster and beside holes. Shape of the positions. [m]"""
        column, row = self.in_cells(easting_m, northing_m)
        rows, columns = self.height_m.shape
        inside = (column >= 0.5) & (column <= columns + 0.5) & (row >= 0.5) & (row <= rows + 0.5)
        return np.where(inside, self.at_cells(np.where(inside, column, np.float32(0.5)), np.where(inside, row, np.float32(0.5))), np.float32(np.nan))

    def averaged(self, finest_m: float) -> "GroundHeights":
        """The same ground with squares of cells averaged into one, as many as leave it no coarser than finest_m; itself where it is that coarse."""
        times = int(finest_m / self.cell_m + 1e-9)
        if times < 2:
            return self
        short = [-size % times for size in self.height_m.shape]
        height = np.pad(np.asarray(self.height_m, float), ((0, short[0]), (0, short[1])), constant_values=np.nan)
        blocks = height.reshape(height.shape[0] // times, times, height.shape[1] // times, times)
        known = (~np.isnan(blocks)).sum(axis=(1, 3))
        mean = np.where(known > 0, np.nansum(blocks, axis=(1, 3)) / np.maximum(known, 1), np.nan)
        return GroundHeights(mean, self.west_m, self.north_m, times * self.cell_m)
