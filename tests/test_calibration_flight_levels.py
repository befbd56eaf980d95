"""A flight that reads every beacon stronger than the others do is found, and chance is not."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from pipeline.calibration import flight_levels


def residuals(seed, changed_db=0.0, beacons=8, flights=("A", "B", "C", "D"), records=30):
    """Residuals with a power of each beacon, a part that each beacon and flight share, and noise; flight B reads everything changed_db stronger."""
    generator = np.random.default_rng(seed)
    rows = []
    for beacon in range(beacons):
        power = generator.normal(0, 3)
        for flight in flights:
            level = power + generator.normal(0, 1.5) + (changed_db if flight == "B" else 0.0)
            rows += [(f"B{beacon:02d}", flight, level + noise) for noise in generator.normal(0, 4, records)]
    return pd.DataFrame(rows, columns=["tag_id", "flight_id", "residual_db"])


@pytest.mark.parametrize("changed_db", [6.0, -6.0])
def test_a_changed_gain_is_found_in_its_flight_alone_and_about_as_large_as_it_is(changed_db):
    for seed in range(10):
        found = flight_levels(residuals(seed, changed_db)).set_index("flight_id")
        assert list(found.index[found["clear"]]) == ["B"]
        assert abs(found.loc["B", "level_db"] - changed_db) < 4 * found.loc["B", "standard_error_db"]


def test_without_a_change_hardly_any_campaign_is_accused():
    accused = sum(flight_levels(residuals(seed))["clear"].any() for seed in range(60))
    assert accused <= 3


def test_level_error_and_p_are_those_of_a_test_of_paired_differences():
    """Against scipy's test of one sample, on differences formed by hand."""
    table = residuals(3, 2.0, beacons=5, flights=("A", "B"))
    means = table.groupby(["tag_id", "flight_id"])["residual_db"].mean().unstack()
    known = stats.ttest_1samp(means["B"] - means["A"], 0.0)
    found = flight_levels(table).set_index("flight_id").loc["B"]
    assert found["level_db"] / found["standard_error_db"] == pytest.approx(known.statistic)
    assert found["p_adjusted"] == pytest.approx(min(1.0, 2 * known.pvalue))


def test_one_flight_alone_or_too_few_beacons_say_nothing():
    assert flight_levels(residuals(1, flights=("A",))).empty
    assert flight_levels(residuals(1, beacons=2)).empty
    assert flight_levels(residuals(1, records=3)).empty
    assert flight_levels(residuals(1).iloc[:0]).empty
