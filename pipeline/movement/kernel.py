"""Kernel utilisation distributions: density of normal kernels, two rules for their width, and the areas that hold a share of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.distance import pdist

CELLS_ACROSS = 96
NARROWEST, WIDEST = 0.2, 2.0           # of the reference width: where the cross-validated one is looked for


@dataclass(frozen=True)
class Utilisation:
    """A kernel density on cells: mass (ny, nx) summing to 1; corner (2,), steps (2, 2) as columns, so that cell (i, j) lies at
    corner + steps @ (j, i). The cells are parallelograms when the scatter is not round. [m]
    """

    mass: np.ndarray
    corner_m: np.ndarray
    steps_m: np.ndarray

    def area_m2(self, share):
        """Area of the smallest region holding a share of the density. [m^2]"""
        ordered = np.cumsum(np.sort(self.mass, axis=None)[::-1])
        held = int(np.searchsorted(ordered, share))
        before = ordered[held - 1] if held else 0.0
        return float((held + (share - before) / (ordered[held] - before)) * abs(np.linalg.det(self.steps_m)))

    def level(self, share):
        """Mass of the least likely cell of that region."""
        ordered = np.sort(self.mass, axis=None)[::-1]
        return float(ordered[int(np.searchsorted(np.cumsum(ordered), share))])

    def cells_m(self):
        """Easting and northing of the cells, two arrays of shape (ny, nx). [m]"""
        rows, columns = np.indices(self.mass.shape)
        return tuple(self.corner_m[axis] + self.steps_m[axis, 0] * columns + self.steps_m[axis, 1] * rows for axis in (0, 1))


def kernel_density(places_m, at_m, kernel_covariance_m2, weights=None):
    """Density of normal kernels of one covariance about places.

    Parameters
    ----------
    places_m : array of shape (n, 2). at_m : array of shape (k, 2). [m]
    kernel_covariance_m2 : array of shape (2, 2), positive definite
    weights : array of shape (n,) | None
        Of the places; equal when None.

    Returns
    -------
    array of shape (k,). [1/m^2]
    """
    places, at = np.asarray(places_m, dtype=float), np.asarray(at_m, dtype=float)
    weights = np.full(len(places), 1.0) if weights is None else np.asarray(weights, dtype=float)
    apart = at[:, None] - places
    exponent = -0.5 * np.einsum("kni,ij,knj->kn", apart, np.linalg.inv(kernel_covariance_m2), apart, optimize=True)
    return np.exp(exponent) @ (weights / weights.sum()) / (2 * np.pi * np.sqrt(np.linalg.det(kernel_covariance_m2)))


def utilisation(places_m, bandwidth_m, weights=None, cells=CELLS_ACROSS):
    """Kernel density of places on cells; the kernels have the shape of the scatter of the places, and the root mean square width `bandwidth_m`.

    Parameters
    ----------
    places_m : array of shape (n, 2), n >= 3, not on a line
    bandwidth_m : float > 0
    weights : array of shape (n,) | None
    """
    places = np.asarray(places_m, dtype=float)
    root, scale = _scatter_root(places, weights)
    width = bandwidth_m / scale                                    # in units of the scatter
    round_places = np.linalg.solve(root, (places - places.mean(axis=0)).T)
    low, high = round_places.min(axis=1) - 4 * width, round_places.max(axis=1) + 4 * width
    axes = [np.linspace(low[axis], high[axis], cells) for axis in (0, 1)]
    bells = [np.exp(-0.5 * np.square((axes[axis][:, None] - round_places[axis]) / width)) for axis in (0, 1)]
    mass = (bells[1] * (1.0 if weights is None else weights)) @ bells[0].T
    return Utilisation(mass / mass.sum(), places.mean(axis=0) + root @ low, root @ np.diag((high - low) / (cells - 1)))


def reference_bandwidth_m(places_m):
    """Reference bandwidth of a normal kernel in two dimensions: sd n^(-1/6), sd the root mean variance of both axes. [m]

    References
    ----------
    B. W. Silverman, Density Estimation for Statistics and Data Analysis, 1986, table 4.1 (constant 1).
    """
    places = np.asarray(places_m, dtype=float)
    return float(np.sqrt(np.trace(np.cov(places.T)) / 2) * len(places) ** (-1 / 6))


def cross_validation_score(places_m, kernel_covariance_m2):
    """Least-squares cross-validation criterion of a normal kernel: integral of the squared density less twice the mean density left out.

    Parameters
    ----------
    places_m : array of shape (n, 2)
    kernel_covariance_m2 : array of shape (2, 2)

    Returns
    -------
    float. [1/m^2]

    References
    ----------
    B. W. Silverman, Density Estimation for Statistics and Data Analysis, 1986, section 4.3.2 and equation (3.39).
    """
    places = np.asarray(places_m, dtype=float)
    count = len(places)
    squared = _squared_distances(places, kernel_covariance_m2)
    return float(_score(squared, count) / (2 * np.pi * np.sqrt(np.linalg.det(kernel_covariance_m2))))


def cross_validated_bandwidth_m(places_m):
    """Bandwidth of the lowest cross-validation criterion, between 0.2 and 2 times the reference one; None when it has no minimum there.

    With few places, or places on top of each other, the criterion falls towards width nothing: a known weakness, told and not hidden. [m]
    """
    places = np.asarray(places_m, dtype=float)
    reference = reference_bandwidth_m(places)
    root, scale = _scatter_root(places)
    one = _squared_distances(places, root @ root.T * (reference / scale) ** 2)
    factors = np.geomspace(NARROWEST, WIDEST, 121)
    scores = np.array([_score(one / factor**2, len(places)) / factor**2 for factor in factors])
    best = int(scores.argmin())
    return None if best in (0, len(factors) - 1) else float(factors[best] * reference)


def kernel_covariance_m2(places_m, bandwidth_m):
    """Covariance (2, 2) of the kernel that `utilisation` puts on places: the shape of their scatter, the root mean square width `bandwidth_m`. [m^2]"""
    root, scale = _scatter_root(np.asarray(places_m, dtype=float))
    return root @ root.T * (bandwidth_m / scale) ** 2


def _score(squared, count):
    """The criterion in units of the kernel's height, from squared distances of all pairs in units of its width."""
    wide = np.exp(-0.25 * squared)
    return (count + 2 * wide.sum()) / (2 * count**2) - 4 * (wide * wide).sum() / (count * (count - 1))


def _squared_distances(places, covariance):
    """Of every pair once, in units of the kernel's width."""
    return pdist(np.linalg.solve(np.linalg.cholesky(covariance), places.T).T, "sqeuclidean")


def _scatter_root(places, weights=None):
    """Root of the covariance of places, and its root mean square width."""
    covariance = np.cov(places.T, aweights=weights)
    return np.linalg.cholesky(covariance + 1e-9 * np.trace(covariance) * np.eye(2)), float(np.sqrt(np.trace(covariance) / 2))
