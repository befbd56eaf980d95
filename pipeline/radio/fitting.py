"""Estimating the signal model from beacons, absences included, by maximum marginal likelihood with weak priors.

A beacon's power is unknown and integrated out; its records of all flights form one sequence in which the power is shared
(but may drift) and the shadowing starts anew with each flight. The curvature at the maximum gives standard errors and the
draws by which parameter uncertainty is carried into every fix (Laplace's approximation).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.optimize import minimize

from pipeline.radio.evidence import Scatter, log_evidence
from pipeline.radio.listening import Listening
from pipeline.radio.model import SignalModel
from pipeline.radio.parameters import Parameter, log_prior, model_from_vector, natural_values, standard_parameters
from pipeline.radio.propagation import Sightlines, path_gain_db, sightlines

_SCATTER_NAMES = ("power_drift_sd_db", "shadowing_sd_db", "shadowing_length_m", "noise_sd_db", "softness_db", "miss_share", "fault_share")
FAULT_SD_DB = 10.0


@dataclass(frozen=True)
class KnownTag:
    """A tag at a known place, as heard in one or more flights.

    listenings : one per flight, in time order. place : (easting_m, northing_m). place_id : what is left out together.
    """

    tag_id: str
    place_id: str
    tag_type: str
    easting_m: float
    northing_m: float
    height_above_ground_m: float
    listenings: tuple[Listening, ...]


@dataclass(frozen=True)
class FittedModel:
    """The estimate: coordinates on the estimation scales with their covariance, and what it rests on."""

    parameters: tuple[Parameter, ...]
    vector: np.ndarray
    covariance: np.ndarray
    beacons: int
    records: int
    records_heard: int
    usual_threshold_db: float = 0.0

    @property
    def model(self) -> SignalModel:
        """The signal model at the estimate."""
        return model_from_vector(self.parameters, self.vector, self.usual_threshold_db)

    def draws(self, count: int, generator: np.random.Generator) -> list[SignalModel]:
        """Signal models drawn from the uncertainty of the estimate, in antithetic pairs about it."""
        half = generator.multivariate_normal(np.zeros(len(self.vector)), self.covariance, size=(count + 1) // 2, method="eigh")
        offsets = np.concatenate([half, -half])[:count]
        return [model_from_vector(self.parameters, self.vector + offset, self.usual_threshold_db) for offset in offsets]

    def table(self) -> pd.DataFrame:
        """One row per parameter: value, standard error, unit, prior; on natural scales."""
        rows = []
        for index, p in enumerate(self.parameters):
            low, high = (float(p.to_value(p.prior_mean + side * 1.96 * p.prior_sd)) for side in (-1, 1))
            rows.append({
                "parameter": p.name, "meaning": p.meaning, "value": float(p.to_value(self.vector[index])),
                "standard_error": float(np.sqrt(self.covariance[index, index]) * p.slope(self.vector[index])), "unit": p.unit,
                "prior_low_95": low, "prior_high_95": high,
                "prior_share": float(min(1.0, self.covariance[index, index] / p.prior_sd**2)),
            })
        return pd.DataFrame(rows)


@dataclass(frozen=True)
class _Lanes:
    """All known tags side by side: arrays of shape (records, tags), padded where a tag has fewer records."""

    strength_db: np.ndarray
    threshold_db: np.ndarray
    step_m: np.ndarray
    listened: np.ndarray
    lines: Sightlines
    tag_types: tuple[str, ...]

    @property
    def usual_threshold_db(self) -> float:
        """Median of the records' own thresholds; 0, which is used nowhere, when there are none."""
        own = self.threshold_db[np.isfinite(self.threshold_db)]
        return float(np.median(own)) if len(own) else 0.0


def _pad(arrays, fill: float) -> np.ndarray:
    longest = max((len(array) for array in arrays), default=0)
    padded = np.full((longest, len(arrays)), fill)
    for column, array in enumerate(arrays):
        padded[: len(array), column] = array
    return padded


def _side_by_side(known: list[KnownTag]) -> _Lanes:
    def joined(name):
        return [np.concatenate([getattr(listening, name) for listening in tag.listenings]) for tag in known]

    geometry = [
        [sightlines(listening, tag.easting_m, tag.northing_m, tag.height_above_ground_m) for listening in tag.listenings]
        for tag in known
    ]
    lines = Sightlines(*(
        _pad([np.concatenate([getattr(part, name)[:, 0] for part in parts]) for parts in geometry], 0.0)
        for name in Sightlines.__dataclass_fields__
    ))
    strength = joined("strength_db")
    return _Lanes(
        strength_db=_pad(strength, np.nan),
        threshold_db=_pad(joined("threshold_db"), np.nan),
        step_m=_pad(joined("step_m"), 1.0),
        listened=_pad([np.ones(len(values)) for values in strength], 0.0) > 0,
        lines=lines,
        tag_types=tuple(tag.tag_type for tag in known),
    )


