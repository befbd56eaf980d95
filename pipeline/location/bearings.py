"""Bearings taken by hand: their likelihood over the ground, the place where they cross, and how much they scatter.

Angles scatter by the von Mises distribution, density exp(k cos(error)) / (2 pi I0(k)); k is the concentration. Source: K. V. Mardia,
Statistics of directional data, 1972; the crossing after R. V. Lenth, On finding the source of a signal, Technometrics 23:149, 1981
(formulas as quoted in a public discussion; from there).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import i0e, i1e
from scipy.stats import chi2

# Concentrations beyond this (a scatter of 0.6 degrees) say more than a hand-held bearing can.
LARGEST_CONCENTRATION = 1e4
# A place nearer to a station than this has no direction from there. Common practice, no source. [m]
NEAREST_STATION_M = 1.0


def mean_resultant(concentration):
    """A(k) = I1(k) / I0(k): mean of the cosine of the error. 0 at no concentration, 1 without scatter."""
    return i1e(concentration) / i0e(concentration)


def concentration_from_resultant(resultant: float) -> float:
    """The concentration whose mean cosine is this, the inverse of mean_resultant; kept at or below LARGEST_CONCENTRATION.

    resultant : mean cosine of errors, 0 to below 1; a negative one says that bearings point away, and gives 0.

    Raises ValueError for a resultant that is no number.
    """
    if not np.isfinite(resultant):
        raise ValueError(f"the mean cosine of bearing errors must be a number, got {resultant}; leave out blank bearings and deviations")
    if resultant <= 0.0:
        return 0.0
    if resultant >= mean_resultant(LARGEST_CONCENTRATION):
        return LARGEST_CONCENTRATION
    return float(brentq(lambda k: mean_resultant(k) - resultant, 0.0, LARGEST_CONCENTRATION, xtol=1e-10))


def concentration_from_sd(sd_deg) -> np.ndarray:
    """Concentration of bearings that scatter by a standard deviation, through the mean cosine of a wrapped normal, exp(-s^2 / 2). [degrees]"""
    resultants = np.exp(-0.5 * np.square(np.radians(np.asarray(sd_deg, float))))
    return np.vectorize(concentration_from_resultant, otypes=[float])(resultants)


def log_density_of_bearings(easting_m, northing_m, *, from_easting_m, from_northing_m, bearing_grid_deg, concentration) -> np.ndarray:
    """Log-probability of a set of bearings for a tag in each cell.

    Parameters
    ----------
    easting_m, northing_m : arrays of shape (cells,), survey CRS. [m]
    from_easting_m, from_northing_m, bearing_grid_deg : where each bearing was taken and what it was, clockwise from grid north; shape (bearings,).
    concentration : of the errors, scalar or shape (bearings,). [1]

    Returns an array of shape (cells,), natural logarithm, of the density per radian.
    """
    east = np.asarray(easting_m, float)[:, None] - np.asarray(from_easting_m, float)
    north = np.asarray(northing_m, float)[:, None] - np.asarray(from_northing_m, float)
    error = np.arctan2(east, north) - np.radians(np.asarray(bearing_grid_deg, float))
    k = np.asarray(concentration, float)
    # k cos(error) - log(2 pi I0(k)), with the large parts taken out of both
    return np.sum(k * (np.cos(error) - 1.0) - np.log(2 * np.pi * i0e(k)), axis=1)


@dataclass(frozen=True)
class Crossing:
    """Where bearings cross: most likely place, concentration estimated from them, covariance of the place. [m], [1], [m2]"""

    easting_m: float
    northing_m: float
    concentration: float
    covariance: np.ndarray

    def area_ha(self, probability: float = 0.95) -> float:
        """Area of the ellipse that holds the stated probability if the place is normal: pi chi2(2) sqrt|Q|, Lenth 1981. [ha]

        It grows as one over the sine of the angle at which two bearings cross.
        """
        return float(np.pi * chi2.ppf(probability, 2) * np.sqrt(np.linalg.det(self.covariance)) / 1e4)


def crossing(from_easting_m, from_northing_m, bearing_grid_deg, concentration: float | None = None) -> Crossing:
    """The maximum-likelihood place of a tag from two or more bearings, by Lenth's fixed point from the least-squares start.

    from_easting_m, from_northing_m, bearing_grid_deg : shape (bearings,), clockwise from grid north. [m], [degrees]
    concentration : known beforehand, one for all, or None to estimate it from the bearings (three or more).

    Raises ValueError for too few bearings, for blank or parallel ones, when the fixed point runs away, when it ends at a station, when a
    bearing points away from it, and when they disagree so much that the formula gives no variance: such bearings do not cross, though their
    posterior over cells still says where the tag may be.
    """
    x, y = np.asarray(from_easting_m, float), np.asarray(from_northing_m, float)
    bearing = np.radians(np.asarray(bearing_grid_deg, float))
    _refuse_too_little(x, y, bearing, concentration)
    place = _fixed_point(x, y, bearing)
    apart_m = np.hypot(place[0] - x, place[1] - y)
    if apart_m.min() < NEAREST_STATION_M:
        raise ValueError(f"these bearings do not cross: their lines meet at the station of row {apart_m.argmin() + 1}, where its bearing tells nothing")
    error = np.arctan2(place[0] - x, place[1] - y) - bearing
    # The fixed point treats bearings as lines without direction, and may end behind a station.
    away = np.flatnonzero(np.cos(error) <= 0.0)
    if len(away):
        raise ValueError(f"these bearings do not cross: {len(away)} of {len(x)} point away from where the lines meet (row {away[0] + 1} first)")
    k = concentration if concentration is not None else _estimated_concentration(error)
    return Crossing(float(place[0]), float(place[1]), float(k), _covariance(place, x, y, bearing, k))


def _refuse_too_little(x, y, bearing, concentration) -> None:
    if len(x) < 2:
        raise ValueError(f"a crossing needs two bearings, got {len(x)}")
    if concentration is None and len(x) < 3:
        raise ValueError("two bearings cross without error and do not tell how bearings scatter: give the concentration, or three bearings")
    if not (np.isfinite(x) & np.isfinite(y) & np.isfinite(bearing)).all():
        raise ValueError("a bearing or the place where it was taken is blank: leave it out")
    if concentration is not None and not 0.0 < concentration < np.inf:
        raise ValueError(f"the concentration of bearings must be a number above 0, got {concentration}")


def _fixed_point(x, y, bearing) -> np.ndarray:
    """Where the lines of the bearings meet, east and north. [m]"""
    # Clockwise from north becomes counter-clockwise from east.
    s, c = np.cos(bearing), np.sin(bearing)
    z = s * x - c * y
    place = _solve(s, c, s, c, z)
    for _ in range(500):
        moved = _solve(s, c, *_towards(place, x, y), z)
        done = np.hypot(*(moved - place)) < 1e-6
        place = moved
        if done:
            return place
    raise ValueError("these bearings do not cross: the place runs away")


def _towards(place, x, y) -> tuple[np.ndarray, np.ndarray]:
    """Lenth's s* and c*: sine and cosine of the direction from each station to the place over the squared distance. [1/m2]"""
    dx, dy = place[0] - x, place[1] - y
    # Within a millionth of a metre there is no direction; the place is refused if it stays there.
    cubed = np.maximum(np.hypot(dx, dy), 1e-6) ** 3
    return dy / cubed, dx / cubed


