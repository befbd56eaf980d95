"""How well strengths and bearings can tell a place at best: the Fisher information of the project's own densities against published bounds.

Row numbers are those of the project's list of check values. The set-up is that of Patwari et al. 2003, IEEE TSP 51:2137: strengths in dB, independent and
normal about the log-distance law, s = ln(10) sd / (10 n). "From memory, recomputed" = remembered from the source named and recomputed independently.
"""

import numpy as np
import pytest
from scipy.optimize import brentq

from pipeline.location import concentration_from_sd, log_likelihood
from pipeline.location.bearings import crossing, log_density_of_bearings
from tests.benchmarks.accuracy import cramer_rao_m
from tests.radio_sample import listening, signal_model

RARE = 1e-200
POWER_DB = -20.0
NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
WEIGHTS = WEIGHTS / WEIGHTS.sum()
# Middle, east, west, north, south, and the corners that the mixed derivative needs.
STENCIL = np.array([(0, 0), (1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1), (1, -1), (-1, 1)], float)


def plain_model(exponent, sd_db, **changes):
    """Independent normal strengths: shadowing, misses, faults and threshold are put out of the way."""
    return signal_model(exponent=exponent, noise_sd_db=sd_db, shadowing_sd_db=1e-4, miss_share=RARE, fault_share=RARE, threshold_db=-500.0,
                        power_mean_db={"collar": POWER_DB}, **({"power_sd_db": 1e-4} | changes))


def expected_db(exponent, distance_m):
    return POWER_DB - 10 * exponent * np.log10(distance_m)


def curvature(values, nudge):
    """Negative second derivatives, a matrix of east and north, from values on the stencil."""
    east = 2 * values[0] - values[1] - values[2]
    north = 2 * values[0] - values[3] - values[4]
    mixed = (values[7] + values[8] - values[5] - values[6]) / 4
    return np.array([[east, mixed], [mixed, north]]) / nudge**2


def information_of_strengths(east_m, north_m, place, exponent, sd_db, nudge=0.2, **changes):
    """Curvature of the log-likelihood at the true place, averaged over strengths; receivers at the height of the tag."""
    distance = np.hypot(east_m - place[0], north_m - place[1])
    model = plain_model(exponent, sd_db, **changes)
    total = np.zeros((2, 2))
    for deviate, weight in zip(NODES, WEIGHTS):
        # Deviates of the receivers differ in sign, so that none can stand in for another.
        deviates = deviate * np.where(np.arange(len(distance)) % 2, -1.0, 1.0)
        heard = listening(east_m, north_m, expected_db(exponent, distance) + sd_db * deviates, height_m=0.0)
        total += weight * curvature(log_likelihood(heard, model, place[0] + nudge * STENCIL[:, 0], place[1] + nudge * STENCIL[:, 1], "collar"), nudge)
    return total


def information_of_bearings(east_m, north_m, place, concentration, nudge=0.2):
    """Curvature of the log-density at the true place, averaged over the errors that the density itself says."""
    toward = np.degrees(np.arctan2(place[0] - east_m, place[1] - north_m))
    errors = np.arange(-180.0, 180.0, 1.0)
    share = np.exp(log_density_of_bearings(np.sin(np.radians(errors)), np.cos(np.radians(errors)), from_easting_m=[0.0], from_northing_m=[0.0],
                                           bearing_grid_deg=[0.0], concentration=concentration))
    share = share / share.sum()
    at = {"from_easting_m": east_m, "from_northing_m": north_m, "concentration": concentration}
    return sum(weight * curvature(log_density_of_bearings(*(place + nudge * STENCIL).T, bearing_grid_deg=toward + error, **at), nudge)
               for error, weight in zip(errors, share) if weight > 1e-12)


def rms_m(information):
    """Root of the trace of the inverse information: the least rms error of a place. [m]"""
    return float(np.sqrt(np.trace(np.linalg.inv(information))))


def ring(receivers, radius_m=200.0):
    angle = 2 * np.pi * np.arange(receivers) / receivers
    return radius_m * np.sin(angle), radius_m * np.cos(angle)


@pytest.mark.parametrize("exponent, sd_db, relative", [(2, 6, .6908), (3, 6, .4605), (4, 6, .3454), (2, 8, .9210), (2.3, 3.92, .3924)])
def test_one_strength_tells_a_distance_to_the_share_s_of_it(exponent, sd_db, relative):
    """7.1: sd of a distance over the distance = s. Patwari et al. 2003; from memory, recomputed."""
    for distance_m in (60.0, 900.0):
        found = information_of_strengths(np.array([0.0]), np.array([0.0]), np.array([distance_m, 0.0]), exponent, sd_db, nudge=1e-3 * distance_m)
        assert 1 / np.sqrt(found[0, 0]) / distance_m == pytest.approx(relative, abs=6e-5)
        # Across the line of sight one strength says nothing.
        assert found[1, 1] < 1e-5 * found[0, 0]


