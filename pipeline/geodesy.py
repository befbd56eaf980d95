"""Degrees and metres: the one projection of a survey, grid north against true north, and distances on the ellipsoid.

Everything is measured in a transverse Mercator or another projected CRS in metres. Without one named in the survey a local
transverse Mercator of scale 1 is made for the data, so that no zone border and no antimeridian ever cuts a study area.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pyproj
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import TransverseMercatorConversion

WGS84 = pyproj.CRS.from_epsg(4326)
_ELLIPSOID = pyproj.Geod(ellps="WGS84")


@lru_cache(maxsize=16)
def _transformer(wkt: str) -> pyproj.Transformer:
    return pyproj.Transformer.from_crs(WGS84, pyproj.CRS.from_wkt(wkt), always_xy=True)


@lru_cache(maxsize=16)
def _factors_projection(wkt: str) -> pyproj.Proj:
    return pyproj.Proj(pyproj.CRS.from_wkt(wkt))


@dataclass(frozen=True)
class Projection:
    """Between WGS 84 degrees and metres of one projected CRS.

    crs : the projected CRS, axes in metres, easting first.
    name : what a reader is told, for example "local transverse Mercator centred on 57.2000 N 4.1000 W (metres)".
    """

    crs: pyproj.CRS
    name: str

    def forward(self, latitude, longitude):
        """Easting and northing [m] of WGS 84 latitude and longitude [deg]; NaN in, NaN out. Any array shape."""
        longitude, latitude = np.asarray(longitude, dtype=float), np.asarray(latitude, dtype=float)
        easting_m, northing_m = _transformer(self.crs.to_wkt()).transform(longitude, latitude)
        return _finite(easting_m), _finite(northing_m)

    def inverse(self, easting_m, northing_m):
        """WGS 84 latitude and longitude [deg] of easting and northing [m]; NaN in, NaN out. Any array shape."""
        easting_m, northing_m = np.asarray(easting_m, dtype=float), np.asarray(northing_m, dtype=float)
        longitude, latitude = _transformer(self.crs.to_wkt()).transform(easting_m, northing_m, direction="INVERSE")
        return _finite(latitude), _finite(longitude)

    def convergence_deg(self, latitude, longitude):
        """Meridian convergence [deg], positive where grid north lies east (clockwise) of true north.

        A direction counted from grid north is the direction counted from true north minus the convergence:
        azimuth_grid = azimuth_true - convergence. Below 1 degree within about 60 km of the centre of a local projection.

        References
        ----------
        Geodetic Datum of Australia Technical Manual, "grid convergence", for the sign.
        """
        longitude, latitude = np.asarray(longitude, dtype=float), np.asarray(latitude, dtype=float)
        factors = _factors_projection(self.crs.to_wkt()).get_factors(longitude, latitude)
        return _finite(np.asarray(factors.meridian_convergence, dtype=float))


def _finite(values):
    """PROJ marks what it cannot project with infinity; everything here marks it with NaN."""
    return np.where(np.isfinite(values), values, np.nan)[()]


def is_metric(crs: pyproj.CRS) -> bool:
    """Whether the CRS is projected with both horizontal axes in metres."""
    return bool(crs.is_projected) and all(axis.unit_name in ("metre", "meter") for axis in crs.axis_info[:2])


def central_position(latitudes, longitudes) -> tuple[float, float]:
    """Median latitude and longitude [deg] of positions, safe across the antimeridian.

    Longitudes are counted from the direction of their mean unit vector before the median is taken. Blank positions are ignored;
    ValueError when none is left.
    """
    latitudes, longitudes = np.asarray(latitudes, dtype=float).ravel(), np.asarray(longitudes, dtype=float).ravel()
    known = np.isfinite(latitudes) & np.isfinite(longitudes)
    if not known.any():
        raise ValueError("no position to centre a projection on")
    latitudes, longitudes = latitudes[known], longitudes[known]
    middle = np.degrees(np.angle(np.exp(1j * np.radians(longitudes)).mean()))
    offset = np.median(wrap_180(longitudes - middle))
    return float(np.median(latitudes)), float(wrap_180(middle + offset))


def choose_projection(latitudes, longitudes, crs=None) -> Projection:
    """The projection of a survey: the CRS it names, or a local transverse Mercator made for the data.

    Parameters
    ----------
    latitudes, longitudes : arrays of WGS 84 degrees; blank values are ignored
    crs : anything pyproj understands ("EPSG:32632"), or None

    The local projection has scale 1 on the median meridian, its centre rounded to 0.01 degree and false origin 0, 0. Scale error is
    below 1 in 10,000 within 90 km of that meridian. Raises ValueError for a CRS that is not projected in metres, or without any position.
    """
    if crs is not None:
        chosen = pyproj.CRS.from_user_input(crs)
        if not is_metric(chosen):
            raise ValueError(f"{crs} ({chosen.name}) is not a projected CRS in metres")
        # less than full confidence names a CRS that merely looks alike, on another datum for instance
        authority = chosen.to_authority(min_confidence=100)
        return Projection(chosen, f"{chosen.name} ({':'.join(authority)}, metres)" if authority else f"{chosen.name} (metres)")
    latitude, longitude = (round(value, 2) + 0.0 for value in central_position(latitudes, longitudes))
    name = f"local transverse Mercator centred on {position_text(latitude, longitude)}"
    conversion = TransverseMercatorConversion(
        latitude_natural_origin=latitude, longitude_natural_origin=longitude, scale_factor_natural_origin=1.0
    )
    return Projection(ProjectedCRS(conversion, name=name, geodetic_crs=WGS84), f"{name} (metres)")


def position_text(latitude: float, longitude: float) -> str:
    """A position in words, "57.2000 N 4.1000 W"."""
    return f"{abs(latitude):.4f} {'N' if latitude >= 0 else 'S'} {abs(longitude):.4f} {'E' if longitude >= 0 else 'W'}"


def distance_azimuth(latitude_1, longitude_1, latitude_2, longitude_2):
    """Length [m] and starting azimuth [deg, clockwise from true north, 0-360] of the shortest path on the WGS 84 ellipsoid.

    All arguments in degrees, broadcast against each other. Karney 2013, through PROJ; exact to well below a millimetre.
    """
    longitude_1, latitude_1, longitude_2, latitude_2 = np.broadcast_arrays(
        *(np.asarray(values, dtype=float) for values in (longitude_1, latitude_1, longitude_2, latitude_2))
    )
    azimuth, _, distance_m = _ELLIPSOID.inv(longitude_1, latitude_1, longitude_2, latitude_2)
    return np.asarray(distance_m)[()], wrap_360(azimuth)


def written_uncertainty_m(latitude, step_deg):
    """How far a place may lie from its written coordinates [m] when latitude and longitude were written in steps of step_deg: the diagonal of one cell on the WGS 84 ellipsoid.

    latitude, step_deg : degrees, broadcast against each other. The whole diagonal covers coordinates that were cut off; half of it those rounded to the nearest step.

    References
    ----------
    Chapman & Wieczorek 2020, Georeferencing Best Practices (GBIF), uncertainty due to coordinate precision.
    """
    sine = np.sin(np.radians(np.asarray(latitude, dtype=float)))
    axis_m, squared = _ELLIPSOID.a, _ELLIPSOID.es
    meridian_m = axis_m * (1 - squared) / (1 - squared * sine**2) ** 1.5
    parallel_m = axis_m / np.sqrt(1 - squared * sine**2) * np.sqrt(1 - sine**2)
    return np.hypot(meridian_m, parallel_m) * np.radians(step_deg)


def wrap_360(angle_deg):
    """The same angle within 0 (included) and 360 (excluded) degrees."""
    wrapped = np.mod(np.asarray(angle_deg, dtype=float), 360.0)
    return np.where(wrapped == 360.0, 0.0, wrapped)[()]


def wrap_180(angle_deg):
    """The same angle within -180 (included) and 180 (excluded) degrees."""
    return (np.mod(np.asarray(angle_deg, dtype=float) + 180.0, 360.0) - 180.0)[()]
