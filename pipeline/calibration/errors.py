"""Errors of beacon fixes against surveyed positions, and their summary."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import binom

# FGDC-STD-007.3-1998 (NSSDA), appendix 3-A: 95 % radius of a circular normal error from its radial RMSE.
NSSDA_FACTOR = 1.7308


def median_interval(errors_m, confidence: float = 0.95) -> tuple[float, float]:
    """Interval of the median from order statistics: exact, no assumption on the distribution.

    Source: the binomial argument in any text on order statistics. With fewer than 6 errors a 95 % interval does not exist
    and (nan, nan) is returned.
    """
    ordered = np.sort(np.asarray(errors_m, float))
    n = len(ordered)
    below = int(binom.ppf((1 - confidence) / 2, n, 0.5)) if n else 0
    # ppf gives the first count whose tail reaches the limit; one less keeps the tail within it.
    rank = below if n and binom.cdf(below - 1, n, 0.5) <= (1 - confidence) / 2 else below - 1
    if rank < 1:
        return float("nan"), float("nan")
    return float(ordered[rank - 1]), float(ordered[n - rank])


def error_summary(errors: pd.DataFrame) -> dict:
    """Summary of beacon errors (columns error_m, error_east_m, error_north_m).

    Returns n, bias east and north, median with 95 % interval, mean, 90th percentile, RMSE (divided by n) and the
    NSSDA-type 95 % radius 1.7308 RMSE, all in metres.
    """
    size = errors["error_m"].to_numpy(float)
    if len(size) == 0:
        return {"n": 0, **{name: float("nan") for name in _SUMMARY}}
    low, high = median_interval(size)
    rmse = float(np.sqrt(np.mean(size**2)))
    values = (float(errors["error_east_m"].mean()), float(errors["error_north_m"].mean()), float(np.median(size)), low, high,
              float(size.mean()), float(np.quantile(size, 0.9)), rmse, NSSDA_FACTOR * rmse)
    return {"n": len(size), **dict(zip(_SUMMARY, values))}


_SUMMARY = ("bias_east_m", "bias_north_m", "median_m", "median_low_95_m", "median_high_95_m", "mean_m", "p90_m", "rmse_m", "nssda_95_m")


def summary_by(errors: pd.DataFrame, by: str) -> pd.DataFrame:
    """One row of error_summary per value of a column, with the coverage of the calibrated 95 % regions (level_after)."""
    rows = []
    for value, part in errors.groupby(by, sort=True, observed=True):
        rows.append({by: value, **error_summary(part), "inside_95": int((part["level_after"] <= 0.95).sum())})
    return pd.DataFrame(rows)
