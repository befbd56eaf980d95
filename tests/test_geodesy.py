"""Degrees and metres."""

import pickle

import numpy as np
import pytest

from pipeline.geodesy import central_position, choose_projection, distance_azimuth, wrap_180, wrap_360


def test_the_centre_of_a_local_projection_is_zero_zero():
    projection = choose_projection([57.2, 57.2], [-4.1, -4.1])
    assert projection.forward(57.2, -4.1) == pytest.approx((0, 0), abs=1e-6)
    assert projection.name == "local transverse Mercator centred on 57.2000 N 4.1000 W (metres)"


def test_forward_and_inverse_agree_to_a_micrometre():
    projection = choose_projection([57.2], [-4.1])
    latitude, longitude = np.array([57.0, 57.3, 57.9]), np.array([-4.9, -4.1, -3.0])
    back = projection.inverse(*projection.forward(latitude, longitude))
    assert np.allclose(back, (latitude, longitude), atol=1e-11)


def test_a_blank_position_stays_blank():
    projection = choose_projection([57.2], [-4.1])
    easting_m, northing_m = projection.forward([57.2, np.nan], [-4.1, -4.1])
    assert np.isfinite(easting_m[0]) and np.isnan(easting_m[1]) and np.isnan(northing_m[1])


def test_plane_distances_near_the_centre_equal_ground_distances():
    projection = choose_projection([57.2], [-4.1])
    east, north = projection.forward([57.20, 57.25], [-4.10, -4.05])
    ground_m, _ = distance_azimuth(57.20, -4.10, 57.25, -4.05)
    assert np.hypot(np.diff(east), np.diff(north))[0] == pytest.approx(ground_m, rel=1e-6)


def test_a_study_area_across_the_antimeridian_is_centred_on_it():
    projection = choose_projection([-17.0, -17.0, -17.0], [179.98, -179.98, 180.0])
    assert abs(projection.forward(-17.0, 179.99)[0] - projection.forward(-17.0, -179.99)[0]) < 2200
    assert "17.0000 S 180.0000" in projection.name


def test_the_southern_hemisphere_has_northings_that_grow_northward():
    projection = choose_projection([-41.3], [174.8])
    assert projection.forward(-41.2, 174.8)[1] > 11000


def test_one_stray_position_does_not_move_the_centre():
    assert central_position([57.2] * 9 + [0], [-4.1] * 9 + [0]) == pytest.approx((57.2, -4.1))


def test_grid_north_is_true_north_on_the_central_meridian_and_turns_clockwise_east_of_it():
    projection = choose_projection([57.2], [-4.1])
    assert projection.convergence_deg(57.2, -4.1) == pytest.approx(0, abs=1e-9)
    # a point due true north of one east of the centre lies to the grid's west: grid azimuth = true azimuth - convergence
    start, end = projection.forward(57.2, -3.9), projection.forward(57.21, -3.9)
    grid_azimuth = np.degrees(np.arctan2(end[0] - start[0], end[1] - start[1]))
    assert grid_azimuth == pytest.approx(0 - projection.convergence_deg(57.205, -3.9), abs=1e-3)
    assert projection.convergence_deg(57.2, -3.9) > 0.1


def test_a_named_crs_is_used_and_named():
    projection = choose_projection([50.0], [9.0], "EPSG:32632")
    assert projection.name == "WGS 84 / UTM zone 32N (EPSG:32632, metres)"
    assert projection.forward(0.0, 9.0)[0] == pytest.approx(500000)


def test_a_crs_that_merely_looks_like_a_known_one_does_not_get_its_number():
    # Clarke's ellipsoid without a datum is not NAD27 (EPSG:26718), from which it may lie 200 m away
    assert "EPSG" not in choose_projection([40.5], [-73.5], "+proj=utm +zone=18 +ellps=clrk66 +type=crs").name


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:2225"])
def test_a_crs_in_degrees_or_feet_is_refused(crs):
    with pytest.raises(ValueError, match="is not a projected CRS in metres"):
        choose_projection([38.0], [-122.0], crs)


def test_no_position_at_all_is_refused():
    with pytest.raises(ValueError, match="no position"):
        choose_projection([np.nan], [np.nan])


def test_due_north_is_zero_and_due_west_is_270():
    assert distance_azimuth(0, 0, 1, 0)[1] == pytest.approx(0)
    assert distance_azimuth(0, 0, 0, -1) == pytest.approx((111319.49, 270), abs=0.01)


def test_angles_are_wrapped():
    assert list(wrap_360([-90, 360, 725, -1e-20])) == [270, 0, 5, 0]
    assert list(wrap_180([180, 190, -190])) == [-180, -170, 170]


def test_a_projection_can_be_sent_to_another_process():
    projection = choose_projection([57.2], [-4.1])
    assert pickle.loads(pickle.dumps(projection)).forward(57.3, -4.0) == projection.forward(57.3, -4.0)
