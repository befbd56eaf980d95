"""What the fixes of one flight have in common: errors of clock, compass and signal model that push all of them the same way.

Found on the beacons, and put into the draws by their order: draw i of one fix of a flight goes with draw i of another.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.stats import chi2

FEWEST_PAIRS = 10
LARGEST = 0.9
RESAMPLED = 400
RADIUS_95_PER_SD = float(np.sqrt(chi2.isf(0.05, 2)))


@dataclass(frozen=True)
class SharedError:
    """correlation : of the errors of two fixes of one flight, 0 to 0.9; low, high : 95 % interval over beacons and flights; pairs : of beacons it was found on."""

    correlation: float
    low: float
    high: float
    pairs: int
    reason: str


def shared_error(beacon_errors, *, seed=1):
    """Correlation between the errors of different beacons in one flight, errors in units of their stated size.

    The mean of e_i . e_j / 2 over all pairs of beacons of one flight, e the error over the stated standard deviation (95 % radius / 2.4477), divided by the mean
    of e . e / 2. Bias that all flights share counts as shared: within a flight nothing tells it apart.

    Parameters
    ----------
    beacon_errors : DataFrame with the columns of BEACON_ERRORS, or None
    seed : int
        Of the bootstrap over beacons and flights that gives the interval.
    """
    if beacon_errors is None or not len(beacon_errors):
        return SharedError(0.0, np.nan, np.nan, 0, "No beacons: fixes of one flight are drawn independently of each other.")
    known = beacon_errors[beacon_errors["error_m"].notna() & (beacon_errors["error_radius_95_m"] > 0)]
    sd = known["error_radius_95_m"].to_numpy(float) / RADIUS_95_PER_SD
    errors = known[["error_east_m", "error_north_m"]].to_numpy(float) / sd[:, None]
    tags, flights = (known[name].astype(str).to_numpy() for name in ("tag_id", "flight_id"))
    pairs = int(np.triu((flights[:, None] == flights) & (tags[:, None] != tags)).sum())
    if pairs < FEWEST_PAIRS:
        return SharedError(0.0, np.nan, np.nan, pairs, f"{pairs} pairs of beacons in one flight; {FEWEST_PAIRS} are needed, so fixes of one flight are drawn independently.")
    value = _correlation(errors, tags, flights, np.ones(len(tags)))
    generator = np.random.default_rng(seed)
    resampled = [_correlation(errors, tags, flights, _counts(tags, generator) * _counts(flights, generator)) for _ in range(RESAMPLED)]
    low, high = np.nanquantile(resampled, [0.025, 0.975])
    return SharedError(float(np.clip(value, 0, LARGEST)), float(low), float(high), pairs,
                       f"Errors of two beacons of one flight correlate by {value:.2f} (95 % interval {low:.2f} to {high:.2f}, {pairs} pairs).".replace(" -", " −"))


def joined_by_flight(animals, correlation, *, seed):
    """The same animals with the draws of their fixes reordered, so that the errors of fixes of one flight correlate.

    Every fix keeps its draws, that is, its region with all its places. Each draw of a flight has a shift that its fixes share; a fix gives it the draw that lies
    nearest to its mean plus the shared and an own part of the error (an assignment of least squared distances).

    Parameters
    ----------
    animals : list of AnimalFixes
    correlation : float, 0 to 0.9
    seed : int
    """
    if correlation <= 0:
        return animals
    flights = sorted({fix.flight_id for animal in animals for fix in animal.fixes})
    numbers = {flight_id: number for number, flight_id in enumerate(flights)}
    return [replace(animal, fixes=tuple(_reordered(fix, correlation, [seed, numbers[fix.flight_id]], [seed, numbers[fix.flight_id], place + 1])
                                        for fix in animal.fixes)) for place, animal in enumerate(animals)]


def _counts(labels, generator):
    """How often a resample of the labels, with replacement, holds the label of each row."""
    names, place = np.unique(labels, return_inverse=True)
    return np.bincount(generator.integers(0, len(names), len(names)), minlength=len(names))[place].astype(float)


def _correlation(errors, tags, flights, weight):
    """Over all pairs of different beacons in one flight, fixes weighted."""
    both = np.outer(weight, weight) * (flights[:, None] == flights) * (tags[:, None] != tags)
    variance = (weight * np.square(errors).sum(axis=1)).sum() / max(weight.sum(), 1)
    return float((both * (errors @ errors.T)).sum() / both.sum() / variance) if both.sum() and variance else np.nan


def _reordered(fix, correlation, flight_seed, own_seed):
    draws = np.asarray(fix.draws_m, dtype=float)
    centre = draws.mean(axis=0)
    sd = np.sqrt(np.trace(np.cov(draws.T)) / 2)
    shared = np.random.default_rng(flight_seed).normal(0, sd, (len(draws), 2))
    own = np.random.default_rng(own_seed).permutation(draws) - centre
    wanted = np.sqrt(correlation) * shared + np.sqrt(1 - correlation) * own
    distances = np.square(wanted[:, None] - (draws - centre)).sum(axis=-1)
    return replace(fix, draws_m=draws[linear_sum_assignment(distances)[1]])