def _log_likelihoods(lanes: _Lanes, parameters, vectors: np.ndarray) -> np.ndarray:
    """Log-evidence of every tag under every vector: (vectors, parameters) -> (vectors, tags)."""
    values = {name: value[:, None] for name, value in natural_values(parameters, vectors, lanes.usual_threshold_db).items()}
    gain = path_gain_db(_with_axis(lanes.lines), **{name: values[name] for name in ("exponent", "ahead_db", "ahead_squared_db", "below_db")})
    power = np.concatenate([values[f"power_mean_db {kind}"] for kind in lanes.tag_types], axis=1)
    scatter = Scatter(power_mean_db=power, power_sd_db=values["power_sd_db"], fault_sd_db=FAULT_SD_DB,
                      **{name: values[name] for name in _SCATTER_NAMES})
    own = lanes.threshold_db[:, None, :] + values["threshold_shift_db"]
    # Padding has no threshold at all; any finite number serves, since it is not listened to.
    threshold = np.where(lanes.listened[:, None, :], np.where(np.isnan(own), values["threshold_db"], own), 0.0)
    return log_evidence(lanes.strength_db[:, None, :], gain, threshold, lanes.step_m[:, None, :], scatter,
                        listened=lanes.listened[:, None, :])


def _with_axis(lines: Sightlines) -> Sightlines:
    return Sightlines(*(getattr(lines, name)[:, None, :] for name in lines.__dataclass_fields__))


_STEP = 1e-3
# Five prior standard deviations: far enough not to matter, near enough to keep a runaway fit finite.
_BOUND = 5.0
# Where the search for the maximum starts its steps: the log-likelihood is some tens of times sharper than the priors.
_FIRST_SCALE = 0.2
# Vectors x tags evaluated in one pass; a pass over the records costs hardly more for many than for few.
_LANES_AT_ONCE = 6000


