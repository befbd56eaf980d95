"""Rivals of the widening that trust no model: how far out held-out beacons lay, and the finite-sample quantile of that.

A score says how far out a truth lay: the credible level of the posterior as computed at which its region reaches the truth, or
the error in units of the stated radius. If a new place is exchangeable with n places that were held out, its score is no
larger than the ceil((n + 1) p)-th smallest of theirs with probability p at least, whatever the posteriors are worth
(V. Vovk, A. Gammerman & G. Shafer 2005; from memory). With too few places that rank does not exist, and then neither does a region.

A place counts once, however many flights heard it: it weighs one, shared evenly among its fixes, and the place still to come
weighs one at infinity. That holds a fix of a new place with probability p (Y. Lee, R. Foygel Barber & R. Willett 2023, for
groups of repeated measurements; from memory). Neither summary of a place does: regions up to the quantile of the places'
medians hold too few fixes, since half of each place's lie beyond its median; up to that of their worst they hold too many.
With one fix at each place all three are the same rank.
"""

from __future__ import annotations

import math

import numpy as np

# Shares are sums of fractions such as six sixths.
_ROUNDING = 1e-9


def places_needed(nominal: float) -> int:
    """The fewest held-out places that allow a region of a nominal level, 0 < level < 1: the smallest n with ceil((n + 1) p) <= n.

    0.5 -> 1, 0.8 -> 4, 0.95 -> 19.
    """
    return math.ceil(nominal / (1.0 - nominal) - _ROUNDING)


def conformal_quantile(scores, place_ids, nominal: float) -> float:
    """The score up to which a region must reach to hold a new place with a nominal probability; infinity where too few places teach.

    scores : how far out each truth lay, shape (fixes,), none missing. place_ids : the place of each fix. nominal : 0 < level < 1.
    """
    return _reached_by(scores, place_ids, nominal * (len(set(place_ids)) + 1))


def score_that_holds(scores, place_ids, share: float) -> float:
    """The smallest score up to which regions hold a share of these very truths, each place weighing one. Infinity with no fix.

    scores, place_ids : as in conformal_quantile. share : 0 < share <= 1.
    """
    return _reached_by(scores, place_ids, share * len(set(place_ids)))


def quantiles_leaving_out(scores, place_ids, nominal: float, taught_by=None) -> dict[str, float]:
    """For each place the conformal quantile of all the others: what an honest test of that place may use.

    taught_by : places that may teach; all of them when left out.
    """
    values, places = np.asarray(scores, float), np.asarray(place_ids, object)
    may_teach = np.ones(len(places), bool) if taught_by is None else np.isin(places, list(taught_by))
    return {place: conformal_quantile(values[may_teach & (places != place)], places[may_teach & (places != place)], nominal)
            for place in sorted(set(places))}


def _reached_by(scores, place_ids, wanted: float) -> float:
    """The smallest score at which the weights of the fixes up to it come to so many places; infinity where they never do."""
    values, places = np.asarray(scores, float), np.asarray(place_ids, object)
    if np.isnan(values).any():
        raise ValueError("a score is missing; leave the fix out or give it infinity")
    _, place, fixes = np.unique(places.astype(str), return_inverse=True, return_counts=True)
    order = np.argsort(values, kind="stable")
    weight = np.cumsum(1.0 / fixes[place[order]])
    enough = np.flatnonzero(weight >= wanted - _ROUNDING)
    return float(values[order[enough[0]]]) if len(enough) else math.inf
