import numpy as np
import pandas as pd
import pytest

from pipeline.location import SearchArea, adaptive_posterior, log_likelihood
from pipeline.location.bearings import concentration_from_resultant, concentration_from_sd, crossing, estimate_concentration, log_density_of_bearings
from pipeline.location.sightings import log_density_of_sighting, taken_during
from tests.radio_sample import heard_along, line_path, listening, signal_model

AREA = SearchArea(-1500.0, -1500.0, 1500.0, 1500.0)
TRUTH = np.array([150.0, -80.0])


def taken(stations, sd_deg=0.0, seed=1):
    stations = np.asarray(stations, float)
    true = np.degrees(np.arctan2(TRUTH[0] - stations[:, 0], TRUTH[1] - stations[:, 1]))
    noise = sd_deg * np.random.default_rng(seed).standard_normal(len(stations))
    return {"from_easting_m": stations[:, 0], "from_northing_m": stations[:, 1], "bearing_grid_deg": (true + noise) % 360}


def test_bearings_without_error_cross_at_the_tag_wherever_they_are_taken():
    for stations in ([(-500, -500), (600, -400)], [(0, 900), (800, 0), (-700, 300)], [(150, -500), (900, -80), (-900, -80), (150, 800)]):
        found = crossing(*taken(stations).values(), concentration=100.0)
        np.testing.assert_allclose([found.easting_m, found.northing_m], TRUTH, atol=1e-3)


def test_a_bearing_is_the_same_whatever_its_turn_of_the_circle():
    stations = [(-500, -500), (600, -400)]
    turned = taken(stations) | {"bearing_grid_deg": taken(stations)["bearing_grid_deg"] - 720.0}
    cells = np.array([0.0, 100.0]), np.array([50.0, -60.0])
    np.testing.assert_allclose(log_density_of_bearings(*cells, **turned, concentration=30.0), log_density_of_bearings(*cells, **taken(stations), concentration=30.0))


def test_bearings_alone_give_a_fix_whose_region_is_the_ellipse_of_the_formula():
    bearings, k = taken([(-500, -500), (600, -400), (100, 700)]), float(concentration_from_sd(4.0))
    posterior = adaptive_posterior(lambda east, north: log_density_of_bearings(east, north, **bearings, concentration=k), AREA)
    expected = crossing(*bearings.values(), concentration=k)
    np.testing.assert_allclose(posterior.mean(), TRUTH, atol=3.0)
    assert posterior.region_area_ha(0.95) == pytest.approx(expected.area_ha(0.95), rel=0.05)


def test_strengths_with_a_bearing_tell_more_than_either():
    path, model = line_path(), signal_model()
    heard = listening(*path, heard_along(path, TRUTH, model, np.random.default_rng(2), -20.0))
    bearing = taken([(-200, -250)], sd_deg=3.0)

    def strength(east, north):
        return log_likelihood(heard, model, east, north, "collar")

    def hand(east, north):
        return log_density_of_bearings(east, north, **bearing, concentration=float(concentration_from_sd(3.0)))

    both = adaptive_posterior(lambda east, north: strength(east, north) + hand(east, north), AREA)
    for alone in (strength, hand):
        assert both.region_area_ha(0.95) < 0.9 * adaptive_posterior(alone, AREA).region_area_ha(0.95)
    assert both.level_at(*TRUTH) < 0.99


def test_two_parallel_bearings_do_not_cross_and_one_is_not_enough():
    with pytest.raises(ValueError, match="parallel"):
        crossing([0.0, 100.0], [0.0, 0.0], [10.0, 10.0], concentration=50.0)
    with pytest.raises(ValueError, match="needs two bearings, got 1"):
        crossing([0.0], [0.0], [10.0])


