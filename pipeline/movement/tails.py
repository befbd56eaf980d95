"""How far errors reach beyond the 95 % regions, as the beacons show it: what a p-value of one in a thousand is worth.

Regions are calibrated to hold 95 %. Tests of many steps ask for levels far beyond that, which regions of normal shape state but do not know. Here the levels at which
held-out beacons lay in their regions choose between normal tails and heavier ones.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

FREEDOMS = (3.0, 4.0, 5.0, 7.0, 10.0, 20.0, 50.0)      # of the heavier tails; normal is infinite
NORMAL_SHARE = 0.5                                     # of the prior
FEWEST_LEVELS = 10
_EDGE = -2 * np.log(0.05)


@dataclass(frozen=True)
class Tails:
    """Weights of normal tails (first) and of those of FREEDOMS, summing to 1; levels : number of beacon fixes they were found on."""

    weights: tuple[float, ...] = (1.0, *(0.0 for _ in FREEDOMS))
    levels: int = 0

    def p_value(self, p):
        """A p-value under normal tails as one under these: the same at 0.05, larger below. p : array or float, 0 to 1."""
        squared = -2 * np.log(np.clip(np.asarray(p, dtype=float), 1e-300, 1.0))
        heavy = [weight * (1 + squared / (_scale(freedom) * freedom)) ** (-freedom / 2) for weight, freedom in zip(self.weights[1:], FREEDOMS)]
        mixed = self.weights[0] * np.exp(-squared / 2) + sum(heavy)
        return np.where(np.asarray(p) >= 0.05, p, np.minimum(mixed, 0.05))[()]

    def normal_level(self, level):
        """The p-value under normal tails that is worth this level under these, at most 0.05 when the level is."""
        if level >= 0.05 or self.weights[0] == 1.0:
            return level
        return float(np.exp(brentq(lambda log_p: self.p_value(np.exp(log_p)) - level, -690.0, np.log(0.05))))


def tails_of(levels):
    """Weights of tails from the levels at which beacons lay in their calibrated regions (0 at the likeliest cell, 1 outside all).

    Each candidate is a bivariate Student t, scaled so that the 95 % regions stay what they are; normal has half of the prior, the others share the rest. With
    fewer than 10 beacon fixes tails are taken as normal, which is then no more than an assumption.

    Parameters
    ----------
    levels : array of shape (n,), 0 to 1; missing ones are left out

    Returns
    -------
    Tails
    """
    levels = np.asarray(levels, dtype=float)
    levels = np.clip(levels[np.isfinite(levels)], 0.0, 1 - 1e-6)
    if len(levels) < FEWEST_LEVELS:
        return Tails(levels=len(levels))
    squared = -2 * np.log(1 - levels)
    fit = [np.log(NORMAL_SHARE) + (-squared / 2 - np.log(2)).sum()]
    for freedom in FREEDOMS:
        scale = _scale(freedom)
        fit.append(np.log((1 - NORMAL_SHARE) / len(FREEDOMS)) + (-(freedom / 2 + 1) * np.log1p(squared / (scale * freedom)) - np.log(2 * scale)).sum())
    weights = np.exp(np.array(fit) - max(fit))
    return Tails(tuple(float(weight) for weight in weights / weights.sum()), len(levels))


def _scale(freedom):
    """Scale at which squared distances of a bivariate Student t pass the 95 % point of a normal one with probability 0.05."""
    return _EDGE / (freedom * (0.05 ** (-2 / freedom) - 1))
