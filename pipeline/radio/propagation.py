"""Strength against place: the log-distance law, a smooth antenna pattern, and the losses behind hills and in vegetation.

Expected strength = power - 10 n log10(slant distance) + pattern - share x terrain loss - loss of the way through canopy, where the pattern is built from three angles that stay
well-behaved when the receiver passes overhead:

    u        = cos(depression) cos(relative azimuth): cosine of the angle between antenna axis and tag, 1 ahead, -1 behind, 0 below
    u^2      tells the sides from the two ends
    s        = sin(depression)^2, what changes towards straight below

An antenna that points a constant angle off the azimuth in the log turns u: cos(r - b) = cos r cos b + sin r sin b. How much of a
computed terrain loss to believe is a share between 0 and 1, since diffraction over rough ground is seldom full.

Sources: the log-distance law, T. S. Rappaport, Wireless Communications, 1996 (ch. 4 of the 2nd ed. 2002); the pattern as a short
polynomial in direction cosines is a derivation of our own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.radio.diffraction import vegetation_loss_db
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
    across: np.ndarray           # cos(depression) sin(relative azimuth): 1 to the right of the antenna; 0 where the azimuth is unknown
    terrain_loss_db: np.ndarray  # computed loss behind hills; 0 where nothing is known of the ground
    canopy_way_m: np.ndarray     # way through vegetation; 0 where none is known


def sightlines(listening: Listening, easting_m, northing_m, height_above_ground_m=0.0) -> Sightlines:
    """Geometry from every record to every place.

    Parameters
    ----------
    easting_m, northing_m : arrays of shape (places,), survey CRS. [m]
    height_above_ground_m : of the tag, scalar or shape (places,). [m]

    Where the listening knows the ground, its relief enters the slant distance, the depression and the loss behind hills; elsewhere
    the ground is taken as level between receiver and tag, which is adequate where relief is small against the distance.
    """
    east = np.atleast_1d(easting_m)[None, :] - listening.easting_m[:, None]
    north = np.atleast_1d(northing_m)[None, :] - listening.northing_m[:, None]
    down = listening.height_above_ground_m[:, None] - np.broadcast_to(height_above_ground_m, east.shape[1:])[None, :]
    hidden = np.broadcast_to(0.0, east.shape)
    if listening.terrain is not None:
        down = down + np.nan_to_num(listening.terrain.climb_m(easting_m, northing_m))
        hidden = listening.terrain.loss_db(easting_m, northing_m)
    wooded = np.broadcast_to(0.0, east.shape) if listening.canopy is None else listening.canopy.way_m(easting_m, northing_m)
    level_squared = east * east + north * north
    slant_squared = np.maximum(level_squared + down * down, SHORTEST_SLANT_M**2)
    azimuth = np.radians(listening.azimuth_grid_deg)[:, None]
    known = ~np.isnan(azimuth)
    ahead = (east * np.sin(azimuth) + north * np.cos(azimuth)) / np.sqrt(slant_squared)
    across = (east * np.cos(azimuth) - north * np.sin(azimuth)) / np.sqrt(slant_squared)
    level_share = level_squared / slant_squared
    return Sightlines(
        log10_distance=0.5 * np.log10(slant_squared),
        ahead=np.where(known, ahead, 0.0),
        ahead_squared=np.where(known, ahead * ahead, 0.5 * level_share),
        below=1.0 - level_share,
        across=np.where(known, across, 0.0),
        terrain_loss_db=hidden,
        canopy_way_m=wooded,
    )


def path_gain_db(lines: Sightlines, *, exponent, ahead_db, ahead_squared_db, below_db, azimuth_bias_deg=0.0, terrain_share=0.0,
                 canopy_db_per_m=0.0, canopy_most_db=None) -> np.ndarray:
    """Expected strength less the tag's power at 1 m, shape of the sightlines. [dB]

    exponent : path-loss exponent n, 2 in free space, 2 to 4 near vegetation. [1]
    ahead_db, ahead_squared_db, below_db : pattern coefficients of u, u^2 and s. [dB]
    azimuth_bias_deg : where the antenna points, less the azimuth in the log. [degrees]
    terrain_share : share of the computed terrain loss that is believed. [0 to 1]
    canopy_db_per_m : loss per metre of a short way through canopy. [dB/m] canopy_most_db : loss that no such way exceeds, see canopy; None = no canopy. [dB]
    The coefficients may carry leading axes that broadcast against (records, places).
    """
    bias = np.radians(azimuth_bias_deg)
    ahead = lines.ahead * np.cos(bias) + lines.across * np.sin(bias)
    gain = (
        -10.0 * exponent * lines.log10_distance
        + ahead_db * ahead
        # Where the azimuth is unknown both u are 0 and the mean over azimuths stays.
        + ahead_squared_db * (lines.ahead_squared + ahead * ahead - lines.ahead * lines.ahead)
        + below_db * lines.below
        - terrain_share * lines.terrain_loss_db
    )
    return gain if canopy_most_db is None else gain - vegetation_loss_db(lines.canopy_way_m, canopy_db_per_m, canopy_most_db)