def test_bearings_that_point_away_from_where_their_lines_meet_do_not_cross():
    with pytest.raises(ValueError, match="2 of 2 point away"):
        crossing([0.0, 1000.0], [0.0, 0.0], [315.0, 45.0], concentration=100.0)
    with pytest.raises(ValueError, match=r"1 of 3 point away .* \(row 3 first\)"):
        crossing([0.0, 1000.0, 500.0], [0.0, 0.0, 1500.0], [45.0, 315.0, 0.0], concentration=100.0)


@pytest.mark.parametrize("miss_deg, crosses", [(86.0, True), (94.0, False)])
def test_a_bearing_points_away_beyond_a_right_angle(miss_deg, crosses):
    """Five stations on a ring whose bearings miss its middle by one angle, all to the same side."""
    toward = np.arange(5) * 72.0
    bearings = -500.0 * np.sin(np.radians(toward)), -500.0 * np.cos(np.radians(toward)), toward + miss_deg
    if crosses:
        found = crossing(*bearings, concentration=1.0)
        np.testing.assert_allclose([found.easting_m, found.northing_m], 0.0, atol=1e-6)
    else:
        with pytest.raises(ValueError, match="5 of 5 point away"):
            crossing(*bearings, concentration=1.0)


def test_lines_that_meet_at_a_station_do_not_cross():
    with pytest.raises(ValueError, match="meet at the station of row 2"):
        crossing([200.0, 200.0], [700.0, 400.0], [180.0, 280.0], concentration=50.0)


@pytest.mark.parametrize("east, north, bearings", [
    ([-920.0, 372.0, 965.0, -1815.0], [-648.0, 1380.0, -379.0, 1512.0], [135.2, 268.5, 342.8, 159.1]),
    ([-940.0, 940.0, -940.0, 940.0], [-340.0, -340.0, 340.0, 340.0], [110.0, 250.0, 70.0, 290.0]),
])
def test_bearings_that_disagree_so_much_that_the_formula_gives_no_variance_do_not_cross(east, north, bearings):
    """Found by search: errors of 29 to 80 degrees, and of 40 degrees, at the place where the fixed point ends; none points away from it."""
    with pytest.raises(ValueError, match="disagree so much"):
        crossing(east, north, bearings, concentration=10.0)


@pytest.mark.parametrize("away_m, crosses", [(0.95, False), (1.05, True)])
def test_a_place_nearer_to_a_station_than_a_metre_is_at_the_station(away_m, crosses):
    """Nearest distance: common practice, no source."""
    bearings = [0.0, 900.0], [0.0, -100.0 + away_m], [0.0, np.degrees(np.arctan2(-900.0, 100.0))]   # the second looks at (0, away_m)
    if not crosses:
        with pytest.raises(ValueError, match="meet at the station of row 1"):
            crossing(*bearings, concentration=50.0)
    else:
        assert crossing(*bearings, concentration=50.0).northing_m == pytest.approx(away_m, abs=1e-6)


def test_concentrations_go_from_nothing_to_the_largest_that_a_hand_can_reach():
    """Ten thousand, a scatter of 0.57 degrees; common practice, no source."""
    assert concentration_from_resultant(1.0) == concentration_from_sd(0.0) == concentration_from_sd(0.5) == 1e4
    assert concentration_from_sd(0.6) == pytest.approx(1 / np.radians(0.6) ** 2, rel=1e-3)
    # The other end: A(k) is k/2 for a small k.
    assert concentration_from_resultant(0.01) == pytest.approx(0.02, rel=1e-3)
    assert crossing(*taken([(-700, -500), (600, -600), (800, 300)]).values()).concentration == 1e4


def test_bearings_that_are_nearly_parallel_still_cross_where_geometry_says():
    """0.11 degrees apart, five kilometres away; however little they are worth."""
    found = crossing([0.0, 10.0], [0.0, 0.0], [0.0, np.degrees(np.arctan2(-10.0, 5000.0))], concentration=0.05)
    np.testing.assert_allclose([found.easting_m, found.northing_m], [0.0, 5000.0], atol=1e-3)


