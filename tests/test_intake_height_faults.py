"""Heights that cannot be what the survey file calls them: flights over a hill whose answers are obvious."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from intake_sample import UTC, codes, flight, read, said, write
from pipeline.intake.findings import Findings
from pipeline.intake.height_faults import look_at_heights
from pipeline.intake.log_format import LogFormat
from pipeline.messages import SurveyError

ALONG = np.linspace(0, 1, 60)
HILL = 300 + 100 * np.sin(np.pi * ALONG) ** 2   # ground from 300 to 400 m above sea level
LOW_HILL = HILL - 290                           # the same by the sea: 10 to 110 m
WOBBLE = 1.5 * np.sin(37 * ALONG)               # no drone holds its height to the metre


def looked(logged, above, ground, **log_format):
    count = len(logged)
    rows = pd.DataFrame({"flight_id": "f", "record": range(1, count + 1), "source_file": "f.csv", "source_line": range(2, count + 2)})
    findings = Findings()
    look_at_heights(rows, np.asarray(logged, float), np.asarray(above, float), ground, replace(LogFormat(), **log_format), findings)
    return findings


def called_ground(logged, ground, **log_format):
    return looked(logged, logged, ground, **log_format)


def test_a_drone_that_follows_the_terrain_is_no_matter():
    assert called_ground(80 + WOBBLE, HILL).messages == []


def test_heights_above_the_sea_called_above_ground_are_refused_when_they_follow_the_ground():
    # from 200 to 300 m above the sea: more than is allowed, less than three times it, so that only the shape tells
    told = said(called_ground(HILL - 180 + 80 + WOBBLE, HILL - 180).blocking, "height-not-above-ground")
    assert (told.file, told.line) == ("f.csv", 32) and float(told.value) == pytest.approx(np.median(HILL) - 100, abs=2)
    assert told.text.startswith("Heights of f are called above ground and look like heights above sea level: median ")
    assert ", rising and falling with the ground, which spans 94 m; less the ground below, 79 to 81 m" in told.text
    assert told.consequence.endswith("would be wrong") and told.remedy.startswith("Set receiver_log.height_reference: sea_level")


def test_heights_above_the_sea_called_above_ground_are_refused_when_level_and_far_beyond_what_is_allowed():
    # flown level at 450 m above the sea: nothing follows the ground, and nobody flies a drone 450 m above it
    told = said(called_ground(450 + WOBBLE, HILL).blocking, "height-not-above-ground")
    assert "median 450 m; less the ground below, " in told.text and "sea_level" in told.remedy


def test_a_survey_that_was_that_high_says_so_and_is_believed():
    assert called_ground(450 + WOBBLE, HILL, height_limit_m=500).blocking == []


def test_heights_above_take_off_called_above_ground_are_refused_when_they_follow_the_ground():
    # taken off at 250 m, 130 m above the ground all along
    told = said(called_ground(HILL - 250 + 130 + WOBBLE, HILL).blocking, "height-not-above-ground")
    assert "above take-off or another fixed level" in told.text and "height_reference: takeoff" in told.remedy


def test_what_follows_the_ground_and_could_yet_be_a_height_above_it_is_told_and_used():
    findings = called_ground(LOW_HILL + 30 + WOBBLE, LOW_HILL)
    assert findings.blocking == [] and said(findings, "height-not-above-ground").done == "used as height above ground"


def test_heights_the_same_to_the_metre_over_a_hill_are_told():
    # taken off at 300 m, the hill reaches 400 m: level flight is possible from 110 m up
    told = said(called_ground(np.full(60, 115.0), HILL), "height-constant")
    assert told.severity == "look" and told.text.startswith("Heights above ground of f are the same to the metre (115 m) over ground that spans ")
    assert "it was 15 to 115 m above ground" in told.consequence and "takeoff" in told.remedy


def test_heights_the_same_to_the_metre_where_level_flight_would_hit_the_hill_are_no_matter():
    assert called_ground(np.full(60, 80.0), HILL).messages == []


def test_a_level_flight_with_true_heights_above_ground_is_noted_with_what_it_did():
    told = said(called_ground(460 - HILL + WOBBLE, HILL), "height-level-flight")
    assert told.severity == "note" and told.text.startswith("Flight f was flown level, 460 m above sea level: 59 to 161 m")
    sea = said(looked(np.full(60, 460.0), 460 - HILL, HILL, height_reference="sea_level"), "height-level-flight")
    assert "60 to 160 m above ground" in sea.text


@pytest.mark.parametrize("reference, what", [("sea_level", "sea level"), ("ellipsoid", "the ellipsoid")])
def test_heights_above_ground_called_above_the_sea_are_refused(reference, what):
    logged = 80 + WOBBLE
    told = said(looked(logged, logged - HILL, HILL, height_reference=reference).blocking, "height-not-above-sea")
    assert f"called above {what} and lie below the ground: median 80 m, which is" in told.text and "height_reference: ground" in told.remedy


def test_a_few_heights_below_the_ground_are_told_with_their_place():
    above = 80 + WOBBLE
    above[7:9] = -12, -20
    told = said(called_ground(above, HILL), "height-negative")
    assert (told.text, told.line, told.value) == ("2 heights below the ground, lowest −20 m", 9, "-12")


def test_flat_ground_short_flights_and_no_ground_tell_nothing_of_shape():
    assert codes(called_ground(250 + WOBBLE, np.full(60, 200.0))) == ["height-high"]
    assert codes(called_ground((HILL + 80)[:15], HILL[:15])) == ["height-high"]
    assert codes(called_ground(HILL + 80, None)) == ["height-high"]


def test_a_wrong_height_reference_stops_the_run(tmp_path):
    import rasterio
    from rasterio.transform import from_origin

    north = 57.2 + 0.0006 * np.arange(30)
    log = flight(30).assign(height_m=[f"{80 + 300 + 100 * np.sin(np.pi * i / 29) ** 2:.1f}" for i in range(30) for _ in range(2)])
    # a ridge from west to east under the flight north, as the log's own heights follow it
    rows = np.clip((57.23 - (np.arange(400) + 0.5) * 1e-4 - north[0]) / (north[-1] - north[0]), 0, 1)
    values = np.tile((300 + 100 * np.sin(np.pi * rows) ** 2)[:, None], (1, 100)).astype("float32")
    with rasterio.open(tmp_path / "terrain.tif", "w", driver="GTiff", width=100, height=400, count=1, dtype="float32", crs="EPSG:4326", transform=from_origin(-4.105, 57.23, 1e-4, 1e-4)) as file:
        file.write(values, 1)
    write(tmp_path, "f1.csv", log)
    with pytest.raises(SurveyError, match="look like heights above sea level") as refused:
        read(tmp_path, tmp_path / "f1.csv", terrain_file=tmp_path / "terrain.tif")
    assert refused.value.exit_code == 1 and said(refused.value, "height-not-above-ground").file == "f1.csv"
    mended = read(tmp_path, tmp_path / "f1.csv", terrain_file=tmp_path / "terrain.tif", log_format=replace(UTC, height_reference="sea_level"))
    assert mended.records["height_above_ground_m"].to_numpy() == pytest.approx(80, abs=2)
