import numpy as np
import pandas as pd
import pytest

from pipeline.location import ByHand, Gates, concentration_from_sd
from pipeline.location.bearings import crossing
from pipeline.location.ground_fix import crossing_angles, likeliest_place, locate_by_hand, misfit, session_numbers
from pipeline.location.ground_status import ground_status
from pipeline.location.grid import SearchArea

REACH_M = 5000.0
TRUTH = np.array([150.0, -80.0])


def by_hand(bearings=(), sightings=()):
    """Bearings as (east, north, degrees, sd in degrees), sightings as (east, north, sd in metres)."""
    taken, seen = np.array(bearings, float).reshape(-1, 4), np.array(sightings, float).reshape(-1, 3)
    return ByHand(*taken[:, :3].T, concentration_from_sd(taken[:, 3]) if len(taken) else np.zeros(0), *seen.T)


def towards(truth, *stations, sd_deg=8.0, off_deg=0.0):
    """Bearings from stations to a place, each off by so much."""
    off = np.broadcast_to(np.asarray(off_deg, float), len(stations))
    return [(x, y, (np.degrees(np.arctan2(truth[0] - x, truth[1] - y)) + error) % 360, sd_deg) for (x, y), error in zip(stations, off)]


def status(hand, gates=Gates(), **more):
    return ground_status(locate_by_hand(hand, REACH_M), gates, **more)


# sessions

def test_a_gap_longer_than_stated_begins_a_session_whatever_the_order_of_the_rows():
    times = pd.Series(pd.to_datetime(["2026-04-21T09:30Z", "2026-04-21T06:00Z", "2026-04-21T07:00Z", "2026-04-21T08:00:01Z"], format="ISO8601"))
    assert list(session_numbers(times, 60.0)) == [2, 0, 0, 1]
    assert list(session_numbers(times, 90.0)) == [0, 0, 0, 0]
    assert list(session_numbers(times.head(0), 60.0)) == []


# where the rays meet

def test_rays_meet_ahead_of_both_stations_or_not_at_all():
    angles, east, north = crossing_angles(by_hand([(0, 0, 45, 5), (800, 0, 315, 5), (0, -500, 225, 5)]))
    np.testing.assert_allclose([angles, east, north], [[90.0], [400.0], [400.0]], atol=1e-9)
    for apart in ([(0, 0, 45, 5), (0, 0, 50, 5)], [(0, 0, 45, 5), (500, 0, 45, 5)], [(0, 0, 45, 5), (500, 0, 225, 5)], [(0, 0, 225, 5), (800, 0, 135, 5)]):
        assert len(crossing_angles(by_hand(apart))[0]) == 0


def test_the_likeliest_place_of_sharp_bearings_is_found_between_the_points_of_a_lattice():
    hand = by_hand(towards(TRUTH, (-500, -500), (600, -400), sd_deg=0.7))
    np.testing.assert_allclose(likeliest_place(hand, SearchArea.around(*hand.places(), REACH_M)), TRUTH, atol=0.1)


# regions

def test_the_region_of_a_sighting_is_a_circle_of_the_normal_distribution():
    # 95 % of chi-square with 2 degrees of freedom is 5.991 (standard tables); area pi 5.991 sd^2, radius sqrt(5.991) sd.
    fix = locate_by_hand(by_hand(sightings=[(300, 200, 40)]), REACH_M)
    np.testing.assert_allclose(fix.posterior.mean(), [300, 200], atol=0.5)
    assert fix.posterior.region_area_ha(0.95) == pytest.approx(np.pi * 5.991 * 40**2 / 1e4, rel=0.03)
    assert fix.posterior.radius_m(0.95) == pytest.approx(np.sqrt(5.991) * 40, rel=0.03)


@pytest.mark.parametrize("stations", [((-500, -500), (600, -400)), ((-500, -500), (600, -400), (100, 700))])
def test_the_region_of_bearings_is_the_ellipse_of_the_published_formula_where_they_are_sharp(stations):
    # R. V. Lenth, Technometrics 23:149, 1981, as quoted in location.bearings.
    hand = by_hand(towards(TRUTH, *stations, sd_deg=3.0))
    expected = crossing(hand.station_easting_m, hand.station_northing_m, hand.bearing_grid_deg, concentration=hand.concentration[0])
    found = locate_by_hand(hand, REACH_M).posterior
    np.testing.assert_allclose(found.mean(), TRUTH, atol=3.0)
    assert found.region_area_ha(0.95) == pytest.approx(expected.area_ha(0.95), rel=0.06)


def test_regions_hold_places_drawn_at_random_as_often_as_they_say():
    # Bearings drawn by numpy's own von Mises generator; of 120 sessions the share inside has a standard error of 0.02, and 0.06 is three of them.
    generator, inside = np.random.default_rng(5), []
    for _ in range(120):
        truth, stations = generator.uniform(-800, 800, 2), generator.uniform(-1000, 1000, (3, 2))
        k = float(concentration_from_sd(8.0))
        hand = by_hand(towards(truth, *stations, off_deg=np.degrees(generator.vonmises(0.0, k, 3))))
        inside.append(locate_by_hand(hand, REACH_M).posterior.level_at(*truth) <= 0.95)
    assert np.mean(inside) == pytest.approx(0.95, abs=0.06)


