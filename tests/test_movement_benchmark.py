"""A short version of tests/benchmarks/movement.py, and what its last full run says."""

import pandas as pd
import pytest

from tests.benchmarks.movement import CASES, RESULT, power, ranges, still


def test_intervals_of_areas_and_extents_hold_the_truth():
    found = {what: value for _, _, what, value, _ in ranges(20, 0.3, 40)}
    for method in ("bivariate normal", "kernel, reference width", "kernel, cross-validated width", "extent of fixes"):
        assert found[f"{method}: interval holds the truth"] >= 0.82            # 95 %, less chance of 40 animals
        assert 0.85 < found[f"{method}: area over truth, median"] < 1.15


def test_animals_seen_worse_than_their_range_allows_get_no_area():
    found = {what: value for _, _, what, value, _ in ranges(15, 0.8, 20)}
    assert found["bivariate normal: printed"] == 0


@pytest.mark.parametrize("name", list(CASES))
def test_animals_that_never_move_are_not_called_moved(name):
    found = {what: value for _, _, what, value, _ in still(name, animals=400)}
    assert found["called moved, adjusted"] <= 0.01 and found["p < 0.05, one pair alone"] <= 0.08


@pytest.mark.parametrize("name", ["normal", "elongated", "widened by calibration"])
def test_the_stated_movement_is_found_in_8_of_10(name):
    found = {what: value for _, _, what, value, _ in power(name, pairs=200)}
    assert 0.85 < found["distance found in 8 of 10, over the stated"] < 1.15


@pytest.mark.skipif(not RESULT.exists(), reason="the benchmark was not run")
def test_the_last_full_run_keeps_what_is_promised():
    table = pd.read_csv(RESULT)
    still_rows, power_rows, range_rows = (table[table["question"] == name] for name in ("still", "power", "range"))
    assert (still_rows.loc[still_rows["what"] == "called moved, adjusted", "value"] <= 0.05).all()
    assert power_rows.loc[power_rows["what"].str.startswith("distance found"), "value"].between(0.9, 1.1).all()
    held = range_rows[range_rows["what"].str.endswith("holds the truth") & (range_rows["of"] >= 100)]
    assert (held["value"] >= 0.9).all()
