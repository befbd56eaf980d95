"""Invented ground, and what it takes from a signal."""

import numpy as np
import pytest

from pipeline.simulate import InventedTerrain, expected_strength_db, invented_valley, knife_edge_loss_db, rich_physics, terrain_loss_db

FLAT = InventedTerrain(np.zeros((200, 200)), -2000.0, -2000.0, 20.0)


def ridge(height_m):
    """Flat ground with a ridge 80 m wide along the line easting = 0."""
    heights = np.zeros((200, 201))
    heights[:, 98:103] = height_m
    return InventedTerrain(heights, -2000.0, -2000.0, 20.0)


def loss_across(terrain, receiver_height_m, *, tag_easting_m=800.0):
    """Loss from a receiver 800 m west of the origin to a tag on the ground."""
    return terrain_loss_db(np.array([-800.0]), np.array([5.0]), np.array([receiver_height_m]), tag_easting_m, 5.0, 1.0, terrain)[0]


def test_grazing_an_edge_costs_six_db():
    assert knife_edge_loss_db(0.0) == pytest.approx(6.03, abs=0.01)


def test_a_clear_path_costs_nothing_and_a_deeper_shadow_costs_more():
    loss_db = knife_edge_loss_db(np.array([-3.0, -0.78, 0.0, 1.0, 5.0]))
    assert loss_db[:2].tolist() == [0.0, 0.0]
    assert (np.diff(loss_db[1:]) > 0).all()


def test_line_of_sight_over_flat_ground_costs_nothing():
    assert loss_across(FLAT, 600.0) == 0.0


def test_a_ridge_between_costs_and_a_higher_one_costs_more():
    low, high = loss_across(ridge(60.0), 80.0), loss_across(ridge(120.0), 80.0)
    assert 6 < low < high < 40


def test_flying_higher_looks_over_the_ridge():
    assert loss_across(ridge(60.0), 80.0) > 10
    assert loss_across(ridge(60.0), 900.0) == 0.0


def test_a_ridge_behind_the_tag_costs_nothing():
    assert loss_across(ridge(120.0), 80.0, tag_easting_m=-300.0) == loss_across(FLAT, 80.0, tag_easting_m=-300.0)


def test_the_loss_is_the_same_both_ways():
    hill = ridge(90.0)
    there = terrain_loss_db([-800.0], [5.0], [80.0], 400.0, 5.0, 1.0, hill)
    back = terrain_loss_db([400.0], [5.0], [1.0], -800.0, 5.0, 80.0, hill)
    assert there == pytest.approx(back)


def test_straight_below_nothing_is_in_the_way():
    assert terrain_loss_db([0.0], [5.0], [80.0], 10.0, 5.0, 1.0, ridge(60.0)).tolist() == [0.0]


def test_the_ridge_weakens_the_signal_by_its_loss():
    places = dict(easting_m=np.array([-800.0]), northing_m=np.array([5.0]), height_above_ground_m=np.array([80.0]),
                  azimuth_grid_deg=np.array([90.0]), tag_easting_m=800.0, tag_northing_m=5.0, tag_power_db=0.0, tag_height_m=1.0, physics=rich_physics())
    weaker = expected_strength_db(**places, terrain=None) - expected_strength_db(**places, terrain=ridge(90.0))
    assert weaker[0] == pytest.approx(loss_across(ridge(90.0), 80.0))


def test_the_valley_has_the_relief_asked_for_and_comes_from_its_seed():
    valley = invented_valley(5, relief_m=300.0)
    axis_m = np.arange(-1700, 1701, 25.0)
    heights_m = valley.at(*np.meshgrid(axis_m, axis_m))
    assert heights_m.max() - heights_m.min() == pytest.approx(300.0, abs=0.2)
    assert np.array_equal(valley.height_m, invented_valley(5).height_m)
    assert not np.array_equal(valley.height_m, invented_valley(6).height_m)


def test_slopes_are_those_of_hills_not_of_walls():
    valley = invented_valley(5)
    steepness = np.hypot(*np.gradient(valley.height_m, valley.cell_m))
    assert steepness.max() < 1.0


def test_heights_are_exact_at_grid_points_between_them_halfway_and_blank_outside():
    grid = InventedTerrain(np.array([[0.0, 10.0], [20.0, 30.0]]), 0.0, 0.0, 100.0)
    assert grid.at([0.0, 100.0, 50.0], [0.0, 100.0, 50.0]).tolist() == [0.0, 30.0, 15.0]
    assert np.isnan(grid.at(-1.0, 50.0))
