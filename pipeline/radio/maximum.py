"""The most likely parameters: a first climb, and the polishing of many choices of tags at once from a good start."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from pipeline.radio.lanes import Lanes, log_likelihoods
from pipeline.radio.parameters import Given, Parameter, log_prior

_STEP = 1e-3
# Five prior standard deviations: far enough not to matter, near enough to keep a runaway fit finite.
_BOUND = 5.0
# Where the search for the maximum starts its steps: the log-likelihood is some tens of times sharper than the priors.
_FIRST_SCALE = 0.2
# Vectors x tags evaluated in one pass; a pass over the records costs hardly more for many than for few.
_LANES_AT_ONCE = 6000


# Vectors tried for the mean; about a fifth of them count. A little wider than the normal that they are drawn from, lest its tails fall short.
_TRIED = 2000
_WIDER = 1.1


@dataclass(frozen=True)
class Objective:
    """Negative log-posterior and gradient at many points at once, each point with its own choice of tags.

    Points are in prior standard deviations from the prior mean, which puts every parameter on one scale.
    """

    lanes: Lanes
    parameters: tuple[Parameter, ...]
    given: Given = Given()

    @property
    def everyone(self) -> np.ndarray:
        """Flags of all tags, shape (1, tags)."""
        return np.ones((1, len(self.lanes.tag_types)), bool)

    def at(self, points: np.ndarray, keep: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """points (m, parameters), keep (m or 1, tags) -> values (m,), gradients (m, parameters), by central differences."""
        count = len(self.parameters)
        nudges = np.concatenate([np.zeros((1, count)), _STEP * np.eye(count), -_STEP * np.eye(count)])
        nudged = (points[:, None, :] + nudges).reshape(-1, count)
        kept = np.repeat(np.broadcast_to(keep, (len(points), keep.shape[1])), len(nudges), axis=0)
        values = self._values(nudged, kept).reshape(len(points), len(nudges))
        return values[:, 0], (values[:, 1:count + 1] - values[:, count + 1:]) / (2 * _STEP)

    def of_choices(self, points: np.ndarray, keep: np.ndarray) -> np.ndarray:
        """Log-posterior at every point under every choice of tags: points (k, parameters), keep (m, tags) -> (m, k)."""
        vectors = _to_vectors(self.parameters, points)
        block = max(1, _LANES_AT_ONCE // keep.shape[1])
        of_tags = np.concatenate([log_likelihoods(self.lanes, self.parameters, vectors[start:start + block], self.given)
                                  for start in range(0, len(vectors), block)])
        return keep.astype(float) @ of_tags.T + log_prior(self.parameters, vectors)

    def _values(self, points: np.ndarray, kept: np.ndarray) -> np.ndarray:
        vectors = _to_vectors(self.parameters, points)
        block = max(1, _LANES_AT_ONCE // kept.shape[1])
        likelihood = [
            np.where(kept[start:start + block], log_likelihoods(self.lanes, self.parameters, vectors[start:start + block], self.given), 0.0).sum(axis=1)
            for start in range(0, len(vectors), block)
        ]
        return -np.concatenate(likelihood) - log_prior(self.parameters, vectors)


def _to_vectors(parameters, points: np.ndarray) -> np.ndarray:
    return np.array([p.prior_mean for p in parameters]) + np.array([p.prior_sd for p in parameters]) * points


def maximum(objective: Objective) -> np.ndarray:
    """The point of highest log-posterior, climbed to from the prior means; shape (parameters,)."""
    def stretched(point):
        value, gradient = objective.at(_FIRST_SCALE * point[None, :], objective.everyone)
        return value[0], _FIRST_SCALE * gradient[0]

    count, limit = len(objective.parameters), _BOUND / _FIRST_SCALE
    found = minimize(stretched, np.zeros(count), jac=True, method="L-BFGS-B", bounds=[(-limit, limit)] * count,
                     options={"maxiter": 200, "ftol": 1e-8})
    return _FIRST_SCALE * found.x


def inverse_curvature(objective: Objective, point: np.ndarray) -> np.ndarray:
    """Inverse of the second derivatives, no direction left wider than its prior (where rounding or a bound flattens it)."""
    width, units = 0.02, np.eye(len(point))
    _, gradients = objective.at(point + width * np.concatenate([units, -units]), objective.everyone)
    rows = (gradients[:len(point)] - gradients[len(point):]) / (2 * width)
    sizes, axes = np.linalg.eigh(0.5 * (rows + rows.T))
    return (axes / np.maximum(sizes, 1.0)) @ axes.T


def polished(objective: Objective, start: np.ndarray, keep: np.ndarray, inverses: np.ndarray, tolerance: float = 1e-3) -> np.ndarray:
    """The maxima near a good start for several choices of tags at once, by Newton steps with a curvature that is nearly right.

    start (parameters,), keep (m, tags), inverses (m, parameters, parameters) -> (m, parameters). A step that does not gain
    is halved; a point rests once another step would gain less than the tolerance in log-posterior.
    """
    points = np.repeat(start[None, :], len(keep), axis=0)
    values, gradients = objective.at(points, keep)
    shrink = np.ones(len(points))
    for _ in range(25):
        steps = -np.einsum("mij,mj->mi", inverses, gradients)
        moving = np.flatnonzero((-np.einsum("mi,mi->m", gradients, steps) > 2 * tolerance) & (shrink > 0.01))
        if len(moving) == 0:
            break
        trials = np.clip(points[moving] + shrink[moving, None] * steps[moving], -_BOUND, _BOUND)
        trial_values, trial_gradients = objective.at(trials, keep[moving])
        gained = trial_values <= values[moving]
        shrink[moving] = np.where(gained, 1.0, shrink[moving] / 2)
        better = moving[gained]
        points[better], values[better], gradients[better] = trials[gained], trial_values[gained], trial_gradients[gained]
    return points


def posterior_means(objective: Objective, point: np.ndarray, inverse: np.ndarray, keep: np.ndarray) -> np.ndarray:
    """Means of the posterior for several choices of tags, keep (m, tags) -> (m, parameters), in prior sds like the point.

    Few beacons leave a skewed posterior, whose mean lies beside its top. One set of vectors about the top of all tags serves every choice: what is
    normal there is weighted by what the posterior is (importance sampling; W. K. Hastings 1970 and before, from memory).
    """
    deviates = _WIDER * np.random.default_rng(0).standard_normal((_TRIED, len(point)))
    tried = point + deviates @ np.linalg.cholesky(inverse).T
    inside = (np.abs(tried) < _BOUND).all(axis=1)
    tried, deviates = tried[inside], deviates[inside]
    log_weight = objective.of_choices(tried, keep) + 0.5 * np.square(deviates / _WIDER).sum(axis=1)
    weight = np.exp(log_weight - log_weight.max(axis=1, keepdims=True))
    return weight @ tried / weight.sum(axis=1, keepdims=True)
