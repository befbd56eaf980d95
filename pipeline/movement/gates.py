"""What may be said of an animal from so many fixes, and of a range from errors so large."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

LARGEST_ERROR_RANGE_RATIO = 0.5


@dataclass(frozen=True)
class Gate:
    """fixes : number of usable fixes. name : class of the gate. allows : what may be said. sentence : the same in words."""

    fixes: int
    name: str
    allows: frozenset
    sentence: str


_STEPS = frozenset({"displacement"})
_NET = _STEPS | {"net distance"}
_EXTENT = _NET | {"extent"}
_SKETCH = _EXTENT | {"asymptote", "kernel sketch"}

_GATES = (
    (0, "no fix", frozenset(), "No usable fix: nothing can be said of movement."),
    (1, "point only", frozenset(), "1 usable fix: a point; 2 are needed for a displacement."),
    (2, "displacement", _STEPS, "2 usable fixes: the displacement between them, with its test."),
    (3, "net distance", _NET, "{n} usable fixes: displacements and net distance; 5 are needed for the extent of fixes."),
    (5, "extent of fixes", _EXTENT, "{n} usable fixes: displacements, net distance and the extent of fixes, which is no home range; 10 are needed for more."),
    (10, "range sketch", _SKETCH, "{n} usable fixes: in addition how the extent grows, and a kernel as a sketch only; 30 are needed for a range."),
    (30, "range", _SKETCH | {"range"}, "{n} usable fixes: a range may be given if its extent no longer grows and the fixes span the season."),
)


def gate(fixes):
    """The gate that a number of usable fixes passes: 1 point, 2 displacement, 3 net distance, 5 extent, 10 sketch, 30 range.

    The numbers are the project's defaults, taken from the sizes at which published ranges settle (30-50 fixes an animal).
    Fixes of flights on one day count as separate fixes.
    """
    if fixes < 0:
        raise ValueError(f"a number of fixes cannot be negative, got {fixes}")
    _, name, allows, sentence = [entry for entry in _GATES if entry[0] <= fixes][-1]
    return Gate(int(fixes), name, allows, sentence.format(n=fixes))


def error_range_ratio(positions_m, error_covariances_m2):
    """Location-error sd over the sd of the places themselves.

    Errors inflate an ellipse or kernel area by 1 + ratio^2; above 0.5 no range is given.

    Parameters
    ----------
    positions_m : array of shape (n, 2), n >= 2
        Posterior means. [m]
    error_covariances_m2 : array of shape (n, 2, 2)
        Posterior covariances. [m^2]

    Returns
    -------
    float >= 0; infinite when the fixes scatter no more than their errors.
    """
    positions = np.asarray(positions_m, dtype=float)
    scatter = np.trace(np.cov(positions.T)) / 2
    error = np.trace(np.mean(error_covariances_m2, axis=0)) / 2
    return float(np.sqrt(error / (scatter - error))) if scatter > error else float("inf")


def largest_likely_ratio(ratio, fixes, level=0.9):
    """The error/range ratio that is not exceeded with this probability, given the one found on so many fixes.

    The scatter of n fixes over its expectation is taken as chi-square with 2 (n - 1) degrees of freedom over their number: a scatter that is large by chance makes the
    ratio look small, and areas large. Infinite when no scatter may be left.
    """
    scatter = (1 + ratio**-2) * 2 * (fixes - 1) / chi2.ppf(level, 2 * (fixes - 1)) if 0 < ratio < np.inf else 1.0      # in units of the error variance
    return 0.0 if ratio == 0 else float("inf") if scatter <= 1 else float((scatter - 1) ** -0.5)


def without_width(positions_m, error_covariances_m2, significance=0.05):
    """Whether fixes lie near a line: across their longest direction they scatter no more than their errors, so that no area between them is shown.

    The squared distances from the longest axis of the scatter, each over the error variance of its fix in that direction, sum to chi-square with n - 2 degrees of freedom
    when the places are on a line, two being spent on it (near enough where errors are small against the length of the line).

    Parameters
    ----------
    positions_m : array of shape (n, 2), n >= 3
        Posterior means. [m]
    error_covariances_m2 : array of shape (n, 2, 2)
        Posterior covariances. [m^2]
    """
    positions, errors = np.asarray(positions_m, dtype=float), np.asarray(error_covariances_m2, dtype=float)
    across = np.linalg.eigh(np.cov(positions.T))[1][:, 0]                     # of the smaller eigenvalue
    off = (positions - positions.mean(axis=0)) @ across
    spread = np.einsum("i,nij,j->n", across, errors, across)
    return bool((np.square(off) / np.maximum(spread, 1e-6)).sum() <= chi2.isf(significance, len(positions) - 2))


def refusal(ratio, limit=LARGEST_ERROR_RANGE_RATIO):
    """Why an area is refused for its errors; "" when it is not."""
    if ratio <= limit:
        return ""
    if np.isinf(ratio):
        return "The fixes scatter no more than their errors."
    return f"Location error is {ratio:.1f} of the scatter of the places; {limit:g} is the limit."