@dataclass(frozen=True)
class _Objective:
    """Negative log-posterior and gradient at many points at once, each point with its own choice of tags.

    Points are in prior standard deviations from the prior mean, which puts every parameter on one scale.
    """

    lanes: _Lanes
    parameters: tuple[Parameter, ...]

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

    def _values(self, points: np.ndarray, kept: np.ndarray) -> np.ndarray:
        vectors = _to_vectors(self.parameters, points)
        block = max(1, _LANES_AT_ONCE // kept.shape[1])
        likelihood = [
            np.where(kept[start:start + block], _log_likelihoods(self.lanes, self.parameters, vectors[start:start + block]), 0.0).sum(axis=1)
            for start in range(0, len(vectors), block)
        ]
        return -np.concatenate(likelihood) - log_prior(self.parameters, vectors)


def _to_vectors(parameters, points: np.ndarray) -> np.ndarray:
    return np.array([p.prior_mean for p in parameters]) + np.array([p.prior_sd for p in parameters]) * points


def _maximum(objective: _Objective) -> np.ndarray:
    def stretched(point):
        value, gradient = objective.at(_FIRST_SCALE * point[None, :], objective.everyone)
        return value[0], _FIRST_SCALE * gradient[0]

    count, limit = len(objective.parameters), _BOUND / _FIRST_SCALE
    found = minimize(stretched, np.zeros(count), jac=True, method="L-BFGS-B", bounds=[(-limit, limit)] * count,
                     options={"maxiter": 200, "ftol": 1e-8})
    return _FIRST_SCALE * found.x


def _inverse_curvature(objective: _Objective, point: np.ndarray) -> np.ndarray:
    """Inverse of the second derivatives, no direction left wider than its prior (where rounding or a bound flattens it)."""
    width, units = 0.02, np.eye(len(point))
    _, gradients = objective.at(point + width * np.concatenate([units, -units]), objective.everyone)
    rows = (gradients[:len(point)] - gradients[len(point):]) / (2 * width)
    sizes, axes = np.linalg.eigh(0.5 * (rows + rows.T))
    return (axes / np.maximum(sizes, 1.0)) @ axes.T


def _polished(objective: _Objective, start: np.ndarray, keep: np.ndarray, inverses: np.ndarray, tolerance: float = 1e-3) -> np.ndarray:
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


def choose_parameters(known: list[KnownTag]) -> tuple[Parameter, ...]:
    """The parameters that these known tags can speak of, priors centred on a first rough look at their strengths."""
    pairs = [(listening, tag) for tag in known for listening in tag.listenings]
    heard = [listening.strength_db[listening.heard] for listening, _ in pairs]
    strengths = np.concatenate(heard) if heard else np.zeros(0)
    logs = [sightlines(listening, tag.easting_m, tag.northing_m, tag.height_above_ground_m).log10_distance[listening.heard, 0]
            for listening, tag in pairs]
    power_guess = float(np.median(strengths + 27.0 * np.concatenate(logs))) if len(strengths) else 0.0
    own = any(np.isfinite(listening.threshold_db).any() for listening, _ in pairs)
    directional = any(np.isfinite(listening.azimuth_grid_deg).any() for listening, _ in pairs)
    return standard_parameters(
        sorted({tag.tag_type for tag in known}), power_guess_db=power_guess,
        threshold_guess_db=float(np.quantile(strengths, 0.02)) if len(strengths) else 0.0,
        directional=directional, own_threshold=own,
    )


def prior_model(listenings: list[Listening], tag_types=("",), usual_distance_m: float = 400.0) -> FittedModel:
    """What is believed of the signal model when no tag at a known place was heard: the priors, nothing estimated.

    The power is set so that the strengths heard belong to tags at the usual distance of hearing, which is common practice,
    no source; its standard error says how weak that is.
    """
    heard = [listening.strength_db[listening.heard] for listening in listenings]
    strengths = np.concatenate(heard) if heard else np.zeros(0)
    thresholds = np.concatenate([listening.threshold_db for listening in listenings]) if listenings else np.zeros(0)
    own = np.isfinite(thresholds)
    directional = any(np.isfinite(listening.azimuth_grid_deg).any() for listening in listenings)
    parameters = standard_parameters(
        tag_types, power_guess_db=float(np.median(strengths) + 27.0 * np.log10(usual_distance_m)) if len(strengths) else 0.0,
        threshold_guess_db=float(np.quantile(strengths, 0.02)) if len(strengths) else 0.0,
        directional=directional, own_threshold=bool(own.any()), power_prior_sd_db=6.0,
    )
    return FittedModel(parameters, np.array([p.prior_mean for p in parameters]), np.diag([p.prior_sd**2 for p in parameters]),
                       beacons=0, records=0, records_heard=0, usual_threshold_db=float(np.median(thresholds[own])) if own.any() else 0.0)


def fit_signal_model(known: list[KnownTag]) -> FittedModel:
    """The signal model from tags at known places.

    Parameters
    ----------
    known : at least one tag with at least one record; more than about six give useful standard errors.

    Raises ValueError when there is nothing to fit on (use radio.prior_model then).
    """
    return fit_leaving_out(known, [])[0]


def fit_leaving_out(known: list[KnownTag], places: list[str]) -> tuple[FittedModel, dict[str, FittedModel]]:
    """The model from all known tags, and one for each named place fitted without any tag of that place."""
    if not any(len(listening) for tag in known for listening in tag.listenings):
        raise ValueError("no records of tags at known places: nothing to fit a signal model on")
    parameters = choose_parameters(known)
    lanes = _side_by_side(known)
    objective = _Objective(lanes, parameters)
    best = _maximum(objective)
    inverse = _inverse_curvature(objective, best)
    usual = lanes.usual_threshold_db
    whole = _as_fitted(known, parameters, best, inverse, usual)
    stayed = {place: np.array([tag.place_id != place for tag in known]) for place in places}
    stayed = {place: flags for place, flags in stayed.items() if flags.any()}
    if not stayed:
        return whole, {}
    keep = np.array(list(stayed.values()))
    # With one of m tags gone the curvature is nearly (m-1)/m of the whole, which is all that is assumed here.
    inverses = inverse[None] * (len(known) / keep.sum(axis=1))[:, None, None]
    points = _polished(objective, best, keep, inverses)
    left_out = {place: _as_fitted([tag for tag, kept in zip(known, flags) if kept], parameters, point, wider, usual)
                for (place, flags), point, wider in zip(stayed.items(), points, inverses)}
    return whole, left_out


def _as_fitted(known, parameters, scaled, inverse, usual_threshold_db) -> FittedModel:
    mean, sd = np.array([p.prior_mean for p in parameters]), np.array([p.prior_sd for p in parameters])
    listenings = [listening for tag in known for listening in tag.listenings]
    return FittedModel(
        parameters, mean + sd * scaled, inverse * np.outer(sd, sd), beacons=len({tag.place_id for tag in known}),
        records=sum(map(len, listenings)), records_heard=int(sum(listening.heard.sum() for listening in listenings)),
        usual_threshold_db=usual_threshold_db,
    )
