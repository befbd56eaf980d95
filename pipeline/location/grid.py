"""An adaptive grid: coarse over the whole search area, halved where the probability is, until the answer no longer depends on it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Callable

import numpy as np

from pipeline.location.from_few_cells import from_few_cells
from pipeline.location.posterior import DEEPEST, Posterior


@dataclass(frozen=True)
class SearchArea:
    """The rectangle in which a tag is looked for, survey CRS. [m]"""

    west_m: float
    south_m: float
    east_m: float
    north_m: float

    @classmethod
    def around(cls, easting_m, northing_m, margin_m: float) -> "SearchArea":
        """The rectangle round some positions, with a margin."""
        return cls(float(np.min(easting_m)) - margin_m, float(np.min(northing_m)) - margin_m,
                   float(np.max(easting_m)) + margin_m, float(np.max(northing_m)) + margin_m)


    def holds(self, easting_m: np.ndarray, northing_m: np.ndarray) -> np.ndarray:
        """Flags of the positions that lie inside."""
        return (easting_m >= self.west_m) & (easting_m <= self.east_m) & (northing_m >= self.south_m) & (northing_m <= self.north_m)


@dataclass(frozen=True)
class Fineness:
    """When to stop halving and what to keep.

    widening : the power to which the density will be raised; what lies deeper than it reaches is left out.
    cells_in_region : halve until the 95 % region has at least this many cells.
    finest_m : never smaller cells than this; GNSS does not tell more. [m]
    coarse_cells : about how many cells the first look has; most_cells : beyond this many the least likely are left out.
    """

    widening: float = 1.0
    cells_in_region: int = 150
    finest_m: float = 2.0
    coarse_cells: int = 2000
    most_cells: int = 6000


# Log-density below the highest at which cells are left out; one unit to spare, since the last look may differ.
_DROP = DEEPEST + 1.0


def adaptive_posterior(log_density: Callable, area: SearchArea, fineness: Fineness = Fineness(), last_log_density: Callable | None = None,
                       by_hand: Callable | None = None) -> Posterior:
    """Posterior over the search area under a flat prior.

    Parameters
    ----------
    log_density : function of (easting_m, northing_m) arrays of shape (cells,), giving log-likelihoods of that shape.
    last_log_density : a dearer function used on one in four of the last cells and interpolated (for example averaged over signal models).
    by_hand : the same of evidence that no widening touches (bearings, sightings).
    """
    def looked_at(density, column, row, west, south, cell) -> Posterior:
        east, north = west + cell * column, south + cell * row
        value = density(east, north)
        hand = by_hand(east, north) if by_hand is not None else np.zeros(len(value))
        return Posterior(column, row, west, south, cell, value - value.max(), fineness.widening, hand)

    column, row, west, south, cell = coarse_lattice(area, fineness.coarse_cells)
    while True:
        posterior = within_reach(looked_at(log_density, column, row, west, south, cell), fineness.most_cells)
        if posterior.region(0.95).sum() >= fineness.cells_in_region or cell / 2 < fineness.finest_m or len(posterior.column) > fineness.most_cells / 4:
            break
        column, row = halved(*with_neighbours(posterior.column, posterior.row))
        # A halved cell's lattice starts a quarter of the old side before the old centre.
        west, south, cell = west - cell / 4, south - cell / 4, cell / 2
        inside = area.holds(west + cell * column, south + cell * row)
        column, row = column[inside], row[inside]
    if last_log_density is not None:
        cheap, few = posterior.log_density, (posterior.column % 2 == 0) & (posterior.row % 2 == 0)
        posterior = looked_at(lambda east, north: from_few_cells(cheap, last_log_density, east, north, few), posterior.column, posterior.row, west, south, cell)
    return posterior


def coarse_lattice(area: SearchArea, cells: int) -> tuple[np.ndarray, np.ndarray, float, float, float]:
    """About so many square cells over the search area: (column, row, west_m, south_m, cell_m) as in Posterior."""
    width, height = area.east_m - area.west_m, area.north_m - area.south_m
    cell = float(np.sqrt(width * height / cells))
    column, row = (axis.ravel() for axis in np.meshgrid(np.arange(max(1, round(width / cell))), np.arange(max(1, round(height / cell)))))
    return column, row, area.west_m + 0.5 * cell, area.south_m + 0.5 * cell, cell


def edge_probability(posterior: Posterior, area: SearchArea) -> float:
    """Probability in the outermost cells of the search area: where an answer pushed against the limit shows."""
    reach = 1.01 * posterior.cell_m
    at_edge = (
        (posterior.easting_m < area.west_m + reach) | (posterior.easting_m > area.east_m - reach)
        | (posterior.northing_m < area.south_m + reach) | (posterior.northing_m > area.north_m - reach)
    )
    return float(posterior.probability[at_edge].sum())


def within_reach(posterior: Posterior, most_cells: int) -> Posterior:
    """The cells within the drop; of too many, the likeliest."""
    keep = posterior.combined >= -_DROP
    if keep.sum() > most_cells:
        keep &= posterior.combined >= np.partition(posterior.combined, -most_cells)[-most_cells]
    return replace(posterior, column=posterior.column[keep], row=posterior.row[keep], log_density=posterior.log_density[keep], by_hand=posterior.by_hand[keep])


def with_neighbours(column: np.ndarray, row: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The cells and the eight round each, once each: a peak may lie just beyond a cell centre that fell short."""
    steps = np.array([(i, j) for i in (-1, 0, 1) for j in (-1, 0, 1)])
    cells = (np.stack([column, row], axis=1)[:, None, :] + steps).reshape(-1, 2)
    return tuple(np.unique(cells, axis=0).T)


def halved(column: np.ndarray, row: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The four quarters of each cell, on the lattice of half the side."""
    quarters = np.array([(0, 0), (1, 0), (0, 1), (1, 1)])
    cells = (2 * np.stack([column, row], axis=1)[:, None, :] + quarters).reshape(-1, 2)
    return cells[:, 0], cells[:, 1]
