"""Estimating the signal model from beacons, absences included, by maximum marginal likelihood with weak priors.

A beacon's power is unknown and integrated out; its records of all flights form one sequence in which the power is shared
(but may drift) and the shadowing starts anew with each flight. The curvature at the maximum gives standard errors and the
draws by which parameter uncertainty is carried into every fix (Laplace's approximation).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.radio.canopy import canopy_frequency_mhz, most_loss_db, usual_attenuation_db_per_m
from pipeline.radio.lanes import KnownTag, side_by_side
from pipeline.radio.listening import Listening
from pipeline.radio.maximum import Objective, inverse_curvature, maximum, polished, posterior_means
from pipeline.radio.model import SignalModel
from pipeline.radio.parameters import USUAL_FAULT_SD_DB, Given, Parameter, model_from_vector, standard_parameters
from pipeline.radio.propagation import sightlines


@dataclass(frozen=True)
class FittedModel:
    """The estimate: coordinates on the estimation scales with their covariance, and what it rests on."""

    parameters: tuple[Parameter, ...]
    vector: np.ndarray
    covariance: np.ndarray
    beacons: int
    records: int
    records_heard: int
    given: Given = Given()
    mean: np.ndarray | None = None   # of the posterior, on the estimation scales; None = not worked out, taken to be the estimate

    @property
    def model(self) -> SignalModel:
        """The signal model at the estimate."""
        return model_from_vector(self.parameters, self.vector, self.given)

    def draws(self, count: int, generator: np.random.Generator) -> list[SignalModel]:
        """Signal models that stand for the uncertainty of the estimate: pairs about the posterior's mean, in directions at right angles.

        Two for every parameter, or a multiple of that, have exactly the mean and covariance of the posterior (spherical cubature:
        I. Arasaratnam & S. Haykin, Cubature Kalman filters, 2009; from memory), turned at random, so that no direction is favoured.
        """
        size = len(self.vector)
        turns = [_turned_axes(size, generator) for _ in range(-(-count // (2 * size)))]
        # Cholesky's factor is unique and moves with the covariance; the axes of an eigenvalue decomposition may turn or change sign with the last digit.
        half = np.sqrt(size) * np.concatenate(turns)[:(count + 1) // 2] @ np.linalg.cholesky(self.covariance).T
        middle = self.vector if self.mean is None else self.mean
        return [model_from_vector(self.parameters, middle + offset, self.given) for offset in np.concatenate([half, -half])[:count]]

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


def _turned_axes(size: int, generator: np.random.Generator) -> np.ndarray:
    """Orthonormal rows in a random orientation."""
    axes, triangle = np.linalg.qr(generator.standard_normal((size, size)))
    return axes.T * np.sign(np.diag(triangle))[:, None]


def choose_parameters(known: list[KnownTag], faults: bool = True) -> tuple[Parameter, ...]:
    """The parameters that these known tags can speak of, priors centred on a first rough look at their strengths."""
    pairs = [(listening, tag) for tag in known for listening in tag.listenings]
    heard = [listening.strength_db[listening.heard] for listening, _ in pairs]
    strengths = np.concatenate(heard) if heard else np.zeros(0)
    logs = [sightlines(listening, tag.easting_m, tag.northing_m, tag.height_above_ground_m).log10_distance[listening.heard, 0]
            for listening, tag in pairs]
    thresholds = np.concatenate([listening.threshold_db for listening, _ in pairs]) if pairs else np.zeros(0)
    power_guess = float(np.median(strengths + 27.0 * np.concatenate(logs))) if len(strengths) else _power_without_strengths_db(thresholds)
    own = bool(np.isfinite(thresholds).any())
    directional = any(np.isfinite(listening.azimuth_grid_deg).any() for listening, _ in pairs)
    return standard_parameters(
        sorted({tag.tag_type for tag in known}), power_guess_db=power_guess,
        threshold_guess_db=float(np.quantile(strengths, 0.02)) if len(strengths) else 0.0,
        directional=directional, own_threshold=own, relief=any(listening.terrain is not None for listening, _ in pairs), faults=faults,
        woodland_db_per_m=_usual_woodland_db_per_m(listening for listening, _ in pairs),
    )


def _usual_woodland_db_per_m(listenings) -> float | None:
    frequency = canopy_frequency_mhz(listenings)
    return None if frequency is None else usual_attenuation_db_per_m(frequency)


def _most_woodland_db(listenings) -> float | None:
    frequency = canopy_frequency_mhz(listenings)
    return None if frequency is None else most_loss_db(frequency)


# Half of the records of an ordinary tag are heard at about this slant distance. Common practice, no source.
USUAL_REACH_M = 700.0


def _power_without_strengths_db(thresholds_db: np.ndarray) -> float:
    """Power at which a tag at the usual reach just meets the threshold: all that can be said when nothing was heard. [dB]"""
    own = thresholds_db[np.isfinite(thresholds_db)]
    return float((np.median(own) if len(own) else 0.0) + 27.0 * np.log10(USUAL_REACH_M))


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
        tag_types, power_guess_db=float(np.median(strengths) + 27.0 * np.log10(usual_distance_m)) if len(strengths) else _power_without_strengths_db(thresholds),
        threshold_guess_db=float(np.quantile(strengths, 0.02)) if len(strengths) else 0.0,
        directional=directional, own_threshold=bool(own.any()), relief=any(listening.terrain is not None for listening in listenings), power_prior_sd_db=6.0,
        woodland_db_per_m=_usual_woodland_db_per_m(listenings),
    )
    return FittedModel(parameters, np.array([p.prior_mean for p in parameters]), np.diag([p.prior_sd**2 for p in parameters]),
                       beacons=0, records=0, records_heard=0, given=Given(float(np.median(thresholds[own])) if own.any() else 0.0, canopy_most_db=_most_woodland_db(listenings)))


def fit_signal_model(known: list[KnownTag]) -> FittedModel:
    """The signal model from tags at known places.

    Parameters
    ----------
    known : at least one tag with at least one record; more than about six give useful standard errors.

    Raises ValueError when there is nothing to fit on (use radio.prior_model then).
    """
    return fit_leaving_out(known, [])[0]


def fit_leaving_out(known: list[KnownTag], places: list[str], *, fault_sd_db: float | None = USUAL_FAULT_SD_DB, ceiling_db: float | None = None,
                    start: FittedModel | None = None, rough: bool = False, without: tuple[str, ...] = ()) -> tuple[FittedModel, dict[str, FittedModel]]:
    """The model from all known tags, and one for each named place fitted without any tag of that place.

    fault_sd_db, ceiling_db : see Given. start : an estimate of nearly the same records, from which the climb is short.
    without : parameters that are not estimated and stay at nothing, see parameters.
    rough : take the covariance from the start as well, which is enough to compare candidates by.
    """
    if not any(len(listening) for tag in known for listening in tag.listenings):
        raise ValueError("no records of tags at known places: nothing to fit a signal model on")
    parameters = tuple(p for p in choose_parameters(known, faults=fault_sd_db is not None) if p.name not in without)
    lanes = side_by_side(known)
    given = Given(lanes.usual_threshold_db, fault_sd_db, ceiling_db, canopy_most_db=_most_woodland_db(listening for tag in known for listening in tag.listenings))
    objective = Objective(lanes, parameters, given)
    if start is None:
        best = maximum(objective)
    else:
        near = _scaled_covariance(start, parameters)
        best = polished(objective, _scaled(start, parameters), objective.everyone, near[None])[0]
    inverse = near if rough and start is not None else inverse_curvature(objective, best)
    middle = None if rough else posterior_means(objective, best, inverse, objective.everyone)[0]
    whole = _as_fitted(known, parameters, best, inverse, given, middle)
    stayed = {place: np.array([tag.place_id != place for tag in known]) for place in places}
    stayed = {place: flags for place, flags in stayed.items() if flags.any()}
    if not stayed:
        return whole, {}
    keep = np.array(list(stayed.values()))
    # With one of m tags gone the curvature is nearly (m-1)/m of the whole, which is all that is assumed here.
    inverses = inverse[None] * (len(known) / keep.sum(axis=1))[:, None, None]
    points = polished(objective, best, keep, inverses)
    middles = [None] * len(keep) if rough else posterior_means(objective, best, inverse, keep)
    left_out = {place: _as_fitted([tag for tag, kept in zip(known, flags) if kept], parameters, point, wider, given, middle)
                for (place, flags), point, wider, middle in zip(stayed.items(), points, inverses, middles)}
    return whole, left_out


def _scaled(start: FittedModel, parameters) -> np.ndarray:
    """An estimate in prior sds from the prior means of these parameters; what it does not know starts at the prior."""
    known = {p.name: value for p, value in zip(start.parameters, start.vector)}
    return np.array([(known.get(p.name, p.prior_mean) - p.prior_mean) / p.prior_sd for p in parameters])


def _scaled_covariance(start: FittedModel, parameters) -> np.ndarray:
    """Covariance of an estimate in prior sds of these parameters; what it does not know is as wide as its prior."""
    places = {p.name: index for index, p in enumerate(start.parameters)}
    mine = [index for index, p in enumerate(parameters) if p.name in places]
    theirs = [places[parameters[index].name] for index in mine]
    scaled, sd = np.eye(len(parameters)), np.array([parameters[index].prior_sd for index in mine])
    scaled[np.ix_(mine, mine)] = start.covariance[np.ix_(theirs, theirs)] / np.outer(sd, sd)
    return scaled


def _as_fitted(known, parameters, scaled, inverse, given: Given, middle=None) -> FittedModel:
    mean, sd = np.array([p.prior_mean for p in parameters]), np.array([p.prior_sd for p in parameters])
    listenings = [listening for tag in known for listening in tag.listenings]
    return FittedModel(
        parameters, mean + sd * scaled, inverse * np.outer(sd, sd), beacons=len({tag.place_id for tag in known}),
        records=sum(map(len, listenings)), records_heard=int(sum(listening.heard.sum() for listening in listenings)),
        given=given, mean=None if middle is None else mean + sd * middle,
    )
