"""Heights above ground and antenna directions."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from intake_sample import UTC, codes, flight, read, said, write
from pipeline.geodesy import choose_projection
from pipeline.intake.findings import Findings
from pipeline.intake.geometry import azimuths, height_above_ground
from pipeline.intake.ground import Terrain
from pipeline.intake.log_format import LogFormat
from pipeline.messages import SurveyError

# ground rises 1 m per 10 m eastward from 100 m at the western edge
SLOPE = Terrain(np.tile(100 + 10 * (np.arange(20) + 0.5), (3, 1)), 0.0, 150.0, 100.0)


def rows(heights=(80.0, 80.0, 80.0), east=(500.0, 600.0, 700.0), **columns):
    count = len(heights)
    return pd.DataFrame({"flight_id": "f", "record": range(1, count + 1), "height_m": heights, "easting_m": east, "northing_m": 0.0, "source_file": "f.csv",
                         "source_line": range(2, count + 2)} | columns)


def heights(*, terrain=None, table=None, **log_format):
    findings = Findings()
    above = height_above_ground(rows() if table is None else table, replace(LogFormat(), **log_format), terrain, findings)
    return list(above), findings


def test_heights_above_ground_stay_as_logged():
    assert heights()[0] == [80, 80, 80] and heights()[1].messages == []


def test_heights_above_the_sea_lose_the_ground_below():
    above, _ = heights(terrain=SLOPE, height_reference="sea_level", table=rows((230.0, 240.0, 250.0)))
    assert above == [pytest.approx(80)] * 3


def test_heights_above_take_off_are_lowered_by_the_rise_of_the_ground():
    assert heights(terrain=SLOPE, height_reference="takeoff")[0] == pytest.approx([80, 70, 60])


def test_heights_above_take_off_without_terrain_are_told():
    above, findings = heights(height_reference="takeoff")
    assert above == [80, 80, 80] and said(findings, "height-takeoff").consequence.startswith("Wrong by the relief")


def test_heights_above_the_sea_without_terrain_count_from_the_lowest_record():
    above, findings = heights(height_reference="sea_level", table=rows((500.0, 580.0, 560.0)))
    assert above == [0, 80, 60] and said(findings, "height-reference").text == "Heights are above sea level and there is no terrain model"


def test_a_stated_receiver_height_is_used_where_the_reference_is_lost():
    assert heights(height_reference="ellipsoid", receiver_height_m=70.0)[0] == [70, 70, 70]


def test_missing_heights_are_assumed_and_told():
    above, findings = heights(table=rows((np.nan,) * 3))
    assert above == [2, 2, 2] and said(findings, "height-missing").text == "Heights missing: 2 m assumed"
    assert heights(table=rows((np.nan,) * 3), receiver_height_m=60.0) [0] == [60, 60, 60]


def test_gaps_in_heights_take_the_median_of_the_flight():
    above, findings = heights(table=rows((80.0, np.nan, 90.0)))
    assert above == [80, 85, 90] and said(findings, "height-gaps").line == 3


def test_heights_that_look_like_feet_are_told(tmp_path):
    log = flight(10).assign(height_m="262")
    assert said(read(tmp_path, write(tmp_path, "f1.csv", log)), "height-high").text == "Heights look like feet, or are not above ground: median 262 m"
    in_feet = read(tmp_path, tmp_path / "f1.csv", log_format=replace(UTC, height_unit="ft"))
    assert "height-high" not in codes(in_feet) and in_feet.records["height_above_ground_m"].iloc[0] == pytest.approx(79.86, abs=0.01)


def test_heights_below_the_ground_are_told():
    assert said(heights(table=rows((80.0, -30.0, 80.0)))[1], "height-negative").text == "1 heights below the ground, lowest -30 m"


def directions(values, *, projection=None, **log_format):
    findings = Findings()
    count = len(values)
    table = rows((80.0,) * count, tuple(10.0 * i for i in range(count)), antenna_azimuth_deg=values, latitude=57.2, longitude=-4.1)
    return (*azimuths(table, replace(LogFormat(), **log_format), projection or choose_projection([57.2], [-4.1]), findings), findings)


def test_true_azimuths_are_turned_to_the_grid():
    true_deg, grid_deg, findings = directions([10.0, 200.0], projection=choose_projection([0], [0], "EPSG:32630"))
    # 1.1 degrees west of the zone's meridian: grid north lies 0.92 degrees west of true north
    assert list(true_deg) == [10, 200] and np.allclose(grid_deg, [10.925, 200.925], atol=0.01) and findings.messages == []


def test_magnetic_azimuths_get_the_declination():
    true_deg, _, findings = directions([355.0, 10.0], azimuth_reference="magnetic", declination_deg=11.3)
    assert list(true_deg) == pytest.approx([6.3, 21.3]) and said(findings, "declination-added").text == "11.3 deg E added"


def test_magnetic_azimuths_without_declination_are_told():
    true_deg, _, findings = directions([355.0], azimuth_reference="magnetic")
    assert list(true_deg) == [355] and said(findings, "declination-missing").done == "taken as true"


def test_no_azimuth_at_all_is_told():
    true_deg, grid_deg, findings = directions([np.nan, np.nan])
    assert np.isnan(true_deg).all() and np.isnan(grid_deg).all() and said(findings, "azimuth-missing").text.startswith("No direction used")


def test_a_constant_azimuth_is_not_used():
    true_deg, _, findings = directions([90.0] * 30)
    assert np.isnan(true_deg).all() and said(findings, "azimuth-constant").text == "No direction used in f: the azimuth is 90 deg in all 30 records"


def test_negative_azimuths_are_wrapped_and_impossible_ones_blanked():
    true_deg, _, findings = directions([-90.0, 400.0, 360.0])
    assert true_deg[0] == 270 and np.isnan(true_deg[1]) and true_deg[2] == 0
    assert said(findings, "azimuth-outside").line == 3 and said(findings, "azimuth-signed").severity == "note"


def test_radians_are_asked_about():
    _, _, findings = directions(list(np.linspace(0, 6.2, 40)))
    assert said(findings.blocking, "azimuth-radians").text == "Azimuths lie between 0 and 6.2; are they radians?"
    assert directions(list(np.linspace(0, 6.2, 40)), azimuth_unit="rad")[0][-1] == pytest.approx(np.degrees(6.2))


def test_an_azimuth_that_equals_the_course_is_asked_about():
    course = 90 + 0.5 * np.sin(np.arange(40))
    assert said(directions(list(course))[2], "azimuth-course").text == "Azimuth equals course in f; is it the antenna?"


def test_radians_stop_the_run(tmp_path):
    log = flight(30).assign(antenna_azimuth_deg=[f"{0.1 * i:.2f}" for i in range(60)])
    with pytest.raises(SurveyError, match="are they radians"):
        read(tmp_path, write(tmp_path, "f1.csv", log))
