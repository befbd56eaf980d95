import numpy as np
import pandas as pd
import pytest

from pipeline.location import SearchArea, adaptive_posterior, log_likelihood
from pipeline.location.bearings import concentration_from_sd, crossing, estimate_concentration, log_density_of_bearings
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
    assert posterior.region_area_ha(0.95) == pytest.approx(np.pi * 5.991 * np.sqrt(np.linalg.det(expected.covariance)) / 1e4, rel=0.05)


def test_strengths_with_a_bearing_tell_more_than_either():
    path, model = line_path(), signal_model()
    heard = listening(*path, heard_along(path, TRUTH, model, np.random.default_rng(2), -20.0))
    bearing = taken([(-200, -250)], sd_deg=3.0)

    def strength(east, north):
        return log_likelihood(heard, model, east, north, "collar")

    def hand(east, north):
        return log_density_of_bearings(east, north, **bearing, concentration=float(concentration_from_sd(3.0)))

    alone, both = adaptive_posterior(strength, AREA), adaptive_posterior(lambda east, north: strength(east, north) + hand(east, north), AREA)
    assert both.region_area_ha(0.95) < 0.9 * alone.region_area_ha(0.95)
    assert both.level_at(*TRUTH) < 0.99


def test_two_parallel_bearings_do_not_cross_and_one_is_not_enough():
    with pytest.raises(ValueError, match="parallel"):
        crossing([0.0, 100.0], [0.0, 0.0], [10.0, 10.0], concentration=50.0)
    with pytest.raises(ValueError, match="needs two bearings, got 1"):
        crossing([0.0], [0.0], [10.0])


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


def test_evidence_belongs_to_a_flight_when_it_was_had_during_it_or_shortly_before_or_after():
    start, end = pd.Timestamp("2026-04-21T06:00Z"), pd.Timestamp("2026-04-21T06:20Z")
    times = pd.to_datetime(["2026-04-21T05:49Z", "2026-04-21T05:51Z", "2026-04-21T06:10Z", "2026-04-21T06:29Z", "2026-04-21T06:31Z", None], utc=True)
    assert list(taken_during(pd.DataFrame({"time_utc": times}), start, end).index) == [1, 2, 3]
