"""The displacement between two fixes as a distribution: how far apart two places are when both are known only up to their regions.

    difference(draws, draws)   -> NormalDifference where both regions together look normal, else ShapedDifference on a grid
      .p_same_place()            weight of all displacements less likely than none at all
      .shortest_m(level)         shortest displacement inside the region of that level, 0 when none at all is inside
      .power(distance_m, alpha)  share of true movements of that length, in any direction, that the test would find
      .minimum_detectable_m(...) length from which on that share is always reached
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.signal import fftconvolve
from scipy.spatial import cKDTree
from scipy.special import ndtr
from scipy.stats import chi2, ncx2

FEWEST_DRAWS = 50
CELLS_ACROSS = 224            # of a gridded difference; finer changes no p-value by more than its draws do
LARGEST_GAP = 0.045           # between the distribution of draws and a normal one, for the normal test to be used
PAIR_SHIFTS = (0, 1, 3, 8, 21, 55)
_DIRECTIONS = np.linspace(0, 2 * np.pi, 36, endpoint=False)
_COMPASS = np.column_stack([np.cos(_DIRECTIONS), np.sin(_DIRECTIONS)])


@dataclass(frozen=True)
class NormalDifference:
    """Bivariate normal displacement: mean (2,) and covariance (2, 2), metres."""

    mean_m: np.ndarray
    covariance_m2: np.ndarray
    kind = "normal"

    def p_same_place(self):
        """Tail probability of D'S^-1 D on chi-square with 2 degrees of freedom, S the sum of both covariances."""
        return float(chi2.sf(self.mean_m @ np.linalg.solve(self.covariance_m2, self.mean_m), 2))

    def shortest_m(self, level=0.95):
        """Shortest displacement inside the ellipse of this level; 0 when the ellipse holds the origin. [m]"""
        if self.p_same_place() >= 1 - level:
            return 0.0
        angles = np.linspace(0, 2 * np.pi, 720, endpoint=False)
        edge = np.linalg.cholesky(self.covariance_m2) @ np.vstack([np.cos(angles), np.sin(angles)]) * np.sqrt(chi2.isf(1 - level, 2))
        return float(np.hypot(*(self.mean_m[:, None] + edge)).min())

    def power(self, distance_m, alpha=0.05):
        """Probability of p < alpha for a true movement of this length, averaged over directions (non-central chi-square)."""
        precision = np.linalg.inv(self.covariance_m2)
        per_m2 = np.einsum("di,ij,dj->d", _COMPASS[:18:2], precision, _COMPASS[:18:2])
        return ncx2.sf(chi2.isf(alpha, 2), 2, np.square(distance_m)[..., None] * per_m2).mean(axis=-1)

    def minimum_detectable_m(self, alpha=0.05, power=0.8):
        """Length of a movement, in any direction, that the test finds with this probability. [m]"""
        low, high = 0.0, 40 * float(np.sqrt(np.linalg.eigvalsh(self.covariance_m2)[-1]))
        for _ in range(16):
            middle = (low + high) / 2
            low, high = (low, middle) if self.power(np.array(middle), alpha) >= power else (middle, high)
        return high


@dataclass(frozen=True)
class ShapedDifference:
    """Displacement of any shape as probabilities of square cells: mass (ny, nx), centre of the first cell, cell size, metres."""

    mass: np.ndarray
    west_m: float
    south_m: float
    cell_m: float
    smallest_p: float
    kind = "shape"

    def p_same_place(self):
        """Weight of the cells no more likely than the cell of no displacement; never below what the number of draws can show."""
        column, row = round(-self.west_m / self.cell_m), round(-self.south_m / self.cell_m)
        inside = 0 <= row < self.mass.shape[0] and 0 <= column < self.mass.shape[1]
        at_origin = self.mass[row, column] if inside else 0.0
        return float(min(1.0, max(self.smallest_p, self.mass[self.mass <= at_origin].sum())))

    def shortest_m(self, level=0.95):
        """Shortest displacement inside the highest-density region of this level; 0 when that holds the origin. [m]"""
        if self.p_same_place() >= 1 - level:
            return 0.0
        rows, columns = np.nonzero(self._region(1 - level))
        return float(np.hypot(self.west_m + self.cell_m * columns, self.south_m + self.cell_m * rows).min())

    def power(self, distance_m, alpha=0.05):
        """Probability of p < alpha for a true movement of this length, averaged over directions.

        With errors of the same shape at the other end of the movement, the test misses it when the distribution, moved by the
        movement, still lies in its own region of level 1 - alpha.
        """
        overlap = fftconvolve(self.mass, self._region(alpha)[::-1, ::-1].astype(float))
        centre = np.array(self.mass.shape) - 1
        shifts = np.asarray(distance_m, dtype=float)[..., None, None] * _COMPASS / self.cell_m
        rows, columns = centre[0] + shifts[..., 1], centre[1] + shifts[..., 0]
        missed = map_coordinates(overlap, [rows, columns], order=1, mode="constant")
        return 1 - np.clip(missed, 0, 1).mean(axis=-1)

    def minimum_detectable_m(self, alpha=0.05, power=0.8):
        """Length of movement from which on the test always finds it with this probability or more. [m]"""
        distances = np.arange(0, np.hypot(*self.mass.shape) + 2) * self.cell_m
        powers = self.power(distances, alpha)
        last = np.nonzero(powers < power)[0][-1]
        share = (power - powers[last]) / max(powers[last + 1] - powers[last], 1e-12) if last + 1 < len(powers) else 0.0
        return float((last + share) * self.cell_m)

    def _region(self, alpha):
        """Cells of the highest-density region of level 1 - alpha."""
        ordered = np.sort(self.mass, axis=None)
        alpha = max(alpha, self.smallest_p)
        outside = int(np.searchsorted(np.cumsum(ordered), alpha))
        return self.mass >= ordered[min(outside, len(ordered) - 1)]


