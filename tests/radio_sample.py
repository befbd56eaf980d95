"""Small flights and signal models with obvious answers, for the tests of radio, location and calibration."""

from __future__ import annotations

import numpy as np

from pipeline.radio import Listening, SignalModel, steps_along


def signal_model(**changes) -> SignalModel:
    """A plain model: n 2.5, no antenna pattern, one tag type."""
    values = {
        "exponent": 2.5, "ahead_db": 0.0, "ahead_squared_db": 0.0, "below_db": 0.0, "power_mean_db": {"collar": -20.0},
        "power_sd_db": 4.0, "power_drift_sd_db": 1.0, "shadowing_sd_db": 4.0, "shadowing_length_m": 120.0, "noise_sd_db": 1.5,
        "threshold_db": -92.0, "threshold_shift_db": 0.0, "softness_db": 1.0, "miss_share": 0.02, "fault_share": 0.01,
    }
    return SignalModel(**(values | changes))


def listening(easting_m, northing_m, strength_db=None, *, height_m=80.0, azimuth_deg=np.nan, threshold_db=np.nan) -> Listening:
    """A listening along a path; nothing heard unless strengths are given."""
    east, north = np.asarray(easting_m, float), np.asarray(northing_m, float)
    full = np.ones(len(east))
    return Listening(east, north, height_m * full, azimuth_deg * full, np.nan * full if strength_db is None else np.asarray(strength_db, float),
                     threshold_db * full, steps_along(east, north))


def square_path(half_side_m: float = 400.0, per_side: int = 12) -> tuple[np.ndarray, np.ndarray]:
    """Positions evenly round a square centred on the origin, not counting any corner twice."""
    along = np.linspace(-half_side_m, half_side_m, per_side, endpoint=False)
    flat = np.full(per_side, half_side_m)
    return np.concatenate([along, flat, -along, -flat]), np.concatenate([-flat, along, flat, -along])


def line_path(half_side_m: float = 500.0, lines: int = 5, per_line: int = 16) -> tuple[np.ndarray, np.ndarray]:
    """Positions along parallel lines flown there and back over a square: unlike a loop, they look at every place from near."""
    along = np.linspace(-half_side_m, half_side_m, per_line)
    east = np.concatenate([along if line % 2 == 0 else -along for line in range(lines)])
    return east, np.repeat(np.linspace(-half_side_m, half_side_m, lines), per_line)


def heard_along(path, place, model: SignalModel, generator: np.random.Generator, power_db: float, threshold_db: float = -92.0) -> np.ndarray:
    """Strengths drawn from the model itself: the filter's assumptions hold exactly, but for misses and faults."""
    east, north = path
    slant = np.sqrt((east - place[0]) ** 2 + (north - place[1]) ** 2 + 80.0**2)
    flown = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))])
    covariance = model.shadowing_sd_db**2 * np.exp(-np.abs(flown[:, None] - flown[None, :]) / model.shadowing_length_m)
    shadow = np.linalg.cholesky(covariance + 1e-9 * np.eye(len(east))) @ generator.standard_normal(len(east))
    strength = power_db - 10 * model.exponent * np.log10(slant) + shadow + model.noise_sd_db * generator.standard_normal(len(east))
    return np.where(strength > threshold_db + model.softness_db * generator.standard_normal(len(east)), strength, np.nan)
