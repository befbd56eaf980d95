"""Two possible places: whether one is the mirror image of the other in the track, and which short flight would decide between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from pipeline.radio import Listening, SignalModel, sightlines, steps_along

# A track this much longer than wide is a line for the purpose; a place this near to the image is the image.
_STRAIGHT = 0.35
_NEAR_IMAGE = 0.35
_NEAREST_M = 100.0
# The antenna looks along the track when it is within this of the course or of its opposite.
_ALONG_DEG = 30.0

PASS_LENGTH_M = 1200.0
_AZIMUTHS_DEG = np.arange(0.0, 180.0, 22.5)


@dataclass(frozen=True)
class Pass:
    """A straight pass: its middle, survey CRS; grid azimuth of its course; chance that its strengths name the right one of two places."""

    easting_m: float
    northing_m: float
    azimuth_grid_deg: float
    chance: float


def is_mirror_image(listening: Listening, first, second) -> bool:
    """Whether two places (easting_m, northing_m) mirror each other in the track where the tag was heard, the antenna looking along it.

    A straight pass whose antenna points along the track sounds the same from both sides. False where azimuths are unknown only if the
    track is not straight: without azimuths every straight pass has two sides.
    """
    heard = listening.heard
    if heard.sum() < 3:
        return False
    track = np.stack([listening.easting_m[heard], listening.northing_m[heard]], axis=1)
    middle = track.mean(axis=0)
    spread, axes = np.linalg.eigh(np.cov(track.T))
    if spread[1] <= 0 or np.sqrt(max(spread[0], 0.0) / spread[1]) > _STRAIGHT:
        return False
    along, across = axes[:, 1], axes[:, 0]
    azimuth = np.radians(listening.azimuth_grid_deg[heard])
    known = np.isfinite(azimuth)
    if known.any():
        off = np.abs(np.sin(azimuth[known]) * along[0] + np.cos(azimuth[known]) * along[1])
        if np.median(off) < np.cos(np.radians(_ALONG_DEG)):
            return False
    first, second = np.asarray(first, float), np.asarray(second, float)
    image = first - 2.0 * across * (across @ (first - middle))
    apart = float(np.linalg.norm(second - first))
    return bool(np.linalg.norm(image - second) <= max(_NEAR_IMAGE * apart, _NEAREST_M) and apart > _NEAREST_M)


def deciding_pass(model: SignalModel, tag_type: str, first, second, *, height_above_ground_m: float, step_m: float) -> Pass:
    """The straight pass, of 1.2 km, that tells two places apart best, among passes over either and between them.

    height_above_ground_m, step_m : of the flight, metres flown between records.

    With Gaussian shadowing and power, and every record heard, strengths from either place are normal with one covariance S and
    means that differ by d: the better of two equally likely places is named with probability Phi(sqrt(d' S^-1 d) / 2)
    (linear discriminant of two normals; R. A. Fisher 1936, from memory). Records not heard tell a little less.
    """
    first, second = np.asarray(first, float), np.asarray(second, float)
    tried = [_try(model, tag_type, first, second, middle, azimuth, height_above_ground_m, step_m)
             for middle in (second, first, 0.5 * (first + second)) for azimuth in _AZIMUTHS_DEG]
    return max(tried, key=lambda found: round(found.chance, 4))


def _try(model, tag_type, first, second, middle, azimuth_deg, height_m, step_m) -> Pass:
    count = max(3, int(PASS_LENGTH_M / step_m) + 1)
    along = (np.arange(count) - (count - 1) / 2.0) * step_m
    east, north = middle[0] + along * np.sin(np.radians(azimuth_deg)), middle[1] + along * np.cos(np.radians(azimuth_deg))
    flown = Listening(east, north, np.full(count, height_m), np.full(count, azimuth_deg), np.full(count, np.nan), np.full(count, np.nan), steps_along(east, north))
    gain = model.gain_db(sightlines(flown, [first[0], second[0]], [first[1], second[1]]))
    scatter = model.scatter(tag_type)
    covariance = scatter.shadowing_sd_db**2 * np.exp(-np.abs(along[:, None] - along) / scatter.shadowing_length_m)
    covariance += scatter.power_sd_db**2 + scatter.noise_sd_db**2 * np.eye(count)
    apart = gain[:, 0] - gain[:, 1]
    return Pass(float(middle[0]), float(middle[1]), float(azimuth_deg), float(norm.cdf(np.sqrt(apart @ np.linalg.solve(covariance, apart)) / 2.0)))