def difference(draws_from_m, draws_to_m):
    """Distribution of the displacement from one place to another, from draws of both (independent of each other).

    Parameters
    ----------
    draws_from_m, draws_to_m : arrays of shape (n, 2) and (m, 2), n and m at least 50
        Draws of the calibrated posteriors, easting and northing. [m]

    Returns
    -------
    NormalDifference when the differences of draws follow chi-square with 2 degrees of freedom about their mean, else ShapedDifference.
    """
    start, end = (_checked(draws) for draws in (draws_from_m, draws_to_m))
    covariance = np.cov(start.T) + np.cov(end.T)
    mean = end.mean(axis=0) - start.mean(axis=0)
    if looks_normal(pair_differences(start, end), mean, covariance):
        return NormalDifference(mean, covariance)
    return _shaped(start, end)


def pair_differences(draws_from_m, draws_to_m):
    """Differences between draws of two places, each draw of one with a few of the other: shape (6 * min(n, m), 2). [m]"""
    count = min(len(draws_from_m), len(draws_to_m))
    return np.concatenate([np.roll(draws_to_m[:count], shift, axis=0) - draws_from_m[:count] for shift in PAIR_SHIFTS])


def _checked(draws_m):
    draws = np.asarray(draws_m, dtype=float)
    if draws.ndim != 2 or draws.shape[1] != 2 or len(draws) < FEWEST_DRAWS:
        raise ValueError(f"draws must have shape (n, 2) with n >= {FEWEST_DRAWS}, got {draws.shape}")
    return draws


def looks_normal(pairs, mean, covariance, largest_gap=LARGEST_GAP):
    """Whether the pairs, made round, are normal in their distance from the mean, tail included, and in every direction, up to a gap between distributions."""
    if np.linalg.det(covariance) < 1e-6:
        return False
    rounded = np.linalg.solve(np.linalg.cholesky(covariance), (pairs - mean).T)
    squared = np.square(rounded).sum(axis=0)
    if (squared > chi2.isf(0.01, 2)).mean() > 0.02 or _gap(chi2.cdf(squared, 2)) > largest_gap:
        return False
    return all(_gap(ndtr(direction @ rounded)) <= largest_gap for direction in _COMPASS[:18:3])


def _gap(probabilities):
    """Largest distance between a distribution and the one it should be, from the probabilities the latter gives its values."""
    ordered = np.sort(probabilities)
    return float(np.abs(ordered - (np.arange(len(ordered)) + 0.5) / len(ordered)).max())


def _kernel_sd_m(draws):
    """Width of the normal kernel about each draw: median distance to its square-root-of-n-th neighbour.

    About n^(-1/6) times the sd for one normal place, and the same within each place when there are several.
    """
    neighbours = int(np.sqrt(len(draws)))
    some = draws[:: max(1, len(draws) // 150)]
    return float(np.median(cKDTree(draws).query(some, k=[neighbours + 1])[0]) * 0.85)


def _shaped(start, end):
    """The difference on a grid: all pairs of draws at once by convolution, smoothed by both kernels."""
    sd = max(float(np.hypot(_kernel_sd_m(start), _kernel_sd_m(end))), 0.5)
    extent = (np.ptp(start, axis=0) + np.ptp(end, axis=0)).max() + 8 * sd
    cell = max(sd / 2, extent / CELLS_ACROSS)
    sd = max(sd, cell)
    ends, end_corner = _counts(end, cell)
    starts, start_corner = _counts(start, cell)
    margin = int(np.ceil(4 * sd / cell))
    pairs = np.pad(np.maximum(fftconvolve(ends, starts[::-1, ::-1]), 0), margin)
    mass = gaussian_filter(pairs, sd / cell, mode="constant", truncate=4)
    mass[mass < mass.max() * 1e-9] = 0.0
    west, south = end_corner - start_corner - cell * (np.array(starts.shape[::-1]) - 1 + margin)
    return ShapedDifference(mass / mass.sum(), west, south, cell, 1 / (len(start) * len(end)))


def _counts(draws, cell_m):
    """Draws counted in square cells, (ny, nx), and the centre of the first cell."""
    corner = draws.min(axis=0)
    columns, rows = np.rint((draws - corner) / cell_m).astype(int).T
    counts = np.zeros((rows.max() + 1, columns.max() + 1))
    np.add.at(counts, (rows, columns), 1.0)
    return counts, corner
