"""How likely a flight is to hear nothing of a tag, for tags of many strengths and signal models at once.

Looks at one tag share the tag: a weak one is missed by all of them. Everything here is therefore worked out for one strength of tag at a time
and averaged over strengths last (see `heard_at_all`). Two ways of adding up the looks of a flight at a tag of known strength:

    along_the_track     every record counts, its shadowing correlated with that of the records before it: the signal model's own answer
    one_look_per_pass   only the best record of every pass counts: what neighbouring records share beyond the model (ground, posture, cover) cannot add up
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter1d
from scipy.special import log_ndtr, logsumexp

from pipeline.radio import Listening, SignalModel, log_evidence, sightlines

POWER_NODES = 7
# Lanes (models x strengths x cells) that one record needs stay in the processor's cache.
_LANES_AT_ONCE = 8000
# Looks farther apart than three shadowing lengths resemble one another little (correlation under 0.05).
LENGTHS_APART = 3.0


@dataclass(frozen=True)
class WeakTags:
    """What a cautious statement reckons with: this share of tags is so much weaker than the beacons of their type let expect. share : 0 to 1. [1] db : 0 or more. [dB]

    A tag on an animal now and then has a broken antenna, a failing battery, a body or a burrow in the way. One in twenty by 12 dB is our assumption, no source;
    beacons cannot show it, since the beacons put out are sound tags in the open.
    """

    share: float = 0.05
    db: float = 12.0


@dataclass(frozen=True)
class Strengths:
    """Tags of a type as a set of strengths with weights, one row for each signal model.

    power_db : array (models, strengths), at 1 m. [dB] log_weight : array (models, strengths); the weights of all sum to 1.
    """

    models: tuple[SignalModel, ...]
    tag_type: str
    power_db: np.ndarray
    log_weight: np.ndarray


def strengths_of(models, tag_type: str = "", weak_share: float = 0.0, weak_db: float = 0.0, count: int = POWER_NODES) -> Strengths:
    """The normal prior of a tag type's power under every model, all models alike (Gauss-Hermite quadrature).

    weak_share, weak_db : share of tags that are so much weaker than the beacons of their type let expect. [0 to 1], [dB]

    Against simulation of 3 flights x 120 records (power sd 4 and 7 dB) seven nodes were within 0.02 of the simulated detection.
    """
    places, weights = np.polynomial.hermite_e.hermegauss(count)
    weights = weights / weights.sum()
    scatters = [model.scatter(tag_type) for model in models]
    power = np.array([scatter.power_mean_db + scatter.power_sd_db * places for scatter in scatters])
    log_weight = np.log(np.tile(weights / len(scatters), (len(scatters), 1)))
    if weak_share > 0:
        power = np.concatenate([power, power - weak_db], axis=1)
        log_weight = np.concatenate([log_weight + np.log1p(-weak_share), log_weight + np.log(weak_share)], axis=1)
    return Strengths(tuple(models), tag_type, power, log_weight)


def cautious_strengths(models, tag_type: str = "", weak: WeakTags = WeakTags(), count: int = POWER_NODES) -> Strengths:
    """The same with some tags weak: what a cautious statement reckons with."""
    return strengths_of(models, tag_type, weak.share, weak.db, count)


def heard_at_all(log_nothing, strengths: Strengths) -> np.ndarray:
    """Probability of at least one heard record, shape (cells,), from the logarithms of hearing nothing, shape (models, strengths, cells).

    For several flights give the sum of their logarithms: the tag keeps its strength from flight to flight, the shadowing of each flight is its own.
    """
    total = np.asarray(log_nothing, float) + strengths.log_weight[:, :, None]
    return np.clip(-np.expm1(logsumexp(total, axis=(0, 1))), 0.0, 1.0)


def along_the_track(listening: Listening, strengths: Strengths, easting_m, northing_m, height_above_ground_m=0.0) -> np.ndarray:
    """Log-probability that a flight hears nothing, every record counted; array (models, strengths, cells). The tag's drift from flight to flight is in it."""
    silent = listening.with_nothing_heard()
    scatter = _scatter_of_known_power(strengths)
    thresholds = np.stack([model.thresholds_db(listening) for model in strengths.models], axis=1)[:, :, None, None]

    def of_cells(gain_db):
        lanes = np.broadcast_to(gain_db[:, :, None, :], (*gain_db.shape[:2], strengths.power_db.shape[1], gain_db.shape[2]))
        return log_evidence(silent.strength_db[:, None, None, None], lanes, thresholds, silent.step_m[:, None, None, None], scatter)

    return _in_blocks(listening, strengths, easting_m, northing_m, height_above_ground_m, of_cells)


