"""A dear density from a few cells: right where the difference is linear, near where it is smooth."""

import numpy as np

from pipeline.location.from_few_cells import from_few_cells

COLUMN, ROW = (axis.ravel() for axis in np.meshgrid(np.arange(30), np.arange(20)))
EAST, NORTH = 12.0 * COLUMN, 12.0 * ROW
FEW = (COLUMN % 2 == 0) & (ROW % 2 == 0)
CHEAP = -((EAST - 150.0) ** 2 + (NORTH - 90.0) ** 2) / 900.0


def found(difference, keep=slice(None)):
    calls = []

    def dear(east, north):
        calls.append(len(east))
        return -((east - 150.0) ** 2 + (north - 90.0) ** 2) / 900.0 + difference(east, north)

    return from_few_cells(CHEAP[keep], dear, EAST[keep], NORTH[keep], FEW[keep]), sum(calls)


def test_a_difference_that_is_linear_is_found_inside_the_evaluated_cells():
    value, calls = found(lambda east, north: 0.3 + 0.01 * east - 0.02 * north)
    inside = (COLUMN < 29) & (ROW < 19)
    np.testing.assert_allclose(value[inside], (CHEAP + 0.3 + 0.01 * EAST - 0.02 * NORTH)[inside], atol=1e-4)
    assert calls == FEW.sum() == len(CHEAP) // 4


def test_a_smooth_difference_is_found_within_two_hundredths():
    def smooth(east, north):
        return np.sin(east / 120.0) * np.cos(north / 150.0)

    value, _ = found(smooth)
    inside = (COLUMN < 29) & (ROW < 19)
    assert np.abs(value - CHEAP - smooth(EAST, NORTH))[inside].max() < 0.02


def test_of_few_cells_all_are_evaluated():
    value, calls = found(lambda east, north: 0.1 * np.sin(east), keep=slice(0, 60))
    assert calls == 60
    np.testing.assert_allclose(value, CHEAP[:60] + 0.1 * np.sin(EAST[:60]))
