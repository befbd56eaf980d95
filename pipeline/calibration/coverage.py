"""How often regions held the truth, with exact intervals, and what so many beacons can prove."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import beta, binom

LEVELS = (0.5, 0.8, 0.95)


def exact_interval(k: float, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Clopper-Pearson interval of a share, k of n. (0, 1) when n is 0.

    k may be a fraction: a share that was averaged over n places, each of which counts as one trial.
    Source: Clopper & Pearson 1934, in the form with quantiles of the beta distribution.
    """
    if n == 0:
        return 0.0, 1.0
    tail = (1.0 - confidence) / 2.0
    low = float(beta.ppf(tail, k, n - k + 1)) if k > 0 else 0.0
    high = float(beta.ppf(1.0 - tail, k + 1, n - k)) if k < n else 1.0
    return low, high


def coverage_table(before, after, place_ids=None) -> pd.DataFrame:
    """Nominal level, how many of n true places lay inside, share, exact 95 % interval; before and after calibration.

    Parameters
    ----------
    before, after : smallest credible level whose region holds each truth, shape (tests,). [0 to 1]
    place_ids : the place of each test; then every row comes twice, counted by fixes and by places.

    Repeats of one beacon are not new beacons. Counted by places, the share is the mean over places of each place's share,
    and its interval is that of as many trials as there are places: the widest that the repeats can leave.
    """
    rows = []
    for when, levels in (("before", np.asarray(before, float)), ("after", np.asarray(after, float))):
        for nominal in LEVELS:
            inside = levels <= nominal
            rows.append({"calibration": when, "nominal": nominal, "counted_by": "fixes", **_share(float(inside.sum()), len(inside))})
            if place_ids is not None:
                rows.append({"calibration": when, "nominal": nominal, "counted_by": "places", **share_by_place(inside, place_ids)})
    return pd.DataFrame(rows).sort_values("counted_by", kind="stable", ignore_index=True)


def share_by_place(inside, place_ids) -> dict:
    """inside, tests, share, low_95, high_95 when every place counts once, as in coverage_table. inside : flags, shape (tests,). place_ids : shape (tests,)."""
    by_place = pd.Series(np.asarray(inside), dtype=float).groupby(np.asarray(place_ids, object)).mean()
    return _share(float(by_place.sum()), len(by_place))


def _share(inside: float, tests: int) -> dict:
    low, high = exact_interval(inside, tests)
    return {"inside": inside, "tests": tests, "share": inside / tests if tests else np.nan, "low_95": low, "high_95": high}


def what_beacons_can_prove(n: int) -> tuple[float, float]:
    """Exact 95 % interval of coverage when all of n independent beacons lie inside their regions."""
    return exact_interval(n, n)


def chance_of_so_few(inside: int, n: int, nominal: float) -> float:
    """Probability that regions which hold the truth as often as they say hold no more than this many of n independent truths."""
    return float(binom.cdf(inside, n, nominal))
