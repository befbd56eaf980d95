"""Where a tag may be: probabilities on square cells, and the regions, radii and draws that follow from them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import contourpy
import numpy as np
from scipy import ndimage
from scipy.special import logsumexp
from shapely.geometry import MultiPolygon, Polygon
from shapely.ops import unary_union


# exp(-7) of the peak: a two-dimensional normal holds 0.1 % beyond.
DEEPEST = 7.0


@dataclass(frozen=True)
class Posterior:
    """Probability over cells of one size that lie on one lattice; cells left out hold none.

    column, row : lattice numbers, shape (cells,). west_m, south_m : centre of cell (0, 0), survey CRS. [m]
    cell_m : side of a cell. [m]
    log_density : log-probability of each cell before widening, up to a constant, shape (cells,).
    widening : power to which the density is raised: 1 = as computed, below 1 = wider.
    by_hand : log-density of evidence whose error is known (bearings, sightings), which no widening touches; scalar or shape (cells,).
    Cells whose widened density lies more than exp(DEEPEST) below the highest count as holding nothing: under widening the
    far ground, which is vast, would otherwise outweigh the places that the records point to.
    """

    column: np.ndarray
    row: np.ndarray
    west_m: float
    south_m: float
    cell_m: float
    log_density: np.ndarray
    widening: float = 1.0
    by_hand: np.ndarray | float = 0.0

    @cached_property
    def combined(self) -> np.ndarray:
        """Log-density after widening, all evidence together, 0 at its highest; shape (cells,)."""
        log = self.widening * self.log_density + self.by_hand
        return log - log.max()

    @cached_property
    def probability(self) -> np.ndarray:
        """Probability of each cell, shape (cells,); sums to 1."""
        log = np.where(self.combined >= -DEEPEST, self.combined, -np.inf)
        return np.exp(log - logsumexp(log))

    @property
    def easting_m(self) -> np.ndarray:
        """Centre of each cell. [m]"""
        return self.west_m + self.cell_m * self.column

    @property
    def northing_m(self) -> np.ndarray:
        """Centre of each cell. [m]"""
        return self.south_m + self.cell_m * self.row

    def widened(self, widening: float) -> "Posterior":
        """The same posterior with its density raised to a power."""
        return replace(self, widening=widening)

    def mean(self) -> np.ndarray:
        """(easting, northing) of the posterior mean. [m]"""
        weight = self.probability
        return np.array([weight @ self.easting_m, weight @ self.northing_m])

    def covariance(self) -> np.ndarray:
        """Covariance of position, 2 x 2, the spread inside a cell included. [m2]"""
        weight, (east, north) = self.probability, self.mean()
        offsets = np.stack([self.easting_m - east, self.northing_m - north])
        return (offsets * weight) @ offsets.T + np.eye(2) * self.cell_m**2 / 12.0

    def radius_m(self, probability: float, about=None) -> float:
        """Radius round a point (default the mean) that holds the stated probability. [m]"""
        east, north = self.mean() if about is None else about
        distance = np.hypot(self.easting_m - east, self.northing_m - north)
        order = np.argsort(distance, kind="stable")
        weight = self.probability[order]
        # Half of a cell's probability lies nearer than its centre.
        radius = np.interp(probability, np.cumsum(weight) - 0.5 * weight, distance[order])
        return float(max(radius, 0.5 * self.cell_m))

    def region(self, probability: float) -> np.ndarray:
        """Flags of the cells in the smallest set that holds the stated probability."""
        order = np.argsort(-self.combined, kind="stable")
        held = np.cumsum(self.probability[order])
        count = min(int(np.searchsorted(held, probability)) + 1, len(order))
        chosen = np.zeros(len(order), bool)
        chosen[order[:count]] = True
        return chosen

    def region_area_ha(self, probability: float) -> float:
        """Area of the smallest set that holds the stated probability. [ha]"""
        return float(self.region(probability).sum() * self.cell_m**2 / 1e4)

    def level_at(self, easting_m: float, northing_m: float) -> float:
        """Smallest credible level whose region holds a place; 1 for a place outside every cell."""
        there = self._combined_at(easting_m, northing_m)
        if there < -DEEPEST:
            return 1.0
        return float(self.probability[self.combined > there].sum())

    def _combined_at(self, easting_m: float, northing_m: float) -> float:
        """Combined log-density between the four cell centres round a place; the nearest cell's where one of them is missing."""
        x, y = (easting_m - self.west_m) / self.cell_m, (northing_m - self.south_m) / self.cell_m
        column, row = int(np.floor(x)), int(np.floor(y))
        corners = np.array([[self._combined_of(column + i, row + j) for i in (0, 1)] for j in (0, 1)])
        if np.isinf(corners).any():
            return self._combined_of(round(x), round(y))
        across = corners @ [1.0 - (x - column), x - column]
        return float(across @ [1.0 - (y - row), y - row])

    def _combined_of(self, column: int, row: int) -> float:
        here = np.flatnonzero((self.column == column) & (self.row == row))
        return float(self.combined[here[0]]) if len(here) else -np.inf

    def sample(self, count: int, generator: np.random.Generator) -> np.ndarray:
        """Draws of (easting, northing), shape (count, 2), spread evenly inside cells. [m]"""
        cells = generator.choice(len(self.column), size=count, p=self.probability)
        centres = np.stack([self.easting_m[cells], self.northing_m[cells]], axis=1)
        return centres + self.cell_m * (generator.random((count, 2)) - 0.5)

    def on_lattice(self, values: np.ndarray, blank: float = 0.0) -> tuple[np.ndarray, int, int]:
        """Values of cells as a 2-D array (rows south to north) with one cell of margin, and the lattice numbers of its corner."""
        column, row = int(self.column.min()) - 1, int(self.row.min()) - 1
        grid = np.full((int(self.row.max()) - row + 2, int(self.column.max()) - column + 2), blank)
        grid[self.row - row, self.column - column] = values
        return grid, column, row

    def region_polygon(self, probability: float) -> MultiPolygon:
        """Outline of the smallest set that holds the stated probability, survey CRS. [m]

        The outline follows the density between cell centres, so that it is smooth and holds the set's area.
        """
        weight = self.probability
        inside = self.region(probability)
        level = _between(weight, inside)
        grid, column, row = self.on_lattice(weight)
        x = self.west_m + self.cell_m * (column + np.arange(grid.shape[1]))
        y = self.south_m + self.cell_m * (row + np.arange(grid.shape[0]))
        filled, offsets = contourpy.contour_generator(x, y, grid, fill_type="OuterOffset").filled(level, np.inf)
        rings = [[points[a:b] for a, b in zip(cuts[:-1], cuts[1:])] for points, cuts in zip(filled, offsets)]
        shapes = [Polygon(parts[0], parts[1:]) for parts in rings if len(parts[0]) >= 4]
        merged = unary_union([shape if shape.is_valid else shape.buffer(0) for shape in shapes])
        return merged if isinstance(merged, MultiPolygon) else MultiPolygon([merged] if not merged.is_empty else [])

    def places(self, probability: float = 0.95, least: float = 0.02) -> list[tuple[float, np.ndarray]]:
        """Separate places of the region: (share of its probability, flags of cells), heaviest first.

        Parts that touch at a corner are one place; parts with less than the least share are left out.
        """
        inside = self.region(probability)
        grid, column, row = self.on_lattice(inside.astype(float))
        labels, count = ndimage.label(grid > 0, structure=np.ones((3, 3)))
        label_of = labels[self.row - row, self.column - column]
        weight = self.probability
        shares = [(float(weight[label_of == number].sum() / weight[inside].sum()), label_of == number) for number in range(1, count + 1)]
        return sorted((place for place in shares if place[0] >= least), key=lambda place: -place[0])


def _between(weight: np.ndarray, inside: np.ndarray) -> float:
    """A level between the lightest cell inside and the heaviest outside."""
    lightest = weight[inside].min()
    heaviest = weight[~inside].max() if (~inside).any() else 0.0
    return float(0.5 * (lightest + min(heaviest, lightest)))
