"""Signal model and likelihood against values from outside the project. Row numbers are those of the project's list of check values."""

import numpy as np
import pandas as pd
import pytest
from pathlib import Path
from scipy.optimize import curve_fit

from pipeline.calibration import Heard, record_residuals
from pipeline.location import log_likelihood
from pipeline.quality import man_made_noise_db
from pipeline.radio import Scatter, log_evidence, path_gain_db, sightlines
from pipeline.search.silence import strengths_of
from pipeline.simulate import matched_physics, simulate_strengths, stream
from tests.radio_sample import listening, signal_model

VALUES = Path(__file__).parent / "values"
RARE = 1e-200
FREE_SPACE = {"exponent": 2.0, "ahead_db": 0.0, "ahead_squared_db": 0.0, "below_db": 0.0}


def level_gain_db(distance_m, **changes):
    """Path gain at the receiver's own height."""
    lines = sightlines(listening([0.0], [0.0], height_m=0.0), np.atleast_1d(distance_m), np.zeros(np.size(distance_m)))
    return path_gain_db(lines, **(FREE_SPACE | changes))[0]


def test_free_space_loss_grows_with_distance_as_itu_r_p525_says():
    """3.1: 55.97, 69.95, 75.97 dB at 0.1, 0.5 and 1 km, 150 MHz. ITU-R P.525, value from memory, recomputed."""
    loss = -level_gain_db([100.0, 500.0, 1000.0])
    np.testing.assert_allclose(loss - loss[0], np.array([55.97, 69.95, 75.97]) - 55.97, atol=0.02)


def test_the_log_distance_law_fitted_through_a_fixed_point_gives_the_textbook_exponent():
    """3.9: n 4.4131, sd 6.158 (divisor N), -57.24 dBm at 2 km. Rappaport, Wireless Communications, log-normal shadowing example;
    value from memory, recomputed."""
    points = pd.read_csv(VALUES / "pathloss4.csv", comment="#")
    distance, power = points.iloc[:, 0].to_numpy(float), points.iloc[:, 1].to_numpy(float)

    def law(at, exponent):
        return power[0] + level_gain_db(at, exponent=exponent) - level_gain_db(distance[0], exponent=exponent)

    (exponent,), _ = curve_fit(law, distance, power, p0=[3.0])
    assert exponent == pytest.approx(4.4131, abs=0.05)
    assert np.sqrt(np.mean((power - law(distance, exponent)) ** 2)) == pytest.approx(6.158, abs=0.02)
    assert law(2000.0, 4.4)[0] == pytest.approx(-57.24, abs=0.01)


@pytest.mark.parametrize("cut, mean", [(-1.0, 0.28760), (0.0, 0.79788), (1.0, 1.52514), (2.0, 2.37322)])
def test_a_record_not_heard_pulls_by_the_inverse_mills_ratio(cut, mean):
    """3.15: mean of N(0, 1) seen only above a cut, here mirrored: strength seen only below. Inverse Mills ratio tables, value from memory, recomputed."""
    scatter = Scatter(0.0, 0.0, 0.0, 0.8, 1.0, 0.6, 1e-9, RARE, RARE, 10.0)
    nudge = 1e-5
    below = log_evidence(np.array([[np.nan]]), np.array([[-nudge, nudge]]), np.array([[-cut]]), np.array([[np.inf]]), scatter)
    assert (below[1] - below[0]) / (2 * nudge) == pytest.approx(-mean, abs=1e-4)


def rayleigh_db(count):
    """Strengths about the mean power, evenly over the exponential distribution of faded power. [dB]"""
    return 10 * np.log10(-np.log1p(-(np.arange(count) + 0.5) / count))


def test_residuals_of_rayleigh_fading_lie_where_decibels_of_an_exponential_power_lie():
    """3.13: about mean power the mean is -2.51, the sd 5.57, the median -1.59 dB. Exponential distribution; value from memory, recomputed."""
    fades, distance_m = rayleigh_db(4000), 300.0
    model = signal_model(exponent=2.0, threshold_db=-500.0)
    receivers = np.full(len(fades), distance_m), np.zeros(len(fades))
    heard = Heard("B1", "F1", "collar", listening(*receivers, -20.0 - 20.0 * np.log10(distance_m) + fades, height_m=0.0), "B1 at 1", (0.0, 0.0))
    residual_db = record_residuals(heard, 0.0, model)["residual_db"]
    assert (residual_db.mean(), residual_db.std(), residual_db.median()) == pytest.approx((-2.51, 5.57, -1.59), abs=6e-3)


def test_the_likeliest_power_of_rayleigh_fading_is_the_mean_of_decibels_and_not_of_watts():
    """3.13 again: to the likelihood a fading tag is 2.51 dB weaker than its mean power, with noise of 5.57 dB."""
    fades, tried_sd_db = rayleigh_db(4000), np.arange(5.4, 5.75, 0.005)
    offset_db = np.concatenate([[-3.5, -2.5, -1.5], np.full(len(tried_sd_db), fades.mean())])
    scatter = Scatter(0.0, 1e-9, 0.0, 1e-9, 1.0, np.concatenate([np.full(3, 5.57), tried_sd_db]), 1.0, RARE, RARE, 10.0)
    records = np.ones((len(fades), 1))
    value = log_evidence(fades[:, None], records * offset_db, -500.0 * records, np.inf * records, scatter)
    low, middle, high = value[:3]
    # A normal likelihood is a parabola in the offset.
    assert -2.5 + 0.5 * (low - high) / (low - 2 * middle + high) == pytest.approx(-2.51, abs=6e-3)
    assert tried_sd_db[value[3:].argmax()] == pytest.approx(5.57, abs=8e-3)   # steps of 0.005 on top of the tolerance of 0.006


