"""Clock lag, its drift and the lag of the azimuth, told apart from the azimuth bias on simulated flights over beacons."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.radio import KnownTag, Listening, fit_leaving_out, lag_curves, lag_from_curves, steps_along
from pipeline.radio.timing import AZIMUTH_LAG, BIAS, DRIFT, LAG, Estimate, estimate_timing, retimed
from pipeline.simulate import antenna_along_track, antenna_rotating, fly, line_waypoints, loop_waypoints, matched_physics, simulate_strengths, stream

RECORD_S, FLIGHT_S = 6, 1200
PHYSICS = matched_physics(power_mean_db={"collar": -42.0})


def flown(flight, seed):
    """A flight of 20 minutes second by second: "turning" with the antenna rotating, "loop" with it along the track, "lines" as the first, the other way."""
    generator = stream(seed, 7, len(flight), ord(flight[0]))
    if flight == "loop":
        return antenna_along_track(fly(loop_waypoints([(900, 900), (500, 500), (900, 600)]), generator=generator, longest_s=FLIGHT_S), generator=generator)
    path = fly(line_waypoints(np.linspace(-900, 900, 7), 900, bearing_deg=0.0 if flight == "turning" else 90.0), generator=generator, longest_s=FLIGHT_S)
    return antenna_rotating(path, generator=generator, deg_per_s=8.0 if flight == "turning" else -8.0)


def pose(path, seconds):
    """Place and azimuth at any time, straight between the samples; the unwrapped azimuth is as good as a compass."""
    at = np.arange(len(path))
    return [np.interp(seconds, at, values) for values in (path.easting_m, path.northing_m, path.height_above_ground_m, path.azimuth_deg)]


def beacons(seed, *, faulty="turning", lag_s=0.0, drift_s=0.0, azimuth_lag_s=0.0, bias_deg=0.0, count=9, flights=("turning", "loop", "lines")):
    """Beacons heard in three flights. In the faulty one strengths were stamped lag_s late, by drift_s more at the end than at the start, and azimuths azimuth_lag_s late."""
    paths = {flight: flown(flight, seed) for flight in flights}
    known = []
    for number in range(count):
        place, power = stream(seed, 8, number).uniform(-900, 900, 2), -42.0 + 3.0 * stream(seed, 9, number).standard_normal()
        heard = []
        for index, (flight, path) in enumerate(paths.items()):
            seconds = np.arange(0.0, len(path), RECORD_S)
            wrong = flight == faulty
            late_s = (lag_s + drift_s * (seconds / seconds[-1] - 0.5)) if wrong else 0.0 * seconds
            east, north, height, azimuth = pose(path, seconds - late_s)
            strength = simulate_strengths(easting_m=east, northing_m=north, height_above_ground_m=height, azimuth_grid_deg=azimuth, tag_easting_m=place[0],
                                          tag_northing_m=place[1], tag_power_db=power, physics=PHYSICS, generator=stream(seed, 10, number, index))
            east, north, height, _ = pose(path, seconds)
            logged_deg = (pose(path, seconds - (azimuth_lag_s if wrong else 0.0))[3] - bias_deg) % 360.0
            heard.append(Listening(east, north, height, logged_deg, strength, np.full(len(east), np.nan), steps_along(east, north), time_s=seconds, flight_id=flight))
        known.append(KnownTag(f"B{number}", f"B{number}", "collar", *place, 0.0, tuple(heard)))
    return known


def told(known, also=None):
    """The timing of all flights, from a model that was fitted with the faults in it."""
    fitted = fit_leaving_out(known, [], rough=True)[0]
    first = {flight: lag_from_curves(curves).lag_s for flight, curves in lag_curves(known, fitted).items()}
    return first, estimate_timing(known, fitted, first, also)


def within(estimate, truth, errors=2.0):
    return abs(estimate.value - truth) <= errors * estimate.se


def test_a_clock_that_is_off_does_not_pass_for_an_azimuth_bias_nor_accuse_other_flights():
    """Antennas that turn: the model fitted with a clock off has learned a bias from it, which accuses another flight until both are estimated together."""
    first, timing = told(beacons(50, lag_s=5.0))
    assert first["turning"] < 4.0 and first["lines"] > 2.0
    assert within(timing.flights["turning"][LAG], 5.0) and timing.flights["turning"][LAG].clear
    assert within(timing.flights["lines"][LAG], 0.0) and within(timing.flights["loop"][LAG], 0.0)
    assert within(timing.bias, 0.0) and timing.tags == {"lines": 9, "loop": 9, "turning": 9}


def test_a_drift_of_five_seconds_in_twenty_minutes_is_found_in_its_flight_alone():
    _, timing = told(beacons(51, drift_s=5.0), dict.fromkeys(("turning", "loop", "lines"), DRIFT))
    assert within(timing.flights["turning"][DRIFT], 5.0) and timing.flights["turning"][DRIFT].clear
    assert within(timing.flights["turning"][LAG], 0.0)
    assert not any(timing.flights[flight][DRIFT].clear for flight in ("loop", "lines"))


def test_an_azimuth_that_comes_three_seconds_late_is_told_from_a_bias_and_from_a_clock():
    _, timing = told(beacons(52, azimuth_lag_s=3.0, bias_deg=4.0), dict.fromkeys(("turning", "lines"), AZIMUTH_LAG))
    assert within(timing.flights["turning"][AZIMUTH_LAG], 3.0) and timing.flights["turning"][AZIMUTH_LAG].value > 1.0
    assert within(timing.flights["turning"][LAG], 0.0) and within(timing.bias, 4.0)
    assert not timing.flights["lines"][AZIMUTH_LAG].clear


@pytest.mark.parametrize("seed", [53, 54])
def test_nothing_is_accused_where_nothing_is_wrong(seed):
    known = beacons(seed, bias_deg=-3.0)
    fitted = fit_leaving_out(known, [], rough=True)[0]
    for also in ({}, dict.fromkeys(("turning", "loop", "lines"), DRIFT), dict.fromkeys(("turning", "lines"), AZIMUTH_LAG)):
        timing = estimate_timing(known, fitted, dict.fromkeys(("turning", "loop", "lines"), 0.0), also)
        assert not any(each.clear for flight in timing.flights.values() for each in flight.values())
        assert within(timing.bias, -3.0)


def test_without_azimuths_there_is_no_bias_and_the_clock_is_still_found():
    known = [KnownTag(tag.tag_id, tag.place_id, tag.tag_type, tag.easting_m, tag.northing_m, 0.0,
                      tuple(retimed(listening, 0.0) for listening in map(blind, tag.listenings))) for tag in beacons(56, lag_s=-9.0, count=6)]
    _, timing = told(known)
    assert timing.bias is None
    assert within(timing.flights["turning"][LAG], -9.0) and timing.flights["turning"][LAG].clear


def blind(listening):
    return replace(listening, azimuth_grid_deg=np.full(len(listening), np.nan))


def test_a_drift_runs_from_half_before_to_half_after_its_middle():
    """On a straight line at 10 m/s a lag of 2 s with a drift of 4 s puts the first record where it was, the last 40 m back (but not beyond the ends)."""
    seconds = np.arange(0.0, 61.0, 6.0)
    straight = Listening(10.0 * seconds, 0.0 * seconds, 0.0 * seconds + 80.0, 0.0 * seconds, np.full(11, np.nan), np.full(11, np.nan), steps_along(10.0 * seconds, 0.0 * seconds), time_s=seconds)
    np.testing.assert_allclose(retimed(straight, 2.0, 4.0).easting_m - straight.easting_m, -10.0 * (2.0 + 4.0 * (seconds / 60.0 - 0.5)), atol=1e-9)


def test_a_late_azimuth_is_found_later_in_the_log_and_places_stay():
    seconds = np.arange(0.0, 61.0, 6.0)
    turning = Listening(10.0 * seconds, 0.0 * seconds, 0.0 * seconds + 80.0, 8.0 * (seconds - 3.0) % 360.0, np.full(11, np.nan), np.full(11, np.nan), steps_along(10.0 * seconds, 0.0 * seconds), time_s=seconds)
    put_right = retimed(turning, 0.0, azimuth_lag_s=3.0)
    np.testing.assert_allclose(put_right.easting_m, turning.easting_m)
    np.testing.assert_allclose(put_right.azimuth_grid_deg[:-1], 8.0 * seconds[:-1] % 360.0, atol=0.5)


def test_an_estimate_as_wide_as_its_prior_tells_nothing_and_is_never_clear():
    assert not Estimate(AZIMUTH_LAG, 20.0, 4.9).told and not Estimate(AZIMUTH_LAG, 20.0, 4.9).clear
    assert Estimate(BIAS, 12.0, 3.0).clear and Estimate(BIAS, 12.0, 3.0).interval_95 == pytest.approx((6.12, 17.88))
