"""Textbook propagation: loss in free space, behind one edge, over a profile of ground, and through vegetation.

Sources: Recommendations ITU-R P.525 (free space), P.526-15 sections 4.1 (single knife edge) and 4.5.1 (Bullington's
construction over a profile), P.833-9 (vegetation).
"""

from __future__ import annotations

import numpy as np
from scipy.special import fresnel

LIGHT_M_PER_S = 299_792_458.0
# Refraction in the median atmosphere bends waves as if the Earth were this large (4/3 of it, as ITU-R rounds it).
EFFECTIVE_EARTH_RADIUS_M = 8.5e6


def wavelength_m(frequency_mhz) -> np.ndarray:
    """Wavelength in free space, shape of the frequency. [m]"""
    return LIGHT_M_PER_S / (np.asarray(frequency_mhz, float) * 1e6)


def free_space_loss_db(distance_m, frequency_mhz, height_difference_m=0.0) -> np.ndarray:
    """Basic transmission loss in free space, 20 log10(4 pi r / wavelength); arguments broadcast. [dB]

    distance_m : level distance, above 0. height_difference_m : of the two ends; r is the slant distance. [m]
    Source: ITU-R P.525; with the slant distance as in ITU-R P.1812 equation 8.
    """
    slant = np.hypot(distance_m, height_difference_m)
    return 20.0 * np.log10(4.0 * np.pi * slant / wavelength_m(frequency_mhz))


def fresnel_parameter(above_sight_m, from_start_m, from_end_m, wavelength) -> np.ndarray:
    """The parameter nu of an edge: its height above the line of sight over the Fresnel zone there; arguments broadcast. [1]

    above_sight_m : negative where the edge is below the line. from_start_m, from_end_m, wavelength : above 0. [m]
    Source: ITU-R P.526-15 equation 26.
    """
    start, end = np.asarray(from_start_m, float), np.asarray(from_end_m, float)
    return above_sight_m * np.sqrt(2.0 * (start + end) / (wavelength * start * end))


def knife_edge_loss_db(nu) -> np.ndarray:
    """Loss behind one knife edge, exact; swings about 0 where nu is far below 0. Shape of nu. [dB]

    Source: ITU-R P.526-15 section 4.1, from the Fresnel integrals.
    """
    sine, cosine = fresnel(np.asarray(nu, float))
    return -20.0 * np.log10(0.5 * np.hypot(1.0 - cosine - sine, cosine - sine))


def approximate_knife_edge_loss_db(nu) -> np.ndarray:
    """Loss behind one knife edge in the usual approximation, 0 at nu <= -0.78; within 0.13 dB of the exact for -0.7 < nu < 10. [dB]

    Source: ITU-R P.526-15 equation 31.
    """
    beyond = np.maximum(nu, -0.78) - 0.1
    return np.where(np.asarray(nu) > -0.78, 6.9 + 20.0 * np.log10(np.sqrt(beyond * beyond + 1.0) + beyond), 0.0)


def bullington_loss_db(share, ground_m, distance_m, start_m, end_m, wavelength, *, effective_earth_radius_m=EFFECTIVE_EARTH_RADIUS_M) -> np.ndarray:
    """Diffraction loss over profiles of ground, one edge put where the two horizons meet. Shape (profiles,). [dB]

    Parameters
    ----------
    share : where the points of a profile lie, as parts of its length, strictly between 0 and 1; shape (points, 1) or (points, profiles).
    ground_m : height of the ground there, shape (points, profiles), at least one point; NaN is left out. [m]
    distance_m : length of each profile, shape (profiles,) or scalar, above 0. [m]
    start_m, end_m : heights of the two antennas over the reference that the ground counts from. [m]
    wavelength : of the signal. [m]

    The two ends may change places. Source: ITU-R P.526-15 section 4.5.1.
    """
    bulging = ground_m + share * (1.0 - share) * (distance_m * distance_m / (2.0 * effective_earth_radius_m))
    # Slopes are per length of profile, so that one division per profile serves all its points.
    rise = np.fmax.reduce((bulging - start_m) / share, axis=0)
    rise_back = np.fmax.reduce((bulging - end_m) / (1.0 - share), axis=0)
    nearest_sight = np.fmax.reduce((bulging - start_m - (end_m - start_m) * share) / np.sqrt(share * (1.0 - share)), axis=0)
    return with_rough_ground(_edge_loss_db(rise, rise_back, nearest_sight, distance_m, start_m, end_m, wavelength), distance_m)


