"""Errors that fixes of one flight share: found on beacons, put into the order of draws."""

import numpy as np
import pandas as pd
import pytest

from pipeline.movement import AnimalFixes, Fix, joined_by_flight, proximity_table, shared_error
from tests.test_movement import START, two_places


def beacon_table(generator, correlation, flights=30, beacons=9):
    shared = np.repeat(generator.normal(size=(flights, 2)), beacons, axis=0)
    errors = 50 * (np.sqrt(correlation) * shared + np.sqrt(1 - correlation) * generator.normal(size=(flights * beacons, 2)))
    return pd.DataFrame({"tag_id": np.tile([f"B{k}" for k in range(beacons)], flights), "flight_id": np.repeat([f"F{k}" for k in range(flights)], beacons),
                         "error_m": np.hypot(*errors.T), "error_east_m": errors[:, 0], "error_north_m": errors[:, 1], "error_radius_95_m": 122.4})


def pair(flights=("F1", "F1"), seed=1):
    generator = np.random.default_rng(seed)
    shapes = (lambda n: generator.normal(0, 80, (n, 2)), lambda n: two_places(generator, n))
    return [AnimalFixes(tag, "", "", (Fix(tag, flight, START, 0.0, 0.0, 150.0, False, shape(400)),)) for tag, flight, shape in zip("ab", flights, shapes)]


@pytest.mark.parametrize("correlation", [0.0, 0.4])
def test_the_shared_part_is_found(correlation):
    found = [shared_error(beacon_table(np.random.default_rng(seed), correlation)) for seed in range(6)]
    assert np.mean([each.correlation for each in found]) == pytest.approx(correlation, abs=0.07)
    assert sum(each.low <= correlation <= each.high for each in found) >= 5


def test_without_beacons_nothing_is_shared_and_it_is_said():
    assert shared_error(None).reason.startswith("No beacons")
    few = shared_error(beacon_table(np.random.default_rng(1), 0.4, flights=1, beacons=3))
    assert (few.correlation, few.pairs) == (0.0, 3) and "10 are needed" in few.reason


def test_joining_keeps_every_draw_and_correlates_those_of_one_flight():
    before, after = pair(), joined_by_flight(pair(), 0.6, seed=1)
    for old, new in zip(before, after):
        assert sorted(map(tuple, old.fixes[0].draws_m)) == sorted(map(tuple, new.fixes[0].draws_m))
    one, other = (each.fixes[0].draws_m[:, 1] for each in after)
    assert np.corrcoef(one, other)[0, 1] > 0.3
    apart = joined_by_flight(pair(("F1", "F2")), 0.6, seed=1)
    assert abs(np.corrcoef(*(each.fixes[0].draws_m[:, 1] for each in apart))[0, 1]) < 0.2


def test_nothing_shared_changes_nothing():
    animals = pair()
    assert joined_by_flight(animals, 0.0, seed=1) is animals


def test_shared_errors_narrow_the_distance_of_two_animals():
    generator = np.random.default_rng(2)
    animals = [AnimalFixes(tag, "", "", (Fix(tag, "F1", START, 0.0, 0.0, 150.0, False, generator.normal(0, 60, (400, 2))),)) for tag in "ab"]
    alone, joined = (proximity_table(each).loc[0, "distance_high_m"] for each in (animals, joined_by_flight(animals, 0.8, seed=1)))
    assert joined < 0.65 * alone
