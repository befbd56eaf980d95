"""Simulated campaigns with woods: what is found of their loss, what canopy heights are worth, and what was kept of more such campaigns."""

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

from tests.benchmarks.canopy import RESULT, WORLD, located_in_woods
from tests.benchmarks.worlds import campaign


@cache
def made():
    return campaign(WORLD, 3000)


def test_ways_from_a_raster_are_those_of_exact_rays_through_rectangular_woods():
    """The simulator cuts every ray to the boxes; the analysis has a raster of 10 m and a lattice of places 82 m apart."""
    flown = made().records.drop_duplicates(["flight_id", "record"])
    exact, found = [], []
    for place in made().truth.values():
        for flight, rows in flown.groupby("flight_id"):
            exact.append(WORLD.woods.way_m(*(rows[name].to_numpy() for name in ("easting_m", "northing_m", "height_above_ground_m")), place))
            found.append(made().canopy[flight].way_m([place[0]], [place[1]])[:, 0])
    exact, found = np.concatenate(exact), np.concatenate(found)
    difference = np.abs(found - exact)
    print(f"mean way {exact.mean():.0f} m, found {found.mean():.0f} m, differences: median {np.median(difference):.1f} m, 95 % {np.quantile(difference, 0.95):.0f} m")
    assert found.mean() == pytest.approx(exact.mean(), rel=0.02) and np.median(difference) < 1.0 and np.corrcoef(found, exact)[0, 1] > 0.99


def test_the_coefficient_is_found_and_canopy_heights_bring_tags_in_the_wood_nearer():
    """One campaign of the benchmark, the first: 0.12 dB/m is the truth and 0.058 the middle of the prior."""
    fixes, found = located_in_woods(made(), WORLD.woods)
    without, nothing = located_in_woods(replace(made(), canopy={}), WORLD.woods)
    medians = [table.loc[table["shaded"], "error_m"].median() for table in (fixes, without)]
    print(f"{found['value']:.3f} dB/m, SE {found['standard_error']:.3f}; median error of {int(fixes['shaded'].sum())} shaded fixes {medians[0]:.0f} m with canopy heights, {medians[1]:.0f} m without")
    assert nothing is None and abs(found["value"] - 0.12) <= 2 * found["standard_error"]
    assert fixes["shaded"].sum() >= 20 and medians[0] < medians[1]
    assert found["prior_share"] < 0.5


def test_what_was_measured_on_more_campaigns_says_the_same():
    kept = pd.read_csv(RESULT).set_index(["world", "way"])
    for world in ("woods", "deeper woods"):
        with_heights, without = kept.loc[(world, "with canopy heights")], kept.loc[(world, "without them")]
        assert with_heights["median_shaded_m"] < without["median_shaded_m"] and with_heights["median_m"] < without["median_m"]
        assert with_heights["held_95"] >= 0.9 * with_heights["fixes"]
    assert kept.loc[("woods", "with canopy heights"), "largest_off_in_se"] <= 2.5
