"""Correlated shadowing: its spread and how fast it is forgotten."""

import numpy as np
import pytest

from pipeline.simulate import correlated_along, stream


def test_the_spread_is_the_one_asked_for_everywhere_along_the_way():
    ways = np.array([correlated_along(np.full(6, 40.0), 3.0, 120.0, stream(1, way)) for way in range(2500)])
    assert ways.std(axis=0) == pytest.approx(np.full(6, 3.0), rel=0.06)
    assert ways.mean(axis=0) == pytest.approx(np.zeros(6), abs=0.25)


@pytest.mark.parametrize("distance_m", [20.0, 120.0, 300.0])
def test_the_correlation_falls_as_the_exponential_of_the_distance(distance_m):
    values = correlated_along(np.full(30_000, distance_m), 2.0, 120.0, stream(2))
    assert np.corrcoef(values[:-1], values[1:])[0, 1] == pytest.approx(np.exp(-distance_m / 120.0), abs=0.02)


def test_it_starts_afresh_after_a_break():
    values = correlated_along(np.full(20_000, np.inf), 2.0, 120.0, stream(3))
    assert np.corrcoef(values[:-1], values[1:])[0, 1] == pytest.approx(0, abs=0.03)


def test_standing_still_changes_nothing():
    values = correlated_along(np.zeros(50), 2.0, 120.0, stream(4))
    assert np.allclose(values, values[0])
