"""Kernel utilisation: areas, widths, weights."""

import numpy as np
import pytest

from pipeline.movement import cross_validated_bandwidth_m, kernel_density, reference_bandwidth_m, utilisation
from pipeline.movement.ranges import kernel_area_m2, kernel_to_truth


def places(count=60, seed=1):
    return np.random.default_rng(seed).normal(0, 1, (count, 2)) @ [[300, 100], [0, 150]]


def test_one_kernel_has_the_area_of_its_ellipse():
    tight = np.array([(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)])
    assert utilisation(tight, 200.0, cells=300).area_m2(0.95) == pytest.approx(-2 * np.log(0.05) * np.pi * 200**2 * np.sqrt(np.linalg.det(np.cov(tight.T))) / (1 / 3), rel=0.01)


def test_cells_hold_the_density_of_the_kernels():
    own = places()
    width = reference_bandwidth_m(own)
    found = utilisation(own, width)
    density = kernel_density(own, np.column_stack([each.ravel() for each in found.cells_m()]), np.cov(own.T) * len(own) ** (-1 / 3))
    assert found.mass.ravel() == pytest.approx(density / density.sum(), rel=1e-5, abs=1e-12)


def test_half_of_the_density_lies_in_less_than_a_quarter_of_the_95_percent_area():
    found = utilisation(places(), 80.0)
    assert 0.1 < found.area_m2(0.5) / found.area_m2(0.95) < 0.3
    assert (found.mass >= found.level(0.5)).sum() * abs(np.linalg.det(found.steps_m)) == pytest.approx(found.area_m2(0.5), rel=0.01)


def test_finer_cells_do_not_change_the_area():
    assert kernel_area_m2(places(), cells=64) == pytest.approx(kernel_area_m2(places(), cells=400), rel=5e-3)


def test_two_clumps_get_a_narrower_cross_validated_width():
    clumps = np.vstack([places(40), places(40, seed=2) + [2000, 0]])
    assert cross_validated_bandwidth_m(clumps) < 0.75 * reference_bandwidth_m(clumps)


def test_places_on_top_of_each_other_have_no_cross_validated_width():
    assert cross_validated_bandwidth_m(np.repeat(places(10), 6, axis=0)) is None


def test_weights_count_places_as_often():
    own, at = places(5), places(20, seed=3)
    doubled = kernel_density(np.vstack([own, own[:1]]), at, 1e4 * np.eye(2))
    assert kernel_density(own, at, 1e4 * np.eye(2), [2, 1, 1, 1, 1]) == pytest.approx(doubled, rel=1e-12)


def test_what_kernel_and_few_fixes_do_is_undone_for_a_normal_range():
    areas = [kernel_area_m2(np.random.default_rng(seed).normal(size=(25, 2))) / np.median(kernel_to_truth(25, "kernel, reference width", 0.95)) for seed in range(200)]
    assert np.median(areas) == pytest.approx(-2 * np.log(0.05) * np.pi, rel=0.05)
