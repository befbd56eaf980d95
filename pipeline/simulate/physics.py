"""What a receiver under a drone hears of one tag: a physics richer than the analysis, and one that is exactly its model."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .antenna import LobedAntenna, QuadraticAntenna
from .diffraction import terrain_loss_db
from .draws import correlated_along, normals, uniforms


@dataclass(frozen=True)
class Physics:
    """How strength comes about. dB throughout; lengths in metres.

    power_mean_db : strength at 1 m in the main lobe per tag type; power_sd_db : spread between tags of a type.
    exponent : of the log-distance law (2 in free space). shadowing : pairs (sd in dB, correlation length in m along the track).
    noise_sd_db : white, in every record.
    threshold_db, softness_db : a record is heard when its strength beats threshold + softness x N(0, 1).
    miss_share : records lost whatever their strength.
    fade_share, fade_db : share of records that fade, and the least and the most they lose.
    flight_gain_sd_db : offset shared by all tags of a flight.
    ceiling_db, step_db : saturation and rounding of the logged strength; None = neither.
    """

    power_mean_db: dict = field(default_factory=dict)
    power_sd_db: float = 3.0
    exponent: float = 2.4
    antenna: object = LobedAntenna()
    shadowing: tuple = ((3.0, 120.0), (2.0, 25.0))
    noise_sd_db: float = 1.0
    threshold_db: float = -115.0
    softness_db: float = 1.5
    miss_share: float = 0.0
    fade_share: float = 0.04
    fade_db: tuple = (6.0, 15.0)
    flight_gain_sd_db: float = 1.0
    ceiling_db: float | None = -86.0
    step_db: float | None = 0.5


def rich_physics(**changes) -> Physics:
    """The world of the demo campaign: terrain loss (where terrain is given), lobes, two scales of shadowing, fades, saturation, rounding.

    changes : fields of Physics to set otherwise.
    """
    values = {"power_mean_db": {"hare collar": -38.0, "grouse backpack": -40.5}}
    return Physics(**(values | changes))


def matched_physics(**changes) -> Physics:
    """Exactly the model the analysis fits: its antenna form, one scale of shadowing, white noise, soft threshold, random misses; no more.

    changes : fields of Physics to set otherwise.
    """
    values = {
        "power_mean_db": {"hare collar": -44.0, "grouse backpack": -46.5}, "power_sd_db": 3.0, "exponent": 2.5,
        "antenna": QuadraticAntenna(), "shadowing": ((4.0, 120.0),), "noise_sd_db": 1.5, "softness_db": 1.0, "miss_share": 0.03,
        "fade_share": 0.0, "flight_gain_sd_db": 0.0, "ceiling_db": None, "step_db": None,
    }
    return Physics(**(values | changes))


def steps_flown_m(easting_m, northing_m) -> np.ndarray:
    """Metres from the previous record to each record, straight; inf for the first."""
    return np.r_[np.inf, np.hypot(np.diff(easting_m), np.diff(northing_m))]


def expected_strength_db(*, easting_m, northing_m, height_above_ground_m, azimuth_grid_deg, tag_easting_m, tag_northing_m,
                         tag_power_db, physics: Physics, tag_height_m=0.0, terrain=None) -> np.ndarray:
    """Strength before shadowing, fades and noise [dB], shape (n,).

    Parameters
    ----------
    easting_m, northing_m, height_above_ground_m, azimuth_grid_deg : arrays (n,)
        Receiver place, height over the ground below it, and where the antenna's strong side points, clockwise from grid north.
    tag_easting_m, tag_northing_m : floats or arrays (n,)
        Where the tag is in each record (an array for an animal that walks); tag_height_m over the ground there.
    tag_power_db : float
        Strength at 1 m in the main lobe.
    terrain : object with .at(easting_m, northing_m) or None
        Ground heights; flat ground without.

    Log-distance law (Rappaport, Wireless Communications, 2nd ed., ch. 4) with slant distance, antenna gain and terrain loss.
    Distances under 1 m count as 1 m.
    """
    east, north = np.asarray(tag_easting_m, float) - easting_m, np.asarray(tag_northing_m, float) - northing_m
    receiver_m, tag_m = np.asarray(height_above_ground_m, float), np.asarray(tag_height_m, float)
    if terrain is not None:
        receiver_m = receiver_m + terrain.at(easting_m, northing_m)
        tag_m = tag_m + terrain.at(tag_easting_m, tag_northing_m)
    across_m = np.hypot(east, north)
    slant_m = np.maximum(np.hypot(across_m, receiver_m - tag_m), 1.0)
    depression_deg = np.degrees(np.arctan2(receiver_m - tag_m, across_m))
    relative_deg = np.degrees(np.arctan2(east, north)) - np.asarray(azimuth_grid_deg, float)
    strength = tag_power_db - 10 * physics.exponent * np.log10(slant_m) + physics.antenna.gain_db(relative_deg, depression_deg)
    if terrain is not None:
        strength = strength - terrain_loss_db(easting_m, northing_m, receiver_m, tag_easting_m, tag_northing_m, tag_m, terrain)
    return strength


def simulate_strengths(*, easting_m, northing_m, height_above_ground_m, azimuth_grid_deg, tag_easting_m, tag_northing_m,
                       tag_power_db, physics: Physics, generator, tag_height_m=0.0, terrain=None, step_m=None,
                       threshold_db=None) -> np.ndarray:
    """Logged strength of one tag in each record of a flight [dB], shape (n,); NaN = listened, not heard.

    The arguments of `expected_strength_db`, and

    generator : numpy Generator
        The same draws are taken whatever comes of them: from the same state, more power never means fewer records heard.
    step_m : array (n,) or None
        Metres flown since the previous record, inf where the shadowing starts afresh; None = straight between the records.
    threshold_db : float, array (n,) or None
        The threshold of each record; None = that of the physics.
    """
    strength = expected_strength_db(
        easting_m=easting_m, northing_m=northing_m, height_above_ground_m=height_above_ground_m, azimuth_grid_deg=azimuth_grid_deg,
        tag_easting_m=tag_easting_m, tag_northing_m=tag_northing_m, tag_power_db=tag_power_db, physics=physics,
        tag_height_m=tag_height_m, terrain=terrain)
    step_m = steps_flown_m(easting_m, northing_m) if step_m is None else step_m
    threshold_db = physics.threshold_db if threshold_db is None else threshold_db
    return _hear(strength, step_m, threshold_db, physics, generator)


def _hear(strength, step_m, threshold_db, physics: Physics, generator) -> np.ndarray:
    """Shadowing, noise and fades on top of the expected strength, then the threshold, the ceiling and the rounding of the logger."""
    count = len(strength)
    for sd_db, length_m in physics.shadowing:
        strength = strength + correlated_along(step_m, sd_db, length_m, generator)
    strength = strength + physics.noise_sd_db * normals(generator, count)
    fades = generator.random(count) < physics.fade_share
    strength = strength - np.where(fades, uniforms(generator, *physics.fade_db, count), 0.0)
    heard = strength > threshold_db + physics.softness_db * normals(generator, count)
    heard &= generator.random(count) >= physics.miss_share
    if physics.ceiling_db is not None:
        strength = np.minimum(strength, physics.ceiling_db)
    if physics.step_db is not None:
        strength = np.round(strength / physics.step_db) * physics.step_db
    return np.where(heard, strength, np.nan)
