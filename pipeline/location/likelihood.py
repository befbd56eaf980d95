"""How well every cell of the ground explains what one tag sounded like in one flight."""

from __future__ import annotations

from typing import Sequence

import numpy as np
from scipy.special import logsumexp

from pipeline.radio import Listening, SignalModel, Walked, log_evidence, sightlines, stacked_scatter, walk_slopes_db_per_m, walking_evidence

# Models x cells are taken in blocks, so that what one record needs stays in the processor's cache.
_LANES_AT_ONCE = 6000


def log_likelihood(listening: Listening, model: SignalModel, easting_m, northing_m, tag_type: str = "",
                   height_above_ground_m: float = 0.0) -> np.ndarray:
    """Log-probability of all records of a listening for a tag in each cell.

    Shadowing correlated along the track, tag power unknown, absences used; see radio.evidence. With nothing heard this is
    the log-probability of hearing nothing, so that 1 - exp() is a probability of detection whose looks share the tag's
    power and the shadowing.

    Parameters
    ----------
    easting_m, northing_m : arrays of shape (cells,), survey CRS. [m]
    tag_type : chooses the prior of the power.
    height_above_ground_m : of the tag. [m]

    Returns
    -------
    array of shape (cells,), natural logarithm.
    """
    return _log_likelihoods(listening, [model], easting_m, northing_m, tag_type, height_above_ground_m)[0]


def mean_log_likelihood(listening: Listening, models: list[SignalModel], easting_m, northing_m, tag_type: str = "") -> np.ndarray:
    """Logarithm of the likelihood averaged over signal models drawn from their uncertainty. Shape (cells,)."""
    return logsumexp(_log_likelihoods(listening, models, easting_m, northing_m, tag_type), axis=0) - np.log(len(models))


def mean_log_likelihood_after(listening: Listening, models: list[SignalModel], easting_m, northing_m, tag_type: str, counts: Sequence[int]) -> np.ndarray:
    """The same for the first so many records only, for each of some rising counts, from one pass. Shape (counts, cells)."""
    so_far = listening.first_records(counts[-1])
    return logsumexp(_log_likelihoods(so_far, models, easting_m, northing_m, tag_type, after=list(counts)), axis=1) - np.log(len(models))


def walking_likelihood(listening: Listening, models: list[SignalModel], easting_m, northing_m, tag_type: str = "", walk_sd_m: float = 100.0) -> Walked:
    """How well each cell explains the records of an animal that was there in the middle of the flight and may walk.

    walk_sd_m : sd of its whole walk along each axis. [m]
    Returns a Walked with arrays of shape (models, cells).
    """
    easting_m, northing_m = np.asarray(easting_m, float), np.asarray(northing_m, float)
    thresholds = np.stack([model.thresholds_db(listening) for model in models], axis=1)[:, :, None]
    scatter = stacked_scatter([model.scatter(tag_type) for model in models])
    block = max(1, _LANES_AT_ONCE // len(models))
    parts = []
    for start in range(0, len(easting_m), block):
        east, north = easting_m[start:start + block], northing_m[start:start + block]

        def gain_db(moved: Listening) -> np.ndarray:
            lines = sightlines(moved, east, north)
            return np.stack([model.gain_db(lines) for model in models], axis=1)

        parts.append(walking_evidence(listening.strength_db[:, None, None], gain_db(listening), walk_slopes_db_per_m(gain_db, listening, walk_sd_m),
                                      thresholds, listening.step_m[:, None, None], scatter, walk_sd_m))
    return Walked(*(np.concatenate([getattr(part, name) for part in parts], axis=1) for name in Walked.__dataclass_fields__))


def _log_likelihoods(listening, models, easting_m, northing_m, tag_type, height_above_ground_m=0.0, after=None) -> np.ndarray:
    """All models and cells side by side, shape (models, cells) or (counts, models, cells): one pass over the records costs hardly more for many lanes."""
    easting_m, northing_m = np.asarray(easting_m, float), np.asarray(northing_m, float)
    thresholds = np.stack([model.thresholds_db(listening) for model in models], axis=1)[:, :, None]
    scatter = stacked_scatter([model.scatter(tag_type) for model in models])
    block = max(1, _LANES_AT_ONCE // len(models))
    parts = [np.zeros((*([] if after is None else [len(after)]), len(models), 0))]
    for start in range(0, len(easting_m), block):
        cells = slice(start, start + block)
        lines = sightlines(listening, easting_m[cells], northing_m[cells], height_above_ground_m)
        gain = np.stack([model.gain_db(lines) for model in models], axis=1)
        parts.append(log_evidence(listening.strength_db[:, None, None], gain, thresholds, listening.step_m[:, None, None], scatter, after=after))
    return np.concatenate(parts, axis=-1)
