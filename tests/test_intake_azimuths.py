"""Antenna directions from true north and from grid north."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from intake_sample import START, UTC, flight, read, said, write
from pipeline.geodesy import choose_projection, wrap_180
from pipeline.intake.azimuths import azimuths
from pipeline.intake.declination import declination, decimal_year
from pipeline.intake.findings import Findings
from pipeline.intake.log_format import LogFormat
from pipeline.messages import SurveyError


def directions(values, *, projection=None, columns=None, **log_format):
    findings = Findings()
    count = len(values)
    table = pd.DataFrame({"flight_id": "f", "record": range(1, count + 1), "time_utc": START, "latitude": 57.2, "longitude": -4.1, "easting_m": 10.0 * np.arange(count), "northing_m": 0.0,
                          "antenna_azimuth_deg": values, "source_file": "f.csv", "source_line": range(2, count + 2)} | (columns or {}))
    return (*azimuths(table, replace(LogFormat(), **log_format), projection or choose_projection([57.2], [-4.1]), findings), findings)


def test_true_azimuths_are_turned_to_the_grid():
    true_deg, grid_deg, findings = directions([10.0, 200.0], projection=choose_projection([0], [0], "EPSG:32630"))
    # 1.1 degrees west of the zone's meridian: grid north lies 0.92 degrees west of true north
    assert list(true_deg) == [10, 200] and np.allclose(grid_deg, [10.925, 200.925], atol=0.01) and findings.messages == []


def test_magnetic_azimuths_get_the_declination_stated():
    true_deg, _, findings = directions([355.0, 10.0], azimuth_reference="magnetic", declination_deg=-1.3)
    told = said(findings, "declination-added")
    assert list(true_deg) == pytest.approx([353.7, 8.7]) and told.text == "1.3 deg W added" and told.done.startswith("as declination_deg says")


def test_magnetic_azimuths_without_a_stated_declination_get_that_of_date_and_place():
    true_deg, _, findings = directions([355.0, 10.0], azimuth_reference="magnetic", columns={"latitude": 64.84, "longitude": -147.72})
    # the vectors of tests/outside/test_geodesy.py hold the model itself; here, that it is asked for the right day and place
    expected = declination(64.84, -147.72, decimal_year(START)).declination_deg
    assert list(true_deg) == pytest.approx([355 + expected - 360, 10 + expected]) and 10 < expected < 20
    assert said(findings, "declination-added").text == f"{expected:.1f} deg E added, World Magnetic Model 2025, 2027-04-25, 64.8400 N 147.7200 W"
    assert findings.change_table().loc[0, ["rule", "rows", "flight_id"]].tolist() == ["magnetic azimuth to true", 2, "f"]


def test_every_flight_gets_the_declination_of_its_own_day_and_place():
    times = [START, START, START + pd.Timedelta(days=365), START + pd.Timedelta(days=365)]
    true_deg, _, findings = directions([0.0] * 4, azimuth_reference="magnetic", columns={"flight_id": ["a", "a", "b", "b"], "time_utc": times})
    turned = true_deg - np.array([360, 360, 360, 360])
    assert turned[0] == turned[1] == pytest.approx(declination(57.2, -4.1, decimal_year(START)).declination_deg)
    assert turned[2] - turned[0] == pytest.approx(0.18, abs=0.05)  # about a fifth of a degree eastward a year in these parts
    assert ", 2027-04-25 to 2028-04-24, 57.2000 N 4.1000 W" in said(findings, "declination-added").text


def test_declination_and_convergence_are_kept_apart():
    west = choose_projection([0], [0], "EPSG:32630")
    true_deg, grid_deg, _ = directions([45.0, 90.0], projection=west, azimuth_reference="magnetic", declination_deg=-1.0)
    plain_true, plain_grid, _ = directions([45.0, 90.0], projection=west)
    assert true_deg - plain_true == pytest.approx([-1, -1]) and grid_deg - plain_grid == pytest.approx([-1, -1])
    assert grid_deg[1] - true_deg[1] == pytest.approx(-west.convergence_deg(57.2, -4.1)) != 0


def test_a_declination_that_would_not_be_added_is_told():
    true_deg, _, findings = directions([10.0], declination_deg=-1.0)
    assert list(true_deg) == [10] and said(findings, "declination-unused").remedy.startswith("Set receiver_log.azimuth_reference")


def test_magnetic_azimuths_of_a_flight_without_a_place_are_left_out():
    true_deg, _, _ = directions([10.0, 20.0], azimuth_reference="magnetic", columns={"latitude": np.nan, "longitude": np.nan})
    assert np.isnan(true_deg).all()


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
    assert said(directions(list(course))[2], "azimuth-course").text == "Azimuth equals course in f, within 1 degree in 39 of 39 steps; is it the antenna?"


def test_radians_stop_the_run(tmp_path):
    log = flight(30).assign(antenna_azimuth_deg=[f"{0.1 * i:.2f}" for i in range(60)])
    with pytest.raises(SurveyError, match="are they radians"):
        read(tmp_path, write(tmp_path, "f1.csv", log))


def test_magnetic_azimuths_of_a_whole_campaign_are_turned_and_told(tmp_path):
    magnetic = read(tmp_path, write(tmp_path, "f1.csv", flight(30)), log_format=replace(UTC, azimuth_reference="magnetic"))
    as_logged = read(tmp_path, tmp_path / "f1.csv").records["antenna_azimuth_deg"]
    expected = declination(57.2087, -4.1, decimal_year(START)).declination_deg
    assert wrap_180(magnetic.records["antenna_azimuth_deg"] - as_logged) == pytest.approx(expected, abs=0.001)
    assert said(magnetic, "declination-added").severity == "note"
    assert "magnetic azimuth to true" in magnetic.changes["rule"].tolist()
