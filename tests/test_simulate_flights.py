"""Where simulated drones fly and where their antennas point."""

import numpy as np
import pytest

from pipeline.simulate import (Stay, antenna_along_track, antenna_rotating, antenna_sideways, fly, joined, line_waypoints, loop_waypoints,
                               rounded, stream)

LOOP = loop_waypoints([(1000, 1200)])
LINES = line_waypoints((-500, 0, 500), 1200, bearing_deg=90.0)


def test_a_flight_keeps_its_speed_and_height():
    path = fly(LOOP, generator=stream(1))
    speed = np.hypot(np.diff(path.easting_m), np.diff(path.northing_m))
    assert np.median(speed) == pytest.approx(12.0, abs=0.2) and speed.max() < 13.5
    assert path.height_above_ground_m.mean() == pytest.approx(80.0, abs=1.0)


def test_a_flight_starts_where_its_way_starts_and_ends_where_told():
    path = fly(LOOP, generator=stream(1), longest_s=300)
    assert np.hypot(path.easting_m[0] + 1000, path.northing_m[0] + 1200) < 40
    assert len(path) == 300


def test_corners_are_rounded_and_legs_stay_straight():
    way = rounded([(0, 0), (0, 1000), (1000, 1000)])
    turn_deg = np.degrees(np.abs(np.diff(np.unwrap(np.arctan2(*np.diff(way, axis=0).T)))))
    assert turn_deg.max() < 5
    assert np.abs(way[100:400, 0]).max() < 1e-9


def test_lines_run_along_their_bearing_at_their_offsets():
    path = fly(LINES, generator=stream(1))
    on_a_line = np.abs(path.easting_m) < 900
    assert set(np.round(path.northing_m[on_a_line] / 500).astype(int)) == {-1, 0, 1}
    course_deg = np.mod(path.course_deg[on_a_line], 360)
    assert np.minimum(abs(course_deg - 90), abs(course_deg - 270)).max() < 2


def test_an_antenna_along_the_track_wobbles_about_the_course():
    path = antenna_along_track(fly(LOOP, generator=stream(1)), generator=stream(2), wobble_deg=8.0)
    off_deg = path.azimuth_deg - path.course_deg
    assert np.std(off_deg) == pytest.approx(8.0, rel=0.35) and abs(off_deg).max() < 40


def test_a_rotating_antenna_looks_everywhere_on_one_leg():
    path = antenna_rotating(fly([(0, 0), (0, 1500)], generator=stream(1)), generator=stream(2))
    assert len(set((np.mod(path.azimuth_deg[::6], 360) // 45).astype(int))) == 8


def test_a_sideways_antenna_looks_out_to_the_right():
    path = antenna_sideways(fly([(0, 0), (0, 1500)], generator=stream(1)), swing_deg=40.0)
    assert path.azimuth_deg.min() >= 49 and path.azimuth_deg.max() <= 131


def test_two_flights_joined_are_as_long_as_both():
    first, second = fly(LOOP, generator=stream(1), longest_s=100), fly(LINES, generator=stream(1), longest_s=50)
    assert len(joined(first, second)) == 150


def test_a_walking_animal_starts_walks_and_stays():
    stay = Stay((0.0, 0.0), (30.0, 40.0), (100, 200))
    assert stay.moved_m == 50.0
    assert [tuple(map(float, stay.place(second))) for second in (0, 150, 900)] == [(0.0, 0.0), (15.0, 20.0), (30.0, 40.0)]
