"""Observed against expected strength: geometry, the effect of hearing, the antenna, and correlation along the track."""

import numpy as np
import pandas as pd
import pytest

from pipeline.calibration import Heard, expected_when_heard, pattern_at, record_residuals, residual_correlation, simulated_residuals
from pipeline.calibration.residuals import RESIDUALS
from tests.radio_sample import heard_along, line_path, listening, signal_model


def heard(path, strength_db=None, place=(0.0, 0.0), **how):
    return Heard("B1", "F1", "collar", listening(*path, strength_db, **how), "B1 at 1", place)


def test_a_strength_as_expected_far_above_the_threshold_has_no_residual():
    model = signal_model(threshold_db=-300.0)
    slant = np.hypot(300.0, 80.0)
    table = record_residuals(heard(([300.0], [0.0]), [-20.0 - 25.0 * np.log10(slant)]), 0.0, model)
    assert table["residual_db"].iloc[0] == pytest.approx(0.0, abs=1e-6)
    assert table["distance_m"].iloc[0] == pytest.approx(slant)


def test_every_record_has_a_row_and_only_heard_ones_a_residual():
    table = record_residuals(heard(([0.0, 100.0, 200.0], [0.0] * 3), [-60.0, np.nan, -70.0]), 0.0, signal_model())
    assert list(table.columns) == RESIDUALS
    assert table["residual_db"].notna().tolist() == [True, False, True]
    assert table["flown_m"].tolist() == [0.0, 100.0, 200.0]


@pytest.mark.parametrize("place, azimuth_deg, relative", [((0, 500), 0, 0), ((500, 0), 0, 90), ((-500, 0), 0, -90), ((500, 0), 270, -180), ((0, 500), 350, 10)])
def test_the_relative_azimuth_counts_clockwise_from_the_antenna(place, azimuth_deg, relative):
    table = record_residuals(heard(([0.0], [0.0]), [-70.0], place, azimuth_deg=azimuth_deg), 0.0, signal_model())
    assert table["relative_azimuth_deg"].iloc[0] == pytest.approx(relative)


def test_without_an_azimuth_there_is_no_relative_one():
    assert np.isnan(record_residuals(heard(([0.0], [9.0]), [-70.0]), 0.0, signal_model())["relative_azimuth_deg"].iloc[0])


def test_a_beacon_straight_below_lies_ninety_degrees_down():
    assert record_residuals(heard(([0.0], [0.0]), [-70.0]), 0.0, signal_model())["depression_deg"].iloc[0] == pytest.approx(90.0)


def test_hearing_selects_strong_records_and_the_expectation_knows_it():
    generator = np.random.default_rng(5)
    strength = -95.0 + 5.0 * generator.standard_normal(200_000)
    limit = -92.0 + 1.5 * generator.standard_normal(200_000)
    assert expected_when_heard(-95.0, 5.0, -92.0, 1.5) == pytest.approx(strength[strength > limit].mean(), abs=0.05)
    assert expected_when_heard(-60.0, 5.0, -92.0, 1.5) == pytest.approx(-60.0, abs=1e-6)


def test_the_pattern_is_strongest_ahead_and_ignores_azimuth_straight_below():
    model = signal_model(ahead_db=5.0, ahead_squared_db=1.0, below_db=-3.0)
    ahead, side, behind = pattern_at(model, [0.0, 90.0, 180.0])
    assert (ahead, side, behind) == pytest.approx((6.0, 0.0, -4.0))
    assert pattern_at(model, [0.0, 123.0], 90.0) == pytest.approx([-3.0, -3.0])


def test_the_pattern_at_the_records_is_that_of_the_curve():
    model = signal_model(ahead_db=5.0, ahead_squared_db=1.0, below_db=-3.0)
    row = record_residuals(heard(([0.0], [0.0]), [-70.0], (300.0, 100.0), azimuth_deg=20.0), 0.0, model).iloc[0]
    assert row["pattern_db"] == pytest.approx(pattern_at(model, row["relative_azimuth_deg"], row["depression_deg"]))


def flights(model, count=12):
    """Records of several beacons along one flight, made by the model itself; long enough for distant pairs."""
    path = line_path(900.0, 5, 40)
    parts = []
    for number in range(count):
        generator, place = np.random.default_rng(number), (150.0 * number - 800.0, 40.0 * number)
        strength = heard_along(path, place, model, generator, power_db=-20.0 + model.power_sd_db * generator.standard_normal())
        item = Heard(f"B{number}", "F1", "collar", listening(*path, strength), f"B{number} at 1", place)
        parts.append(record_residuals(item, 0.0, model))
    return pd.concat(parts, ignore_index=True)


def correlation(table, model):
    places = table["place_id"].unique()
    return residual_correlation(table, dict.fromkeys(places, model), dict.fromkeys(places, "collar"), width_m=46.0, bins=8, simulations=60)


def test_records_made_by_the_model_show_the_correlation_that_the_model_says():
    model = signal_model(miss_share=1e-6, fault_share=1e-6)
    found = correlation(flights(model), model)
    inside = (found["correlation"] >= found["model_low_95"]) & (found["correlation"] <= found["model_high_95"])
    assert len(found) == 8 and inside.sum() >= 6
    assert found["correlation"].iloc[0] > 0.3


def test_a_model_that_takes_records_as_independent_is_found_out():
    true = signal_model(miss_share=1e-6, fault_share=1e-6)
    wrong = signal_model(miss_share=1e-6, fault_share=1e-6, shadowing_length_m=1.0)
    found = correlation(flights(true), wrong)
    assert found["correlation"].iloc[0] > found["model_high_95"].iloc[0]


def test_a_flight_too_short_for_distant_pairs_gives_no_correlation():
    model = signal_model()
    table = record_residuals(heard(([0.0, 40.0, 80.0], [300.0] * 3), [-85.0, -84.0, -85.0]), 0.0, model)
    assert correlation(table, model).empty


def test_simulated_records_are_heard_about_as_often_as_the_model_says():
    model = signal_model(miss_share=0.2, fault_share=1e-6)
    table = record_residuals(heard((np.zeros(50), np.full(50, 100.0))), 0.0, model)
    drawn = simulated_residuals(table, model, "collar", 200, np.random.default_rng(2))
    assert drawn.shape == (200, 50)
    assert np.isfinite(drawn).mean() == pytest.approx(0.8, abs=0.03)
