"""Heights above ground, whatever they were logged over."""

import struct
from dataclasses import replace

import numpy as np
import pandas as pd
import pyproj
import pytest

from intake_sample import UTC, codes, flight, read, said, write
from pipeline.intake import geoid
from pipeline.intake.findings import Findings
from pipeline.intake.ground import Terrain
from pipeline.intake.heights import height_above_ground
from pipeline.intake.log_format import LogFormat
from pipeline.messages import SurveyError

# ground rises 1 m per 10 m eastward from 100 m at the western edge
SLOPE = Terrain(np.tile(100 + 10 * (np.arange(20) + 0.5), (3, 1)), 0.0, 150.0, 100.0)


def rows(heights=(80.0, 80.0, 80.0), east=(500.0, 600.0, 700.0), **columns):
    count = len(heights)
    return pd.DataFrame({"flight_id": "f", "record": range(1, count + 1), "height_m": heights, "easting_m": east, "northing_m": 0.0, "latitude": 57.2, "longitude": -4.1, "source_file": "f.csv",
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
    assert said(heights(table=rows((80.0, -30.0, 80.0)))[1], "height-negative").text == "1 height below the ground, lowest −30 m"


# Heights over the ellipsoid

def geoid_grid(folder, undulation_m):
    """A grid of PROJ, 50 to 61 N and 10 W to 4 E, the same everywhere: GTX is a header of six numbers and big-endian rows from the south."""
    values = np.full((12, 15), undulation_m, dtype=">f4")
    (folder / "geoid_for_a_test.gtx").write_bytes(struct.pack(">4d2i", 50.0, -10.0, 1.0, 1.0, *values.shape) + values.tobytes())


@pytest.fixture
def proj_folder(tmp_path, monkeypatch):
    """A folder that PROJ looks into for the one grid of these tests, forgotten again after the test."""
    monkeypatch.setattr(geoid, "_GRIDS", {"geoid_for_a_test.gtx": "EGM96"})
    before = pyproj.datadir.get_data_dir()
    pyproj.datadir.append_data_dir(str(tmp_path))
    yield tmp_path
    pyproj.datadir.set_data_dir(before)


def test_heights_over_the_ellipsoid_lose_the_geoid_stated_and_the_ground():
    above, findings = heights(terrain=SLOPE, height_reference="ellipsoid", geoid_undulation_m=51.5, table=rows((281.5, 291.5, 301.5)))
    assert above == pytest.approx([80, 80, 80]) and said(findings, "geoid-subtracted").text == "51.5 m subtracted from heights over the ellipsoid"


def test_the_geoid_lies_below_the_ellipsoid_where_the_undulation_is_negative():
    assert heights(terrain=SLOPE, height_reference="ellipsoid", geoid_undulation_m=-31.6, table=rows((198.4, 208.4, 218.4)))[0] == pytest.approx([80, 80, 80])


def test_a_grid_of_proj_gives_the_geoid_where_there_is_one(proj_folder):
    geoid_grid(proj_folder, 52.0)
    above, findings = heights(terrain=SLOPE, height_reference="ellipsoid", table=rows((282.0, 292.0, 302.0)))
    assert above == pytest.approx([80, 80, 80]) and said(findings, "geoid-subtracted").text == "52.0 m subtracted from heights over the ellipsoid, EGM96"
    assert not pyproj.network.is_network_enabled()


def test_a_stated_undulation_goes_before_the_grid_and_is_compared_with_it(proj_folder):
    geoid_grid(proj_folder, 52.0)
    above, findings = heights(terrain=SLOPE, height_reference="ellipsoid", geoid_undulation_m=-52.0, table=rows((178.0, 188.0, 198.0)))
    assert above == pytest.approx([80, 80, 80]) and said(findings, "geoid-unlikely").text == "geoid_undulation_m is −52 m, EGM96 says 52.0 m"
    assert "geoid-unlikely" not in codes(heights(terrain=SLOPE, height_reference="ellipsoid", geoid_undulation_m=51.0)[1])


def test_heights_over_the_ellipsoid_are_refused_where_nothing_gives_the_geoid(proj_folder):
    told = said(heights(terrain=SLOPE, height_reference="ellipsoid")[1].blocking, "height-geoid")
    assert (told.file, told.line, told.value) == ("f.csv", 2, "80") and told.consequence.startswith("Heights above ground would be wrong")
    assert "receiver_log.geoid_undulation_m" in told.remedy and "receiver_log.receiver_height_m" in told.remedy


def test_a_geoid_that_is_not_used_is_told():
    assert heights(geoid_undulation_m=50.0)[0] == [80, 80, 80] and codes(heights(geoid_undulation_m=50.0)[1]) == ["geoid-unused"]
