"""Errors of beacon fixes: their summary, intervals that know of repeats, the accuracy statement, doubtful beacons."""

import numpy as np
import pandas as pd
import pytest

from pipeline.calibration import accuracy_statement, doubtful_places, elliptical_probability, error_summary, median_interval, median_interval_by_place, median_interval_by_place_and_flight, median_interval_of_fixes, nssda_95_m, p90_interval_by_place, p90_interval_of_fixes, summary_by
from pipeline.calibration.errors import BOTH_DRAWN, ORDERED, PLACES_DRAWN


def errors(east, north, **columns):
    east, north = np.asarray(east, float), np.asarray(north, float)
    return pd.DataFrame({"error_east_m": east, "error_north_m": north, "error_m": np.hypot(east, north), **columns})


def test_fixes_all_shifted_ten_metres_east_have_that_bias_and_the_same_median():
    scatter = np.random.default_rng(1).normal(0, 30, (2, 40))
    before, after = error_summary(errors(*scatter)), error_summary(errors(scatter[0] + 10, scatter[1]))
    assert after["bias_east_m"] - before["bias_east_m"] == pytest.approx(10)
    assert after["bias_north_m"] == before["bias_north_m"]


def test_a_single_fix_has_an_error_and_no_interval():
    found = error_summary(errors([3], [4], place_id=["A"]))
    assert (found["n"], found["median_m"], found["rmse_m"]) == (1, 5.0, 5.0)
    assert np.isnan(found["median_low_95_m"])


def test_no_fix_gives_no_number():
    found = error_summary(errors([], []))
    assert found["n"] == 0 and all(np.isnan(value) for name, value in found.items() if name not in ("n", "median_interval")) and found["median_interval"] == ""


def test_without_places_there_is_no_interval_since_repeats_would_pass_for_new_beacons():
    found = error_summary(errors(np.arange(40.0), np.arange(40.0)))
    assert found["median_m"] > 0 and np.isnan(found["median_low_95_m"]) and np.isnan(found["median_high_95_m"])


def test_five_errors_are_too_few_for_an_interval_of_the_median():
    assert np.isnan(median_interval([1, 2, 3, 4, 5])).all()
    assert median_interval([6, 2, 3, 4, 5, 1]) == (1, 6)


def test_with_one_fix_a_place_the_interval_is_that_of_order_statistics():
    values = np.arange(12.0)
    assert median_interval_by_place(values, list("abcdefghijkl")) == median_interval(values)


def test_repeats_at_a_place_do_not_narrow_the_interval():
    values = np.array([10.0, 20, 30, 40, 50, 60, 70, 80])
    places = list("abcdefgh")
    once = median_interval_by_place(np.concatenate([values, values + 0.1]), places * 2)
    often = median_interval_by_place(np.concatenate([values + 0.01 * number for number in range(30)]), places * 30)
    assert often[1] - often[0] > 0.8 * (once[1] - once[0])
    assert median_interval(np.tile(values, 30))[1] - median_interval(np.tile(values, 30))[0] < 0.8 * (often[1] - often[0])


def test_the_same_seed_gives_the_same_interval():
    values, places = np.random.default_rng(3).gamma(2, 40, 30), np.repeat(list("abcdefghij"), 3)
    assert median_interval_by_place(values, places) == median_interval_by_place(values, places)


def test_fewer_than_six_places_have_no_interval_however_often_they_were_flown_over():
    assert np.isnan(median_interval_by_place(np.arange(50.0), np.repeat(list("abcde"), 10))).all()


def test_nine_in_ten_has_the_interval_of_places_drawn_again_one_by_one():
    """By another road: the errors of the drawn places put together, and numpy's own quantile of them; Davison & Hinkley 1997, section 3.8, from memory."""
    rng = np.random.default_rng(5)
    values, places = rng.gamma(2, 40, 72), np.repeat(np.arange(12), 6)
    draws = [np.quantile(np.concatenate([values[places == name] for name in rng.integers(0, 12, 12)]), 0.9) for _ in range(4000)]
    assert p90_interval_by_place(values, places) == pytest.approx(tuple(np.quantile(draws, [0.025, 0.975])), rel=0.06)
    assert np.isnan(p90_interval_by_place(values[:30], places[:30])).all() and np.isnan(p90_interval_by_place(values[::6], places[::6])).all()


