"""Clocks that disagree are found on tags at known places."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pipeline.radio import Corrections, KnownTag, delayed, fit_signal_model, lag_curves, lag_from_curves
from pipeline.radio.clock_lag import CANDIDATES_S
from tests.radio_sample import heard_along, line_path, listening, signal_model

TRUTH = signal_model(miss_share=0.001, fault_share=0.001, power_drift_sd_db=0.5)
SPEED_M_PER_S, RECORD_S = 11.0, 6.0


def beacons(lag_s, count=8, seed=1):
    """Beacons heard in two flights; in the second, strengths were stamped lag_s late, so that the log puts each where the receiver was later."""
    generator, path = np.random.default_rng(seed), line_path(500.0, 5, 16)
    time_s = RECORD_S * np.arange(len(path[0]))
    known = []
    for number in range(count):
        place, power = generator.uniform(-450, 450, 2), -20.0 + 4.0 * generator.standard_normal()
        heard = []
        for flight, lag in (("a", 0.0), ("b", lag_s)):
            logged = replace(listening(*path), time_s=time_s, flight_id=flight)
            really = delayed(logged, lag)
            heard.append(replace(logged, strength_db=heard_along((really.easting_m, really.northing_m), place, TRUTH, generator, power)))
        known.append(KnownTag(f"B{number}", f"B{number}", "collar", *place, 0.0, tuple(heard)))
    return known


@pytest.mark.parametrize("lag_s", [5.0, -8.0, 18.0])
def test_a_lag_is_found_within_two_seconds_in_the_flight_that_has_it_and_nowhere_else(lag_s):
    known = beacons(lag_s)
    found = {flight: lag_from_curves(curves) for flight, curves in lag_curves(known, fit_signal_model(known)).items()}
    assert abs(found["b"].lag_s - lag_s) < 2.0
    assert abs(found["b"].lag_s - lag_s) < 3 * found["b"].se_s
    assert found["b"].applied_s == pytest.approx(lag_s, abs=2.0)
    assert found["a"].applied_s == 0.0


def test_clocks_that_agree_are_left_alone_in_twelve_flights_of_twelve():
    applied = []
    for seed in range(6):
        known = beacons(0.0, count=6, seed=20 + seed)
        applied += [lag_from_curves(curves).applied_s for curves in lag_curves(known, fit_signal_model(known)).values()]
    assert applied == [0.0] * 12


def test_without_tags_the_prior_is_all_that_is_known():
    nothing = lag_from_curves(np.zeros((0, len(CANDIDATES_S))))
    assert nothing.lag_s == 0.0 and nothing.se_s == pytest.approx(15.0, rel=0.05) and nothing.applied_s == 0.0


def test_a_delayed_record_lies_where_the_receiver_was_before():
    flight = replace(listening([0.0, 60.0, 120.0], [0.0, 0.0, 60.0], azimuth_deg=350.0), time_s=np.array([0.0, 6.0, 12.0]))
    moved = delayed(replace(flight, azimuth_grid_deg=np.array([350.0, 10.0, 30.0])), 3.0)
    np.testing.assert_allclose(moved.easting_m, [0.0, 30.0, 90.0])
    np.testing.assert_allclose(moved.northing_m, [0.0, 0.0, 30.0])
    # halfway between 350 and 10 degrees is north, not south
    np.testing.assert_allclose((moved.azimuth_grid_deg + 180.0) % 360.0, [170.0, 180.0, 200.0], atol=0.01)
    np.testing.assert_allclose(moved.step_m, [np.inf, 30.0, np.hypot(60.0, 30.0)])


def test_a_listening_without_times_is_left_where_it_is():
    flight = listening([0.0, 60.0], [0.0, 0.0])
    assert delayed(flight, 5.0) is flight


def test_corrections_apply_to_their_own_flight_only():
    rows = pd.DataFrame({"flight_id": "b", "tag_id": "T", "record": [1, 2], "time_utc": pd.to_datetime(["2026-04-21T06:00:00Z", "2026-04-21T06:00:06Z"]), "easting_m": [0.0, 60.0], "northing_m": 0.0,
                         "height_above_ground_m": 80.0, "antenna_azimuth_grid_deg": np.nan, "heard": False, "strength_db": np.nan, "threshold_db": np.nan, "usable": True})
    corrections = Corrections({"b": 2.0})
    np.testing.assert_allclose(corrections.listening(rows).easting_m, [0.0, 40.0])
    np.testing.assert_allclose(corrections.listening(rows.assign(flight_id="a")).easting_m, [0.0, 60.0])