def one_look_per_pass(listening: Listening, strengths: Strengths, easting_m, northing_m, height_above_ground_m=0.0) -> np.ndarray:
    """Log-probability that a flight hears nothing if every pass over a cell were one look, its best record; array (models, strengths, cells).

    A pass peaks where a record's margin over the threshold is the highest of all within three shadowing lengths before and after it.
    """
    thresholds = np.stack([model.thresholds_db(listening) for model in strengths.models], axis=1)
    scatters = [model.scatter(strengths.tag_type) for model in strengths.models]
    sds = [np.sqrt(each.power_drift_sd_db**2 + each.shadowing_sd_db**2 + each.noise_sd_db**2 + each.softness_db**2) for each in scatters]
    windows = [2 * records_in_a_pass(listening, model) + 1 for model in strengths.models]

    def of_cells(gain_db):
        found = np.zeros((len(strengths.models), strengths.power_db.shape[1], gain_db.shape[2]))
        for number, (scatter, sd, window) in enumerate(zip(scatters, sds, windows)):
            # Of records with the same margin, as when hovering, the last is the peak.
            margin = gain_db[:, number] - thresholds[:, number, None] + 1e-9 * np.arange(len(gain_db))[:, None]
            record, cell = np.nonzero(margin >= maximum_filter1d(margin, size=window, axis=0, mode="nearest"))
            for node, power in enumerate(strengths.power_db[number]):
                below = log_ndtr(-(margin[record, cell] + power) / sd)
                silent = np.logaddexp(np.log1p(-scatter.miss_share) + below, np.log(max(scatter.miss_share, 1e-300)))
                found[number, node] = np.bincount(cell, weights=silent, minlength=gain_db.shape[2])
        return found

    return _in_blocks(listening, strengths, easting_m, northing_m, height_above_ground_m, of_cells)


def records_in_a_pass(listening: Listening, model: SignalModel, lengths: float = LENGTHS_APART) -> int:
    """Records flown within three shadowing lengths, where looks still resemble one another."""
    steps = listening.step_m[np.isfinite(listening.step_m) & (listening.step_m > 0)]
    return max(1, int(round(lengths * model.shadowing_length_m / np.median(steps)))) if len(steps) else 1


def _scatter_of_known_power(strengths: Strengths):
    """Scatters of all models and strengths side by side, shape (models, strengths, 1); what is left of the power's spread is its drift from flight to flight."""
    each = [model.scatter(strengths.tag_type) for model in strengths.models]
    values = {name: np.array([getattr(scatter, name) for scatter in each], float)[:, None, None] for name in each[0].__dataclass_fields__}
    return type(each[0])(**(values | {"power_mean_db": strengths.power_db[:, :, None], "power_sd_db": values["power_drift_sd_db"]}))


def _in_blocks(listening, strengths, easting_m, northing_m, height_above_ground_m, of_cells) -> np.ndarray:
    easting_m, northing_m = np.atleast_1d(np.asarray(easting_m, float)), np.atleast_1d(np.asarray(northing_m, float))
    height_m = np.broadcast_to(np.asarray(height_above_ground_m, float), easting_m.shape)
    block = max(1, _LANES_AT_ONCE // strengths.power_db.size)
    parts = [np.zeros((*strengths.power_db.shape, 0))]
    for start in range(0, len(easting_m) if len(listening) else 0, block):
        cells = slice(start, start + block)
        lines = sightlines(listening, easting_m[cells], northing_m[cells], height_m[cells])
        parts.append(of_cells(np.stack([model.gain_db(lines) for model in strengths.models], axis=1)))
    return np.concatenate(parts, axis=2) if len(listening) else np.zeros((*strengths.power_db.shape, len(easting_m)))
