"""Directional statistics and crossings of bearings against values from outside. Row numbers are those of the project's list of check values."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pipeline.location.bearings import (concentration_from_resultant, concentration_from_sd, crossing, estimate_concentration, log_density_of_bearings,
                                        mean_resultant)

VALUES = Path(__file__).parent / "values"


def data_set(start):
    rows = pd.read_csv(VALUES / "directions.csv", comment="#")
    return rows[rows["dataset"].str.startswith(start)]


def test_mean_resultant_length_of_the_von_mises_distribution():
    """5.1, Mardia 1972 and Batschelet 1981, tables; value from memory, recomputed."""
    np.testing.assert_allclose(mean_resultant(np.array([0.5, 1, 2, 5, 10])), [0.24250, 0.44639, 0.69777, 0.89338, 0.94860], atol=6e-6)


def test_concentration_for_a_mean_resultant_length():
    """5.2, Mardia 1972, appendix 2.2; value from memory, recomputed."""
    found = [concentration_from_resultant(r / 10) for r in range(1, 10)]
    np.testing.assert_allclose(found, [0.20101, 0.40828, 0.62922, 0.87408, 1.15932, 1.51574, 2.01363, 2.87129, 5.30469], atol=6e-6)


@pytest.mark.parametrize("resultant", [0.2, 0.45, 0.6, 0.8, 0.9])
def test_fishers_approximation_is_within_one_per_cent_of_the_exact_inverse(resultant):
    """5.3, Fisher 1993, section 4.5."""
    r = resultant
    approximation = 2 * r + r**3 + 5 * r**5 / 6 if r < 0.53 else -0.4 + 1.39 * r + 0.43 / (1 - r) if r < 0.85 else 1 / (r**3 - 4 * r**2 + 3 * r)
    assert approximation == pytest.approx(concentration_from_resultant(r), rel=0.01)


@pytest.mark.parametrize("resultant, concentration", [(.6, 1.51574), (.7, 2.01363), (.8, 2.87129), (.9, 5.30469)])
def test_lenths_approximation_at_a_crossing_is_within_2_2_per_cent_of_the_exact_inverse(resultant, concentration):
    """5.3, Lenth 1981 as quoted in Cross Validated question 33352: +2.1 % at .9; the exact inverse is that of 5.2.

    Five stations on a ring whose bearings all miss its middle by one angle to the same side cross there, each error as large as the others.
    """
    toward, a = np.arange(5) * 72.0, resultant
    station = -500.0 * np.stack([np.sin(np.radians(toward)), np.cos(np.radians(toward))])
    found = crossing(*station, toward + np.degrees(np.arccos(a)))
    np.testing.assert_allclose([found.easting_m, found.northing_m], [0.0, 0.0], atol=1e-3)
    assert 1 / found.concentration == pytest.approx(2 * (1 - a) + (1 - a) ** 2 * (.48794 - .82905 * a - 1.3915 * a**2) / a, rel=1e-6)
    assert found.concentration == pytest.approx(concentration, rel=.022)
    if a == .9:
        assert found.concentration / concentration - 1 == pytest.approx(.021, abs=6e-4)


# Bearings all taken at one station: their log-density on a circle round it is highest in the mean direction, and the difference to the
# opposite side is twice the sum of concentration times the cosine of the angle between. So the density holds mean, resultant and V.
CIRCLE_DEG = np.arange(0.0, 360.0, 0.01)


def around(angles_deg, weights=1.0):
    """(mean direction in degrees, sum of weighted cosines towards each direction of the circle), from the density of bearings."""
    east, north = 1000.0 * np.sin(np.radians(CIRCLE_DEG)), 1000.0 * np.cos(np.radians(CIRCLE_DEG))
    station = np.zeros(len(angles_deg))
    density = log_density_of_bearings(east, north, from_easting_m=station, from_northing_m=station, bearing_grid_deg=angles_deg, concentration=weights)
    return CIRCLE_DEG[density.argmax()], 0.5 * (density - np.roll(density, len(CIRCLE_DEG) // 2))


@pytest.mark.parametrize("start, subset, mean_deg, mean_tolerance, resultant, resultant_tolerance", [
    ("Zar 2010 Ex 26.2", None, 99, 1, 0.82522, 6e-6),  # 5.4, Zar 2010, example 26.4
    ("Fisher 1993 B.6", 2, 247.6, 0.06, None, None),  # 5.10, Fisher 1993, table 4.1, page 78
    ("Fisher 1993 B.11", None, 3.10, 0.011, 0.83, 0.005),  # 5.11, Fisher 1993, example 4.20
])
def test_bearings_from_one_station_point_in_the_textbook_mean_direction(start, subset, mean_deg, mean_tolerance, resultant, resultant_tolerance):
    rows = data_set(start)
    angles = rows.loc[rows["set"].eq(subset) if subset else rows.index, "theta_deg"].to_numpy(float)
    mean, towards = around(angles)
    assert mean == pytest.approx(mean_deg, abs=mean_tolerance)
    if resultant is not None:
        assert towards.max() / len(angles) == pytest.approx(resultant, abs=resultant_tolerance)
        tag = 1e6 * np.sin(np.radians(mean)), 1e6 * np.cos(np.radians(mean))
        found, _ = estimate_concentration(*tag, from_easting_m=np.zeros(len(angles)), from_northing_m=np.zeros(len(angles)), bearing_grid_deg=angles)
        assert mean_resultant(found) == pytest.approx(resultant, abs=resultant_tolerance)


def test_the_circular_deviation_of_a_textbook_sample_has_its_resultant():
    """5.4, Zar 2010, example 26.4: s0 = sqrt(-2 ln r) = 36 degrees for r 0.82522, printed to whole degrees."""
    low, high = mean_resultant(concentration_from_sd([36.5, 35.5]))
    assert low < 0.82522 < high


def test_rayleighs_z_of_a_textbook_sample():
    """5.5, Zar 2010, example 27.1: z = n r^2 = 5.448. Its probability is not used here and not tested."""
    _, towards = around(data_set("Zar 2010 Ex 26.2")["theta_deg"].to_numpy(float))
    assert towards.max() ** 2 / 8 == pytest.approx(5.448, abs=6e-4)


def test_bearings_in_classes_weighted_by_their_counts():
    """5.7, Zar 2010, example 26.5: 105 angles in classes of 30 degrees, mean 162, r before the correction for classes 0.55064."""
    rows = data_set("Zar 2010 Ex 26.3")
    mean, towards = around(rows["theta_deg"].to_numpy(float), rows["count"].to_numpy(float))
    assert mean == pytest.approx(162, abs=1)
    assert towards.max() / 105 == pytest.approx(0.55064, abs=6e-6)


def test_the_component_towards_an_expected_direction():
    """5.8, Zar 2010, example 27.2: V = 9.498 towards 90 degrees. Its u, as the limits of a mean in 5.6, is not used here and not tested."""
    _, towards = around(data_set("Zar 2010 Ex 27.2")["theta_deg"].to_numpy(float))
    assert towards[np.searchsorted(CIRCLE_DEG, 90.0 - 1e-6)] == pytest.approx(9.498, abs=6e-4)


def test_bearings_of_unequal_concentration_are_weighted_by_it():
    """5.9, Zar 2010, example 26.8: mean of seven mean angles, each weighted by its r: 152 degrees, 0.59634."""
    rows = data_set("Zar 2010 Ex 26.8")
    mean, towards = around(rows["theta_deg"].to_numpy(float), rows["r"].to_numpy(float))
    assert mean == pytest.approx(152, abs=0.5)
    assert towards.max() / len(rows) == pytest.approx(0.59634, abs=6e-6)


def test_the_mean_of_350_and_10_degrees_is_north():
    """5.13, derived: never south."""
    mean, towards = around(np.array([350.0, 10.0]))
    assert mean == pytest.approx(0.0, abs=1e-9)
    assert towards[0] == pytest.approx(2 * np.cos(np.radians(10.0)))


def test_three_bearings_cross_where_the_maximum_likelihood_says():
    """6.1: inputs and formulas from Cross Validated question 33352 quoting Lenth 1981; answers derived (fixed point = direct maximum)."""
    given = pd.read_csv(VALUES / "bearings3.csv", comment="#")
    found = crossing(given["easting"], given["northing"], given["bearing_deg"])
    np.testing.assert_allclose([found.easting_m, found.northing_m], [553455.137, 2814130.725], atol=0.01)
    assert found.concentration == pytest.approx(231.7, rel=0.01)
    np.testing.assert_allclose(found.covariance, [[383.5, 71.8], [71.8, 232.4]], rtol=0.01)
    assert 1e4 * found.area_ha(0.95) == pytest.approx(5454, rel=0.01)


@pytest.mark.parametrize("bearings, place", [((45, 315), (500, 500)), ((30, 300), (250, 433.0127))])
def test_two_bearings_cross_where_geometry_says(bearings, place):
    """6.3, derived."""
    found = crossing([0, 1000], [0, 0], bearings, concentration=100.0)
    np.testing.assert_allclose([found.easting_m, found.northing_m], place, atol=1e-4)


def test_the_area_of_a_crossing_follows_chi_square_with_two_degrees_of_freedom():
    """6.4, tables; value from memory, recomputed: 50, 90, 95 and 99 % of the places lie within 1.386, 4.605, 5.991 and 9.210."""
    found = crossing([0, 1000], [0, 0], [45, 315], concentration=100.0)
    areas = [found.area_ha(probability) for probability in (0.5, 0.9, 0.95, 0.99)]
    np.testing.assert_allclose(1e4 * np.array(areas) / (np.pi * np.sqrt(np.linalg.det(found.covariance))), [1.386, 4.605, 5.991, 9.210], atol=6e-4)
    assert found.area_ha() == areas[2]


@pytest.mark.parametrize("angle_deg, factor", [(90.0, 1.0), (30.0, 2.0)])
def test_the_area_of_a_crossing_grows_as_one_over_the_sine_of_its_angle(angle_deg, factor):
    """6.5: two bearings of sd 5 degrees, 500 m away: 3.584 ha at right angles, twice that at 30 degrees. Derived."""
    directions = np.array([0.0, angle_deg])
    stations = -500.0 * np.stack([np.sin(np.radians(directions)), np.cos(np.radians(directions))])
    # for small errors the concentration is one over the variance, which is what the row assumes
    found = crossing(*stations, directions, concentration=1 / np.radians(5.0) ** 2)
    assert found.area_ha(0.95) == pytest.approx(3.584 * factor, rel=1e-3)


def test_concentration_from_the_standard_deviation_of_bearings():
    """6.6: A = exp(-s^2 / 2), as in 6.1; answers derived."""
    np.testing.assert_allclose(concentration_from_sd([5, 10, 20, 30]), [131.81, 33.33, 8.736, 4.232], atol=6e-3)
