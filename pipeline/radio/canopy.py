"""How far the straight way between receiver and tag runs through vegetation, and what is believed of the loss before beacons speak.

Vegetation fills the space between the ground and the top of the canopy. Of the straight ray from tag to receiver counts what lies between the
two surfaces. Where a hill hides the tag, the part of the ray under the ground does not count: what the wave passes on its way over the
hill is not known. Along a ray, height above ground and height above the canopy's top are taken as straight between points a cell apart,
so that even ground under an even canopy is exact at every angle.

The loss over a way d is A (1 - exp(-d gamma / A)) (ITU-R P.833-9 equation 1): gamma per metre at first, never more than A. The
Recommendation means paths in woodland from mast to mast; it is used here for slanted ways too, whose loss per metre is fitted on beacons.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from scipy.ndimage import distance_transform_edt

from pipeline.radio.diffraction import vegetation_attenuation_db_per_m
from pipeline.radio.flight_lattice import FlightLattice, in_half_precision, lattice_over
from pipeline.radio.ground_heights import GroundHeights
from pipeline.radio.terrain_loss import LOWEST_ANTENNA_M, USUAL_TAG_HEIGHT_M

# Rays are followed in steps of about this; a finer raster is averaged to it.
_CELL_M = 20.0
# Blocks of work that stay in the processor's cache, or in little memory.
_POINTS_AT_ONCE, _PAIRS_AT_ONCE = 60_000, 200_000
# Lowest frequencies of the table of ITU-R P.833-9 (mixed woodland, 105.9 to 949 MHz): the loss that no depth exceeds.
_MOST_MHZ, _MOST_DB = (105.9, 466.475, 949.0), (9.4, 18.0, 26.5)


def usual_attenuation_db_per_m(frequency_mhz: float) -> float:
    """What is believed of the loss per metre of canopy where no beacon speaks of it. [dB/m]

    Source: ITU-R P.833-9 figure 2, vertical polarisation (0.058 dB/m at 150 MHz), values of the figure from memory; the Recommendation's table
    for mixed woodland, straight between its logarithms, has 0.052. Beyond 30 to 1000 MHz the value of the nearer end.
    """
    return float(vegetation_attenuation_db_per_m(min(max(frequency_mhz, 30.0), 1000.0)))


def most_loss_db(frequency_mhz: float) -> float:
    """Loss that no way through canopy exceeds. [dB]

    Source: the table of ITU-R P.833-9 for mixed woodland, straight between its logarithms (10.9 dB at 150 MHz); beyond 106 to 949 MHz the
    value of the nearer end. It is not fitted: few beacons stand so deep.
    """
    return float(np.exp(np.interp(np.log(frequency_mhz), np.log(_MOST_MHZ), np.log(_MOST_DB))))


def canopy_frequency_mhz(listenings) -> float | None:
    """Frequency at which the ways of these listenings are taken; None where none of them knows of a canopy. [MHz]"""
    return next((listening.canopy.frequency_mhz for listening in listenings if listening.canopy is not None), None)


class Canopy:
    """Canopy over one piece of ground.

    Parameters
    ----------
    height_m : height of the canopy's top above the ground, array (rows, columns), north up; NaN and 0 = none. [m]
    west_m, north_m : outer corner of the first cell, survey CRS. cell_m : side of a cell. [m]
    ground : ground heights, None = level. Holes in it, and what lies beyond it, are as high as the nearest known ground.
    frequency_mhz : of the tags. Raises ValueError unless above 0, and for heights below 0. [MHz]
    """

    def __init__(self, height_m, west_m: float, north_m: float, cell_m: float, ground: GroundHeights | None = None, frequency_mhz: float = 150.0):
        if not frequency_mhz > 0 or not cell_m > 0:
            raise ValueError(f"frequency and cell size are above 0, got {frequency_mhz:g} MHz and {cell_m:g} m")
        height = np.nan_to_num(np.asarray(height_m, float))
        if (height < 0.0).any():
            raise ValueError("canopy heights are 0 or above")
        self.canopy = GroundHeights(height, float(west_m), float(north_m), float(cell_m)).averaged(_CELL_M)
        self.ground = None if ground is None or np.isnan(ground.height_m).all() else ground.averaged(_CELL_M)
        self.frequency_mhz = float(frequency_mhz)

    def way_m(self, listening, easting_m, northing_m, tag_height_m: float = USUAL_TAG_HEIGHT_M) -> np.ndarray:
        """Length of the straight ray from every record to every place that lies within the canopy, shape (records, places). [m]

        listening : anything with easting_m, northing_m, height_above_ground_m of the receiver, shape (records,). [m]
        easting_m, northing_m : shape (places,). [m] tag_height_m : above the ground. [m]
        """
        easting, northing = np.atleast_1d(np.asarray(easting_m, float)), np.atleast_1d(np.asarray(northing_m, float))
        # A frame's columns come as series: plain arrays are looked up faster.
        receiver_e, receiver_n = np.asarray(listening.easting_m, float), np.asarray(listening.northing_m, float)
        way = np.zeros((len(receiver_e), len(easting)), np.float32)
        if not way.size:
            return way
        surfaces = self._surfaces(np.concatenate([receiver_e, easting]), np.concatenate([receiver_n, northing]))
        receivers = surfaces.ends(receiver_e, receiver_n, np.maximum(np.asarray(listening.height_above_ground_m, float), LOWEST_ANTENNA_M))
        places = surfaces.ends(easting, northing, np.full(len(easting), max(tag_height_m, LOWEST_ANTENNA_M)))
        if surfaces.highest_m is None:
            return way
        block = max(1, _PAIRS_AT_ONCE // len(easting))
        for first in range(0, len(receiver_e), block):
            some = receivers[:, first:first + block]
            record, place = np.divmod(np.arange(some.shape[1] * len(easting)), len(easting))
            way[first:first + block] = _ways_m(surfaces, places[:, place], some[:, record]).reshape(some.shape[1], -1)
        return way

    def along(self, listening, area_m, *, record=None, tag_height_m: float = USUAL_TAG_HEIGHT_M, lattice_m: float | None = None) -> "FlightCanopy":
        """The way from every record of a flight to a lattice over an area, from which that to any place in it follows quickly.

        Arguments as in TerrainLoss.along.
        """
        lattice_m, columns, across, up = lattice_over(area_m, _CELL_M, lattice_m)
        way = self.way_m(listening, across, up, tag_height_m)
        numbers = np.arange(len(way)) if record is None else np.asarray(record)
        return FlightCanopy(numbers, float(area_m[0]), float(area_m[1]), lattice_m, columns, in_half_precision(way), self.frequency_mhz)

    def _surfaces(self, easting, northing) -> "_Surfaces":
        """Ground and canopy on one grid that holds all these positions."""
        cell_m = self.canopy.cell_m / np.ceil(self.canopy.cell_m / _CELL_M - 1e-9)
        # Cells stay where the raster's are, lest the edges of woods be smoothed twice.
        west = self.canopy.west_m + cell_m * (np.floor((np.nanmin(easting) - self.canopy.west_m) / cell_m) - 1)
        north = self.canopy.north_m - cell_m * (np.floor((self.canopy.north_m - np.nanmax(northing)) / cell_m) - 1)
        columns, rows = int((np.nanmax(easting) - west) / cell_m) + 2, int((north - np.nanmin(northing)) / cell_m) + 2
        across, up = np.meshgrid(west + cell_m * (np.arange(columns) + 0.5), north - cell_m * (np.arange(rows) + 0.5))
        height = np.nan_to_num(self.canopy.at(across, up))
        ground = None
        if self.ground is not None:
            known = self.ground.at(across, up).astype(float)
            if np.isnan(known).all():
                known[:] = 0.0
            nearest = distance_transform_edt(np.isnan(known), return_distances=False, return_indices=True)
            # Heights about their mean keep single precision to a tenth of a millimetre.
            ground = known[tuple(nearest)] - np.nanmean(known)
        return _Surfaces.of(height, ground, west, north, cell_m)


@dataclass(frozen=True)
class FlightCanopy(FlightLattice):
    """The way through canopy from records of one flight to the places of a lattice; see FlightLattice.

    lattice_way_m : way, shape (places, records). [m]
    frequency_mhz : of the tags. [MHz]
    """

    LATTICE: ClassVar[str] = "lattice_way_m"

    lattice_way_m: np.ndarray
    frequency_mhz: float

    def way_m(self, easting_m, northing_m) -> np.ndarray:
        """Way from every chosen record to every place, shape (records, places), bilinear in the lattice; 0 outside it. [m]"""
        return self._mixed(easting_m, northing_m)


@dataclass(frozen=True)
class _Surfaces:
    """Canopy above ground, and ground (None = level at 0), on one grid; highest_m : highest top of any canopy, None without any. [m]"""

    canopy: GroundHeights
    ground: GroundHeights | None
    highest_m: float | None

    @classmethod
    def of(cls, canopy_m, ground_m, west_m, north_m, cell_m) -> "_Surfaces":
        tops = np.where(canopy_m > 0.0, canopy_m + (0.0 if ground_m is None else ground_m), -np.inf)
        # Between a wooded cell and its neighbours the top may reach as high as the neighbour's ground under the wood's canopy.
        slack = 0.0 if ground_m is None else float(np.max([np.abs(np.diff(ground_m, axis=axis)).max(initial=0.0) for axis in (0, 1)]))
        highest = float(tops.max()) + slack if np.isfinite(tops).any() else None
        ground = None if ground_m is None else GroundHeights(ground_m, west_m, north_m, cell_m)
        return cls(GroundHeights(canopy_m, west_m, north_m, cell_m), ground, highest)

    def ends(self, easting_m, northing_m, above_m) -> np.ndarray:
        """Column, row and height of the ends of rays; float32, shape (3, ends)."""
        column, row = self.canopy.in_cells(easting_m, northing_m)
        ground = 0.0 if self.ground is None else self.ground.at_cells(column, row)
        return np.stack([column, row, (ground + above_m).astype(np.float32)])


def _ways_m(surfaces: _Surfaces, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Way of each ray within the canopy; start (of the tag), end (of the receiver) as from _Surfaces.ends, shape (3, rays) -> (rays,). [m]"""
    cell = np.float32(surfaces.canopy.cell_m)
    level_m = np.hypot(end[0] - start[0], end[1] - start[1]) * cell
    climb = end[2] - start[2]
    # Above the highest top there is nothing to follow.
    rising = climb > 0.01
    share = np.where(rising, np.clip((np.float32(surfaces.highest_m) - start[2]) / np.where(rising, climb, 1.0), 0.0, 1.0), np.float32(1.0)).astype(np.float32)
    steps = np.where(share > 0.0, np.ceil(share * level_m / cell + np.float32(1e-3)), 0).astype(np.int32)
    within = np.zeros(len(share), np.float32)
    order = np.argsort(steps, kind="stable")
    # Rays of as many steps are worked on side by side.
    for rays in np.split(order, np.flatnonzero(np.diff(steps[order])) + 1):
        count = int(steps[rays[0]]) if len(rays) else 0
        block = max(1, _POINTS_AT_ONCE // (count + 1))
        for first in range(0, len(rays) if count else 0, block):
            some = rays[first:first + block]
            within[some] = _share_within(surfaces, start[:, some], share[some] * (end[:, some] - start[:, some]), count)
    return within * share * np.hypot(level_m, climb)


def _share_within(surfaces: _Surfaces, start, over, count: int) -> np.ndarray:
    """Share of rays within the canopy that start there and go over so much (column, row, height), followed in so many steps; shape (rays,)."""
    at = (np.arange(count + 1, dtype=np.float32) / np.float32(count))[:, None]
    column, row = start[0] + at * over[0], start[1] + at * over[1]
    above = start[2] + at * over[2]
    if surfaces.ground is not None:
        above = above - surfaces.ground.at_cells(column, row)
    share = _negative(above - surfaces.canopy.at_cells(column, row))
    return share if surfaces.ground is None else share - _negative(above)


def _negative(heights) -> np.ndarray:
    """Share of the way over which a height, straight between points, is negative; (points, rays) -> (rays,)."""
    size, below = np.abs(heights), np.maximum(-heights, np.float32(0.0))
    return ((below[1:] + below[:-1]) / (size[1:] + size[:-1] + np.float32(1e-9))).mean(axis=0)
