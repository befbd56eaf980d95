"""How well every cell of the ground explains what one tag sounded like in one flight."""

from __future__ import annotations

import numpy as np
from scipy.special import logsumexp

from pipeline.radio import Listening, SignalModel, log_evidence, sightlines

# Cells are taken in blocks so that the arrays (records x cells) stay in the processor's cache.
_BLOCK = 2000


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
    easting_m, northing_m = np.asarray(easting_m, float), np.asarray(northing_m, float)
    thresholds = model.thresholds_db(listening)[:, None]
    scatter = model.scatter(tag_type)
    parts = [np.zeros(0)]
    for start in range(0, len(easting_m), _BLOCK):
        block = slice(start, start + _BLOCK)
        gain = model.gain_db(sightlines(listening, easting_m[block], northing_m[block], height_above_ground_m))
        parts.append(log_evidence(listening.strength_db[:, None], gain, thresholds, listening.step_m[:, None], scatter))
    return np.concatenate(parts)


def mean_log_likelihood(listening: Listening, models: list[SignalModel], easting_m, northing_m, tag_type: str = "") -> np.ndarray:
    """Logarithm of the likelihood averaged over signal models drawn from their uncertainty. Shape (cells,)."""
    each = np.array([log_likelihood(listening, model, easting_m, northing_m, tag_type) for model in models])
    return logsumexp(each, axis=0) - np.log(len(models))
