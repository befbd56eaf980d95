"""What the ground takes from a signal between receiver and tag, beyond what level ground takes.

For a receiver and a place the loss is that of Bullington's construction over the profile of ground between them, less the same
over level ground with the antennas as high above it. Level ground is left to the tag's power and the path-loss exponent, which are
fitted where beacons stood; counted here as well it would count twice. The difference is 0 on level ground, large behind a hill, and
below 0 where the ground falls away from the sight line faster than level ground would (a tag on a slope that faces the receiver).

Ground nearer to either end than one cell of the raster is left out, since the raster does not resolve it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from pipeline.radio.diffraction import bullington_loss_db, level_ground_loss_db, wavelength_m
from pipeline.radio.flight_lattice import FlightLattice, in_half_precision, lattice_over
from pipeline.radio.ground_heights import GroundHeights

# Tags lie on the ground or are worn a little above it: common practice, no source.
USUAL_TAG_HEIGHT_M = 0.3
# Lower antennas are taken to be this high: diffraction over ground has no meaning for an antenna in it.
LOWEST_ANTENNA_M = 0.1
# A finer raster is averaged to about this; the zone that matters round a sight line is as wide a few cells from the tag (Fresnel zone 8 m at 30 m).
_FINEST_CELL_M = 20.0
# Points of a profile without ground are left out; with a greater share of them the path counts as without terrain.
_MOST_MISSING = 0.1
# Blocks of work that stay in the processor's cache, or in little memory.
_POINTS_AT_ONCE, _PAIRS_AT_ONCE = 60_000, 200_000


class TerrainLoss:
    """The loss behind hills at one frequency over one piece of ground.

    Parameters
    ----------
    height_m : ground heights, array (rows, columns), north up, NaN in holes. [m]
    west_m, north_m : outer corner of the first cell, survey CRS. cell_m : side of a cell. [m]
    frequency_mhz : of the tags. Raises ValueError unless above 0. [MHz]
    """

    def __init__(self, height_m, west_m: float, north_m: float, cell_m: float, frequency_mhz: float = 150.0):
        if not frequency_mhz > 0 or not cell_m > 0:
            raise ValueError(f"frequency and cell size are above 0, got {frequency_mhz:g} MHz and {cell_m:g} m")
        height = np.where(np.isfinite(height_m), height_m, np.nan).astype(float)
        level = np.nanmean(height) if np.isfinite(height).any() else 0.0
        # Heights about their mean keep single precision to a tenth of a millimetre.
        self.ground = GroundHeights(height - level, float(west_m), float(north_m), float(cell_m)).averaged(_FINEST_CELL_M)
        self.wavelength_m = np.float32(wavelength_m(frequency_mhz))

    def loss_db(self, listening, easting_m, northing_m, tag_height_m: float = USUAL_TAG_HEIGHT_M) -> np.ndarray:
        """Loss from every record to every place, profile by profile; shape (records, places). 0 where there is no terrain. [dB]

        listening : anything with easting_m, northing_m, height_above_ground_m of the receiver, shape (records,). [m]
        easting_m, northing_m : shape (places,). [m] tag_height_m : above the ground. [m]
        """
        return np.nan_to_num(self._known_loss_db(listening, easting_m, northing_m, tag_height_m))

    def along(self, listening, area_m, *, record=None, tag_height_m: float = USUAL_TAG_HEIGHT_M, lattice_m: float | None = None) -> "FlightTerrainLoss":
        """The loss from every record of a flight to a lattice over an area, from which that to any place in it follows quickly.

        listening : as in loss_db; with one row for each record of the flight, whatever tag it is of.
        area_m : (west, south, east, north), survey CRS. [m]
        record : numbers of the records, by default 0, 1, 2 ...
        lattice_m : spacing of the lattice; by default so that it has about 4500 places, but no finer than the raster. [m]
        """
        lattice_m, columns, across, up = lattice_over(area_m, self.ground.cell_m, lattice_m)
        loss = self._known_loss_db(listening, across, up, tag_height_m)
        without = float(np.isnan(loss).mean()) if loss.size else 0.0
        numbers = np.arange(len(loss)) if record is None else np.asarray(record)
        # Half precision is a hundredth of a decibel.
        return FlightTerrainLoss(numbers, float(area_m[0]), float(area_m[1]), lattice_m, columns, in_half_precision(loss), without,
                                 self.ground.at(listening.easting_m, listening.northing_m).astype(float), self.ground.at(across, up).astype(float))

    def _known_loss_db(self, listening, easting_m, northing_m, tag_height_m) -> np.ndarray:
        """Loss, NaN where the terrain does not cover the path; shape (records, places)."""
        easting, northing = np.atleast_1d(np.asarray(easting_m, float)), np.atleast_1d(np.asarray(northing_m, float))
        height = np.maximum(np.asarray(listening.height_above_ground_m, float), LOWEST_ANTENNA_M)
        receivers = _Ends.on(self.ground, listening.easting_m, listening.northing_m, height)
        places = _Ends.on(self.ground, easting, northing, np.full(len(easting), max(tag_height_m, LOWEST_ANTENNA_M)))
        loss = np.full((len(receivers), len(places)), np.nan, np.float32)
        block = max(1, _PAIRS_AT_ONCE // max(len(places), 1))
        for first in range(0, len(receivers), block):
            record, place = np.nonzero(receivers.known[first:first + block, None] & places.known[None, :])
            loss[first + record, place] = _losses_db(self.ground, receivers.of(first + record), places.of(place), self.wavelength_m)
        return loss


@dataclass(frozen=True)
class FlightTerrainLoss(FlightLattice):
    """The loss behind hills from records of one flight to the places of a lattice; see FlightLattice.

    lattice_db : loss, shape (places, records); one array for all tags of a flight. [dB]
    share_without_terrain : share of its pairs of record and place between which the ground is not known; their loss is 0.
    receiver_ground_m, lattice_ground_m : ground under each record and at each place, over one common level; NaN where unknown. [m]
    """

    LATTICE: ClassVar[str] = "lattice_db"

    lattice_db: np.ndarray
    share_without_terrain: float
    receiver_ground_m: np.ndarray
    lattice_ground_m: np.ndarray

    def loss_db(self, easting_m, northing_m) -> np.ndarray:
        """Loss from every chosen record to every place, shape (records, places), bilinear in the lattice; 0 outside it. [dB]"""
        return self._mixed(easting_m, northing_m)

    def climb_m(self, easting_m, northing_m) -> np.ndarray:
        """How much higher the ground lies under every chosen record than at every place, shape (records, places); NaN where either is unknown. [m]"""
        corners, weights = self._between(easting_m, northing_m)
        there = np.where(weights.any(axis=1), (weights * self.lattice_ground_m[corners]).sum(axis=1), np.nan)
        here = self.receiver_ground_m if self.chosen is None else self.receiver_ground_m[self.chosen]
        return here[:, None] - there[None, :]


@dataclass(frozen=True)
class _Ends:
    """One end of each of many paths, float32: column and row on the ground's grid, ground height and height of the antenna above it. [m]"""

    column: np.ndarray
    row: np.ndarray
    ground_m: np.ndarray
    above_m: np.ndarray

    def __len__(self):
        return len(self.column)

    @classmethod
    def on(cls, ground: GroundHeights, easting_m, northing_m, above_m) -> "_Ends":
        return cls(*ground.in_cells(easting_m, northing_m), ground.at(easting_m, northing_m), np.asarray(above_m, np.float32))

    @property
    def known(self) -> np.ndarray:
        return ~np.isnan(self.ground_m) & ~np.isnan(self.above_m)

    def of(self, which) -> "_Ends":
        return _Ends(self.column[which], self.row[which], self.ground_m[which], self.above_m[which])


