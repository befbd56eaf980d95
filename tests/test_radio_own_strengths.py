"""Strengths that the model makes up are those that the model expects."""

from dataclasses import replace

import numpy as np
from scipy.stats import norm

from pipeline.radio import own_strengths
from tests.radio_sample import signal_model

SCATTER = replace(signal_model().scatter("collar"), miss_share=0.0, fault_share=0.0)
STEPS = np.array([np.inf, 60.0, 60.0, np.inf])


def drawn(scatter, threshold_db=-1000.0, tags=20000):
    return own_strengths(np.full((tags, 4), -80.0), np.full(4, threshold_db), STEPS, scatter, np.random.default_rng(1))


def test_records_spread_and_correlate_as_the_joint_normal_distribution_says():
    """Power and drift are shared, shadowing is exp(-step / length) from record to record and new after a break; 20,000 tags, four standard errors."""
    power, shadow = SCATTER.power_sd_db**2 + SCATTER.power_drift_sd_db**2, SCATTER.shadowing_sd_db**2
    keep = np.exp(-60.0 / SCATTER.shadowing_length_m)
    expected = power + shadow * np.array([[1, keep, keep**2, 0], [keep, 1, keep, 0], [keep**2, keep, 1, 0], [0, 0, 0, 1]]) + SCATTER.noise_sd_db**2 * np.eye(4)
    found = np.cov(drawn(SCATTER).T)
    error = np.sqrt((expected**2 + np.outer(np.diag(expected), np.diag(expected))) / 20000)
    assert (np.abs(found - expected) < 4 * error).all()


def test_as_many_are_heard_as_the_normal_distribution_says_and_missed_records_are_left_out():
    sd = np.sqrt(SCATTER.power_sd_db**2 + SCATTER.power_drift_sd_db**2 + SCATTER.shadowing_sd_db**2 + SCATTER.noise_sd_db**2 + SCATTER.softness_db**2)
    for missed in (0.0, 0.3):
        share = np.isfinite(drawn(replace(SCATTER, miss_share=missed), threshold_db=-78.0)[:, 0]).mean()
        expected = (1 - missed) * norm.cdf((-80.0 + 78.0) / sd)
        assert abs(share - expected) < 4 * np.sqrt(expected / 20000)


def test_faulty_records_are_wider():
    wide = np.var(drawn(replace(SCATTER, fault_share=1.0))[:, 0]) - np.var(drawn(SCATTER)[:, 0])
    assert abs(wide - (SCATTER.fault_sd_db**2 - SCATTER.noise_sd_db**2)) < 8.0
