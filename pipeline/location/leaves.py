"""Cells of many sizes: small where the density matters under some widening, large elsewhere.

Used where the same posterior must be integrated for every widening at once, which no single cell size serves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Callable

import numpy as np
from scipy.special import logsumexp

from pipeline.location.from_few_cells import from_few_cells
from pipeline.location.grid import SearchArea

# Widenings for which the cells are made fine enough; those between are served as well.
_SERVED = (1.0, 0.5, 0.25, 0.12)


@dataclass(frozen=True)
class Leaves:
    """Square cells that tile the search area: centres and sides in metres, log-density of each; shape (cells,)."""

    easting_m: np.ndarray
    northing_m: np.ndarray
    side_m: np.ndarray
    log_density: np.ndarray

    def log_normaliser(self, widening: float) -> float:
        """Log of the integral of the density raised to a power. [log m2]"""
        return float(logsumexp(widening * self.log_density + 2.0 * np.log(self.side_m)))

    def log_density_of(self, log_density_there: float, widening: float) -> float:
        """Log of the normalised, widened density where the density as computed has a given logarithm. [log 1/m2]"""
        return widening * log_density_there - self.log_normaliser(widening)


def tile(log_density: Callable, area: SearchArea, *, coarse_cells: int = 1500, largest_share: float = 0.005,
         finest_m: float = 2.0, last_log_density: Callable | None = None) -> Leaves:
    """Split cells until none holds more than a share of the probability under any served widening.

    log_density : function of (easting_m, northing_m), arrays of shape (cells,).
    last_log_density : a dearer function evaluated on one in four of the final cells and interpolated.
    """
    width, height = area.east_m - area.west_m, area.north_m - area.south_m
    side = float(np.sqrt(width * height / coarse_cells))
    east, north = (axis.ravel() for axis in np.meshgrid(area.west_m + side * (np.arange(max(1, round(width / side))) + 0.5),
                                                        area.south_m + side * (np.arange(max(1, round(height / side))) + 0.5)))
    leaves = Leaves(east, north, np.full(len(east), side), log_density(east, north))
    while True:
        split = (_largest_share(leaves) > largest_share) & (leaves.side_m / 2 >= finest_m)
        if not split.any():
            break
        leaves = _split(leaves, split, log_density)
    if last_log_density is None:
        return leaves
    few = np.arange(len(leaves.side_m)) % 4 == 0
    return Leaves(leaves.easting_m, leaves.northing_m, leaves.side_m, from_few_cells(leaves.log_density, last_log_density, leaves.easting_m, leaves.northing_m, few))


def _largest_share(leaves: Leaves) -> np.ndarray:
    shares = [np.exp(widening * leaves.log_density + 2.0 * np.log(leaves.side_m) - leaves.log_normaliser(widening)) for widening in _SERVED]
    return np.max(shares, axis=0)


def _split(leaves: Leaves, split: np.ndarray, log_density: Callable) -> Leaves:
    quarter = leaves.side_m[split] / 4.0
    east = np.concatenate([leaves.easting_m[split] + i * quarter for i in (-1, 1, -1, 1)])
    north = np.concatenate([leaves.northing_m[split] + j * quarter for j in (-1, -1, 1, 1)])
    return Leaves(
        np.concatenate([leaves.easting_m[~split], east]),
        np.concatenate([leaves.northing_m[~split], north]),
        np.concatenate([leaves.side_m[~split], np.tile(2.0 * quarter, 4)]),
        np.concatenate([leaves.log_density[~split], log_density(east, north)]),
    )
