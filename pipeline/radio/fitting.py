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

    @property
    def model(self) -> SignalModel:
        """The signal model at the estimate."""
        return model_from_vector(self.parameters, self.vector)

    def draws(self, count: int, generator: np.random.Generator) -> list[SignalModel]:
        """Signal models drawn from the uncertainty of the estimate, in antithetic pairs about it."""
        half = generator.multivariate_normal(np.zeros(len(self.vector)), self.covariance, size=(count + 1) // 2, method="eigh")
        offsets = np.concatenate([half, -half])[:count]
        return [model_from_vector(self.parameters, self.vector + offset) for offset in offsets]

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

    def without(self, lane_flags: np.ndarray) -> "_Lanes":
        keep = ~lane_flags
        lines = Sightlines(*(getattr(self.lines, name)[:, keep] for name in self.lines.__dataclass_fields__))
        kinds = tuple(kind for kind, kept in zip(self.tag_types, keep) if kept)
        return _Lanes(self.strength_db[:, keep], self.threshold_db[:, keep], self.step_m[:, keep], self.listened[:, keep], lines, kinds)


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
    """Sum over tags of the log-evidence under each vector: (vectors, parameters) -> (vectors,)."""
    values = {name: value[:, None] for name, value in natural_values(parameters, vectors).items()}
    gain = path_gain_db(_with_axis(lanes.lines), **{name: values[name] for name in ("exponent", "ahead_db", "ahead_squared_db", "below_db")})
    power = np.concatenate([values[f"power_mean_db {kind}"] for kind in lanes.tag_types], axis=1)
    scatter = Scatter(power_mean_db=power, power_sd_db=values["power_sd_db"], fault_sd_db=FAULT_SD_DB,
                      **{name: values[name] for name in _SCATTER_NAMES})
    own = lanes.threshold_db[:, None, :] + values["threshold_shift_db"]
    # Padding has no threshold at all; any finite number serves, since it is not listened to.
    threshold = np.where(lanes.listened[:, None, :], np.where(np.isnan(own), values["threshold_db"], own), 0.0)
    per_tag = log_evidence(lanes.strength_db[:, None, :], gain, threshold, lanes.step_m[:, None, :], scatter,
                           listened=lanes.listened[:, None, :])
    return per_tag.sum(axis=1)


def _with_axis(lines: Sightlines) -> Sightlines:
    return Sightlines(*(getattr(lines, name)[:, None, :] for name in lines.__dataclass_fields__))


_STEP = 1e-3


def _objective(lanes: _Lanes, parameters):
    """Negative log-posterior and its gradient by central differences, all perturbed vectors in one pass.

    The argument is in prior standard deviations from the prior mean, which puts every parameter on one scale.
    """
    count = len(parameters)
    mean, sd = np.array([p.prior_mean for p in parameters]), np.array([p.prior_sd for p in parameters])

    def value_and_gradient(scaled):
        nudges = np.concatenate([np.zeros((1, count)), _STEP * np.eye(count), -_STEP * np.eye(count)])
        vectors = mean + sd * (scaled + nudges)
        log_posterior = _log_likelihoods(lanes, parameters, vectors) + log_prior(parameters, vectors)
        gradient = (log_posterior[1:count + 1] - log_posterior[count + 1:]) / (2 * _STEP)
        return -log_posterior[0], -gradient

    return value_and_gradient


def _curvature(objective, scaled: np.ndarray) -> np.ndarray:
    """Second derivatives of the objective by central differences of its gradient."""
    width = 0.02
    rows = [(objective(scaled + width * unit)[1] - objective(scaled - width * unit)[1]) / (2 * width) for unit in np.eye(len(scaled))]
    return 0.5 * (np.array(rows) + np.array(rows).T)


def _inverse(curvature: np.ndarray) -> np.ndarray:
    """Inverse curvature in prior units, no direction left wider than its prior (where rounding or a bound flattens it)."""
    sizes, axes = np.linalg.eigh(curvature)
    return (axes / np.maximum(sizes, 1.0)) @ axes.T


# Five prior standard deviations: far enough not to matter, near enough to keep a runaway fit finite.
_BOUND = 5.0
# Where the search for the maximum starts its steps: the log-likelihood is some tens of times sharper than the priors.
_FIRST_SCALE = 0.2


def _maximum(objective, count: int) -> np.ndarray:
    def stretched(point):
        value, gradient = objective(_FIRST_SCALE * point)
        return value, _FIRST_SCALE * gradient

    limit = _BOUND / _FIRST_SCALE
    found = minimize(stretched, np.zeros(count), jac=True, method="L-BFGS-B", bounds=[(-limit, limit)] * count,
                     options={"maxiter": 200, "ftol": 1e-8})
    return _FIRST_SCALE * found.x


def _polished(objective, start: np.ndarray, inverse: np.ndarray, tolerance: float = 1e-3) -> np.ndarray:
    """The maximum near a good start, by Newton steps with a curvature that is nearly right; steps are halved when they fail.

    Stops when the gain expected from another step is below the tolerance in log-posterior.
    """
    point, (value, gradient) = start, objective(start)
    for _ in range(20):
        step = -inverse @ gradient
        if -gradient @ step < 2 * tolerance:
            break
        for _ in range(6):
            trial = np.clip(point + step, -_BOUND, _BOUND)
            trial_value, trial_gradient = objective(trial)
            if trial_value <= value:
                break
            step = step / 2
        else:
            break
        point, value, gradient = trial, trial_value, trial_gradient
    return point


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
    own = any(np.isfinite(listening.threshold_db).any() for listening in listenings)
    directional = any(np.isfinite(listening.azimuth_grid_deg).any() for listening in listenings)
    parameters = standard_parameters(
        tag_types, power_guess_db=float(np.median(strengths) + 27.0 * np.log10(usual_distance_m)) if len(strengths) else 0.0,
        threshold_guess_db=float(np.quantile(strengths, 0.02)) if len(strengths) else 0.0,
        directional=directional, own_threshold=own, power_prior_sd_db=6.0,
    )
    return FittedModel(parameters, np.array([p.prior_mean for p in parameters]), np.diag([p.prior_sd**2 for p in parameters]),
                       beacons=0, records=0, records_heard=0)


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
    objective = _objective(lanes, parameters)
    best = _maximum(objective, len(parameters))
    inverse = _inverse(_curvature(objective, best))
    left_out = {}
    for place in places:
        flags = np.array([tag.place_id == place for tag in known])
        rest = [tag for tag, flag in zip(known, flags) if not flag]
        if rest:
            # With one of m places gone the curvature is nearly (m-1)/m of the whole, which is all that is assumed here.
            wider = inverse * len(known) / len(rest)
            point = _polished(_objective(lanes.without(flags), parameters), best, wider)
            left_out[place] = _as_fitted(rest, parameters, point, wider)
    return _as_fitted(known, parameters, best, inverse), left_out


def _as_fitted(known, parameters, scaled, inverse) -> FittedModel:
    mean, sd = np.array([p.prior_mean for p in parameters]), np.array([p.prior_sd for p in parameters])
    listenings = [listening for tag in known for listening in tag.listenings]
    return FittedModel(
        parameters, mean + sd * scaled, inverse * np.outer(sd, sd), beacons=len({tag.place_id for tag in known}),
        records=sum(map(len, listenings)), records_heard=int(sum(listening.heard.sum() for listening in listenings)),
    )
