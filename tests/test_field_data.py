"""The same way on real measurements, from a survey file written as a user would. The truth is read for scoring only.

Source: University of Utah, FRS localisation data set (Zenodo record 10962857, MIT licence); see the licence beside the data.
"""

import pytest

from tests.benchmarks.field import ELEVEN, cases_of, summary


@pytest.fixture(scope="module")
def scored(field_data):
    """Cases of the eleven radios never given to the model whose truth lies inside the box of the walk."""
    return cases_of(field_data, swapped=False)


def test_radios_never_given_to_the_model_are_located_and_their_regions_hold_them(scored, capsys):
    row = summary(ELEVEN, scored)
    with capsys.disabled():
        print(f"\nfield data, {row['cases']} cases inside the walk's box: median {row['median_ours_m']:.0f} m, 90 % within {row['p90_ours_m']:.0f} m; "
              f"50/80/95 % regions held {row['held_50']}, {row['held_80']}, {row['held_95']} of {row['cases']}; median 95 % region {row['median_region_95_ha']:.1f} ha")
    assert row["cases"] >= 15
    assert row["median_ours_m"] <= 110
    assert row["held_95"] >= 0.85 * row["cases"]
