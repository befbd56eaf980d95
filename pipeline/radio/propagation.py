"""Strength against place: the log-distance law and a smooth antenna pattern.

Expected strength = power - 10 n log10(slant distance) + pattern, where the pattern is built from three angles that stay
well-behaved when the receiver passes overhead:

    u        = cos(depression) cos(relative azimuth): cosine of the angle between antenna axis and tag, 1 ahead, -1 behind, 0 below
    u^2      tells the sides from the two ends
    s        = sin(depression)^2, what changes towards straight below

Sources: the log-distance law, T. S. Rappaport, Wireless Communications, 2nd ed. 2002, ch. 4; the pattern as a short
polynomial in direction cosines is a derivation of our own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.radio.listening import Listening

# Closer than this the far field does not hold (a few wavelengths at 150 MHz) and GNSS error dominates.
SHORTEST_SLANT_M = 5.0


@dataclass(frozen=True)
class Sightlines:
    """Geometry between the records of a listening and places, each array of shape (records, places)."""

    log10_distance: np.ndarray   # of the slant distance in metres
    ahead: np.ndarray            # u above; 0 where the azimuth is unknown
    ahead_squared: np.ndarray    # u^2; half of cos(depression)^2 (its mean over azimuths) where unknown
    below: np.ndarray            # s above


def sightlines(listening: Listening, easting_m, northing_m, height_above_ground_m=0.0) -> Sightlines:
    """Geometry from every record to every place.

    Parameters
    ----------
    easting_m, northing_m : arrays of shape (places,), survey CRS. [m]
    height_above_ground_m : of the tag, scalar or shape (places,). [m]

    The ground is taken as level between receiver and tag; adequate where relief is small against the distance.
    """
    east = np.atleast_1d(easting_m)[None, :] - listening.easting_m[:, None]
    north = np.atleast_1d(northing_m)[None, :] - listening.northing_m[:, None]
    down = listening.height_above_ground_m[:, None] - np.broadcast_to(height_above_ground_m, east.shape[1:])[None, :]
    level_squared = east * east + north * north
    slant_squared = np.maximum(level_squared + down * down, SHORTEST_SLANT_M**2)
    azimuth = np.radians(listening.azimuth_grid_deg)[:, None]
    known = ~np.isnan(azimuth)
    ahead = (east * np.sin(azimuth) + north * np.cos(azimuth)) / np.sqrt(slant_squared)
    level_share = level_squared / slant_squared
    return Sightlines(
        log10_distance=0.5 * np.log10(slant_squared),
        ahead=np.where(known, ahead, 0.0),
        ahead_squared=np.where(known, ahead * ahead, 0.5 * level_share),
        below=1.0 - level_share,
    )


def path_gain_db(lines: Sightlines, *, exponent, ahead_db, ahead_squared_db, below_db) -> np.ndarray:
    """Expected strength less the tag's power at 1 m, shape of the sightlines. [dB]

    exponent : path-loss exponent n, 2 in free space, 2 to 4 near vegetation. [1]
    ahead_db, ahead_squared_db, below_db : pattern coefficients of u, u^2 and s. [dB]
    The coefficients may carry leading axes that broadcast against (records, places).
    """
    return (
        -10.0 * exponent * lines.log10_distance
        + ahead_db * lines.ahead
        + ahead_squared_db * lines.ahead_squared
        + below_db * lines.below
    )