def _losses_db(ground: GroundHeights, start: _Ends, end: _Ends, wavelength) -> np.ndarray:
    """Loss of each path, NaN where too much of its ground is missing; 0 where the ends are too near to have ground between. Shape (paths,)."""
    distance_m = np.hypot(end.column - start.column, end.row - start.row) * np.float32(ground.cell_m)
    # Points lie a raster cell apart, or a little more, so that the first is a cell from either end.
    steps = (distance_m / np.float32(ground.cell_m)).astype(np.int32)
    order = np.argsort(steps, kind="stable")
    loss = np.zeros(len(order), np.float32)
    # Paths with as many points are worked on side by side.
    for paths in np.split(order, np.flatnonzero(np.diff(steps[order])) + 1):
        count = int(steps[paths[0]]) if len(paths) else 0
        if count < 2:
            continue
        share = (np.arange(1, count, dtype=np.float32) / np.float32(count))[:, None]
        block = max(1, _POINTS_AT_ONCE // count)
        for first in range(0, len(paths), block):
            some = paths[first:first + block]
            loss[some] = _side_by_side_db(ground, start.of(some), end.of(some), distance_m[some], share, wavelength)
    return loss


def _side_by_side_db(ground: GroundHeights, start: _Ends, end: _Ends, distance_m, share, wavelength) -> np.ndarray:
    """Loss of paths whose profile points lie at the same shares of their length; shape (paths,)."""
    height = ground.at_cells(start.column + share * (end.column - start.column), start.row + share * (end.row - start.row))
    behind = bullington_loss_db(share, height, distance_m, start.ground_m + start.above_m, end.ground_m + end.above_m, wavelength)
    level = level_ground_loss_db(distance_m, start.above_m, end.above_m, wavelength, nearest_m=share[0] * distance_m)
    loss = behind - level
    if ground.has_holes:
        loss = np.where(np.isnan(height).mean(axis=0) > _MOST_MISSING, np.float32(np.nan), loss)
    return loss
