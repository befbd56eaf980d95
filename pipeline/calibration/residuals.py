"""What beacons sounded like against what a model that never saw them expects at their true places."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import log_ndtr

from pipeline.calibration.locating import Heard
from pipeline.radio import SignalModel, sightlines

RESIDUALS = ["tag_id", "flight_id", "place_id", "record_in_flight", "flown_m", "distance_m", "relative_azimuth_deg", "depression_deg", "pattern_db",
             "threshold_db", "strength_db", "expected_db", "expected_when_heard_db", "residual_db"]


def expected_when_heard(expected_db, sd_db: float, threshold_db, softness_db: float) -> np.ndarray:
    """Mean strength of the records that are heard, where the expected strength is normal and only what beats the threshold is heard. [dB]

    Far away only the strong records are heard, so that their mean lies above the expectation; residuals are counted from here.
    Source: the mean of a normal beyond a soft limit (inverse Mills ratio).
    """
    wide = np.hypot(sd_db, softness_db)
    z = (np.asarray(expected_db, float) - threshold_db) / wide
    mills = np.exp(-0.5 * z * z - 0.5 * np.log(2.0 * np.pi) - log_ndtr(z))
    return expected_db + sd_db**2 / wide * mills


def record_residuals(heard: Heard, height_above_ground_m: float, model: SignalModel) -> pd.DataFrame:
    """One row per record that listened for a beacon in a flight, columns of RESIDUALS; power is the mean of the tag type.

    heard : the beacon, its true place and what was heard. height_above_ground_m : of the beacon. model : fitted without its place.

    flown_m counts metres flown since the first record of the flight. relative_azimuth_deg is the bearing to the beacon less
    that of the antenna, -180 to 180, blank when the log has none; depression_deg is how far below the horizon the beacon lies.
    pattern_db is the antenna's part of expected_db. residual_db is strength less expected_when_heard, blank when not heard.
    """
    listening, (east, north) = heard.listening, heard.truth
    lines = sightlines(listening, east, north, height_above_ground_m)
    scatter, gain = model.scatter(heard.tag_type), model.gain_db(lines)[:, 0]
    expected = scatter.power_mean_db + gain
    sd = float(np.sqrt(scatter.power_sd_db**2 + scatter.power_drift_sd_db**2 + scatter.shadowing_sd_db**2 + scatter.noise_sd_db**2))
    threshold = model.thresholds_db(listening)
    when_heard = expected_when_heard(expected, sd, threshold, scatter.softness_db)
    bearing = np.degrees(np.arctan2(east - listening.easting_m, north - listening.northing_m))
    table = pd.DataFrame({
        "record_in_flight": np.arange(len(listening)), "flown_m": np.cumsum(np.where(np.isinf(listening.step_m), 0.0, listening.step_m)),
        "distance_m": 10.0 ** lines.log10_distance[:, 0],
        "relative_azimuth_deg": (bearing - listening.azimuth_grid_deg + 180.0) % 360.0 - 180.0,
        "depression_deg": np.degrees(np.arcsin(np.sqrt(np.clip(lines.below[:, 0], 0.0, 1.0)))),
        "pattern_db": gain + 10.0 * model.exponent * lines.log10_distance[:, 0] + model.terrain_share * lines.terrain_loss_db[:, 0] + model.canopy_loss_db(lines)[:, 0],
        "threshold_db": threshold, "strength_db": listening.strength_db, "expected_db": expected, "expected_when_heard_db": when_heard, "residual_db": listening.strength_db - when_heard,
    })
    return table.assign(tag_id=heard.tag_id, flight_id=heard.flight_id, place_id=heard.place_id)[RESIDUALS]


def pattern_at(model: SignalModel, relative_azimuth_deg, depression_deg: float = 0.0) -> np.ndarray:
    """The antenna's part of the expected strength towards a relative azimuth at one depression. [dB]"""
    level = np.cos(np.radians(depression_deg))
    ahead = level * np.cos(np.radians(np.asarray(relative_azimuth_deg, float) - model.azimuth_bias_deg))
    return model.ahead_db * ahead + model.ahead_squared_db * ahead**2 + model.below_db * np.sin(np.radians(depression_deg)) ** 2
