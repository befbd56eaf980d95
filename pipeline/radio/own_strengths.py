"""Strengths that the signal model itself makes up, as a flight would log them: for comparing what was heard with what the model would have heard."""

from __future__ import annotations

import numpy as np

from pipeline.radio.evidence import Scatter


def own_strengths(expected_db, threshold_db, step_m, scatter: Scatter, generator: np.random.Generator) -> np.ndarray:
    """Strengths of tags, each along one flight, drawn from the signal model; NaN where it does not hear. Shape (tags, records). [dB]

    Parameters
    ----------
    expected_db : array (tags, records), of a tag of the type's mean power. [dB]
    threshold_db, step_m : arrays (records,); step_m infinite at breaks, the first is not used. [dB], [m]
    scatter : of one tag type, scalars: spread and drift of power, shadowing along the track, noise, faulty and missed records, softness of the threshold.
    """
    expected = np.asarray(expected_db, float)
    keep = np.exp(-np.asarray(step_m, float) / scatter.shadowing_length_m)
    shadow = scatter.shadowing_sd_db * generator.standard_normal(expected.shape)
    for at in range(1, expected.shape[1]):
        shadow[:, at] = keep[at] * shadow[:, at - 1] + np.sqrt(1.0 - keep[at] ** 2) * shadow[:, at]
    power = np.hypot(scatter.power_sd_db, scatter.power_drift_sd_db) * generator.standard_normal((len(expected), 1))
    faulty = generator.random(expected.shape) < scatter.fault_share
    noise, fault = scatter.noise_sd_db * generator.standard_normal(expected.shape), scatter.fault_sd_db * generator.standard_normal(expected.shape)
    before = expected + power + shadow
    strength = before + noise
    limit = np.asarray(threshold_db, float) + scatter.softness_db * generator.standard_normal(expected.shape)
    heard = (strength > limit) & (generator.random(expected.shape) >= scatter.miss_share)
    return np.where(heard, np.where(faulty, before + fault, strength), np.nan)
