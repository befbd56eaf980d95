"""How often regions held the truth, with exact intervals, and what so many beacons can prove."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import binomtest

LEVELS = (0.5, 0.8, 0.95)


def exact_interval(k: int, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Clopper-Pearson interval of a share, k of n. (0, 1) when n is 0. Source: Clopper & Pearson 1934, through scipy."""
    if n == 0:
        return 0.0, 1.0
    interval = binomtest(k, n).proportion_ci(confidence, method="exact")
    return float(interval.low), float(interval.high)


def coverage_table(before, after) -> pd.DataFrame:
    """Nominal level, how many of n true places lay inside, share, exact 95 % interval; before and after calibration.

    before, after : smallest credible level whose region holds each truth, shape (tests,). [0 to 1]
    """
    rows = []
    for when, levels in (("before", np.asarray(before)), ("after", np.asarray(after))):
        for nominal in LEVELS:
            inside, tests = int((levels <= nominal).sum()), len(levels)
            low, high = exact_interval(inside, tests)
            rows.append({"calibration": when, "nominal": nominal, "inside": inside, "tests": tests,
                         "share": inside / tests if tests else np.nan, "low_95": low, "high_95": high})
    return pd.DataFrame(rows)


def what_beacons_can_prove(n: int) -> tuple[float, float]:
    """Exact 95 % interval of coverage when all of n independent beacons lie inside their regions."""
    return exact_interval(n, n)
