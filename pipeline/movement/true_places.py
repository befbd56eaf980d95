"""Where an animal's fixes may truly lie, given that they are places of one animal: errors taken out, and kept as uncertainty.

A draw from the region of a fix carries the error of the fix and once more the spread of the region. Statistics of such draws (areas,
distances) are inflated twice. Here every fix is drawn again, with weights by where the animal's places lie as a whole.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FEWEST_FIXES = 5
KEPT, DROPPED = 400, 100


@dataclass(frozen=True)
class TruePlaces:
    """Draws of the true places of one animal's fixes, and of the bivariate normal law they come from.

    places_m : (draws, fixes, 2). centres_m : (draws, 2). covariances_m2 : (draws, 2, 2).
    """

    places_m: np.ndarray
    centres_m: np.ndarray
    covariances_m2: np.ndarray


def true_places(draws_m, *, seed, kept=KEPT, dropped=DROPPED):
    """Draws of the true places behind fixes, by Gibbs sampling of a two-level model.

    Places come from a bivariate normal law of unknown centre and covariance S, with the prior |S + E|^(-3/2), E the mean error covariance: intervals
    of areas of error-free fixes then have exactly their level, and an animal that may not have moved at all is not drawn to a point. Each fix is known through the draws of its posterior, which was made without knowing of
    the others: it is drawn among them with weights of the normal law, so that regions of any shape and several places are kept.
    The law matters where errors are large; where they are small against the range, the places are those of the fixes whatever their law.

    Parameters
    ----------
    draws_m : sequence of n arrays of shape (m_k, 2), n at least 5
        Draws of the calibrated posterior of each fix. [m]
    seed : int
    kept, dropped : int
        Draws given, and draws before them that are not.

    Returns
    -------
    TruePlaces

    References
    ----------
    A. Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, section 3.6 (normal law, unknown mean and covariance) and chapter 11 (Gibbs sampling).
    """
    if len(draws_m) < FEWEST_FIXES:
        raise ValueError(f"{FEWEST_FIXES} fixes are needed, got {len(draws_m)}")
    count = min(len(draws) for draws in draws_m)
    draws = np.stack([np.asarray(each, dtype=float)[:count] for each in draws_m])
    origin = draws.mean(axis=(0, 1))
    draws = draws - origin
    generator = np.random.default_rng(seed)
    error = np.mean([np.cov(each.T) for each in draws], axis=0)
    places, covariance, found = draws.mean(axis=1), None, []
    for step in range(dropped + kept):
        covariance = _covariance(places, covariance, error, generator)
        centre = places.mean(axis=0) + np.linalg.cholesky(covariance / len(places)) @ generator.normal(size=2)
        places = _drawn(draws, centre, covariance, generator)
        if step >= dropped:
            found.append((places, centre, covariance))
    places, centres, covariances = (np.array(each) for each in zip(*found))
    return TruePlaces(places + origin, centres + origin, covariances)


def _covariance(places, current, error, generator):
    """Covariance of the normal law given the places: drawn under the prior |S|^(-3/2), kept or not so that it follows |S + E|^(-3/2)."""
    proposed = _inverse_wishart(np.cov(places.T) * (len(places) - 1) + 1e-6 * np.eye(2), len(places) - 1, generator)
    if current is None or generator.random() ** (2 / 3) * _share(current, error) < _share(proposed, error):
        return proposed
    return current


def _share(covariance, error):
    """Determinant of a covariance as a share of that with the errors on top."""
    return np.linalg.det(covariance) / np.linalg.det(covariance + error)


def _inverse_wishart(scatter, freedom, generator):
    """One draw, by Bartlett's decomposition."""
    lower = np.array([[np.sqrt(generator.chisquare(freedom)), 0.0], [generator.normal(), np.sqrt(generator.chisquare(freedom - 1))]])
    root = np.linalg.cholesky(np.linalg.inv(scatter)) @ lower
    return np.linalg.inv(root @ root.T)


def _drawn(draws, centre, covariance, generator):
    """One draw of each fix, weighted by the normal law."""
    apart = draws - centre
    log_weight = -0.5 * np.einsum("fdi,ij,fdj->fd", apart, np.linalg.inv(covariance), apart, optimize=True)
    weight = np.cumsum(np.exp(log_weight - log_weight.max(axis=1, keepdims=True)), axis=1)
    chosen = (weight < generator.random((len(draws), 1)) * weight[:, -1:]).sum(axis=1)
    return draws[np.arange(len(draws)), np.minimum(chosen, draws.shape[1] - 1)]
