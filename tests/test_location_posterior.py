import numpy as np
import pytest
import shapely
from scipy.stats import chi2

from pipeline.location import Fineness, Posterior, SearchArea, adaptive_posterior, edge_probability, tile

AREA = SearchArea(-1000.0, -1000.0, 1000.0, 1000.0)


def normal(sd_east, sd_north, at=(37.0, -12.0)):
    return lambda east, north: -0.5 * (((east - at[0]) / sd_east) ** 2 + ((north - at[1]) / sd_north) ** 2)


@pytest.fixture(scope="module")
def round_one():
    return adaptive_posterior(normal(50.0, 50.0), AREA)


def test_a_normal_posterior_has_its_mean_covariance_radius_and_areas(round_one):
    """R95/sd 2.4477, median/sd 1.1774 (Greenwalt & Shultz 1968, from memory, recomputed); area chi2 pi sd^2."""
    np.testing.assert_allclose(round_one.mean(), [37.0, -12.0], atol=0.5)
    # the tails below exp(-7) hold nothing: a thousandth of the probability, a hundredth of the variance
    np.testing.assert_allclose(round_one.covariance(), np.diag([2500.0, 2500.0]), rtol=0.02, atol=5.0)
    assert round_one.radius_m(0.95) == pytest.approx(2.4477 * 50, rel=0.03)
    assert round_one.radius_m(0.5) == pytest.approx(1.1774 * 50, rel=0.03)
    for level in (0.5, 0.8, 0.95):
        assert round_one.region_area_ha(level) == pytest.approx(chi2.ppf(level, 2) * np.pi * 2500 / 1e4, rel=0.04)


def test_the_outline_of_a_region_holds_the_area_of_its_cells(round_one):
    for level in (0.5, 0.8, 0.95):
        assert round_one.region_polygon(level).area / 1e4 == pytest.approx(round_one.region_area_ha(level), rel=0.03)


def test_regions_of_higher_probability_hold_those_of_lower():
    long_one = adaptive_posterior(normal(30.0, 120.0), AREA)
    assert long_one.region_polygon(0.95).buffer(1.0).contains(long_one.region_polygon(0.5))


def test_the_level_at_a_place_is_the_probability_of_everything_denser(round_one):
    for distance in (20.0, 80.0, 130.0):
        expected = 1 - np.exp(-0.5 * (distance / 50.0) ** 2)
        assert round_one.level_at(37.0 + distance, -12.0) == pytest.approx(expected, abs=0.03)
    assert round_one.level_at(5000.0, 0.0) == 1.0


def test_levels_of_places_drawn_from_the_posterior_are_even():
    posterior = adaptive_posterior(normal(60.0, 25.0), AREA)
    places = posterior.sample(2000, np.random.default_rng(1))
    levels = np.array([posterior.level_at(*place) for place in places])
    for level in (0.5, 0.8, 0.95):
        assert (levels <= level).mean() == pytest.approx(level, abs=0.03)
    inside = shapely.contains_xy(posterior.region_polygon(0.8), places[:, 0], places[:, 1])
    assert inside.mean() == pytest.approx(0.8, abs=0.03)


def test_widening_by_a_half_doubles_the_variance(round_one):
    wide = adaptive_posterior(normal(50.0, 50.0), AREA, Fineness(widening=0.5))
    np.testing.assert_allclose(wide.covariance(), 2 * np.diag([2500.0, 2500.0]), rtol=0.02, atol=10.0)
    np.testing.assert_allclose(wide.widened(1.0).covariance(), round_one.covariance(), rtol=0.03, atol=10.0)


def test_two_places_stay_two_places():
    def two(east, north):
        return np.logaddexp(np.log(0.7) + normal(30, 30, (-300, 0))(east, north), np.log(0.3) + normal(30, 30, (300, 0))(east, north))

    shares = [share for share, _ in adaptive_posterior(two, AREA).places()]
    np.testing.assert_allclose(shares, [0.7, 0.3], atol=0.02)


def test_the_answer_does_not_depend_on_the_first_grid():
    means = [adaptive_posterior(normal(12.0, 9.0), AREA, Fineness(coarse_cells=count)).mean() for count in (900, 2000, 4000)]
    assert np.ptp(means, axis=0).max() < 0.5


def test_shifting_everything_shifts_the_answer():
    moved = SearchArea(AREA.west_m + 1e6, AREA.south_m + 5e6, AREA.east_m + 1e6, AREA.north_m + 5e6)
    far = adaptive_posterior(normal(50.0, 20.0, (37.0 + 1e6, -12.0 + 5e6)), moved)
    near = adaptive_posterior(normal(50.0, 20.0), AREA)
    np.testing.assert_allclose(far.mean() - [1e6, 5e6], near.mean(), atol=1e-3)


def test_an_answer_at_the_edge_shows_as_probability_there(round_one):
    outside = adaptive_posterior(normal(100.0, 100.0, (1200.0, 0.0)), AREA)
    assert edge_probability(outside, AREA) > 0.05
    assert edge_probability(round_one, AREA) == 0.0


def test_leaves_integrate_a_density_under_every_widening():
    leaves = tile(normal(40.0, 20.0), AREA)
    # whole cells cover a little more or less than the rectangle
    np.testing.assert_allclose(np.square(leaves.side_m).sum(), 4e6, rtol=0.02)
    for widening in (1.0, 0.7, 0.3):
        assert leaves.log_normaliser(widening) == pytest.approx(np.log(2 * np.pi * 800 / widening), abs=0.03)


def test_one_cell_is_a_posterior_too():
    single = Posterior(np.array([3]), np.array([4]), 0.0, 0.0, 10.0, np.array([0.0]))
    np.testing.assert_allclose(single.mean(), [30.0, 40.0])
    assert single.region_area_ha(0.95) == pytest.approx(0.01)
    assert not single.region_polygon(0.95).is_empty
