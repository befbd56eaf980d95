"""Errors of beacon fixes against surveyed positions, and their summary."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import ive
from scipy.stats import binom

from pipeline.calibration.coverage import exact_interval, share_by_place

# FGDC-STD-007.3-1998 (NSSDA), appendix 3-A and section 3.2.2: 95 % radius in standard deviations of one axis, the least number of check points,
# and the ratio of the axes below which the mean of the two stands for neither.
RADIUS_95_PER_SD = 2.4477
NSSDA_POINTS = 20
NSSDA_RATIO = 0.6
# Fewer than this and no order statistics bound the median with 95 % confidence.
PLACES_FOR_AN_INTERVAL = 6
RESAMPLES = 4000
# Fewer flights than this and drawing them again says nothing of how they differ. Our choice.
FLIGHTS_FOR_AN_INTERVAL = 3
# Nine in ten of fewer errors than this is the largest of them.
FIXES_FOR_P90 = 10
# How an interval of the median was found.
BOTH_DRAWN, PLACES_DRAWN, ORDERED = "beacons and flights drawn again", "beacons drawn again", "order statistics"


def median_interval(errors_m, confidence: float = 0.95) -> tuple[float, float]:
    """Interval of the median from order statistics: exact, no assumption on the distribution, errors independent.

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


def median_interval_by_place(errors_m, place_ids, confidence: float = 0.95, seed: int = 1) -> tuple[float, float]:
    """Interval of the median of errors of which several belong to one place: whole places are drawn again (bootstrap of clusters).

    Where every place has one error this is median_interval, which needs no draws. With fewer than 6 places (nan, nan). The same seed gives the
    same interval. Source: A. C. Davison & D. V. Hinkley, Bootstrap methods and their application, 1997, section 3.8; from memory.
    """
    errors, places = np.asarray(errors_m, float), np.unique(np.asarray(place_ids, object).astype(str), return_inverse=True)[1]
    count = int(places.max()) + 1 if len(errors) else 0
    if count < PLACES_FOR_AN_INTERVAL or count == len(errors):
        return median_interval(errors, confidence) if count == len(errors) else (float("nan"), float("nan"))
    return _interval_of_draws(errors, _drawn_again(count, seed)[:, places], 0.5, confidence)


def median_interval_of_fixes(errors_m, place_ids, flight_ids=None) -> tuple[float, float, str]:
    """Interval of the median of beacon fixes with how it was found: places and flights both drawn again from 6 places and 3 flights on, else places alone.

    Where every place has one fix and no three flights are known it is that of order statistics. (nan, nan, "") below 6 places.
    """
    if flight_ids is not None:
        low, high = median_interval_by_place_and_flight(errors_m, place_ids, flight_ids)
        if np.isfinite(low):
            return low, high, BOTH_DRAWN
    low, high = median_interval_by_place(errors_m, place_ids)
    if not np.isfinite(low):
        return low, high, ""
    return low, high, PLACES_DRAWN if len(errors_m) > len(set(map(str, place_ids))) else ORDERED


def p90_interval_of_fixes(errors_m, place_ids, flight_ids) -> tuple[float, float]:
    """Interval of the 90th percentile of beacon fixes: places and flights both drawn again from 6 places and 3 flights on, else places alone; (nan, nan) where neither can be."""
    low, high = _interval_by_place_and_flight(errors_m, place_ids, flight_ids, 0.9)
    return (low, high) if np.isfinite(low) else p90_interval_by_place(errors_m, place_ids)


def p90_interval_by_place(errors_m, place_ids, confidence: float = 0.95, seed: int = 1) -> tuple[float, float]:
    """Interval of the 90th percentile of errors by the same draws of whole places as `median_interval_by_place`; (nan, nan) below 6 places, or where none repeats.

    It is too short at its upper end when places are few: no draw exceeds the largest error, and order statistics bound a 90th percentile from above
    with 95 % confidence from 36 independent errors on (0.9 to the 36th power is below 0.025).
    """
    errors, places = np.asarray(errors_m, float), np.unique(np.asarray(place_ids, object).astype(str), return_inverse=True)[1]
    count = int(places.max()) + 1 if len(errors) else 0
    if count < PLACES_FOR_AN_INTERVAL or count == len(errors):
        return float("nan"), float("nan")
    return _interval_of_draws(errors, _drawn_again(count, seed)[:, places], 0.9, confidence)


