"""What people on the ground add to a fix: bearings taken by hand and places found by eye, for one tag during one flight."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.location.bearings import log_density_of_bearings
from pipeline.location.sightings import log_density_of_sighting


@dataclass(frozen=True)
class ByHand:
    """Bearings and sightings of one tag, survey CRS; arrays of shape (bearings,) and (sightings,).

    station_easting_m, station_northing_m, bearing_grid_deg, concentration : of bearings. [m], [degrees], [1]
    seen_easting_m, seen_northing_m, seen_sd_m : of sightings. [m]
    """

    station_easting_m: np.ndarray
    station_northing_m: np.ndarray
    bearing_grid_deg: np.ndarray
    concentration: np.ndarray
    seen_easting_m: np.ndarray
    seen_northing_m: np.ndarray
    seen_sd_m: np.ndarray

    @property
    def bearings(self) -> int:
        """Number of bearings."""
        return len(self.bearing_grid_deg)

    @property
    def sightings(self) -> int:
        """Number of sightings."""
        return len(self.seen_easting_m)

    def log_density(self, easting_m, northing_m) -> np.ndarray:
        """Log-density of all of it for a tag in each cell, shape (cells,)."""
        total = np.zeros(len(easting_m))
        if self.bearings:
            total = total + log_density_of_bearings(easting_m, northing_m, from_easting_m=self.station_easting_m, from_northing_m=self.station_northing_m,
                                                    bearing_grid_deg=self.bearing_grid_deg, concentration=self.concentration)
        for east, north, sd in zip(self.seen_easting_m, self.seen_northing_m, self.seen_sd_m):
            total = total + log_density_of_sighting(easting_m, northing_m, at_easting_m=east, at_northing_m=north, position_sd_m=sd)
        return total

    def places(self) -> tuple[np.ndarray, np.ndarray]:
        """Positions that the search area must hold: stations and places seen. [m]"""
        return np.concatenate([self.station_easting_m, self.seen_easting_m]), np.concatenate([self.station_northing_m, self.seen_northing_m])
