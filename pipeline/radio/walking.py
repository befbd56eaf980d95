"""An animal that walks during the flight: the one-pass filter with the walk as two more unknown numbers.

The animal is taken to walk straight and evenly; where it stood in the middle of the listening is the place asked about. With w
the whole walk (east, north) and u the share of the listening's time that has passed, from -1/2 to 1/2, the expected strength at a
record is gain(place + u w). Made linear in w, the walk joins shadowing and tag power as a Gaussian unknown, so that one pass still
does (see evidence). The slope is taken over the usual length of the walk and not at a point, since strength bends sharply under
the track. Derivation of our own; compared with exact integration over walks in the tests.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.radio.evidence import Scatter, observation
from pipeline.radio.listening import Listening

_UNKNOWNS = range(4)   # shadowing, power, walk east, walk north


@dataclass(frozen=True)
class Walked:
    """What a walking animal would explain, each array of lane shape.

    log_evidence : natural logarithm, walks integrated out. east_m, north_m : mean of the walk given the records. [m]
    sd_east_m, sd_north_m : its standard deviations. [m]
    """

    log_evidence: np.ndarray
    east_m: np.ndarray
    north_m: np.ndarray
    sd_east_m: np.ndarray
    sd_north_m: np.ndarray


def share_of_time(listening: Listening) -> np.ndarray:
    """Share of the listening's time that has passed at each record, from -1/2 to 1/2; by count of records where times are unknown."""
    time_s = np.arange(len(listening), dtype=float) if listening.time_s is None else listening.time_s
    span = np.ptp(time_s) if len(time_s) else 0.0
    return (time_s - time_s.min()) / span - 0.5 if span > 0 else np.zeros(len(time_s))


def walk_slopes_db_per_m(gain_db, listening: Listening, walk_sd_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Change of expected strength per metre of the whole walk to the east and to the north; arrays of shape (records, *lanes).

    gain_db : function of a listening, giving expected strengths (records, *lanes). walk_sd_m : usual length along one axis. [m]
    """
    share = share_of_time(listening)
    reach = np.maximum(np.abs(share) * walk_sd_m, 1.0)

    def slope(east, north):
        # A tag that has gone east is a receiver that has gone west.
        ahead = gain_db(replace(listening, easting_m=listening.easting_m - reach * east, northing_m=listening.northing_m - reach * north))
        behind = gain_db(replace(listening, easting_m=listening.easting_m + reach * east, northing_m=listening.northing_m + reach * north))
        column = (share / (2.0 * reach)).reshape(-1, *(1,) * (ahead.ndim - 1))
        return (ahead - behind) * column

    return slope(1.0, 0.0), slope(0.0, 1.0)


def walking_evidence(strength_db, gain_db, slopes_db_per_m, threshold_db, step_m, scatter: Scatter, walk_sd_m: float) -> Walked:
    """Log-probability of a sequence of strengths and absences for an animal that may walk, for many lanes at once.

    Parameters are those of evidence.log_evidence, and
    slopes_db_per_m : the two arrays from walk_slopes_db_per_m.
    walk_sd_m : sd of the whole walk along each axis; 0 gives log_evidence. [m]
    """
    lanes = gain_db.shape[1:]
    zero = np.zeros(lanes)
    mean = [zero, zero + scatter.power_mean_db, zero, zero]
    spread = {(i, j): zero for i in _UNKNOWNS for j in range(i, 4)}
    spread |= {(0, 0): zero + np.square(scatter.shadowing_sd_db), (1, 1): zero + np.square(scatter.power_sd_db),
               (2, 2): zero + walk_sd_m**2, (3, 3): zero + walk_sd_m**2}
    total = np.zeros(lanes)
    for row in range(gain_db.shape[0]):
        if row:
            mean, spread = _moved(mean, spread, step_m[row], scatter)
        east, north = slopes_db_per_m[0][row], slopes_db_per_m[1][row]
        with_strength = [_of(spread, i, 0) + _of(spread, i, 1) + east * _of(spread, i, 2) + north * _of(spread, i, 3) for i in _UNKNOWNS]
        variance = with_strength[0] + with_strength[1] + east * with_strength[2] + north * with_strength[3]
        expected = mean[0] + mean[1] + east * mean[2] + north * mean[3] + gain_db[row]
        log_z, slope, curve = observation(strength_db[row], threshold_db[row], expected, variance, scatter)
        mean = [value + c * slope for value, c in zip(mean, with_strength)]
        spread = {(i, j): value - with_strength[i] * with_strength[j] * curve for (i, j), value in spread.items()}
        total = total + log_z
    return Walked(total, mean[2], mean[3], np.sqrt(np.maximum(spread[2, 2], 0.0)), np.sqrt(np.maximum(spread[3, 3], 0.0)))


def _of(spread: dict, i: int, j: int):
    return spread[min(i, j), max(i, j)]


def _moved(mean: list, spread: dict, step_m, scatter: Scatter) -> tuple[list, dict]:
    """After flying a step shadowing forgets; where a new flight begins the power drifts."""
    keep = np.exp(-step_m / scatter.shadowing_length_m)
    drift = np.where(np.isinf(step_m), np.square(scatter.power_drift_sd_db), 0.0)
    moved = {(i, j): value * keep if i == 0 else value for (i, j), value in spread.items()}
    moved[0, 0] = moved[0, 0] * keep + np.square(scatter.shadowing_sd_db) * (1.0 - keep * keep)
    moved[1, 1] = moved[1, 1] + drift
    return [mean[0] * keep, *mean[1:]], moved