def median_interval_by_place_and_flight(errors_m, place_ids, flight_ids, confidence: float = 0.95, seed: int = 1) -> tuple[float, float]:
    """Interval of the median when places and flights are both drawn again, each error counting the product of the two draws.

    What a flight has in common (weather, path, clock) is then a matter of chance too. (nan, nan) below 6 places or 3 flights.
    Source: A. B. Owen, The pigeonhole bootstrap, Annals of Applied Statistics 1 (2007); from memory. It leans to the wide side.
    """
    return _interval_by_place_and_flight(errors_m, place_ids, flight_ids, 0.5, confidence, seed)


def _interval_by_place_and_flight(errors_m, place_ids, flight_ids, share: float, confidence: float = 0.95, seed: int = 1) -> tuple[float, float]:
    errors = np.asarray(errors_m, float)
    places, flights = (np.unique(np.asarray(names, object).astype(str), return_inverse=True)[1] for names in (place_ids, flight_ids))
    counts = [int(names.max()) + 1 if len(errors) else 0 for names in (places, flights)]
    if counts[0] < PLACES_FOR_AN_INTERVAL or counts[1] < FLIGHTS_FOR_AN_INTERVAL:
        return float("nan"), float("nan")
    drawn = _drawn_again(counts[0], seed)[:, places] * _drawn_again(counts[1], seed + 1)[:, flights]
    # places and flights that never met may be all that was drawn
    return _interval_of_draws(errors, drawn[drawn.sum(axis=1) > 0], share, confidence)


def _drawn_again(count: int, seed: int) -> np.ndarray:
    """How often each of `count` things comes in each of RESAMPLES draws of as many with replacement. Shape (RESAMPLES, count)."""
    return np.random.default_rng(seed).multinomial(count, np.full(count, 1.0 / count), size=RESAMPLES)


def _interval_of_draws(errors: np.ndarray, times: np.ndarray, share: float, confidence: float) -> tuple[float, float]:
    """Percentile interval of the quantile `share`. times : how often each error comes in each draw, shape (draws, errors).

    The quantile of a draw is the one that is printed of the errors themselves (numpy's linear one: the median of an even number is the mean of
    the middle two), so that an interval belongs to its figure.
    """
    order = np.argsort(errors, kind="stable")
    drawn = np.cumsum(times[:, order], axis=1)
    place = share * (drawn[:, -1] - 1)
    below, above = (errors[order][np.argmax(drawn > np.floor(rank)[:, None], axis=1)] for rank in (place, np.ceil(place)))
    found = below + (place - np.floor(place)) * (above - below)
    low, high = np.quantile(found, [(1 - confidence) / 2, (1 + confidence) / 2], method="closest_observation")
    return float(low), float(high)


def elliptical_probability(radius: float, ratio: float) -> float:
    """Probability that a normal error lies within a radius of its mean.

    radius : in standard deviations of the longer axis. ratio : shorter over longer standard deviation. [0 to 1]
    Source: the density of a bivariate normal integrated over angles; tabulated by H. L. Harter, JASA 55:723, 1960.
    """
    if ratio < 1e-9:
        return float(2.0 * quad(lambda x: np.exp(-0.5 * x * x), 0.0, radius)[0] / np.sqrt(2.0 * np.pi))
    across, along = 1.0 / ratio**2, 1.0

    def density(r):
        bend = r * r * (across - along) / 4.0
        # ive is the Bessel function times exp(-bend), which keeps long, thin ellipses finite
        return r / ratio * np.exp(bend - r * r * (across + along) / 4.0) * ive(0, bend)

    return float(quad(density, 0.0, radius, points=sorted({min(radius, 3.0 * ratio)}), limit=200)[0])


def elliptical_radius(probability: float, ratio: float) -> float:
    """Radius that holds a probability of a normal error, in standard deviations of the longer axis; ratio as in elliptical_probability."""
    return float(brentq(lambda radius: elliptical_probability(radius, ratio) - probability, 1e-6, 10.0, xtol=1e-9))


