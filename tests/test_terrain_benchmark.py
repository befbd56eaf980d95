"""What the benchmark of terrain measured, held against what is promised of terrain models."""

import pandas as pd
import pytest

from tests.benchmarks.terrain import AT_BEST, HEIGHTS_M, RESULT

WITH, WITHOUT, SHIFTED = "with the terrain model", "without it", "with it shifted by 200 m"


@pytest.fixture(scope="module")
def measured():
    return pd.read_csv(RESULT).set_index(["flown_m", "way"])


def test_at_fifty_metres_a_terrain_model_takes_a_fifth_off_the_median_error(measured):
    assert measured.loc[(50, WITH), "median_m"] <= 0.80 * measured.loc[(50, WITHOUT), "median_m"]


@pytest.mark.parametrize("height_m", HEIGHTS_M)
def test_regions_hold_what_they_say_with_a_terrain_model_and_little_less_with_a_wrong_one(measured, height_m):
    rows = measured.loc[height_m]
    held = rows["held_95"] / rows["fixes"]
    assert rows["fixes"].eq(300).all()
    assert 0.92 <= held[WITH] <= 0.98 and held[SHIFTED] > 0.90


@pytest.mark.parametrize("height_m", HEIGHTS_M)
def test_a_wrong_terrain_model_is_believed_less_and_never_harms_the_median(measured, height_m):
    rows = measured.loc[height_m]
    assert rows.loc[SHIFTED, "terrain_share"] < rows.loc[WITH, "terrain_share"]
    assert rows.loc[WITH, "median_m"] < rows.loc[SHIFTED, "median_m"] < rows.loc[WITHOUT, "median_m"]


@pytest.mark.parametrize("height_m", HEIGHTS_M)
def test_the_terrain_model_takes_off_most_of_what_the_truth_itself_would(measured, height_m):
    """At 80 m the true parameters and the true loss take off less than a fifth themselves, so that no analysis could take off a fifth there."""
    to_without = measured.loc[height_m, "to_without"]
    assert 0.6 * (1 - to_without[AT_BEST]) <= 1 - to_without[WITH] <= 1 - to_without[AT_BEST]


def test_at_eighty_metres_there_is_less_than_a_fifth_to_take_off(measured):
    assert measured.loc[(80, AT_BEST), "to_without"] > 0.80