@pytest.mark.parametrize("miss_deg", [30.0, 68.0, 80.0])
def test_the_standard_error_of_a_concentration_is_that_of_the_spread_of_cosines(miss_deg):
    """The information of one error is the variance of its cosine, here integrated over the density itself."""
    misses = np.array([miss_deg, -miss_deg])
    k, error = estimate_concentration(np.zeros(2), np.full(2, 100.0), from_easting_m=np.zeros(2), from_northing_m=np.zeros(2), bearing_grid_deg=misses)
    angle = np.radians(np.arange(0.0, 360.0, 0.1))
    share = np.exp(log_density_of_bearings(np.sin(angle), np.cos(angle), from_easting_m=[0.0], from_northing_m=[0.0], bearing_grid_deg=[0.0], concentration=k))
    share = share / share.sum()
    assert share @ np.cos(angle) == pytest.approx(np.cos(np.radians(miss_deg)), rel=1e-9)
    assert error == pytest.approx(1 / np.sqrt(2 * (share @ np.cos(angle) ** 2 - (share @ np.cos(angle)) ** 2)), rel=1e-6)


def test_bearings_that_point_away_from_known_places_tell_nothing():
    stations = np.array([(-700, -500), (600, -600), (800, 300)], float)
    reversed_ = taken(stations) | {"bearing_grid_deg": taken(stations)["bearing_grid_deg"] + 180.0}
    k, error = estimate_concentration(np.full(3, TRUTH[0]), np.full(3, TRUTH[1]), **reversed_)
    assert k == concentration_from_resultant(-0.3) == 0.0
    # The limit of n (1 - A/k - A^2) for k near 0, where A is k/2.
    assert error == pytest.approx(np.sqrt(2 / 3))


def test_the_density_of_a_bearing_integrates_to_one_over_the_circle_for_any_concentration():
    to = np.radians(np.arange(0.0, 360.0, 0.1))
    for k in (0.0, 0.5, 30.0, 1e4):
        density = np.exp(log_density_of_bearings(np.sin(to), np.cos(to), from_easting_m=[0.0], from_northing_m=[0.0], bearing_grid_deg=[77.0], concentration=k))
        assert density.mean() * 2 * np.pi == pytest.approx(1.0, rel=1e-6)


def test_a_crossing_is_the_likeliest_place_or_none():
    """Of many sets of scattered bearings; a place that is not the maximum, or a variance below nothing, must not be handed back."""
    generator, steps, crossed = np.random.default_rng(0), np.array([(1, 0), (-1, 0), (0, 1), (0, -1)]), 0
    for trial in range(150):
        stations, sd = generator.uniform(-800, 800, (generator.integers(2, 6), 2)), (3.0, 8.0, 15.0)[trial % 3]
        bearings, k = taken(stations, sd_deg=sd, seed=trial), float(concentration_from_sd(sd))
        try:
            found = crossing(*bearings.values(), concentration=k)
        except ValueError:
            continue
        crossed += 1
        assert np.linalg.eigvalsh(found.covariance)[0] > 0
        around = np.concatenate([[[0, 0]], steps, 20 * steps]) + [found.easting_m, found.northing_m]
        density = log_density_of_bearings(*around.T, **bearings, concentration=k)
        assert density.argmax() == 0
    assert crossed > 120


def test_what_cannot_be_estimated_is_refused_with_what_to_do():
    with pytest.raises(ValueError, match="give the concentration, or three bearings"):
        crossing([0.0, 1000.0], [0.0, 0.0], [45.0, 315.0])
    with pytest.raises(ValueError, match="blank: leave it out"):
        crossing([0.0, np.nan], [0.0, 0.0], [45.0, 315.0], concentration=100.0)
    with pytest.raises(ValueError, match="blank: leave it out"):
        crossing([0.0, 1000.0], [np.nan, 0.0], [45.0, 315.0], concentration=100.0)
    with pytest.raises(ValueError, match="blank: leave it out"):
        crossing([0.0, 1000.0], [0.0, 0.0], [45.0, np.nan], concentration=100.0)
    for concentration in (0.0, -1.0, np.nan, np.inf):
        with pytest.raises(ValueError, match="must be a number above 0"):
            crossing([0.0, 1000.0], [0.0, 0.0], [45.0, 315.0], concentration=concentration)
    nothing = np.zeros(0)
    with pytest.raises(ValueError, match="no bearings to known places"):
        estimate_concentration(nothing, nothing, from_easting_m=nothing, from_northing_m=nothing, bearing_grid_deg=nothing)
    with pytest.raises(ValueError, match="leave out blank"):
        concentration_from_sd(np.nan)


