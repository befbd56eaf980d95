"""The survey projection as short polynomials, good within one map, so that a web page can compute grid coordinates."""

from __future__ import annotations

import numpy as np

DEGREE = 4
LARGEST_ERROR_M = 0.5


def terms(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Products first^i * second^j with i + j up to DEGREE, one column each: j runs fastest within each i."""
    return np.stack([first**i * second**j for i in range(DEGREE + 1) for j in range(DEGREE + 1 - i)], axis=-1)


def fit_local_polynomials(projection, extent_m: tuple[float, float, float, float]) -> dict:
    """Coefficients of forward (latitude, longitude -> metres) and inverse polynomials over an extent and its surroundings.

    extent_m : west, south, east, north; the fit reaches half an extent beyond on every side, and stays within 0.5 m for maps
    up to about 200 km wide; a wider one raises ValueError. Inputs of the polynomials are centred and scaled to about -1 to 1.
    Longitudes run on without a jump at the antimeridian.
    """
    west, south, east, north = extent_m
    middle_e, middle_n = (west + east) / 2, (south + north) / 2
    half_m = max(east - west, north - south)
    easting, northing = (grid.ravel() for grid in np.meshgrid(middle_e + half_m * np.linspace(-1, 1, 13), middle_n + half_m * np.linspace(-1, 1, 13)))
    latitude, longitude = unwrapped_positions(projection, easting, northing, (middle_e, middle_n))
    middle_lat, middle_lon = float(latitude[len(latitude) // 2]), float(longitude[len(longitude) // 2])
    half_lat, half_lon = np.ptp(latitude) / 2, np.ptp(longitude) / 2
    from_degrees = terms((latitude - middle_lat) / half_lat, (longitude - middle_lon) / half_lon)
    from_metres = terms((easting - middle_e) / half_m, (northing - middle_n) / half_m)
    metres = np.stack([easting - middle_e, northing - middle_n], axis=-1)
    forward, *_ = np.linalg.lstsq(from_degrees, metres, rcond=None)
    inverse, *_ = np.linalg.lstsq(from_metres, np.stack([latitude - middle_lat, longitude - middle_lon], axis=-1), rcond=None)
    error_m = float(np.abs(from_degrees @ forward - metres).max())
    if error_m > LARGEST_ERROR_M:
        raise ValueError(f"a map {half_m / 1000:.0f} km wide is too wide: its grid coordinates would be wrong by up to {error_m:.1f} m")
    return {
        "degree": DEGREE,
        "middle": [middle_e, middle_n, middle_lat, middle_lon],
        "half": [half_m, float(half_lat), float(half_lon)],
        "forward": _short(forward),
        "inverse": _short(inverse),
    }


def unwrapped_positions(projection, easting_m, northing_m, middle_m: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Latitudes and longitudes in degrees, longitudes within 180 degrees of the one at `middle_m` (so they may pass 180)."""
    latitude, longitude = (np.asarray(value, dtype=float) for value in projection.inverse(np.asarray(easting_m, dtype=float), np.asarray(northing_m, dtype=float)))
    middle_lon = float(projection.inverse(*middle_m)[1])
    return latitude, middle_lon + (longitude - middle_lon + 180.0) % 360.0 - 180.0


def _short(coefficients: np.ndarray) -> list[list[float]]:
    return [[float(f"{value:.12g}") for value in column] for column in coefficients.T]
