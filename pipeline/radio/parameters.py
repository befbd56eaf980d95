"""The parameters that are estimated: their scales, their weak priors, and the way between a vector and a signal model.

Positive quantities are estimated on a logarithmic scale and shares on a logistic one, so that normal priors and standard
errors make sense. The priors are common practice, no source: wide enough that a handful of beacons outweighs them, and there
so that few beacons or none still give an answer.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from pipeline.radio.model import SignalModel


# Error of a faulty record where nothing else was found to fit better. Common practice, no source.
USUAL_FAULT_SD_DB = 10.0


@dataclass(frozen=True)
class Given:
    """What is settled before the parameters are estimated.

    usual_threshold_db : threshold of a record that has none of its own, where the shift of own thresholds is estimated. [dB]
    fault_sd_db : error of a faulty record; None = no record is faulty. [dB]
    ceiling_db : strength at which the receiver saturates; None = it never does. [dB]
    settled : values that stand whatever the estimate says, by name.
    canopy_most_db : loss that no way through canopy exceeds; None = no canopy is known. [dB]
    """

    usual_threshold_db: float = 0.0
    fault_sd_db: float | None = USUAL_FAULT_SD_DB
    ceiling_db: float | None = None
    settled: dict[str, float] = field(default_factory=dict)
    canopy_most_db: float | None = None


@dataclass(frozen=True)
class Parameter:
    """One estimated number: scale is "plain", "log" or "logit"; prior mean and sd are on that scale."""

    name: str
    scale: str
    prior_mean: float
    prior_sd: float
    unit: str
    meaning: str

    def to_value(self, coordinate):
        """From the estimation scale to the natural one."""
        if self.scale == "log":
            return np.exp(coordinate)
        if self.scale == "logit":
            return 1.0 / (1.0 + np.exp(-np.asarray(coordinate)))
        return coordinate

    def slope(self, coordinate: float) -> float:
        """d value / d coordinate, which carries a standard error to the natural scale."""
        value = float(self.to_value(coordinate))
        return {"plain": 1.0, "log": value, "logit": value * (1.0 - value)}[self.scale]


def standard_parameters(tag_types, *, power_guess_db: float, threshold_guess_db: float, directional: bool,
                        own_threshold: bool, relief: bool = False, woodland_db_per_m: float | None = None, faults: bool = True,
                        power_prior_sd_db: float = 12.0) -> tuple[Parameter, ...]:
    """The parameters to estimate, in a fixed order.

    tag_types : names of the types whose mean power is estimated.
    power_guess_db, threshold_guess_db : centres of the priors whose scale depends on the receiver. [dB]
    directional : whether any record knows where the antenna pointed; without it the two azimuth terms are left out.
    own_threshold : whether records bring a threshold of their own; then its shift is estimated, else one threshold.
    relief : whether a loss behind hills is known; then the share of it to believe is estimated.
    woodland_db_per_m : usual loss per metre of canopy, the centre of its prior; None = no canopy is known, and nothing of it is estimated. [dB/m]
    faults : whether some heard records are taken to be faulty; then their share is estimated.
    """
    log, logit = np.log, lambda share: float(np.log(share / (1.0 - share)))
    chosen = [Parameter("exponent", "plain", 2.7, 0.5, "", "path-loss exponent")]
    if directional:
        chosen += [
            Parameter("ahead_db", "plain", 4.0, 4.0, "dB", "antenna: ahead less behind, half"),
            Parameter("ahead_squared_db", "plain", 0.0, 3.0, "dB", "antenna: ends less sides"),
            Parameter("azimuth_bias_deg", "plain", 0.0, 10.0, "degrees", "antenna: azimuth bias"),
        ]
    chosen += [Parameter("below_db", "plain", 0.0, 3.0, "dB", "antenna: straight below less horizon")]
    if relief:
        chosen += [Parameter("terrain_share", "logit", 0.0, 1.5, "", "share of the computed terrain loss that is found")]
    if woodland_db_per_m is not None:
        # Kinds of wood and seasons differ by as much as a factor of five either way, which is 1.6 on the logarithm. Common practice, no source.
        chosen += [Parameter("canopy_db_per_m", "log", log(woodland_db_per_m), 0.8, "dB/m", "loss per metre of canopy at first")]
    chosen += [Parameter(f"power_mean_db {kind}", "plain", power_guess_db, power_prior_sd_db, "dB", f"mean power at 1 m, {kind or 'all tags'}")
               for kind in tag_types]
    chosen += [
        Parameter("power_sd_db", "log", log(4.0), 0.5, "dB", "spread of power between tags of a type"),
        Parameter("power_drift_sd_db", "log", log(1.0), 0.7, "dB", "change of a tag's power between flights"),
        Parameter("shadowing_sd_db", "log", log(5.0), 0.5, "dB", "shadowing, sd"),
        Parameter("shadowing_length_m", "log", log(100.0), 0.8, "m", "shadowing, correlation length"),
        Parameter("noise_sd_db", "log", log(1.5), 0.6, "dB", "noise of a record, sd"),
        Parameter("threshold_shift_db", "plain", 0.0, 1.0, "dB", "shift of the records' own threshold") if own_threshold
        else Parameter("threshold_db", "plain", threshold_guess_db, 5.0, "dB", "threshold of hearing"),
        Parameter("softness_db", "log", log(1.0), 0.6, "dB", "softness of the threshold, sd"),
        Parameter("miss_share", "logit", logit(0.03), 1.0, "", "records missed whatever the strength"),
    ]
    if faults:
        chosen += [Parameter("fault_share", "logit", logit(0.02), 1.0, "", "heard records with a wider error")]
    return tuple(chosen)


# What stands for a parameter that is not estimated.
_FIXED = {"ahead_db": 0.0, "ahead_squared_db": 0.0, "below_db": 0.0, "azimuth_bias_deg": 0.0, "terrain_share": 0.0, "threshold_shift_db": 0.0,
          "fault_share": 1e-12}


def natural_values(parameters, vectors, given: Given = Given()) -> dict:
    """Named values on their natural scales from vectors of shape (..., parameters); each value has shape (...).

    The estimated shift of the records' own thresholds is added to the usual one.
    """
    vectors = np.asarray(vectors, float)
    values = {name: np.full(vectors.shape[:-1], fixed) for name, fixed in _FIXED.items()}
    values.update({p.name: np.asarray(p.to_value(vectors[..., i])) for i, p in enumerate(parameters)})
    values |= {name: np.full(vectors.shape[:-1], value) for name, value in given.settled.items()}
    return {"threshold_db": given.usual_threshold_db + values["threshold_shift_db"]} | values


def model_from_vector(parameters, vector, given: Given = Given()) -> SignalModel:
    """The signal model that one vector stands for."""
    values = {name: float(value) for name, value in natural_values(parameters, vector, given).items()}
    if given.canopy_most_db is not None and "canopy_db_per_m" in values:
        values["canopy_most_db"] = given.canopy_most_db
    powers = {name.removeprefix("power_mean_db "): values.pop(name) for name in list(values) if name.startswith("power_mean_db ")}
    return SignalModel(power_mean_db=powers, fault_sd_db=given.fault_sd_db or USUAL_FAULT_SD_DB, ceiling_db=given.ceiling_db, **values)


def log_prior(parameters, vectors) -> np.ndarray:
    """Log-density of the normal priors up to a constant, for vectors of shape (..., parameters)."""
    means = np.array([p.prior_mean for p in parameters])
    sds = np.array([p.prior_sd for p in parameters])
    return -0.5 * np.sum(np.square((vectors - means) / sds), axis=-1)