def test_the_scatter_estimated_at_a_crossing_is_the_exact_one_within_lenths_approximation():
    """Row 5.3 of the check values: within 2.2 % of the exact inverse; Lenth 1981."""
    stations = np.array([(-700, -500), (600, -600), (800, 300), (-200, 900), (-900, 200), (100, -800)])
    for sd in (5.0, 12.0, 25.0):
        bearings = taken(stations, sd_deg=sd, seed=3)
        found = crossing(*bearings.values())
        error = np.arctan2(found.easting_m - stations[:, 0], found.northing_m - stations[:, 1]) - np.radians(bearings["bearing_grid_deg"])
        assert found.concentration == pytest.approx(concentration_from_resultant(float(np.mean(np.cos(error)))), rel=0.022)


def test_the_scatter_of_bearings_to_known_places_is_found_again():
    stations = np.random.default_rng(5).uniform(-800, 800, (400, 2))
    k, error = estimate_concentration(np.full(400, TRUTH[0]), np.full(400, TRUTH[1]), **taken(stations, sd_deg=8.0))
    assert abs(k - float(concentration_from_sd(8.0))) < 3 * error
    assert error < 0.1 * k


def test_a_sighting_puts_the_tag_where_it_was_seen_within_its_error():
    posterior = adaptive_posterior(lambda east, north: log_density_of_sighting(east, north, at_easting_m=40.0, at_northing_m=-20.0, position_sd_m=15.0), AREA)
    np.testing.assert_allclose(posterior.mean(), [40.0, -20.0], atol=1.0)
    assert posterior.radius_m(0.95) == pytest.approx(2.4477 * 15.0, rel=0.05)


def test_a_sighting_without_a_stated_error_is_taken_for_ten_metres():
    at = {"at_easting_m": 0.0, "at_northing_m": 0.0}
    np.testing.assert_allclose(log_density_of_sighting([30.0], [0.0], **at, position_sd_m=np.nan), log_density_of_sighting([30.0], [0.0], **at, position_sd_m=10.0))


def test_the_density_of_a_sighting_integrates_to_one_and_no_error_is_below_a_metre():
    east, north = (axis.ravel() for axis in np.meshgrid(np.arange(-100.0, 101.0), np.arange(-100.0, 101.0)))
    at = {"at_easting_m": 3.0, "at_northing_m": -8.0}
    assert np.exp(log_density_of_sighting(east, north, **at, position_sd_m=12.0)).sum() == pytest.approx(1.0, rel=1e-6)
    np.testing.assert_allclose(log_density_of_sighting(east, north, **at, position_sd_m=0.0), log_density_of_sighting(east, north, **at, position_sd_m=1.0))


def test_evidence_belongs_to_a_flight_when_it_was_had_during_it_or_shortly_before_or_after():
    start, end = pd.Timestamp("2026-04-21T06:00Z"), pd.Timestamp("2026-04-21T06:20Z")
    times = pd.to_datetime(["2026-04-21T05:49Z", "2026-04-21T05:51Z", "2026-04-21T06:10Z", "2026-04-21T06:29Z", "2026-04-21T06:31Z", None], utc=True)
    assert list(taken_during(pd.DataFrame({"time_utc": times}), start, end).index) == [1, 2, 3]
