"""Projections and geodesics against printed values."""

from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import pytest

from pipeline.geodesy import choose_projection, distance_azimuth, wrap_180, wrap_360, written_uncertainty_m
from pipeline.intake.declination import declination

VALUES = Path(__file__).parent / "values"


def degrees(d, m, s):
    return np.sign(d) * (abs(d) + m / 60 + s / 3600)


def on_its_own_ellipsoid(crs: str):
    """Our projection on an ellipsoid without a datum: latitude and longitude are those of that ellipsoid, as the printed examples mean them."""
    return choose_projection([0], [0], crs)


def scale(projection, latitude, longitude, ellipsoid):
    """Metres on the grid for a metre on the ground, over the kilometre toward north-east that has the place in its middle."""
    ends = ellipsoid.fwd([longitude] * 2, [latitude] * 2, [45, 225], [500, 500])
    east, north = projection.forward(np.array(ends[1]), np.array(ends[0]))
    return np.hypot(*(np.diff(values)[0] for values in (east, north))) / 1000


def test_utm_on_clarke_1866():
    # 1.1: Snyder 1987, Map Projections - A Working Manual, USGS PP 1395, numerical examples, transverse Mercator (ellipsoid)
    projection = on_its_own_ellipsoid("+proj=utm +zone=18 +ellps=clrk66 +type=crs")
    assert projection.forward(40.5, -73.5) == pytest.approx((627106.5, 4484124.4), abs=0.06)
    assert projection.inverse(627106.5, 4484124.4) == pytest.approx((40.5, -73.5), abs=1e-6)
    # scale factor: value from memory, recomputed
    assert scale(projection, 40.5, -73.5, pyproj.Geod(ellps="clrk66")) == pytest.approx(0.9997989, abs=6e-8)


NATIONAL_GRID = "+proj=tmerc +lat_0=49 +lon_0=-2 +k=0.9996012717 +x_0=400000 +y_0=-100000 +ellps=airy +type=crs"


def test_transverse_mercator_on_airy_1830():
    # 1.2: Ordnance Survey, A guide to coordinate systems in Great Britain, Annex C
    at = on_its_own_ellipsoid(NATIONAL_GRID).forward(degrees(52, 39, 27.2531), degrees(1, 43, 4.5177))
    assert at == pytest.approx((651409.903, 313177.270), abs=1e-3)


def test_transverse_mercator_of_guidance_note_7_2():
    # 1.3: IOGP Geomatics Guidance Note 7-2, transverse Mercator example (northing: value from memory, recomputed)
    assert on_its_own_ellipsoid(NATIONAL_GRID).forward(50.5, 0.5) == pytest.approx((577274.99, 69740.50), abs=0.01)


def test_utm_32_on_grs80():
    # 1.4: PROJ regression file builtins.gie
    at = on_its_own_ellipsoid("+proj=utm +zone=32 +ellps=GRS80 +type=crs").forward(56, 12)
    assert at == pytest.approx((687071.43910944, 6210141.32674801), abs=1e-6)


@pytest.mark.parametrize("longitude, latitude, easting_m, northing_m", [(3, 80, 496813.178, 3358297.326), (3, 0, 957087.829, -5527462.686), (3, -40, 826893.845, -9967215.251)])
def test_our_projection_far_from_its_centre(longitude, latitude, easting_m, northing_m):
    # 1.5: IOGP GIGS test 5101, transverse Mercator on WGS 84
    projection = choose_projection([0], [0], NATIONAL_GRID.replace("airy", "WGS84"))
    assert projection.forward(latitude, longitude) == pytest.approx((easting_m, northing_m), abs=0.03)
    assert projection.inverse(easting_m, northing_m) == pytest.approx((latitude, longitude), abs=1e-6)


FLINDERS_PEAK = (degrees(-37, 57, 3.72030), degrees(144, 25, 29.52440))
BUNINYONG = (degrees(-37, 39, 10.15610), degrees(143, 55, 35.38390))


def test_length_and_azimuth_between_two_australian_stations():
    # 1.6: Geodetic Datum of Australia Technical Manual, Vincenty example; on GRS80, which differs from WGS 84 by 0.1 mm in the axis
    distance_m, azimuth = distance_azimuth(*FLINDERS_PEAK, *BUNINYONG)
    assert distance_m == pytest.approx(54972.271, abs=6e-4)
    assert azimuth == pytest.approx(degrees(306, 52, 5.37), abs=0.006 / 3600)
    assert wrap_360(distance_azimuth(*BUNINYONG, *FLINDERS_PEAK)[1]) == pytest.approx(degrees(127, 10, 25.07), abs=0.006 / 3600)


