"""What hills and canopy would take from flights that have not been flown: worked out once on a coarse lattice of receivers, then read off for any track.

The loss from every receiver of the lattice to every place of another one is that of pipeline.radio; a track's records take theirs from the four receivers
round them (bilinear). Coarse: a ridge narrower than the spacing is smoothed. Adequate for comparing flights, not for locating anything.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from pipeline.radio import Canopy, FlightCanopy, FlightTerrainLoss, Listening, TerrainLoss

# Between receivers, and between places. Finer costs time with its fourth power; the tests say what error this leaves.
SPACING_M = 200.0


class GroundAhead:
    """Hills and canopy between receivers anywhere over one piece of ground and places in another.

    Parameters
    ----------
    terrain, canopy : of the whole ground; None where nothing is known.
    receivers_m, places_m : (west, south, east, north) of the ground flown over and of that asked about, survey CRS. [m]
    spacing_m : of both lattices. [m]
    """

    def __init__(self, terrain: TerrainLoss | None, canopy: Canopy | None, receivers_m, places_m, spacing_m: float = SPACING_M):
        self.terrain, self.canopy, self.places_m, self.spacing_m = terrain, canopy, tuple(places_m), float(spacing_m)
        west, south, east, north = receivers_m
        # Two points at least along each axis, the last one beyond the edge.
        self._across, self._up = (low + spacing_m * np.arange(int(np.ceil(max(high - low, 1.0) / spacing_m)) + 1) for low, high in ((west, east), (south, north)))
        self._known = {}

    def along(self, listening: Listening) -> Listening:
        """The same listening, knowing what ground and canopy take from it. One height above the ground for all records. Raises ValueError for several."""
        heights = np.unique(listening.height_above_ground_m)
        if len(heights) > 1:
            raise ValueError(f"a proposed flight has one height above the ground, got {heights.min():g} to {heights.max():g} m")
        if not len(listening) or (self.terrain is None and self.canopy is None):
            return listening
        height_m = float(heights[0])
        return replace(listening, terrain=None if self.terrain is None else self._terrain_along(listening, height_m),
                       canopy=None if self.canopy is None else self._canopy_along(listening, height_m))

    def _terrain_along(self, listening: Listening, height_m: float) -> FlightTerrainLoss:
        whole, mix = self._lattice(self.terrain, height_m)
        return replace(whole, record=np.arange(len(listening)), lattice_db=mix(listening),
                       receiver_ground_m=self.terrain.ground.at(listening.easting_m, listening.northing_m).astype(float))

    def _canopy_along(self, listening: Listening, height_m: float) -> FlightCanopy:
        whole, mix = self._lattice(self.canopy, height_m)
        return replace(whole, record=np.arange(len(listening)), lattice_way_m=mix(listening))

    def _lattice(self, taken, height_m: float):
        """(what is taken from all receivers of the lattice, function listening -> array (places, records)); remembered for each height."""
        key = (id(taken), height_m)
        if key not in self._known:
            north, east = (axis.ravel() for axis in np.meshgrid(self._up, self._across, indexing="ij"))
            receivers = SimpleNamespace(easting_m=east, northing_m=north, height_above_ground_m=np.full(len(east), height_m))
            whole = taken.along(receivers, self.places_m, lattice_m=self.spacing_m)
            values = getattr(whole, whole.LATTICE).T.reshape(len(self._up), len(self._across), -1)
            between = RegularGridInterpolator((self._up, self._across), values, bounds_error=False, fill_value=None)
            self._known[key] = whole, lambda listening: np.ascontiguousarray(between(np.stack([listening.northing_m, listening.easting_m], axis=1)).T, dtype=np.float32)
        return self._known[key]
