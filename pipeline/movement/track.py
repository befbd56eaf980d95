"""The track of an animal with its errors: a random walk seen through the regions of its fixes.

    walk_of        rate of the walk with its interval, and draws of the places at the fixes
    track_table    most likely track and the radius of its 95 % band, at the fixes and between them
    walk_table     one row per animal: the rate, or why there is none
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.cluster.vq import kmeans2
from scipy.special import logsumexp
from scipy.stats import chi2

from pipeline.columns import conform
from pipeline.movement.difference_of_places import looks_normal
from pipeline.movement.extent import span_days

FEWEST_FIXES = 5
PARTS = 6                 # normal pieces that stand for a region that is not normal
COARSE, FINE = 24, 32     # candidate rates: over all that is possible, then where the likelihood is
DRAWS = 400
BETWEEN = 8               # places of the track between two fixes

TRACKS = {
    "tag_id": "text",
    "animal_id": "text",
    "time_utc": "time",
    "flight_id": "text",            # blank between fixes
    "easting_m": "float",
    "northing_m": "float",
    "radius_95_m": "float",         # about this place, holds the animal with probability 0.95 if it walks at random
}

WALKS = {
    "tag_id": "text",
    "animal_id": "text",
    "fixes": "int",
    "span_days": "float",
    "walk_m_per_root_day": "float",        # sd of each axis after a day; grows with the root of time
    "walk_low_m_per_root_day": "float",    # 95 % interval; 0 when standing still explains the fixes
    "walk_high_m_per_root_day": "float",
    "radius_95_at_fixes_m": "float",       # median, along the track
    "radius_95_of_fixes_m": "float",       # median, of the fixes taken alone
    "radius_95_between_m": "float",        # largest, between fixes
    "verdict": "text",                     # given | refused
    "reason": "text",
}


@dataclass(frozen=True)
class Walk:
    """rate : sd of each axis after a day, most likely value and 95 % interval. rates : (draws,), places_m : (draws, fixes, 2)."""

    rate: float
    low: float
    high: float
    rates: np.ndarray
    places_m: np.ndarray


def walk_of(draws_m, days, *, seed, count=DRAWS):
    """Random walk through fixes: its rate and draws of the places, by a Kalman filter over normal pieces and backward sampling.

    Parameters
    ----------
    draws_m : sequence of n arrays of shape (m, 2), n at least 5
        Draws of the calibrated posteriors. [m]
    days : array of shape (n,), not falling
        Times of the fixes. [d]
    seed : int

    Returns
    -------
    Walk. The rate is the one of highest likelihood, the interval that of the likelihood ratio (chi-square with 1 degree of freedom). Draws take the
    rate as flat between 0 and what the fixes allow, so that the band carries that the rate is not known.

    References
    ----------
    H. E. Rauch, F. Tung & C. T. Striebel, Maximum likelihood estimates of linear dynamic systems, AIAA J. 3:1445 (1965), for the smoother;
    S. Fruehwirth-Schnatter, Data augmentation and dynamic linear models, J. Time Ser. Anal. 15:183 (1994), for backward sampling.
    """
    if len(draws_m) < FEWEST_FIXES:
        raise ValueError(f"{FEWEST_FIXES} fixes are needed, got {len(draws_m)}")
    generator = np.random.default_rng(seed)
    origin = np.mean([np.mean(draws, axis=0) for draws in draws_m], axis=0)
    seen = [pieces_of(np.asarray(draws, dtype=float) - origin, seed) for draws in draws_m]
    gaps = np.diff(np.asarray(days, dtype=float))
    coarse = _candidates(seen, gaps)
    rates = _near_the_best(coarse, [_forward(seen, gaps, rate)[0] for rate in coarse])
    passes = [_forward(seen, gaps, rate) for rate in rates]
    log_likelihood = np.array([value for value, _ in passes])
    chosen = generator.choice(len(rates), count, p=_weights(log_likelihood + np.log(rates)))
    places = np.concatenate([_backward(passes[k][1], gaps, rates[k], int((chosen == k).sum()), generator) for k in np.unique(chosen)])
    inside = rates[2 * (log_likelihood.max() - log_likelihood) <= chi2.isf(0.05, 1)]
    best = float(rates[log_likelihood.argmax()])
    low, best = (0.0 if value == coarse[0] else float(value) for value in (inside[0], best))
    return Walk(best, low, float(inside[-1]), np.sort(rates[chosen]), places + origin)


def pieces_of(draws, seed):
    """Normal pieces that stand for a region: weights (k,), means (k, 2), covariances (k, 2, 2); one piece where the region looks normal."""
    mean, covariance = draws.mean(axis=0), np.cov(draws.T)
    if looks_normal(draws, mean, covariance, largest_gap=1.1 / np.sqrt(len(draws))):      # a gap that so many draws of a normal region rarely show
        return np.ones(1), mean[None], covariance[None]
    _, label = kmeans2(draws, PARTS, minit="++", seed=np.random.default_rng(seed))
    members = [draws[label == part] for part in range(PARTS) if (label == part).sum() >= 3]
    own = np.array([np.cov(each.T) + 1e-3 * np.eye(2) for each in members])
    sizes = np.array([len(each) for each in members], dtype=float)
    return sizes / sizes.sum(), np.array([each.mean(axis=0) for each in members]), own


def walks_of_animals(animals, seed):
    """Walk of every animal with 5 fixes or more: dict of tag_id -> Walk. One more animal changes no other."""
    return {animal.tag_id: walk_of([fix.draws_m for fix in animal.fixes], _days(animal), seed=[seed, zlib.crc32(animal.tag_id.encode())])
            for animal in animals if len(animal.fixes) >= FEWEST_FIXES}


def track_table(animals, walks, *, seed):
    """The track of every animal with a walk, at its fixes and at 7 places between two of them.

    Parameters
    ----------
    animals : list of AnimalFixes
    walks : dict of tag_id -> Walk, of walks_of_animals

    Returns
    -------
    DataFrame with the columns of TRACKS: the mean over draws, and the radius about it that holds 95 % of them.
    """
    rows = [row for animal in animals if animal.tag_id in walks for row in _track_rows(animal, walks[animal.tag_id], seed)]
    return conform(pd.DataFrame(rows, columns=list(TRACKS)), TRACKS)


def walk_table(animals, walks, tracks):
    """One row per animal: the rate of its walk and what the band gains, or why there is none. The distance walked is not given: fixes this far apart cannot bear it."""
    return conform(pd.DataFrame([_walk_row(animal, walks.get(animal.tag_id), tracks) for animal in animals], columns=list(WALKS)), WALKS)


def _track_rows(animal, walk, seed):
    generator, days, rows = np.random.default_rng(seed), _days(animal), []
    shares = np.arange(1, BETWEEN) / BETWEEN
    for number, fix in enumerate(animal.fixes):
        rows.append(_track_row(animal, fix.time_utc, fix.flight_id, walk.places_m[:, number]))
        if number + 1 == len(animal.fixes):
            break
        start, end, gap = walk.places_m[:, number], walk.places_m[:, number + 1], days[number + 1] - days[number]
        for share in shares:
            sd = np.sqrt(bridge_variance_m2(share, gap, walk.rates))[:, None]
            places = (1 - share) * start + share * end + sd * generator.normal(size=start.shape)
            rows.append(_track_row(animal, fix.time_utc + pd.Timedelta(days=share * gap), "", places))
    return rows


def _track_row(animal, time_utc, flight_id, places):
    middle = places.mean(axis=0)
    return animal.identity | {"time_utc": time_utc, "flight_id": flight_id, "easting_m": middle[0], "northing_m": middle[1],
                              "radius_95_m": np.quantile(np.hypot(*(places - middle).T), 0.95)}


def _walk_row(animal, walk, tracks):
    count = len(animal.fixes)
    row = animal.identity | {"fixes": count, "span_days": span_days(animal)}
    if walk is None:
        return row | {"verdict": "refused", "reason": f"{count} usable {'fix' if count == 1 else 'fixes'}; {FEWEST_FIXES} are needed for a track."}
    own = tracks[tracks["tag_id"] == animal.tag_id]
    at = own["flight_id"] != ""
    still = "Standing still explains the fixes. " if walk.low == 0 else ""
    return row | {
        "walk_m_per_root_day": walk.rate, "walk_low_m_per_root_day": walk.low, "walk_high_m_per_root_day": walk.high,
        "radius_95_at_fixes_m": own.loc[at, "radius_95_m"].median(), "radius_95_between_m": own.loc[~at, "radius_95_m"].max(),
        "radius_95_of_fixes_m": np.median([np.quantile(np.hypot(*(fix.draws_m - fix.draws_m.mean(axis=0)).T), 0.95) for fix in animal.fixes]),
        "verdict": "given", "reason": f"{still}The band holds if the animal walks at random between its fixes; it is no path walked."}


def _days(animal):
    return np.array([(fix.time_utc - animal.fixes[0].time_utc).total_seconds() / 86400 for fix in animal.fixes])


def bridge_variance_m2(share, days, rate, variance_from_m2=0.0, variance_to_m2=0.0):
    """Variance of each axis on a random walk between two fixes: T a (1 - a) rate^2 + (1 - a)^2 from + a^2 to. [m^2]

    Parameters
    ----------
    share : float, 0 at the first fix, 1 at the second
    days : T. rate : m per root day. variance_from_m2, variance_to_m2 : errors of the two fixes, each axis.

    References
    ----------
    J. S. Horne et al., Analyzing animal movements using Brownian bridges, Ecology 88:2354 (2007).
    """
    return days * share * (1 - share) * rate**2 + (1 - share) ** 2 * variance_from_m2 + share**2 * variance_to_m2


def _candidates(seen, gaps):
    """Rates from one that moves nothing in the whole time to one that explains the longest step by the shortest time."""
    error = np.sqrt(min(np.trace(covariances.mean(axis=0)) / 2 for _, _, covariances in seen))
    centres = np.array([weights @ means for weights, means, _ in seen])
    reach = np.linalg.norm(centres[:, None] - centres, axis=-1).max() + error
    total, step = max(gaps.sum(), 1e-3), max(np.median(gaps), 1e-3)
    return np.geomspace(0.05 * error / np.sqrt(total), 4 * reach / np.sqrt(min(step, total / len(gaps))), COARSE)


def _near_the_best(coarse, log_likelihood):
    """A finer row of rates over those that are not far below the best."""
    near = np.flatnonzero(np.max(log_likelihood) - np.array(log_likelihood) < 6)
    return np.geomspace(coarse[max(near[0] - 1, 0)], coarse[min(near[-1] + 1, len(coarse) - 1)], FINE)


def _forward(seen, gaps, rate):
    """Log-likelihood of the fixes after the first, and the mixture of places at each fix given it and those before."""
    pieces = (np.log(seen[0][0]), seen[0][1], seen[0][2])
    total, kept = 0.0, [pieces]
    for (weights, means, covariances), gap in zip(seen[1:], gaps):
        log_weight, centre, spread = pieces
        spread = spread + rate**2 * gap * np.eye(2)
        apart = means[None] - centre[:, None]                                    # (pieces before, pieces of this fix, 2)
        both = spread[:, None] + covariances[None]
        inverse = np.linalg.inv(both)
        gain = spread[:, None] @ inverse
        new_weight = log_weight[:, None] + np.log(weights) + _log_normal(apart, both, inverse)
        total += logsumexp(new_weight)
        new_centre = centre[:, None] + np.einsum("abij,abj->abi", gain, apart)
        pieces = _merged(new_weight - logsumexp(new_weight), new_centre, spread[:, None] - gain @ spread[:, None])
        kept.append(pieces)
    return total, kept


def _merged(log_weight, centre, spread):
    """One normal piece for each piece of the present fix, with the mean and covariance of all ways that led there: the mixture does not grow."""
    of_piece = logsumexp(log_weight, axis=0)
    share = np.exp(log_weight - of_piece)
    mean = np.einsum("ab,abi->bi", share, centre)
    apart = centre - mean
    return of_piece, mean, np.einsum("ab,abij->bij", share, spread + apart[..., :, None] * apart[..., None, :])


def _backward(kept, gaps, rate, count, generator):
    """Draws of the places at all fixes, (count, fixes, 2), from the last backwards."""
    log_weight, centre, spread = kept[-1]
    places = [_one_each(np.tile(log_weight, (count, 1)), np.tile(centre, (count, 1, 1)), spread, generator)]
    for (log_weight, centre, spread), gap in zip(kept[-2::-1], gaps[::-1]):
        step = max(rate**2 * gap, 1e-6) * np.eye(2)
        both = spread + step
        inverse = np.linalg.inv(both)
        gain = spread @ inverse
        apart = places[-1][:, None] - centre
        weights = log_weight + _log_normal(apart, both[None], inverse[None])
        places.append(_one_each(weights, centre + np.einsum("aij,caj->cai", gain, apart), spread - gain @ spread, generator))
    return np.stack(places[::-1], axis=1)


def _one_each(log_weight, centre, spread, generator):
    """One draw of each row's mixture: weights (rows, pieces), centres (rows, pieces, 2), covariances (pieces, 2, 2)."""
    chosen = (log_weight + generator.gumbel(size=log_weight.shape)).argmax(axis=1)
    roots = np.linalg.cholesky((spread + spread.transpose(0, 2, 1)) / 2 + 1e-9 * np.eye(2))[chosen]
    return centre[np.arange(len(chosen)), chosen] + np.einsum("cij,cj->ci", roots, generator.normal(size=(len(chosen), 2)))


def _log_normal(apart, covariance, inverse):
    squared = np.einsum("...i,...ij,...j->...", apart, inverse, apart)
    return -0.5 * squared - 0.5 * np.log(np.linalg.det(covariance)) - np.log(2 * np.pi)


def _weights(log_values):
    weights = np.exp(log_values - log_values.max())
    return weights / weights.sum()