def test_drawing_flights_again_too_widens_the_interval_where_flights_differ_and_little_where_they_do_not():
    places, flights = np.repeat(np.arange(10), 6), np.tile(np.arange(6), 10)
    noise = np.random.default_rng(2).normal(0, 2, 60)
    by_flight = 50.0 + 15.0 * flights + noise
    one, two = median_interval_by_place(by_flight, places), median_interval_by_place_and_flight(by_flight, places, flights)
    assert two[1] - two[0] > 3 * (one[1] - one[0]) and two[0] < one[0] and two[1] > one[1]
    by_place = 50.0 + 15.0 * places + noise
    one, two = median_interval_by_place(by_place, places), median_interval_by_place_and_flight(by_place, places, flights)
    assert two[1] - two[0] == pytest.approx(one[1] - one[0], rel=0.25)


def test_both_drawn_again_one_by_one_give_the_same_interval_of_the_ordinary_median():
    """By another road: the errors of every drawn place in every drawn flight put together, and numpy's own median of them."""
    rng = np.random.default_rng(6)
    places, flights = np.repeat(np.arange(8), 4), np.tile(np.arange(4), 8)
    values = rng.gamma(2, 40, 32) + 10.0 * flights
    table = values.reshape(8, 4)
    draws = [np.median(table[np.ix_(rng.integers(0, 8, 8), rng.integers(0, 4, 4))]) for _ in range(4000)]
    assert median_interval_by_place_and_flight(values, places, flights) == pytest.approx(tuple(np.quantile(draws, [0.025, 0.975])), rel=0.05)


def test_the_interval_of_a_median_names_how_it_was_found_and_lets_flights_vary_where_there_are_three():
    rng = np.random.default_rng(4)
    places, flights = np.repeat(list("abcdefgh"), 4), np.tile([1, 2, 3, 4], 8)
    sizes = rng.gamma(2.0, 30.0, 32) + 20.0 * flights
    assert median_interval_of_fixes(sizes, places, flights) == (*median_interval_by_place_and_flight(sizes, places, flights), BOTH_DRAWN)
    assert median_interval_of_fixes(sizes, places) == (*median_interval_by_place(sizes, places), PLACES_DRAWN) == median_interval_of_fixes(sizes, places, np.tile([1, 2], 16))
    assert median_interval_of_fixes(sizes[::4], places[::4], flights[::4]) == (*median_interval(sizes[::4]), ORDERED)
    assert median_interval_of_fixes(sizes[:20], places[:20], flights[:20])[2] == ""     # five places
    few, many = p90_interval_of_fixes(sizes, places, np.ones(32)), p90_interval_of_fixes(sizes, places, flights)
    assert few == p90_interval_by_place(sizes, places) and many[0] < many[1] and many != few


def test_two_flights_do_not_show_how_flights_differ():
    places, flights = np.repeat(np.arange(10), 2), np.tile([0, 1], 10)
    assert np.isnan(median_interval_by_place_and_flight(np.arange(20.0), places, flights)).all()


def test_errors_along_one_axis_only_are_held_by_two_sd():
    assert nssda_95_m([10.0, -10.0], [0.0, 0.0]) == pytest.approx(19.6, abs=0.01)
    assert elliptical_probability(1.96, 0.0) == pytest.approx(0.95, abs=1e-4)


def test_errors_of_nothing_are_blank_and_perfect_ones_are_zero():
    assert np.isnan(nssda_95_m([], []))
    assert nssda_95_m([0.0, 0.0], [0.0, 0.0]) == 0.0


def test_repeats_do_not_make_twenty_check_points():
    table = errors(np.full(60, 30.0), np.full(60, 30.0), place_id=np.repeat(list("abcdef"), 10))
    assert accuracy_statement(table) == "The accuracy statement of the NSSDA needs 20 independent check points, and there are 6; none is made."


def test_a_beacon_far_outside_its_region_is_doubted():
    table = errors([10, 12, 11, 400, 400], [0, 0, 0, 0, 0], level_after=[0.2, 0.9995, 0.97, 0.99, 0.6])
    # beyond the 99.9 % region; just outside; far off and outside; far off but the region said so
    assert doubtful_places(table).tolist() == [False, True, False, True, False]


def test_the_summary_by_a_condition_counts_what_was_inside():
    table = errors([3, 6, 9], [4, 8, 12], level_after=[0.5, 0.96, 0.94], style=["loop", "lines", "lines"], place_id=["A", "A", "B"])
    found = summary_by(table, "style").set_index("style")
    assert found["inside_95"].to_dict() == {"lines": 1, "loop": 1}
    assert found["median_m"].to_dict() == {"lines": 12.5, "loop": 5.0}
    assert found.loc["loop", "inside_low_95"] == pytest.approx(0.025)
