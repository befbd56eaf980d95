"""Where an invented drone flew and where its antenna pointed, second by second."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .draws import correlated_along, normals, uniforms


@dataclass(frozen=True)
class Path:
    """A flight at one sample per second; arrays (seconds,), metres of the local plane, degrees clockwise from grid north."""

    easting_m: np.ndarray
    northing_m: np.ndarray
    course_deg: np.ndarray
    azimuth_deg: np.ndarray
    height_above_ground_m: np.ndarray

    def __len__(self):
        return len(self.easting_m)

    def at(self, seconds) -> "Path":
        """The samples at whole seconds since the start, kept within the flight."""
        index = np.clip(np.asarray(seconds, int), 0, len(self) - 1)
        return Path(*(values[index] for values in
                      (self.easting_m, self.northing_m, self.course_deg, self.azimuth_deg, self.height_above_ground_m)))


def turned(points, bearing_deg: float, centre=(0.0, 0.0)) -> np.ndarray:
    """Points (n, 2) turned clockwise about the origin by bearing_deg, then moved to the centre."""
    turn = np.radians(bearing_deg)
    east, north = np.asarray(points, float).T
    around = np.column_stack([east * np.cos(turn) + north * np.sin(turn), north * np.cos(turn) - east * np.sin(turn)])
    return around + np.asarray(centre, float)


def loop_waypoints(sizes_m, *, bearing_deg: float = 0.0, centre=(0.0, 0.0)) -> np.ndarray:
    """Corners of rectangular laps one inside the other, flown clockwise; sizes_m is a sequence of (half width, half length)."""
    corners = []
    for half_width_m, half_length_m in sizes_m:
        corners += [(-half_width_m, -half_length_m), (-half_width_m, half_length_m), (half_width_m, half_length_m),
                    (half_width_m, -half_length_m), (-half_width_m * 0.9, -half_length_m)]
    return turned(corners, bearing_deg, centre)


def line_waypoints(offsets_m, half_length_m: float, *, bearing_deg: float, centre=(0.0, 0.0), bend_m: float = 0.0) -> np.ndarray:
    """Parallel lines along bearing_deg at these offsets to the right of the centre, flown to and fro.

    bend_m sways the lines to either side, as ridges do; all lines alike.
    """
    along_m = np.linspace(-half_length_m, half_length_m, 9)
    sway_m = bend_m * np.sin(along_m / half_length_m * 2.2)
    ways = [np.column_stack([offset + sway_m, along_m])[:: -1 if number % 2 else 1] for number, offset in enumerate(offsets_m)]
    return turned(np.vstack(ways), bearing_deg, centre)


def rounded(waypoints, turn_m: float = 130.0, spacing_m: float = 2.0) -> np.ndarray:
    """The way through the waypoints at an even spacing with its corners rounded over about turn_m metres; (m, 2)."""
    points = np.asarray(waypoints, float)
    reach_m = np.r_[0.0, np.cumsum(np.hypot(*np.diff(points, axis=0).T))]
    even_m = np.arange(0.0, reach_m[-1], spacing_m)
    way = np.column_stack([np.interp(even_m, reach_m, points[:, axis]) for axis in (0, 1)])
    half = max(int(turn_m / spacing_m / 2), 1)
    window = np.full(2 * half + 1, 1.0 / (2 * half + 1))
    padded = np.vstack([np.repeat(way[:1], half, axis=0), way, np.repeat(way[-1:], half, axis=0)])
    return np.column_stack([np.convolve(padded[:, axis], window, mode="valid") for axis in (0, 1)])


def fly(waypoints, *, generator, speed_m_per_s: float = 12.0, height_above_ground_m: float = 80.0,
        longest_s: int | None = None) -> Path:
    """Fly the rounded way at about the given speed and height; the antenna points along the track.

    Speed varies by a few per cent over a minute, height by about 1.5 m over ten seconds.
    """
    way = rounded(waypoints)
    reach_m = np.r_[0.0, np.cumsum(np.hypot(*np.diff(way, axis=0).T))]
    second = np.arange(int(reach_m[-1] / (0.9 * speed_m_per_s)))
    speed = speed_m_per_s * (1 + 0.04 * np.sin(second / 9.5 + uniforms(generator, 0, 6.28)))
    flown_m = np.cumsum(speed) - speed[0]
    flown_m = flown_m[flown_m < reach_m[-1]][:longest_s]
    easting_m, northing_m = (np.interp(flown_m, reach_m, way[:, axis]) for axis in (0, 1))
    course_deg = np.degrees(np.unwrap(np.arctan2(np.gradient(easting_m), np.gradient(northing_m))))
    height_m = height_above_ground_m + correlated_along(np.ones(len(flown_m)), 1.5, 10.0, generator)
    return Path(easting_m, northing_m, course_deg, course_deg, height_m)


def antenna_along_track(path: Path, *, generator, wobble_deg: float = 9.0) -> Path:
    """The antenna points where the drone flies, but for yaw that wanders by wobble_deg over half a minute."""
    return replace(path, azimuth_deg=path.course_deg + correlated_along(np.ones(len(path)), wobble_deg, 30.0, generator))


def antenna_rotating(path: Path, *, generator, deg_per_s: float = 8.0) -> Path:
    """The drone turns steadily on its axis as it flies, at about deg_per_s."""
    rate = deg_per_s * (1 + 0.12 * normals(generator, len(path)))
    return replace(path, azimuth_deg=uniforms(generator, 0, 360) + np.cumsum(rate))


def antenna_sideways(path: Path, *, swing_deg: float = 50.0, period_s: float = 76.0) -> Path:
    """The antenna looks out to the right of the course and swings slowly to and fro by swing_deg."""
    swing = swing_deg * np.sin(2 * np.pi * np.arange(len(path)) / period_s)
    return replace(path, azimuth_deg=path.course_deg + 90.0 + swing)


def joined(first: Path, second: Path) -> Path:
    """One flight after the other; the second starts where the first ends."""
    return Path(*(np.concatenate([getattr(first, name), getattr(second, name)]) for name in
                  ("easting_m", "northing_m", "course_deg", "azimuth_deg", "height_above_ground_m")))
