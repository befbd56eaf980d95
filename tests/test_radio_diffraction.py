"""Diffraction over profiles of ground: obvious answers and limits."""

import numpy as np
import pytest

from pipeline.radio import diffraction as dif

WAVELENGTH_M = 2.0
SHARE = (np.arange(1, 200) / 200.0)[:, None]


def loss_db(ground_m, *, distance_m=2000.0, start_m=50.0, end_m=2.0, share=SHARE):
    """Bullington's loss over one profile of heights."""
    return dif.bullington_loss_db(share, np.asarray(ground_m, float).reshape(-1, 1), distance_m, start_m, end_m, WAVELENGTH_M)[0]


def edge_at(share, height_m):
    """A profile at height 0 with one point raised."""
    return np.where(np.isclose(SHARE[:, 0], share), height_m, 0.0)


@pytest.mark.parametrize("share, height_m", [(0.5, 100.0), (0.5, 40.0), (0.2, 90.0), (0.9, 30.0)])
def test_one_high_edge_costs_its_knife_edge_and_what_rough_ground_adds(share, height_m):
    above = height_m + share * (1 - share) * 2000.0**2 / (2 * dif.EFFECTIVE_EARTH_RADIUS_M) - (50.0 * (1 - share) + 2.0 * share)
    edge = dif.approximate_knife_edge_loss_db(dif.fresnel_parameter(above, share * 2000.0, (1 - share) * 2000.0, WAVELENGTH_M))
    assert loss_db(edge_at(share, height_m)) == pytest.approx(edge + (1 - np.exp(-edge / 6)) * (10 + 0.02 * 2), abs=1e-9)


def test_ground_far_below_the_sight_line_costs_nothing():
    assert loss_db(np.full(199, -500.0)) == 0.0


def test_the_loss_is_the_same_both_ways():
    ground = 40.0 * np.random.default_rng(1).random(199)
    assert loss_db(ground) == pytest.approx(loss_db(ground[::-1], start_m=2.0, end_m=50.0), abs=1e-9)


def test_the_loss_does_not_jump_where_the_sight_line_is_lost():
    """Heights of one edge from below to above the line of sight: the two branches of the construction meet."""
    sight = 26.0 - 0.25 * 2000.0**2 / (2 * dif.EFFECTIVE_EARTH_RADIUS_M)
    just_below, just_above = (loss_db(np.where(np.isclose(SHARE[:, 0], 0.5), sight + step, -200.0)) for step in (-1e-6, 1e-6))
    assert just_below == pytest.approx(just_above, abs=1e-5)
    assert just_below == pytest.approx(dif.with_rough_ground(6.033, 2000.0), abs=1e-3)


def test_a_higher_edge_costs_more_and_a_higher_antenna_less():
    assert (np.diff([loss_db(edge_at(0.5, height)) for height in (10, 20, 40, 80, 160)]) > 0).all()
    assert (np.diff([loss_db(edge_at(0.5, 80.0), start_m=start) for start in (20.0, 50.0, 100.0, 200.0)]) < 0).all()


def test_a_point_without_ground_is_left_out():
    ground = edge_at(0.4, 70.0)
    hole = np.where(np.isclose(SHARE[:, 0], 0.4), np.nan, ground)
    assert loss_db(hole) == loss_db(np.delete(hole, 79), share=np.delete(SHARE, 79, axis=0))
    assert loss_db(hole) < loss_db(ground)


def test_profiles_side_by_side_are_those_one_by_one():
    generator = np.random.default_rng(2)
    ground, distance = 60.0 * generator.random((199, 7)), generator.uniform(300.0, 5000.0, 7)
    together = dif.bullington_loss_db(SHARE, ground, distance, np.full(7, 50.0), np.full(7, 2.0), WAVELENGTH_M)
    np.testing.assert_allclose(together, [loss_db(ground[:, path], distance_m=distance[path]) for path in range(7)], rtol=1e-12)


@pytest.mark.parametrize("distance_m, start_m, end_m", [(300.0, 80.0, 0.3), (1000.0, 80.0, 0.3), (5000.0, 80.0, 0.3), (1000.0, 10.0, 10.0), (2000.0, 0.5, 60.0)])
def test_the_short_form_for_level_ground_is_a_profile_of_level_ground(distance_m, start_m, end_m):
    share = np.linspace(1e-4, 1 - 1e-4, 200_001)[:, None]
    profile = dif.bullington_loss_db(share, np.zeros_like(share), distance_m, start_m, end_m, WAVELENGTH_M)[0]
    assert dif.level_ground_loss_db(distance_m, start_m, end_m, WAVELENGTH_M) == pytest.approx(profile, abs=0.01)
    near = share[(share * distance_m >= 30.0) & ((1 - share) * distance_m >= 30.0)][:, None]
    profile = dif.bullington_loss_db(near, np.zeros_like(near), distance_m, start_m, end_m, WAVELENGTH_M)[0]
    assert dif.level_ground_loss_db(distance_m, start_m, end_m, WAVELENGTH_M, nearest_m=30.0) == pytest.approx(profile, abs=0.01)


def test_free_space_loss_grows_six_decibels_with_twice_the_distance_or_frequency():
    loss = dif.free_space_loss_db(np.array([100.0, 200.0]), np.array([[150.0], [300.0]]))
    np.testing.assert_allclose(loss - loss[0, 0], 20 * np.log10([[1, 2], [2, 4]]))


def test_the_approximation_joins_zero_where_it_ends():
    assert dif.approximate_knife_edge_loss_db(np.array([-5.0, -0.78])).tolist() == [0.0, 0.0]
    assert dif.approximate_knife_edge_loss_db(-0.7799) == pytest.approx(0.0, abs=0.01)


def test_vegetation_costs_its_attenuation_at_first_and_its_most_in_the_end():
    assert dif.vegetation_loss_db(0.01, 0.06, 12.0) == pytest.approx(6e-4, rel=1e-3)
    assert dif.vegetation_loss_db(1e5, 0.06, 12.0) == pytest.approx(12.0)


def test_woodland_is_known_at_both_ends_of_its_range_and_not_beyond():
    np.testing.assert_allclose(dif.vegetation_attenuation_db_per_m([30.0, 1000.0]), [0.02, 0.2])
    with pytest.raises(ValueError, match="30 to 1000 MHz"):
        dif.vegetation_attenuation_db_per_m(29.0)
