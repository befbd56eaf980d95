"""Positions made coarse before they leave the project: each is given as the centre of its square in a grid that does not depend on it.

Source: A. D. Chapman, Current best practices for generalizing sensitive species occurrence data, GBIF Secretariat 2020: a stated grid,
the uncertainty given, what was done documented, and no random shifts, which can be averaged away.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pyproj

METRES_PER_DEGREE = 111_320.0


@dataclass(frozen=True)
class Generalised:
    """Centres of squares. latitude, longitude : of the centres, rounded to what the squares are worth. [deg, WGS 84]
    farthest_m : from the centre to a corner, the most that a position lies off its centre. grid : the grid in words.
    """

    latitude: np.ndarray
    longitude: np.ndarray
    farthest_m: float
    grid: str


def generalise(latitude, longitude, side_m: float) -> Generalised:
    """Each position as the centre of its square of a UTM grid. Arrays of shape (n,), degrees; n may be 0.

    side_m : of the squares, from 100 m up. The lines of the grid are whole multiples of it in the UTM zone of the middle of all
    positions, so that they tell nothing of where the positions are. Adequate between 80 S and 84 N, where UTM is defined.
    """
    latitude, longitude = np.asarray(latitude, float), np.asarray(longitude, float)
    code = _zone_code(latitude, longitude)
    grid = f"squares of {_side_words(side_m)} of the UTM grid (EPSG:{code})"
    if not len(latitude):
        return Generalised(latitude, longitude, _farthest_m(side_m), grid)
    there = pyproj.Transformer.from_crs("EPSG:4326", f"EPSG:{code}", always_xy=True)
    east, north = there.transform(longitude, latitude)
    centre = [(np.floor(np.asarray(axis) / side_m) + 0.5) * side_m for axis in (east, north)]
    longitude, latitude = there.transform(*centre, direction="INVERSE")
    decimals = decimals_for(side_m)
    return Generalised(np.round(latitude, decimals), np.round(longitude, decimals), _farthest_m(side_m), grid)


@dataclass(frozen=True)
class OneSquare:
    """The square that stands for a whole campaign. latitude, longitude : of its centre. [deg, WGS 84] grid : the square in words.
    farthest_m : the most that a place of the campaign lies off that centre, in the square or beside it.
    """

    latitude: float
    longitude: float
    farthest_m: float
    grid: str

    @property
    def uncertainty_m(self) -> int:
        """farthest_m, rounded up to 100 m."""
        return 100 * math.ceil(self.farthest_m / 100.0)


def one_square(latitude: float, longitude: float, reach_m: float, side_m: float) -> OneSquare:
    """The square of the UTM grid that holds the middle of a campaign, to be given for all of its places. side_m : as for `generalise`.

    latitude, longitude : of the middle. [deg] reach_m : from there to the farthest place; rounded up to whole kilometres.
    Were each place given by its own square, a campaign on a border would show two of them and so tell where it lies to the width of the
    campaign; the smallest square that holds all would do the same by its size. One square of a fixed size tells nothing but itself.
    """
    found = generalise([latitude], [longitude], side_m)
    return OneSquare(float(found.latitude[0]), float(found.longitude[0]), found.farthest_m + 1000.0 * math.ceil(reach_m / 1000.0), found.grid.replace("squares", "square", 1))


def decimals_for(side_m: float) -> int:
    """Decimals of degrees that show the centre of a square to a twentieth of its side."""
    return max(1, math.ceil(math.log10(METRES_PER_DEGREE / (0.1 * side_m))))


def _farthest_m(side_m: float) -> float:
    """Half the diagonal, with 1 % for the scale of UTM and the rounding of the centre."""
    return 1.01 * side_m / math.sqrt(2.0)


def _zone_code(latitude: np.ndarray, longitude: np.ndarray) -> int:
    if not len(latitude):
        return 32631
    # the middle on the circle, so that the antimeridian does not throw it to the other side of the Earth
    angles = np.radians(longitude)
    middle = math.degrees(math.atan2(np.sin(angles).mean(), np.cos(angles).mean()))
    zone = int((middle + 180.0) // 6.0) % 60 + 1
    return (32600 if latitude.mean() >= 0 else 32700) + zone


def _side_words(side_m: float) -> str:
    return f"{side_m / 1000:g} km" if side_m >= 1000 else f"{side_m:g} m"
