"""Projections and geodesics against printed values."""

from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import pytest

from pipeline.geodesy import choose_projection, distance_azimuth, wrap_360

VALUES = Path(__file__).parent / "values"


def degrees(d, m, s):
    return np.sign(d) * (abs(d) + m / 60 + s / 3600)


def on_its_own_ellipsoid(crs: str):
    """Forward projection without a change of datum, as the printed examples mean it."""
    return pyproj.Transformer.from_crs(pyproj.CRS(crs).geodetic_crs, crs, always_xy=True)


def test_utm_on_clarke_1866():
    # Snyder 1987, Map Projections - A Working Manual, USGS PP 1395, numerical examples, transverse Mercator (ellipsoid)
    crs = "+proj=utm +zone=18 +ellps=clrk66 +type=crs"
    assert on_its_own_ellipsoid(crs).transform(-73.5, 40.5) == pytest.approx((627106.5, 4484124.4), abs=0.06)
    # scale factor: value from memory, recomputed
    assert pyproj.Proj(crs).get_factors(-73.5, 40.5).meridional_scale == pytest.approx(0.9997989, abs=6e-8)


NATIONAL_GRID = "+proj=tmerc +lat_0=49 +lon_0=-2 +k=0.9996012717 +x_0=400000 +y_0=-100000 +ellps=airy +type=crs"


def test_transverse_mercator_on_airy_1830():
    # Ordnance Survey, A guide to coordinate systems in Great Britain, Annex C
    at = on_its_own_ellipsoid(NATIONAL_GRID).transform(degrees(1, 43, 4.5177), degrees(52, 39, 27.2531))
    assert at == pytest.approx((651409.903, 313177.270), abs=1e-3)


def test_transverse_mercator_of_guidance_note_7_2():
    # IOGP Geomatics Guidance Note 7-2, transverse Mercator example (northing: value from memory, recomputed)
    assert on_its_own_ellipsoid(NATIONAL_GRID).transform(0.5, 50.5) == pytest.approx((577274.99, 69740.50), abs=0.01)


def test_utm_32_on_grs80():
    # PROJ regression file builtins.gie
    at = on_its_own_ellipsoid("+proj=utm +zone=32 +ellps=GRS80 +type=crs").transform(12, 56)
    assert at == pytest.approx((687071.43910944, 6210141.32674801), abs=1e-6)


@pytest.mark.parametrize("longitude, latitude, easting_m, northing_m", [(3, 80, 496813.178, 3358297.326), (3, 0, 957087.829, -5527462.686), (3, -40, 826893.845, -9967215.251)])
def test_our_projection_far_from_its_centre(longitude, latitude, easting_m, northing_m):
    # IOGP GIGS test 5101, transverse Mercator on WGS 84
    projection = choose_projection([0], [0], NATIONAL_GRID.replace("airy", "WGS84"))
    assert projection.forward(latitude, longitude) == pytest.approx((easting_m, northing_m), abs=0.03)
    assert projection.inverse(easting_m, northing_m) == pytest.approx((latitude, longitude), abs=1e-6)


FLINDERS_PEAK = (degrees(-37, 57, 3.72030), degrees(144, 25, 29.52440))
BUNINYONG = (degrees(-37, 39, 10.15610), degrees(143, 55, 35.38390))


def test_length_and_azimuth_between_two_australian_stations():
    # Geodetic Datum of Australia Technical Manual, Vincenty example; on GRS80, which differs from WGS 84 by 0.1 mm in the axis
    distance_m, azimuth = distance_azimuth(*FLINDERS_PEAK, *BUNINYONG)
    assert distance_m == pytest.approx(54972.271, abs=6e-4)
    assert azimuth == pytest.approx(degrees(306, 52, 5.37), abs=0.006 / 3600)
    assert wrap_360(distance_azimuth(*BUNINYONG, *FLINDERS_PEAK)[1]) == pytest.approx(degrees(127, 10, 25.07), abs=0.006 / 3600)


def test_grid_coordinates_and_convergence_of_two_australian_stations():
    # Geodetic Datum of Australia Technical Manual, MGA zone 55; values from memory, recomputed
    zone = choose_projection([0], [0], "+proj=utm +zone=55 +south +ellps=GRS80 +type=crs")
    assert zone.forward(*FLINDERS_PEAK) == pytest.approx((273741.297, 5796489.777), abs=1e-3)
    assert zone.forward(*BUNINYONG) == pytest.approx((228854.052, 5828259.038), abs=1e-3)
    assert zone.convergence_deg(*FLINDERS_PEAK) == pytest.approx(degrees(1, 35, 3.65), abs=0.01 / 3600)


def test_grid_azimuth_is_true_azimuth_minus_convergence():
    # same source; the bearing of the straight line on the grid differs by the arc-to-chord correction of 19.46 seconds
    zone = choose_projection([0], [0], "+proj=utm +zone=55 +south +ellps=GRS80 +type=crs")
    east, north = np.subtract(zone.forward(*BUNINYONG), zone.forward(*FLINDERS_PEAK))
    assert np.hypot(east, north) == pytest.approx(54992.279, abs=1e-3)
    grid = wrap_360(np.degrees(np.arctan2(east, north)))
    assert grid == pytest.approx(305.289218, abs=1e-6)
    azimuth = distance_azimuth(*FLINDERS_PEAK, *BUNINYONG)[1]
    assert azimuth - zone.convergence_deg(*FLINDERS_PEAK) == pytest.approx(grid - 19.46 / 3600, abs=0.02 / 3600)


def test_twenty_random_geodesics():
    # Karney 2013, Algorithms for geodesics, test set in geographiclib.test (MIT licence)
    lines = pd.read_csv(VALUES / "karney_testset20.csv", comment="#")
    distance_m, azimuth = distance_azimuth(lines["lat1"], lines["lon1"], lines["lat2"], lines["lon2"])
    assert np.abs(distance_m - lines["s12"]).max() < 1e-6
    assert np.abs(azimuth - wrap_360(lines["azi1"])).max() < 1e-9
