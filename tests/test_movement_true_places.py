"""Places freed of error: what draws of each fix alone would get wrong."""

import numpy as np
import pytest

from pipeline.movement import hull_area_m2, normal_range, normal_range_area_m2, true_places

RANGE_SD_M = 500.0


def seen(generator, fixes, error_m, draws=200):
    """True places, and draws about fixes that are off them."""
    places = generator.normal(0, RANGE_SD_M, (fixes, 2))
    return places, [place + generator.normal(0, error_m, 2) + generator.normal(0, error_m, (draws, 2)) for place in places]


def test_fixes_without_error_stay_where_they_are():
    places, draws = seen(np.random.default_rng(1), 12, 1e-3)
    found = true_places(draws, seed=1)
    assert np.abs(found.places_m - places).max() < 0.02


def test_the_area_agrees_with_the_closed_form_for_round_errors():
    places, draws = seen(np.random.default_rng(2), 40, 150.0)
    found = true_places(draws, seed=1)
    areas = np.array([normal_range_area_m2(each) for each in found.covariances_m2])
    exact = normal_range([each.mean(axis=0) for each in draws], [np.cov(each.T) for each in draws])
    assert np.quantile(areas, [0.5, 0.025, 0.975]) == pytest.approx(exact, rel=0.08)


def test_extents_of_draws_hold_errors_twice_and_those_of_true_places_once():
    generator = np.random.default_rng(3)
    own, naive, truth = [], [], []
    for number in range(60):
        places, draws = seen(generator, 30, 150.0)
        own.append(np.quantile(hull_area_m2(true_places(draws, seed=number, kept=150, dropped=50).places_m), [0.025, 0.5, 0.975]))
        naive.append(np.median(hull_area_m2(np.stack(draws, axis=1))))
        truth.append(hull_area_m2(places))
    own, naive, truth = np.array(own), np.array(naive), np.array(truth)
    assert np.median(naive / truth) > 1.15
    assert np.median(own[:, 1] / truth) == pytest.approx(1, abs=0.06)
    assert ((own[:, 0] <= truth) & (truth <= own[:, 2])).mean() >= 0.87


def test_an_animal_that_may_not_have_moved_is_not_drawn_to_a_point():
    generator = np.random.default_rng(4)
    draws = [generator.normal(0, 60, 2) + generator.normal(0, 60, (200, 2)) for _ in range(12)]
    sds = np.sqrt(np.trace(true_places(draws, seed=1).covariances_m2, axis1=1, axis2=2) / 2)
    assert 2 < np.median(sds) < 60


def test_the_likelier_of_two_places_is_the_one_among_the_others():
    generator = np.random.default_rng(5)
    _, draws = seen(generator, 15, 30.0)
    halves = np.where(generator.random((200, 1)) < 0.5, 0.0, 8000.0)
    draws[0] = np.column_stack([halves[:, 0], np.zeros(200)]) + generator.normal(0, 30, (200, 2))
    assert (true_places(draws, seed=1).places_m[:, 0, 0] < 4000).mean() > 0.95


def test_same_seed_same_places_and_fewer_than_five_fixes_are_refused():
    _, draws = seen(np.random.default_rng(6), 6, 50.0)
    assert np.array_equal(true_places(draws, seed=3).places_m, true_places(draws, seed=3).places_m)
    with pytest.raises(ValueError, match="5 fixes are needed"):
        true_places(draws[:4], seed=1)
