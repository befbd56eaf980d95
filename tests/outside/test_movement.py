"""Movement and space use against values from outside the project."""

import numpy as np
import pytest
from scipy.stats import gaussian_kde

from pipeline.movement import hull_area_m2, kernel_area_m2, normal_range, normal_range_area_m2, reference_bandwidth_m, unmoved_step_m


def test_hull_of_five_points():
    """Textbook shoelace example, the hull by hand (value from memory, recomputed)."""
    assert hull_area_m2([(1, 6), (3, 1), (7, 2), (4, 4), (8, 5)]) == pytest.approx(22, abs=1e-12)


def test_hull_of_a_unit_square_with_an_inner_point_and_of_a_3_4_5_triangle():
    """Derived."""
    assert hull_area_m2([(0, 0), (1, 0), (1, 1), (0, 1), (0.3, 0.6)]) == 1
    assert hull_area_m2([(0, 0), (3, 0), (0, 4)]) == 6


def test_mean_hull_area_of_three_standard_normal_points():
    """Efron 1965, sqrt(3)/2 (value from memory, recomputed); Monte Carlo."""
    points = np.random.default_rng(12).normal(size=(100_000, 3, 2))
    assert hull_area_m2(points).mean() == pytest.approx(np.sqrt(3) / 2, abs=0.005)


def test_95_percent_bivariate_normal_range():
    """Jennrich & Turner 1969, J. theor. Biol. 22:227, who round 5.9915 to 6 (value from memory, recomputed): 18.823 ha for sd 100 m."""
    assert normal_range_area_m2(100**2 * np.eye(2)) / 1e4 == pytest.approx(18.823, abs=1e-3)


def test_reference_bandwidth_of_a_normal_kernel_has_constant_one():
    """Silverman 1986, table 4.1 (value from memory, recomputed)."""
    places = np.random.default_rng(1).normal(0, 100, (64, 2))
    sd = np.sqrt(places.var(axis=0, ddof=1).mean())
    assert reference_bandwidth_m(places) == pytest.approx(sd / 2, rel=1e-12)


def test_both_named_bandwidth_rules_are_the_same_in_two_dimensions():
    """scipy.stats.gaussian_kde (package): n^(-1/6)."""
    places = np.random.default_rng(1).normal(size=(2, 50))
    assert gaussian_kde(places, "scott").factor == pytest.approx(gaussian_kde(places, "silverman").factor, abs=1e-12)
    assert gaussian_kde(places, "scott").factor == pytest.approx(50 ** (-1 / 6), abs=1e-12)


def test_a_normal_kernel_inflates_the_95_percent_area_by_1_plus_n_to_the_minus_third():
    """Derived: 1.2714 for n = 50; here on a lattice that stands for the normal range itself."""
    radius = np.sqrt(-2 * np.log((np.arange(20) + 0.5) / 20))
    angle = 2 * np.pi * (np.arange(40) + 0.5) / 40
    places = 100 * np.column_stack([np.outer(radius, np.cos(angle)).ravel(), np.outer(radius, np.sin(angle)).ravel()])
    inflated = kernel_area_m2(places) / normal_range_area_m2(np.cov(places.T))
    assert inflated == pytest.approx(1 + len(places) ** (-1 / 3), rel=0.02)


def test_a_motionless_tag_seems_to_step():
    """Derived and simulated: mean step s sqrt(pi) = 1.7725 s, so 1.505 times the median error 1.1774 s; 95 % point 2.940 times."""
    mean, high = unmoved_step_m(1.1774100225154747)
    assert mean == pytest.approx(1.7725, abs=1e-4)
    assert high / 1.1774100225154747 == pytest.approx(2.940, abs=1e-3)
    steps = np.hypot(*np.diff(np.random.default_rng(3).normal(size=(2, 2, 400_000)), axis=1)[:, 0])
    assert (steps.mean(), np.square(steps).mean()) == (pytest.approx(mean, abs=0.005), pytest.approx(4, abs=0.02))


def test_rayleigh_median_behind_the_unmoved_step():
    """Rayleigh step: mean 1.2533 s, median 1.1774 s (value from memory, recomputed)."""
    mean, _ = unmoved_step_m(1.1774)
    assert mean / np.sqrt(2) == pytest.approx(1.2533, abs=6e-5)


@pytest.mark.parametrize("count", [15, 60])
def test_the_interval_of_a_normal_range_holds_it_in_95_of_100(count):
    """Derived: chi-square of the generalised variance, errors of known size taken off."""
    generator = np.random.default_rng(count)
    truth, error = normal_range_area_m2(500**2 * np.eye(2)), 150.0
    held = 0
    for _ in range(600):
        seen = generator.normal(0, 500, (count, 2)) + generator.normal(0, error, (count, 2))
        _, low, high = normal_range(seen, np.tile(error**2 * np.eye(2), (count, 1, 1)))
        held += low <= truth <= high
    assert 0.93 <= held / 600 <= 0.97