def test_the_likeliest_distance_of_one_strength_is_too_long_on_average():
    """7.2: mean of the likeliest distance over the true one = exp(s^2 / 2) = 1.2695 for n 2 and 6 dB. Derived."""
    true_m, grid_m = 200.0, np.geomspace(6.0, 8000.0, 2000)
    step = np.log(grid_m[1] / grid_m[0])
    likeliest_m = []
    for deviate in NODES:
        heard = listening([0.0], [0.0], [expected_db(2.0, true_m) + 6.0 * deviate], height_m=0.0)
        value = log_likelihood(heard, plain_model(2.0, 6.0), grid_m, np.zeros(len(grid_m)), "collar")
        best = int(value[1:-1].argmax()) + 1
        before, here, after = value[best - 1:best + 2]
        # In the logarithm of the distance the curve is a parabola.
        likeliest_m.append(grid_m[best] * np.exp(step * 0.5 * (before - after) / (before - 2 * here + after)))
    assert WEIGHTS @ likeliest_m / true_m == pytest.approx(1.2695, abs=6e-5)


def test_four_receivers_at_the_corners_of_a_square_reach_the_published_bound_in_its_middle():
    """7.3: 0.2768 of the side for sd / n 1.7. Set-up Patwari et al. 2003, from memory; value derived."""
    side_m = 400.0
    corners = np.array([(0, 0), (side_m, 0), (side_m, side_m), (0, side_m)]).T
    found = information_of_strengths(*corners, np.array([side_m / 2, side_m / 2]), exponent=2.0, sd_db=3.4)
    assert rms_m(found) / side_m == pytest.approx(.2768, abs=6e-5)


STATIONS = np.array([(-310.0, -220.0), (450.0, -130.0), (180.0, 390.0), (-90.0, 260.0), (700.0, 640.0)]).T


def published_rms_m(east_m, north_m, place, s):
    """7.4: var = s^2 sum(1 / d_i^2) / sum over pairs of (d_across d_between / (d_i^2 d_j^2))^2; d_across = from the place to the line through the pair."""
    east, north = east_m - place[0], north_m - place[1]
    squared = east**2 + north**2
    # Twice the area of the triangle of the place and a pair = d_across times d_between.
    pairs = sum(((east[i] * north[j] - east[j] * north[i]) / (squared[i] * squared[j])) ** 2 for i in range(len(east)) for j in range(i))
    return s * np.sqrt(np.sum(1 / squared) / pairs)


@pytest.mark.parametrize("place", [(0.0, 0.0), (250.0, -60.0), (-600.0, 500.0)])
@pytest.mark.parametrize("exponent, sd_db", [(2.0, 6.0), (3.1, 4.0)])
def test_any_set_of_receivers_reaches_the_published_bound(place, exponent, sd_db):
    """7.4, Patwari et al. 2003, formula for one unknown place; from memory. Second differences of 0.2 m hold it to one in 100 000."""
    published = published_rms_m(*STATIONS, place, s=np.log(10) * sd_db / (10 * exponent))
    assert rms_m(information_of_strengths(*STATIONS, np.array(place), exponent, sd_db)) == pytest.approx(published, rel=1e-5)


def test_the_bound_of_the_accuracy_benchmark_is_the_published_one():
    """7.4 again: fixes are measured against this figure, which takes the slopes of expected strength and not of the likelihood."""
    place, model = np.array([250.0, -60.0]), plain_model(2.0, 6.0)
    heard = listening(*STATIONS, np.full(STATIONS.shape[1], -70.0), height_m=0.3)
    assert cramer_rao_m(heard, model, place) == pytest.approx(published_rms_m(*STATIONS, place, s=np.log(10) * 6.0 / 20.0), rel=1e-4)


@pytest.mark.parametrize("stations", [3, 4, 12])
@pytest.mark.parametrize("sd_deg", [2.0, 5.0])
def test_bearings_from_a_ring_reach_the_bound(stations, sd_deg):
    """7.6: 2 R sd / sqrt(N). Derived, for errors so small that a concentration is one over their variance."""
    bound_m = 2 * 200.0 * np.radians(sd_deg) / np.sqrt(stations)
    east_m, north_m = ring(stations)
    found = information_of_bearings(east_m, north_m, np.zeros(2), float(concentration_from_sd(sd_deg)))
    assert rms_m(found) == pytest.approx(bound_m, rel=1e-5)
    toward = np.degrees(np.arctan2(-east_m, -north_m))
    assert np.sqrt(np.trace(crossing(east_m, north_m, toward, concentration=1 / np.radians(sd_deg) ** 2).covariance)) == pytest.approx(bound_m, rel=1e-9)


def test_strengths_of_6_db_in_free_space_tell_as_much_as_bearings_of_40_degrees():
    """7.8: 39.58 degrees. Derived, by the formula for small errors; by the density of bearings itself it is 40.08 (measured here)."""
    east_m, north_m = ring(8)
    toward = np.degrees(np.arctan2(-east_m, -north_m))
    of_strengths = rms_m(information_of_strengths(east_m, north_m, np.zeros(2), exponent=2.0, sd_db=6.0))

    def by_formula(sd_deg):
        return np.sqrt(np.trace(crossing(east_m, north_m, toward, concentration=1 / np.radians(sd_deg) ** 2).covariance))

    def by_density(sd_deg):
        return rms_m(information_of_bearings(east_m, north_m, np.zeros(2), float(concentration_from_sd(sd_deg))))

    assert brentq(lambda sd_deg: by_formula(sd_deg) - of_strengths, 10.0, 80.0) == pytest.approx(39.58, abs=6e-3)
    assert brentq(lambda sd_deg: by_density(sd_deg) - of_strengths, 10.0, 80.0, xtol=1e-4) == pytest.approx(40.08, abs=6e-3)
