"""How well a sequence of records fits a place: one pass, correlation and absences included.

For one place the unknowns are two Gaussian numbers, the shadowing at the current record (correlated along the track) and
the tag's power. A heard record updates them exactly (or as a two-component mixture when some values are faulty); a record
not heard is a one-sided observation, handled by matching mean and variance (assumed-density filtering: T. P. Minka,
Expectation propagation for approximate Bayesian inference, 2001; C. E. Rasmussen & C. K. I. Williams, Gaussian processes for
machine learning, 2006, ch. 3; both from memory). Both updates have one form: with
Z(mu, S) the probability of what was observed when the expected strength is N(mu, S),

    a = d log Z / d mu,   b = - d2 log Z / d mu2,   mean += c a,   covariance -= c c' b,

where c is the covariance of the two unknowns with the expected strength.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from scipy.special import log_ndtr, ndtr

_LOG_2PI = np.log(2.0 * np.pi)
_LEAST = 1e-300


@dataclass(frozen=True)
class Scatter:
    """What spreads strengths about their expectation. Scalars, or arrays that broadcast over lanes.

    power_mean_db, power_sd_db : of the tag at 1 m. [dB]
    power_drift_sd_db : change of a tag's apparent power from one flight to the next. [dB]
    shadowing_sd_db, shadowing_length_m : correlation exp(-metres flown / length). [dB], [m]
    noise_sd_db : white. [dB]
    softness_db : sd of the threshold. [dB]
    miss_share : share of records that hear nothing whatever the strength. [0 to 1)
    fault_share, fault_sd_db : share of heard records whose value has a wider error, and that error; whether a record is heard does not hang on it. [0 to 1), [dB]
    ceiling_db : strength at which the receiver saturates; infinite where it does not. [dB]
    """

    power_mean_db: np.ndarray
    power_sd_db: np.ndarray
    power_drift_sd_db: np.ndarray
    shadowing_sd_db: np.ndarray
    shadowing_length_m: np.ndarray
    noise_sd_db: np.ndarray
    softness_db: np.ndarray
    miss_share: np.ndarray
    fault_share: np.ndarray
    fault_sd_db: np.ndarray
    ceiling_db: np.ndarray | float = np.inf


def stacked_scatter(each: list[Scatter]) -> Scatter:
    """Several scatters side by side, every value of shape (scatters, 1): one lane axis for them, one left for cells."""
    return Scatter(**{field.name: np.array([getattr(scatter, field.name) for scatter in each], float)[:, None] for field in fields(Scatter)})


def log_evidence(strength_db, gain_db, threshold_db, step_m, scatter: Scatter, listened=None, after=None) -> np.ndarray:
    """Log-probability of a sequence of strengths and absences, for many lanes at once.

    A lane is one hypothesis: a cell, or a beacon under one set of parameters.

    Parameters
    ----------
    strength_db : array (records, *lanes or broadcastable), NaN = listened and not heard. [dB]
    gain_db : array (records, *lanes), expected strength less power. [dB]
    threshold_db : array (records, *lanes or broadcastable). [dB]
    step_m : array (records, *lanes or broadcastable), metres since the record before, infinite at breaks. [m]
    listened : optional array of flags like strength_db; False = no information in this record.
    after : optional rising counts of records, 1 to all; then the log-probability of the first so many, for each of them, from one pass.

    Returns
    -------
    array of shape lanes, or (counts, *lanes) with `after`; natural logarithm.
    """
    lanes = gain_db.shape[1:]
    state = _Belief.start(scatter, lanes)
    total, totals = np.zeros(lanes), []
    for row in range(gain_db.shape[0] if after is None else after[-1]):
        state = state.moved(step_m[row], scatter, first=row == 0)
        mu, spread = state.expectation(gain_db[row])
        log_z, slope, curve = observation(strength_db[row], threshold_db[row], mu, spread, scatter)
        if listened is not None:
            here = listened[row]
            log_z, slope, curve = np.where(here, log_z, 0.0), np.where(here, slope, 0.0), np.where(here, curve, 0.0)
        state = state.updated(slope, curve)
        total = total + log_z
        if after is not None and row + 1 in after:
            totals.append(total)
    return total if after is None else np.array(totals)


@dataclass(frozen=True)
class _Belief:
    """Gaussian belief about (shadowing, power): two means and three covariances, each of lane shape."""

    shadow: np.ndarray
    power: np.ndarray
    var_shadow: np.ndarray
    cov: np.ndarray
    var_power: np.ndarray

    @classmethod
    def start(cls, scatter: Scatter, lanes: tuple) -> "_Belief":
        zero = np.zeros(lanes)
        return cls(zero, zero + scatter.power_mean_db, zero + np.square(scatter.shadowing_sd_db), zero,
                   zero + np.square(scatter.power_sd_db))

    def moved(self, step_m, scatter: Scatter, first: bool) -> "_Belief":
        """Belief after flying a step: shadowing forgets, power drifts where a new flight begins."""
        keep = np.exp(-step_m / scatter.shadowing_length_m)
        drift = 0.0 if first else np.where(np.isinf(step_m), np.square(scatter.power_drift_sd_db), 0.0)
        fresh = np.square(scatter.shadowing_sd_db) * (1.0 - keep * keep)
        return _Belief(self.shadow * keep, self.power, self.var_shadow * keep * keep + fresh, self.cov * keep,
                       self.var_power + drift)

    def expectation(self, gain_db):
        """Mean and variance of the strength before noise."""
        return self.shadow + self.power + gain_db, self.var_shadow + 2.0 * self.cov + self.var_power

    def updated(self, slope, curve) -> "_Belief":
        """Belief after an observation with the given first and (negative) second derivative of its log-probability."""
        to_shadow, to_power = self.var_shadow + self.cov, self.cov + self.var_power
        return _Belief(
            self.shadow + to_shadow * slope,
            self.power + to_power * slope,
            self.var_shadow - to_shadow * to_shadow * curve,
            self.cov - to_shadow * to_power * curve,
            self.var_power - to_power * to_power * curve,
        )


def observation(strength_db, threshold_db, mu, spread, scatter: Scatter):
    """log Z, its slope and its negative curvature in mu, whichever of heard and not heard each lane shows.

    mu, spread : mean and variance of the strength before noise, of lane shape; strength_db and threshold_db broadcast to it. [dB], [dB2]
    """
    heard = ~np.isnan(strength_db)
    if np.all(heard):
        return _heard(strength_db, threshold_db, mu, spread, scatter)
    if not np.any(heard):
        return _not_heard(threshold_db, mu, spread, scatter)
    of_heard = _heard(np.where(heard, strength_db, 0.0), threshold_db, mu, spread, scatter)
    of_silence = _not_heard(threshold_db, mu, spread, scatter)
    return tuple(np.where(heard, yes, no) for yes, no in zip(of_heard, of_silence))


def _heard(strength_db, threshold_db, mu, spread, scatter: Scatter):
    """A heard record says its value, and that the strength beat the threshold.

    Of a sound record the value itself beat it. Of a faulty one the strength before the fault did, of which the value tells little: whether a record
    is heard must not hang on its fault, or records heard and not heard would add up to more than all, and faults would seem to explain weak signals.
    """
    error = strength_db - mu
    narrow, wide = spread + np.square(scatter.noise_sd_db), spread + np.square(scatter.fault_sd_db)
    half = 0.5 * error * error
    beat_faulty, push, bend = _faulty_beat(threshold_db, mu, error, spread, wide, scatter)
    # Both densities are taken relative to the wide one's exponential, which never is the smaller: nothing underflows.
    of_sound = (1.0 - scatter.fault_share) * np.exp(half / wide - half / narrow) / np.sqrt(narrow) * ndtr((strength_db - threshold_db) / scatter.softness_db)
    of_faulty = scatter.fault_share / np.sqrt(wide) * beat_faulty
    together = np.maximum(of_sound + of_faulty, _LEAST)
    log_heard = np.log(together) - half / wide - 0.5 * _LOG_2PI + np.log1p(-scatter.miss_share)
    sound = of_sound / together
    slope_sound, slope_faulty = error / narrow, error / wide + push
    slope = sound * slope_sound + (1.0 - sound) * slope_faulty
    between = sound * (1.0 - sound) * np.square(slope_sound - slope_faulty)
    curve = sound / narrow + (1.0 - sound) * (1.0 / wide + bend) - between
    full = strength_db >= scatter.ceiling_db
    if not np.any(full):
        return log_heard, slope, curve
    return tuple(np.where(full, yes, no) for yes, no in zip(_saturated(mu, spread, scatter), (log_heard, slope, curve)))


def _faulty_beat(threshold_db, mu, error, spread, wide, scatter: Scatter):
    """Probability that the strength behind a faulty value beat the threshold, the slope of its logarithm in mu, and the negative curvature.

    Given the value, the strength before noise is normal with mean mu + error spread / wide and variance spread fault^2 / wide.
    """
    left = np.square(scatter.fault_sd_db) / wide
    sd = np.sqrt(spread * left + np.square(scatter.noise_sd_db) + np.square(scatter.softness_db))
    z = (mu + (1.0 - left) * error - threshold_db) / sd
    log_beat = log_ndtr(z)
    push = np.exp(-0.5 * z * z - 0.5 * _LOG_2PI - log_beat) / sd
    return np.exp(log_beat), left * push, left * left * push * (z / sd + push)


def _saturated(mu, spread, scatter: Scatter):
    """A record at the receiver's ceiling says that the value, sound or faulty, was no less. Such strengths beat any threshold."""
    over = mu - np.where(np.isinf(scatter.ceiling_db), 0.0, scatter.ceiling_db)
    mass, slope, bend = _LEAST, 0.0, 0.0
    for share, own_sd_db in ((1.0 - scatter.fault_share, scatter.noise_sd_db), (scatter.fault_share, scatter.fault_sd_db)):
        sd = np.sqrt(spread + np.square(own_sd_db))
        density = share * np.exp(-0.5 * np.square(over / sd) - 0.5 * _LOG_2PI) / sd
        mass, slope, bend = mass + share * ndtr(over / sd), slope + density, bend + density * over / np.square(sd)
    return np.log(mass) + np.log1p(-scatter.miss_share), slope / mass, np.square(slope / mass) + bend / mass


def _not_heard(threshold_db, mu, spread, scatter: Scatter):
    """A record not heard says that the strength stayed below the threshold, or that the record missed it."""
    sd = np.sqrt(spread + np.square(scatter.noise_sd_db) + np.square(scatter.softness_db))
    z = (threshold_db - mu) / sd
    # A share of misses above nothing keeps the probability above nothing, so that no logarithm of a tail is needed.
    silent = ndtr(z) * (1.0 - scatter.miss_share) + np.maximum(scatter.miss_share, _LEAST)
    push = np.exp(-0.5 * z * z - 0.5 * _LOG_2PI) * (1.0 - scatter.miss_share) / (silent * sd)
    return np.log(silent), -push, push * (z / sd + push)
