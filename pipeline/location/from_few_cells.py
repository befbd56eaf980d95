"""A dear density at every cell for the price of a few: its difference from a cheap one is smooth and is interpolated."""

from __future__ import annotations

from typing import Callable

import numpy as np
from scipy.spatial import KDTree

# Of fewer cells than the first number, or of fewer chosen than the second, all are evaluated.
ALL_BELOW = 80
FEWEST_CHOSEN = 20
_NEIGHBOURS = 6


def from_few_cells(cheap: np.ndarray, dear: Callable, easting_m: np.ndarray, northing_m: np.ndarray, chosen: np.ndarray) -> np.ndarray:
    """The dear log-density of every cell, up to what interpolation costs.

    Averaging over signal models changes a log-density slowly from place to place, while the log-density itself changes fast: so the
    difference between the two is worked out at some cells and a plane is laid through the nearest of them at every other.

    Parameters
    ----------
    cheap : log-density of every cell, shape (cells,). dear : function of (easting_m, northing_m).
    chosen : flags of the cells to evaluate, spread evenly; all are evaluated where they are few.
    """
    if len(cheap) < ALL_BELOW or chosen.sum() < FEWEST_CHOSEN:
        return dear(easting_m, northing_m)
    evaluated = np.stack([easting_m[chosen], northing_m[chosen]], axis=1)
    difference = dear(*evaluated.T) - cheap[chosen]
    between = _planes(evaluated, difference, np.stack([easting_m, northing_m], axis=1))
    between[chosen] = difference
    return cheap + between


def _planes(points: np.ndarray, values: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """A plane through the nearest points, the nearer the more, at each position wanted; level where they lie in a line."""
    distance, near = KDTree(points).query(wanted, k=min(_NEIGHBOURS, len(points)))
    scale = distance[:, -1:] + 1e-9
    offset = (points[near] - wanted[:, None, :]) / scale[:, :, None]
    weight = 1.0 / (np.square(distance / scale) + 0.05)
    design = np.concatenate([np.ones((*offset.shape[:2], 1)), offset], axis=2)
    normal = np.einsum("mk,mki,mkj->mij", weight, design, design) + np.diag([0.0, 1e-6, 1e-6])
    middle = (weight * values[near]).sum(axis=1) / weight.sum(axis=1)
    right = np.einsum("mk,mki,mk->mi", weight, design, values[near] - middle[:, None])
    return middle + np.linalg.solve(normal, right[:, :, None])[:, 0, 0]
