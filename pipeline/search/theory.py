"""Search theory and detection functions that readers expect: exact, short, tested against outside values."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import erf, ndtr

NORMAL_PEAK = np.sqrt(np.pi / 2.0)


def coverage(sweep_width_m: float, track_length_m: float, area_m2: float) -> float:
    """C = W * length / area (Cooper & Frost, Selected inland search definitions): ground swept over ground there is. [1]"""
    return sweep_width_m * track_length_m / area_m2


def random_search_detection(coverage_of_area) -> np.ndarray:
    """1 - exp(-C): detection by a track laid at random (Koopman 1946, from memory). Valid for C >= 0."""
    return -np.expm1(-np.asarray(coverage_of_area, float))


def parallel_sweep_detection(coverage_of_area) -> np.ndarray:
    """erf(sqrt(pi)/2 C): parallel lines under the inverse-cube law (Koopman; from memory). Valid for C >= 0."""
    return erf(np.sqrt(np.pi) / 2.0 * np.asarray(coverage_of_area, float))


def half_normal_half_width_m(sigma_m: float, truncation_m: float = np.inf) -> float:
    """Effective half-width of the half-normal detection function exp(-x2 / (2 sigma2)): its integral to the truncation (Buckland et al. 2001, from memory). [m]"""
    within = 1.0 if np.isinf(truncation_m) else 2.0 * ndtr(truncation_m / sigma_m) - 1.0
    return float(sigma_m * NORMAL_PEAK * within)


@dataclass(frozen=True)
class LogisticCurve:
    """logit P(heard) = intercept + slope * x, with standard errors, deviance, and the x at which half is heard."""

    intercept: float
    slope: float
    intercept_se: float
    slope_se: float
    deviance: float

    @property
    def half(self) -> float:
        """x at which half is heard, in the unit of x."""
        return -self.intercept / self.slope


def fit_logistic(x, heard, trials) -> LogisticCurve:
    """Logistic regression of `heard` of `trials` on x, by iteratively reweighted least squares (maximum likelihood).

    Parameters
    ----------
    x, heard, trials : arrays (groups,): covariate, number heard, number of looks.

    Raises ValueError when the groups separate perfectly, so that no finite slope is the best.
    """
    x, heard, trials = (np.asarray(values, float) for values in (x, heard, trials))
    design = np.stack([np.ones_like(x), x - x.mean()], axis=1)  # centred: x may be far from 0 against its spread
    beta = np.array([np.log((heard.sum() + 0.5) / (trials.sum() - heard.sum() + 0.5)), 0.0])
    for _ in range(100):
        p = 1.0 / (1.0 + np.exp(-np.clip(design @ beta, -500, 500)))
        information = design.T @ (design * (trials * p * (1 - p))[:, None])
        if np.linalg.cond(information) > 1e14 or np.abs(beta[1]) * np.ptp(x) > 200:
            raise ValueError("heard and not heard separate perfectly along x: no logistic curve can be fitted")
        change = np.linalg.solve(information, design.T @ (heard - trials * p))
        beta = beta + change
        if np.abs(change).max() < 1e-10:
            break
    covariance = np.linalg.inv(information)
    back = np.array([[1.0, -x.mean()], [0.0, 1.0]])
    intercept_se, slope_se = np.sqrt(np.diag(back @ covariance @ back.T))
    intercept, slope = back @ beta
    return LogisticCurve(float(intercept), float(slope), float(intercept_se), float(slope_se), _deviance(heard, trials, p))


def _deviance(heard, trials, p) -> float:
    missed = trials - heard
    with np.errstate(divide="ignore", invalid="ignore"):
        of_heard = np.where(heard > 0, heard * np.log(heard / (trials * p)), 0.0)
        of_missed = np.where(missed > 0, missed * np.log(missed / (trials * (1 - p))), 0.0)
    return float(2.0 * (of_heard + of_missed).sum())