def test_how_far_one_looks_hardly_matters_where_bearings_cross():
    hand = by_hand(towards(TRUTH, (-500, -500), (600, -400)))
    near, far = (locate_by_hand(hand, reach).posterior for reach in (2000.0, 8000.0))
    assert near.radius_m(0.95) == pytest.approx(far.radius_m(0.95), rel=0.03)


# contradiction

def test_the_misfit_of_bearings_follows_chi_square():
    # K. V. Mardia and P. E. Jupp, Directional statistics, 2000, from memory: 2 g (n - C) about the true direction is chi-square with n degrees of freedom,
    # mean n and variance 2 n; drawn by numpy's own von Mises generator. 4,000 draws: the mean of 5 is known to 0.05.
    generator = np.random.default_rng(2)
    for sd_deg in (5.0, 20.0):
        k, stations = float(concentration_from_sd(sd_deg)), np.array([(0.0, -1000.0)] * 5)
        found = [misfit(by_hand(towards((0.0, 0.0), *stations, sd_deg=sd_deg, off_deg=np.degrees(errors))), 0.0, 0.0) for errors in generator.vonmises(0.0, k, (4000, 5))]
        assert np.mean(found) == pytest.approx(5.0, abs=0.2)
        assert np.var(found) == pytest.approx(10.0, abs=1.2)


def test_parts_that_agree_are_not_scaled_and_parts_that_contradict_are_until_the_region_holds_both():
    agreeing = locate_by_hand(by_hand(towards(TRUTH, (-500, -500), (600, -400), (100, 700))), REACH_M)
    assert agreeing.agreement.freedom == 1 and not agreeing.agreement.contradicts and agreeing.posterior.widening == 1.0
    apart = locate_by_hand(by_hand(sightings=[(0, 0, 10), (500, 0, 10)]), REACH_M)
    # by hand: each sighting lies 25 sd from the middle, 2 x 25^2 = 1250 on 2 degrees of freedom
    assert apart.agreement.misfit == pytest.approx(1250.0, rel=1e-3) and apart.agreement.freedom == 2
    assert apart.posterior.level_at(0.0, 0.0) < 0.95 and apart.posterior.level_at(500.0, 0.0) < 0.95


def test_one_sighting_or_two_bearings_leave_nothing_to_compare():
    for hand in (by_hand(sightings=[(0, 0, 10)]), by_hand(towards(TRUTH, (-500, -500), (600, -400)))):
        agreement = locate_by_hand(hand, REACH_M).agreement
        assert agreement.freedom == 0 and np.isnan(agreement.p) and agreement.widening == 1.0


# what may be said

def test_two_bearings_that_cross_locate_and_say_at_which_angle():
    assert status(by_hand(towards((400, 400), (0, 0), (800, 0)))) == ("located", "From the ground alone: 2 bearings crossing at 90 degrees, 95 % radius 210 m.")


def test_a_sighting_locates_and_a_bearing_towards_it_does_no_harm():
    assert status(by_hand(sightings=[(10, 20, 5)])) == ("located", "From the ground alone: 1 sighting, 95 % radius 12 m.")
    assert status(by_hand([(0, 0, 45, 8)], [(300, 300, 20)]))[0] == "located"


def test_one_bearing_tells_a_direction_and_no_distance():
    found, reason = status(by_hand([(0, 0, 45, 8)]))
    assert found == "area only" and "one bearing tells a direction and no distance: two that cross are needed, or a sighting" in reason


def test_bearings_from_one_station_do_not_cross():
    found, reason = status(by_hand([(0, 0, 45, 8), (0, 0, 47, 8)]))
    assert found == "area only" and "no two of the 2 bearings cross" in reason


def test_bearings_that_cross_far_away_fail_the_gate_on_the_radius_as_the_survey_sets_it():
    hand = by_hand(towards((1500, 1500), (0, 0), (800, 0)))
    found, reason = status(hand)
    assert found == "area only" and reason.endswith("m, 300 m at most.")
    assert status(hand, Gates(radius_95_m=5000.0))[0] == "located"


def test_a_bounced_bearing_is_told_and_takes_the_position_away():
    found, reason = status(by_hand(towards(TRUTH, (-500, -500), (600, -400), (100, 700), off_deg=(0, 0, 60))))
    assert found == "area only" and "they contradict each other" in reason and "the tag moved, or a bearing followed a reflection" in reason


def test_bearings_of_a_doubted_tag_are_suspect():
    assert status(by_hand(sightings=[(10, 20, 5)]), suspect_reason="the tag is in no register") == (
        "suspect", "From the ground alone: 1 sighting, but this is doubted: the tag is in no register.")
