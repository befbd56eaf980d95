"""Heights looked up on a raster."""

import numpy as np
import pytest

from pipeline.radio.ground_heights import GroundHeights

GENERATOR = np.random.default_rng(4)


def test_a_plane_is_found_between_cells_and_level_in_the_outer_half_cell():
    east, north = np.meshgrid(1000 + 10 * (np.arange(30) + 0.5), 5000 - 10 * (np.arange(20) + 0.5))
    ground = GroundHeights(0.1 * (east - 1000) - 0.2 * (north - 5000), 1000.0, 5000.0, 10.0)
    x, y = GENERATOR.uniform(1006, 1294, 500), GENERATOR.uniform(4806, 4994, 500)
    np.testing.assert_allclose(ground.at(x, y), 0.1 * (x - 1000) - 0.2 * (y - 5000), atol=1e-3)
    assert ground.at([1000.0, 1300.0], [5000.0, 4800.0]) == pytest.approx([0.1 * 5 + 0.2 * 5, 0.1 * 295 + 0.2 * 195], abs=1e-4)


def test_outside_and_beside_holes_no_height_is_known():
    height = np.zeros((5, 5))
    height[2, 2] = np.nan
    ground = GroundHeights(height, 0.0, 50.0, 10.0)
    assert ground.has_holes
    found = ground.at([-0.1, 50.1, 25.0, np.nan, 5.0, 25.0, 18.0], [25.0, 25.0, 50.1, 25.0, 5.0, 25.0, 32.0])
    assert np.isnan(found).tolist() == [True, True, True, True, False, True, True]


def test_averaging_keeps_the_mean_of_each_square_and_what_is_known_of_it():
    height = np.arange(36.0).reshape(6, 6)
    height[0, 0] = np.nan
    coarse = GroundHeights(height, 0.0, 60.0, 10.0).averaged(25.0)
    assert coarse.cell_m == 20.0 and coarse.height_m.shape == (3, 3)
    assert coarse.height_m[0, 0] == pytest.approx((1 + 6 + 7) / 3)
    assert coarse.height_m[1, 2] == height[2:4, 4:6].mean()
    assert GroundHeights(height, 0.0, 60.0, 10.0).averaged(12.0).cell_m == 10.0


def test_a_raster_that_does_not_divide_into_squares_keeps_its_rest():
    coarse = GroundHeights(np.arange(7.0)[:, None] * np.ones(5), 0.0, 70.0, 10.0).averaged(20.0)
    assert coarse.height_m.shape == (4, 3)
    assert coarse.height_m[-1].tolist() == [6.0, 6.0, 6.0]
