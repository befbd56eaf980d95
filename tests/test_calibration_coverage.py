"""Coverage counted by fixes and by places, and what so many beacons can prove."""

import numpy as np
import pytest

from pipeline.calibration import chance_of_so_few, coverage_table, exact_interval, what_beacons_can_prove


def row(table, calibration, nominal, counted_by="fixes"):
    return table[(table["calibration"] == calibration) & (table["nominal"] == nominal) & (table["counted_by"] == counted_by)].iloc[0]


def test_a_truth_counts_for_every_region_that_holds_it():
    table = coverage_table([0.3, 0.7, 0.9, 0.99], [0.2, 0.6, 0.7, 0.94])
    assert [row(table, "before", nominal)["inside"] for nominal in (0.5, 0.8, 0.95)] == [1, 2, 3]
    assert [row(table, "after", nominal)["inside"] for nominal in (0.5, 0.8, 0.95)] == [1, 3, 4]
    assert row(table, "after", 0.95)["share"] == 1.0


def test_a_truth_on_the_edge_of_a_region_is_inside():
    assert row(coverage_table([0.95], [0.95]), "before", 0.95)["inside"] == 1


def test_repeats_of_one_beacon_are_not_new_beacons():
    levels, places = [0.99] * 10 + [0.1, 0.1], ["A"] * 10 + ["B", "C"]
    by_places = row(coverage_table(levels, levels, places), "after", 0.95, "places")
    assert by_places["share"] == pytest.approx(2 / 3) and by_places["tests"] == 3
    by_fixes = row(coverage_table(levels, levels, places), "after", 0.95)
    assert by_fixes["share"] == pytest.approx(2 / 12)


def test_counted_by_places_the_interval_is_wider():
    levels, places = [0.1] * 18, np.repeat(["A", "B", "C"], 6)
    table = coverage_table(levels, levels, places)
    assert row(table, "after", 0.95, "places")["low_95"] < row(table, "after", 0.95)["low_95"]
    assert row(table, "after", 0.95, "places")["low_95"] == pytest.approx(exact_interval(3, 3)[0])


def test_with_nothing_tested_the_interval_says_nothing():
    assert exact_interval(0, 0) == (0.0, 1.0)
    assert row(coverage_table([], [], []), "after", 0.95)["tests"] == 0


def test_an_interval_of_a_fraction_lies_between_those_of_its_neighbours():
    low = [exact_interval(k, 9)[0] for k in (8, 8.5, 9)]
    assert low == sorted(low)


def test_more_beacons_prove_more():
    lows = [what_beacons_can_prove(n)[0] for n in (3, 9, 20, 60)]
    assert lows == sorted(lows) and lows[0] < 0.3 < 0.94 < lows[-1]
    assert what_beacons_can_prove(9)[1] == 1.0


def test_the_chance_of_so_few_is_one_when_all_may_be_inside():
    assert chance_of_so_few(10, 10, 0.95) == 1.0
    assert chance_of_so_few(0, 2, 0.5) == pytest.approx(0.25)