LOG_NORMAL = [(4.0, 1.842), (6.0, 4.145), (8.0, 7.368)]   # 3.14: sd in dB, mean power over median in dB = sd^2 ln(10) / 20; derived


@pytest.mark.parametrize("sd_db, above_db", LOG_NORMAL)
def test_the_powers_that_detection_is_averaged_over_are_normal_in_decibels(sd_db, above_db):
    """3.14: their mean in dB is that of the type; in watts it lies higher. Forty nodes in place of the usual seven, for the digits of the row."""
    strengths = strengths_of([signal_model(power_sd_db=sd_db, power_mean_db={"collar": -20.0})], "collar", count=40)
    power_db, weights = strengths.power_db[0], np.exp(strengths.log_weight[0])
    assert weights @ power_db == pytest.approx(-20.0, abs=1e-9)
    assert 10 * np.log10(weights @ 10 ** (power_db / 10)) + 20.0 == pytest.approx(sd_db**2 * np.log(10) / 20, abs=1e-6)
    assert sd_db**2 * np.log(10) / 20 == pytest.approx(above_db, abs=6e-4)


@pytest.mark.parametrize("sd_db, above_db", LOG_NORMAL)
def test_simulated_shadowing_is_normal_in_decibels(sd_db, above_db):
    """3.14: 40 000 records at one distance, shadowing starting afresh in each. Five standard errors of a mean of watts, by the log-normal's own variance."""
    count = 40_000
    physics = matched_physics(shadowing=((sd_db, 50.0),), noise_sd_db=0.0, softness_db=0.0, miss_share=0.0, threshold_db=-999.0)
    same = np.full(count, 300.0)
    strength_db = simulate_strengths(easting_m=same, northing_m=same, height_above_ground_m=same, azimuth_grid_deg=0.0 * same, tag_easting_m=0.0,
                                     tag_northing_m=0.0, tag_power_db=-40.0, physics=physics, generator=stream(11), step_m=np.full(count, np.inf))
    found = 10 * np.log10(np.mean(10 ** ((strength_db - np.median(strength_db)) / 10)))
    s = sd_db * np.log(10) / 10
    assert found == pytest.approx(above_db, abs=5 * 10 / np.log(10) * np.sqrt(np.expm1(s * s) / count) + 5 * 1.2533 * sd_db / np.sqrt(count))
    assert strength_db.mean() - np.median(strength_db) == pytest.approx(0.0, abs=5 * sd_db / np.sqrt(count))


def ring_rms_m(*, receivers, radius_m, height_m, power_sd_db):
    """Root of the trace of the inverse curvature of the log-likelihood at the middle of a ring of receivers, records independent."""
    angle = 2 * np.pi * np.arange(receivers) / receivers
    # The far field is log-distance at n = 2 with 6 dB of white scatter; the shadowing is put out of the way.
    model = signal_model(exponent=2.0, noise_sd_db=6.0, shadowing_sd_db=1e-4, power_sd_db=power_sd_db, miss_share=RARE, fault_share=RARE, threshold_db=-500.0)
    slant = np.hypot(radius_m, height_m)
    heard = listening(radius_m * np.sin(angle), radius_m * np.cos(angle), np.full(receivers, -20 - 20 * np.log10(slant)), height_m=height_m)
    nudge = 0.5
    steps = nudge * np.array([(0, 0), (1, 0), (-1, 0), (0, 1), (0, -1)])
    value = log_likelihood(heard, model, steps[:, 0], steps[:, 1], "collar")
    curvature = -np.array([value[1] + value[2] - 2 * value[0], value[3] + value[4] - 2 * value[0]]) / nudge**2
    return float(np.sqrt(np.sum(1 / curvature)))


@pytest.mark.parametrize("receivers, rms_m", [(4, 138.16), (12, 79.76)])
@pytest.mark.parametrize("power_sd_db", [1e-4, 8.0])
def test_receivers_on_a_ring_reach_the_bound_and_an_unknown_power_costs_nothing_there(receivers, rms_m, power_sd_db):
    """7.5: 2 R s / sqrt(N), R 200 m, n 2, sd 6 dB. Derived (set-up of Patwari et al. 2003, IEEE TSP 51:2137, from memory)."""
    found = ring_rms_m(receivers=receivers, radius_m=200.0, height_m=0.0, power_sd_db=power_sd_db)
    # The curvature seen with the expected strengths leaves out what only the scatter of strengths adds; on a ring that is nothing.
    assert found == pytest.approx(rms_m, rel=1e-3)


def test_flying_higher_costs_what_the_geometry_says():
    """7.7: (R^2 + h^2) / R^2, 1.25 for h 100 m and R 200 m. Derived."""
    low, high = (ring_rms_m(receivers=12, radius_m=200.0, height_m=height, power_sd_db=1e-4) for height in (0.0, 100.0))
    assert high / low == pytest.approx(1.25, rel=1e-3)


@pytest.mark.parametrize("surroundings, above_thermal_db", [("city", 16.52), ("residential", 12.22), ("rural", 6.92), ("quiet rural", -8.64)])
def test_man_made_noise_at_150_mhz(surroundings, above_thermal_db):
    """3.10: F_am = c - d log10(f); coefficients of ITU-R P.372 as in two public codes."""
    assert man_made_noise_db(150.0, surroundings) == pytest.approx(above_thermal_db, abs=6e-3)
