"""Search theory, detection functions and intervals against values from outside. Row numbers are those of the project's list of check values.

"From memory, recomputed" = the number was remembered from the source named and recomputed independently; it confirms the number, not the page.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely

from pipeline.columns import TRACK, conform
from pipeline.quality import pace_table, records_per_tag
from pipeline.search import (coverage, explain_silence, fit_logistic, half_normal_half_width_m, none_heard_limit, parallel_sweep_detection,
                             random_search_detection, share_interval)
from pipeline.search.range import sweep_width_m

VALUES = Path(__file__).parent / "values"
MILE_M = 1609.344


def test_random_search_detects_one_minus_exp_of_coverage():
    """9.1, Koopman 1946; value from memory, recomputed."""
    expected = [.2212, .3935, .6321, .7769, .8647]
    assert random_search_detection([.25, .5, 1, 1.5, 2]) == pytest.approx(expected, abs=6e-5)


def test_coverage_is_sweep_width_over_spacing():
    """9.1b: C = Z/A = W/S, Cooper & Frost, Selected inland search definitions (read)."""
    spacing_m, length_m, width_m = 250.0, 4000.0, 200.0
    assert coverage(width_m, length_m, spacing_m * length_m) == pytest.approx(width_m / spacing_m)


def test_parallel_sweeps_under_the_inverse_cube_law():
    """9.2, Koopman; IAMSAR probability of detection curve ("ideal"); value from memory, recomputed."""
    assert parallel_sweep_detection([.5, 1, 1.5]) == pytest.approx([.469, .790, .940], abs=6e-4)


@pytest.mark.parametrize("coverage_of_area", [.5, 1, 1.5])
def test_parallel_sweeps_are_the_average_over_all_places_between_the_tracks(coverage_of_area):
    """9.2 the long way, derived: an inverse-cube lateral curve 1 - exp(-k / x2) has the sweep width 2 sqrt(pi k); every track of an endless pattern looks."""
    width_m, spacing_m = 200.0, 200.0 / coverage_of_area
    strength_m2 = width_m**2 / (4 * np.pi)
    places = (np.arange(4000) + 0.5) / 4000 * spacing_m
    tracks = spacing_m * np.arange(-3000, 3001)
    looks = sum(strength_m2 / (places - track) ** 2 for track in tracks)
    assert parallel_sweep_detection(coverage_of_area) == pytest.approx(float(np.mean(-np.expm1(-looks))), abs=2e-4)


def test_half_normal_effective_half_width():
    """9.3, Buckland et al. 2001; value from memory, recomputed."""
    assert half_normal_half_width_m(1.0) == pytest.approx(1.2533, abs=6e-5)
    assert half_normal_half_width_m(1.0, 2.0) == pytest.approx(1.1963, abs=6e-5)


def test_the_sweep_width_is_the_integral_over_both_sides():
    """9.1b and 9.3: W = integral of p(x), Cooper & Frost; for a half-normal p twice 1.2533 sigma."""
    offset_m = np.arange(0.0, 2000.0, 1.0)
    lateral = pd.DataFrame({"offset_m": offset_m, "probability": np.exp(-0.5 * (offset_m / 200.0) ** 2)})
    assert sweep_width_m(lateral) == pytest.approx(2 * 1.2533 * 200.0, abs=2 * 200.0 * 6e-5)


def test_logistic_regression_of_the_beetles():
    """9.4, Bliss 1935; Dobson & Barnett Tables 7.2-7.3; value from memory, recomputed (inputs too)."""
    beetles = pd.read_csv(VALUES / "bliss_beetles.csv", comment="#")
    dose, killed, exposed = (beetles.iloc[:, column].to_numpy(float) for column in (0, 2, 1))
    curve = fit_logistic(dose, killed, exposed)
    assert (curve.intercept, curve.intercept_se) == pytest.approx((-60.72, 5.18), abs=6e-3)
    assert (curve.slope, curve.slope_se) == pytest.approx((34.27, 2.91), abs=6e-3)
    assert curve.deviance == pytest.approx(11.23, abs=6e-3)
    assert curve.half == pytest.approx(1.7717, abs=6e-5)


@pytest.mark.parametrize("k, n, wilson, exact", [
    (81, 263, (.2553, .3662), (.2527, .3676)), (15, 148, (.0624, .1605), (.0578, .1617)),
    (0, 20, (0, .1611), (0, .1684)), (1, 29, (.0061, .1718), (.0009, .1776)),
])
def test_intervals_of_a_share(k, n, wilson, exact):
    """9.5, Newcombe 1998, Statistics in Medicine 17:857, Table I; value from memory, recomputed."""
    assert share_interval(k, n, method="wilson") == pytest.approx(wilson, abs=6e-5)
    assert share_interval(k, n) == pytest.approx(exact, abs=6e-5)


def test_what_five_eight_and_twenty_beacons_can_prove():
    """Exact binomial; derived."""
    assert [share_interval(k, k)[0] for k in (5, 8, 12)] == pytest.approx([.478, .631, .735], abs=6e-4)
    assert share_interval(19, 20) == pytest.approx((.751, .999), abs=6e-4)


def test_none_of_twenty_heard():
    """9.6: one-sided 95 % limit and the rule of three; value from memory, recomputed."""
    assert none_heard_limit(20) == pytest.approx(.1391, abs=6e-5)
    assert none_heard_limit(20) < .15 < 1.08 * none_heard_limit(20)   # 3 / n lies above the exact limit, and nearer the more looks there are
    assert none_heard_limit(1000) < .003 < 1.003 * none_heard_limit(1000)


def test_a_missing_animal_under_the_stated_prior():
    """The example of the trade's exact values, Bayes' rule worked by hand; derived."""
    said = explain_silence(in_area=0.8, silent=0.05, detection=0.9)
    assert (said["missed"], said["outside"], said["silent"]) == pytest.approx((.2405, .6013, .1582), abs=6e-5)
    assert explain_silence(0.8, 0.05, 0.5)["missed"] == pytest.approx(0.61, abs=6e-3)
    assert explain_silence(0.8, 0.30, 0.9)["silent"] == pytest.approx(0.60, abs=6e-3)


def a_flight_of_the_trade() -> pd.DataFrame:
    """TRACK of twenty minutes and nine miles, to and fro over a square of two square miles, a record every 6 s: common practice, no source."""
    side_m, lines = np.sqrt(2) * MILE_M, 6
    across = (np.arange(lines) + 0.5) * side_m / lines
    corners = np.array([(east, end * side_m) for number, east in enumerate(across) for end in ((0, 1) if number % 2 == 0 else (1, 0))])
    reach = np.r_[0.0, np.cumsum(np.hypot(*np.diff(corners, axis=0).T))]
    assert reach[-1] / MILE_M == pytest.approx(9.0, rel=0.1)  # six lines are all that nine miles allow
    flown = np.linspace(0.0, 9 * MILE_M, 201).clip(max=reach[-1])
    return conform(pd.DataFrame({"flight_id": "a", "record": np.arange(201), "time_utc": pd.Timestamp("2026-05-01T06:00:00Z") + pd.to_timedelta(6.0 * np.arange(201), "s"),
                                 "easting_m": np.interp(flown, reach, corners[:, 0]), "northing_m": np.interp(flown, reach, corners[:, 1]),
                                 "height_above_ground_m": 80.0, "on_effort": True}), TRACK)


def test_a_flight_of_the_trade_has_the_speed_and_the_spacing_that_follow_from_it():
    """Twelve metres a second and 72 m between records follow from nine miles, twenty minutes and 6 s by hand."""
    pace = pace_table(a_flight_of_the_trade())
    assert pace["interval_s"].median() == 6.0
    assert pace["speed_m_per_s"].median() == pytest.approx(12.07, abs=0.01)
    assert pace["step_m"].median() == pytest.approx(72.4, abs=0.1)


def test_forty_tags_at_once_give_eight_thousand_records_and_each_tag_the_whole_flight():
    """Forty tags listened to in every record: common practice, no source; 200 records of 6 s are twenty minutes."""
    track = a_flight_of_the_trade().head(200)
    records = track[["flight_id", "record"]].merge(pd.DataFrame({"tag_id": [f"T{number:02d}" for number in range(40)]}), how="cross")
    table = records_per_tag(records, track)
    assert len(records) == 8000 and (table["records"] == 200).all()
    assert table["listening_min"].to_numpy() == pytest.approx(np.full(40, 20.0))


def test_the_strip_that_covers_two_square_miles_in_nine_miles_is_swept_once():
    """Two square miles over nine miles of track are a strip of 358 m, by hand; lines so far apart with that sweep width have a coverage of 1."""
    strip_m = 2 * MILE_M**2 / (9 * MILE_M)
    assert strip_m == pytest.approx(357.6, abs=0.1)
    assert coverage(strip_m, 9 * MILE_M, 2 * MILE_M**2) == pytest.approx(1.0)
    track = a_flight_of_the_trade()
    strip = shapely.LineString(track[["easting_m", "northing_m"]].to_numpy(float)).buffer(strip_m / 2)
    square = shapely.box(0.0, 0.0, np.sqrt(2) * MILE_M, np.sqrt(2) * MILE_M)
    # approximately two square miles: the ways between the lines sweep twice what the lines swept, which costs the last of them its end
    assert 0.8 < strip.intersection(square).area / (2 * MILE_M**2) < 1.0