def _solve(s, c, s_star, c_star, z) -> np.ndarray:
    matrix = np.array([[np.sum(s * s_star), -np.sum(c * s_star)], [-np.sum(s * c_star), np.sum(c * c_star)]])
    if abs(np.linalg.det(matrix)) < 1e-12 * np.abs(matrix).max() ** 2:
        raise ValueError("these bearings do not cross: they are parallel")
    return np.linalg.solve(matrix, np.array([np.sum(s_star * z), -np.sum(c_star * z)]))


def _estimated_concentration(error) -> float:
    """Lenth's estimate from the mean cosine of the errors about the fitted place."""
    mean_cosine = float(np.mean(np.cos(error)))
    k_inverse = 2 * (1 - mean_cosine) + (1 - mean_cosine) ** 2 * (0.48794 - 0.82905 * mean_cosine - 1.3915 * mean_cosine**2) / mean_cosine
    return 1.0 / max(k_inverse, 1.0 / LARGEST_CONCENTRATION)


def _covariance(place, x, y, bearing, concentration) -> np.ndarray:
    s, c = np.cos(bearing), np.sin(bearing)
    s_star, c_star = _towards(place, x, y)
    off = -0.5 * np.sum(s_star * c + c_star * s)
    information = concentration * np.array([[np.sum(s_star * s), off], [off, np.sum(c_star * c)]])
    # With errors of forty degrees and more the formula may give a variance below nothing, even at a most likely place.
    if np.linalg.eigvalsh(information)[0] <= 0.0:
        raise ValueError("these bearings do not cross: they disagree so much that the place has no variance")
    return np.linalg.inv(information)


def estimate_concentration(easting_m, northing_m, *, from_easting_m, from_northing_m, bearing_grid_deg) -> tuple[float, float]:
    """(concentration, its standard error) from bearings to tags at known places; arrays of one shape (bearings,).

    The maximum-likelihood estimate for a known mean direction; the standard error from its Fisher information n (1 - A/k - A^2).
    Raises ValueError without bearings and for blank ones.
    """
    if np.size(bearing_grid_deg) == 0:
        raise ValueError("no bearings to known places: their concentration cannot be estimated")
    bearing = np.radians(np.asarray(bearing_grid_deg, float))
    error = np.arctan2(np.asarray(easting_m, float) - from_easting_m, np.asarray(northing_m, float) - from_northing_m) - bearing
    k = concentration_from_resultant(float(np.mean(np.cos(error))))
    a = mean_resultant(k)
    information = len(error) * (1.0 - (a / k if k > 0 else 0.5) - a * a)
    return k, float(1.0 / np.sqrt(information))
