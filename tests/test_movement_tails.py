"""Tails of errors beyond the 95 % regions, as beacons show them."""

import numpy as np
import pytest

from pipeline.movement import Tails, displacement_table, holm, tails_of
from tests.test_movement import made_animal


def normal_levels(generator, count, freedom=np.inf):
    """Levels of bivariate errors in normal regions that hold 95 % of them."""
    squared = np.square(generator.normal(size=(count, 2))).sum(axis=1)
    if np.isfinite(freedom):
        squared *= freedom / generator.chisquare(freedom, count)
        squared *= -2 * np.log(0.05) / (freedom * (0.05 ** (-2 / freedom) - 1))
    return 1 - np.exp(-squared / 2)


def test_normal_tails_change_no_p_value():
    p = np.array([0.7, 0.05, 1e-3, 1e-12])
    assert Tails().p_value(p) == pytest.approx(p)
    assert Tails().normal_level(1e-4) == 1e-4


def test_heavy_tails_are_found_and_leave_0_05_alone():
    heavy = tails_of(normal_levels(np.random.default_rng(1), 200, freedom=4))
    assert heavy.weights[0] < 0.05 and sum(heavy.weights) == pytest.approx(1)
    assert heavy.p_value(0.2) == 0.2 and heavy.p_value(0.05) == pytest.approx(0.05) and heavy.p_value(1e-4) > 1e-3
    assert heavy.p_value(heavy.normal_level(1e-3)) == pytest.approx(1e-3, rel=1e-6)


def test_p_values_keep_their_order():
    heavy = tails_of(normal_levels(np.random.default_rng(2), 60, freedom=5))
    assert (np.diff(heavy.p_value(np.geomspace(1e-30, 1, 500))) >= 0).all()


def test_normal_beacons_leave_normal_tails_most_weight():
    assert np.mean([tails_of(normal_levels(np.random.default_rng(seed), 54)).weights[0] for seed in range(20)]) > 0.6


def test_few_beacons_show_no_tails():
    assert tails_of([0.5] * 9) == Tails(levels=9)


def test_a_beacon_outside_its_region_makes_tails_heavy_and_breaks_nothing():
    assert tails_of([0.5] * 53 + [1.0]).weights[0] < 0.2 < 0.7 < tails_of([0.5] * 54).weights[0]


def test_with_heavy_tailed_errors_campaigns_without_movement_stay_silent():
    generator, plain, told = np.random.default_rng(3), [], []
    for _ in range(300):
        tails = tails_of(normal_levels(generator, 54, freedom=5))
        p = 1 - normal_levels(generator, 40, freedom=5)
        plain.append((holm(p) < 0.05).any())
        told.append((holm(tails.p_value(p)) < 0.05).any())
    assert np.mean(plain) > 0.2 and np.mean(told) <= 0.09


def test_heavier_tails_lengthen_the_detectable_movement_and_not_the_interval():
    animals = [made_animal("1", [(0, 0), (20, 0), (0, 20)])]
    normal, heavy = (displacement_table(animals, tails=tails) for tails in (Tails(), tails_of(normal_levels(np.random.default_rng(1), 200, freedom=4))))
    assert (heavy["minimum_detectable_m"] > normal["minimum_detectable_m"]).all()
    assert heavy["distance_low_m"].tolist() == normal["distance_low_m"].tolist()