def _edge_loss_db(rise, rise_back, nearest_sight, distance_m, start_m, end_m, wavelength) -> np.ndarray:
    """Loss of Bullington's edge [dB]. rise, rise_back : to the horizon of either end, per length of profile [m]; nearest_sight : highest
    (ground above the line of sight) / sqrt(share (1 - share)) [m]."""
    hidden = rise >= end_m - start_m
    both = np.where(hidden, rise + rise_back, 1.0)
    # The horizons of a hidden path meet between its ends; rounding alone could put them elsewhere.
    edge = np.clip((end_m - start_m + rise_back) / np.where(both > 0.0, both, 1.0), 1e-6, 1.0 - 1e-6)
    above = start_m + rise * edge - (start_m * (1.0 - edge) + end_m * edge)
    scaled = np.where(hidden, above / np.sqrt(edge * (1.0 - edge)), nearest_sight)
    return approximate_knife_edge_loss_db(scaled * np.sqrt(2.0 / (wavelength * distance_m)))


def with_rough_ground(edge_loss_db, distance_m) -> np.ndarray:
    """Bullington's loss from that of its edge: what one edge leaves out of real ground. [dB] Source: ITU-R P.526-15 section 4.5.1, last equation."""
    return edge_loss_db + (1.0 - np.exp(-edge_loss_db / 6.0)) * (10.0 + 2e-5 * distance_m)


def level_ground_loss_db(distance_m, start_m, end_m, wavelength, *, nearest_m=0.0, effective_earth_radius_m=EFFECTIVE_EARTH_RADIUS_M) -> np.ndarray:
    """Bullington's loss over level ground, without a profile; arguments broadcast. [dB]

    start_m, end_m : heights of the antennas above the ground, at least 0; not both 0. [m]
    nearest_m : ground nearer than this to either end is left out; less than half the distance. [m]

    Where sight comes closest to the ground, its height over the Fresnel zone is least: at share u with u / (1 - u) = start / end the
    parameter nu is -2 sqrt(2 start end / (wavelength distance)), which is -sqrt(2) at the break distance 4 start end / wavelength of
    two-ray theory. Derivation of our own; compared with profiles in the tests.
    """
    nearest = np.minimum(nearest_m / distance_m, 0.5)
    share = np.clip(start_m / (start_m + end_m), np.maximum(nearest, 1e-6), 1.0 - np.maximum(nearest, 1e-6))
    bulge = share * (1.0 - share) * distance_m * distance_m / (2.0 * effective_earth_radius_m)
    above = bulge - start_m * (1.0 - share) - end_m * share
    nu = above * np.sqrt(2.0 / (wavelength * distance_m * share * (1.0 - share)))
    return with_rough_ground(approximate_knife_edge_loss_db(nu), distance_m)


def vegetation_loss_db(depth_m, attenuation_db_per_m, most_db) -> np.ndarray:
    """Loss of a path that ends inside vegetation; arguments broadcast. [dB]

    depth_m : length of path within it, at least 0. [m]
    attenuation_db_per_m : per metre of a very short path. [dB/m] most_db : loss that no depth exceeds, above 0. [dB]
    Source: ITU-R P.833-9 equation 1.
    """
    return -most_db * np.expm1(-np.asarray(depth_m, float) * attenuation_db_per_m / most_db)


def vegetation_attenuation_db_per_m(frequency_mhz) -> np.ndarray:
    """Attenuation per metre of woodland for vertical polarisation, 30 MHz to 1 GHz; shape of the frequency. [dB/m]

    Source: ITU-R P.833-9 figure 2, the straight line of its logarithms through (30 MHz, 0.02) and (1 GHz, 0.2), as read from the figure.
    Raises ValueError outside that range.
    """
    frequency = np.asarray(frequency_mhz, float)
    if ((frequency < 30.0) | (frequency > 1000.0)).any():
        raise ValueError("the attenuation of woodland is known from 30 to 1000 MHz")
    return 0.02 * (frequency / 30.0) ** (1.0 / np.log10(1000.0 / 30.0))