def nssda_95_m(error_east_m, error_north_m) -> float:
    """Radius that would hold 95 % of errors if they were normal, after the NSSDA; blank without errors. [m]

    2.4477 times the mean of the two RMSE (divided by n), which is 1.7308 RMSE_r when they are equal. Where one RMSE is less
    than 0.6 of the other the standard has no formula, and the exact radius of an elliptical normal error is taken.
    """
    rmse = sorted(_rmse(values) for values in (error_east_m, error_north_m))
    if not np.isfinite(rmse).all():
        return float("nan")
    if rmse[1] == 0.0 or rmse[0] / rmse[1] >= NSSDA_RATIO:
        return RADIUS_95_PER_SD * 0.5 * (rmse[0] + rmse[1])
    return elliptical_radius(0.95, rmse[0] / rmse[1]) * rmse[1]


def _rmse(values) -> float:
    values = np.asarray(values, float)
    return float(np.sqrt(np.mean(values**2))) if len(values) else float("nan")


def accuracy_statement(errors: pd.DataFrame) -> str:
    """The sentence of the NSSDA when at least 20 independent beacons were tested, else why it may not be used.

    errors : error_east_m, error_north_m, place_id; one row per fix.
    """
    places = errors["place_id"].nunique()
    if places >= NSSDA_POINTS:
        radius_m = float(f"{nssda_95_m(errors['error_east_m'], errors['error_north_m']):.2g}")
        return f"Tested {radius_m:.0f} metres horizontal accuracy at 95% confidence level."
    return (f"The accuracy statement of the NSSDA needs {NSSDA_POINTS} independent check points, and there {'is' if places == 1 else 'are'} {places}; "
            "none is made.")


def doubtful_places(errors: pd.DataFrame) -> pd.Series:
    """Flags of fixes so far from their beacon that the surveyed position, and not the fix, may be wrong. Shape (fixes,).

    errors : error_m, level_after. A truth beyond the 99.9 % region, or an error of more than 5 medians beyond the 95 % region.
    """
    median = errors["error_m"].median()
    return (errors["level_after"] > 0.999) | ((errors["error_m"] > 5.0 * median) & (errors["level_after"] > 0.95))


_SUMMARY = ("bias_east_m", "bias_north_m", "median_m", "median_low_95_m", "median_high_95_m", "mean_m", "p90_m", "rmse_m")


def error_summary(errors: pd.DataFrame) -> dict:
    """Summary of beacon errors (columns error_m, error_east_m, error_north_m and, for the interval, place_id and flight_id).

    Returns n, bias east and north, median with 95 % interval, mean, 90th percentile and RMSE (divided by n), all in metres, and median_interval.
    The interval is that of median_interval_of_fixes, which names its method in median_interval; without place_id nobody knows which fixes repeat a
    beacon, and there is none.
    """
    size = errors["error_m"].to_numpy(float)
    if len(size) == 0:
        return {"n": 0, **{name: float("nan") for name in _SUMMARY}, "median_interval": ""}
    low, high, how = median_interval_of_fixes(size, errors["place_id"], errors.get("flight_id")) if "place_id" in errors else (float("nan"), float("nan"), "")
    values = (float(errors["error_east_m"].mean()), float(errors["error_north_m"].mean()), float(np.median(size)), low, high,
              float(size.mean()), float(np.quantile(size, 0.9)), _rmse(size))
    return {"n": len(size), **dict(zip(_SUMMARY, values)), "median_interval": how}


def _inside_by_place(errors: pd.DataFrame) -> dict[str, float]:
    """Share of truths inside their 95 % region when every place counts once, with its interval, as in coverage_table; blank where no place is known."""
    if "place_id" not in errors:
        return {"share_by_place": np.nan, "share_by_place_low_95": np.nan, "share_by_place_high_95": np.nan}
    found = share_by_place(errors["level_after"] <= 0.95, errors["place_id"].astype(str))
    return {"share_by_place": found["share"], "share_by_place_low_95": found["low_95"], "share_by_place_high_95": found["high_95"]}


def summary_by(errors: pd.DataFrame, by: str) -> pd.DataFrame:
    """One row of error_summary per value of a column, with the coverage of the calibrated 95 % regions (level_after), its exact interval, and both with every place counted once."""
    rows = []
    for value, part in errors.groupby(by, sort=True, observed=True):
        inside = int((part["level_after"] <= 0.95).sum())
        low, high = exact_interval(inside, len(part))
        rows.append({by: value, **error_summary(part), "inside_95": inside, "inside_low_95": low, "inside_high_95": high, **_inside_by_place(part)})
    return pd.DataFrame(rows)