def test_grid_coordinates_and_convergence_of_two_australian_stations():
    # 1.7: Geodetic Datum of Australia Technical Manual, MGA zone 55; values from memory, recomputed
    zone = choose_projection([0], [0], "+proj=utm +zone=55 +south +ellps=GRS80 +type=crs")
    assert zone.forward(*FLINDERS_PEAK) == pytest.approx((273741.297, 5796489.777), abs=1e-3)
    assert zone.forward(*BUNINYONG) == pytest.approx((228854.052, 5828259.038), abs=1e-3)
    assert zone.convergence_deg(*FLINDERS_PEAK) == pytest.approx(degrees(1, 35, 3.65), abs=0.01 / 3600)
    assert scale(zone, *FLINDERS_PEAK, pyproj.Geod(ellps="GRS80")) == pytest.approx(1.00023056, abs=6e-9)


def test_grid_azimuth_is_true_azimuth_minus_convergence():
    # 1.7, same source; the bearing of the straight line on the grid differs by the arc-to-chord correction of 19.46 seconds
    zone = choose_projection([0], [0], "+proj=utm +zone=55 +south +ellps=GRS80 +type=crs")
    east, north = np.subtract(zone.forward(*BUNINYONG), zone.forward(*FLINDERS_PEAK))
    assert np.hypot(east, north) == pytest.approx(54992.279, abs=1e-3)
    grid = wrap_360(np.degrees(np.arctan2(east, north)))
    assert grid == pytest.approx(305.289218, abs=1e-6)
    azimuth = distance_azimuth(*FLINDERS_PEAK, *BUNINYONG)[1]
    assert azimuth - zone.convergence_deg(*FLINDERS_PEAK) == pytest.approx(grid - 19.46 / 3600, abs=0.02 / 3600)


def test_twenty_random_geodesics():
    # 1.8: Karney 2013, Algorithms for geodesics, test set in geographiclib.test (MIT licence)
    lines = pd.read_csv(VALUES / "karney_testset20.csv", comment="#")
    distance_m, azimuth = distance_azimuth(lines["lat1"], lines["lon1"], lines["lat2"], lines["lon2"])
    assert np.abs(distance_m - lines["s12"]).max() < 1e-6
    assert np.abs(azimuth - wrap_360(lines["azi1"])).max() < 1e-9
    back = distance_azimuth(lines["lat2"], lines["lon2"], lines["lat1"], lines["lon1"])[1]
    assert np.abs(wrap_180(back + 180 - lines["azi2"])).max() < 1e-9


def test_uncertainty_of_coordinates_written_to_a_step():
    # 1.12: Chapman & Wieczorek 2020, Georeferencing Best Practices (GBIF), table of uncertainty due to coordinate precision; printed "rounded up", one of its 32 cells is rounded down
    table = pd.read_csv(VALUES / "coord_precision.csv", comment="#")
    latitudes = [int(name.removeprefix("lat")) for name in table.columns[1:]]
    ours = written_uncertainty_m(np.array(latitudes)[None, :], table["precision_deg"].to_numpy()[:, None])
    assert ours.shape == (8, 4) and np.abs(ours - table.iloc[:, 1:].to_numpy()).max() <= 1.0


def test_uncertainty_of_a_hundredth_of_a_degree_at_10_27_north():
    # 1.13: same source, worked example: 1.1061 km of latitude, 1.0955 km of longitude, 1.5568 km together
    assert written_uncertainty_m(10.27, 0.01) == pytest.approx(1556.8, abs=0.05)
    start = (10.27, 30.0)
    # the printed degree lengths are tangents at 10.27, the geodesics here run to the next hundredth
    assert distance_azimuth(10.265, 30.0, 10.275, 30.0)[0] == pytest.approx(1106.1, abs=0.05)
    assert distance_azimuth(*start, 10.27, 30.01)[0] == pytest.approx(1095.5, abs=0.05)


def test_ten_kilometres_at_a_heading_known_to_22_and_a_half_degrees():
    # 1.14: same source, heading example: 3.90 km from where the heading leads, on either side
    projection = choose_projection([10.27], [30.0])
    angles = np.radians([0, 22.5, -22.5])
    ahead, right, left = zip(*projection.inverse(10000 * np.sin(angles), 10000 * np.cos(angles)))
    assert distance_azimuth(*ahead, *right)[0] == pytest.approx(3900, abs=5) and distance_azimuth(*ahead, *left)[0] == pytest.approx(3900, abs=5)


def test_magnetic_declination_of_28_vectors():
    # 1.15: NOAA/NCEI and British Geological Survey, test values of WMM2020 and WMM2025, printed to 0.01 degree
    vectors = pd.read_csv(VALUES / "wmm_values.csv", comment="#")
    found = [declination(row.lat, row.lon, row.year, row.alt_km) for row in vectors.itertuples()]
    assert len(found) == 28 and [f"WMM{each.model[-4:]}" for each in found] == vectors["model"].tolist()
    assert np.abs([each.declination_deg for each in found] - vectors["D"]).max() < 0.01
