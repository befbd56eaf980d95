"""A receiver log without positions, joined to a flight track."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from intake_sample import START, UTC, codes, flight, read, said, write
from pipeline.intake import PositionFormat
from pipeline.messages import SurveyError

BARE = ["latitude", "longitude", "height_m", "antenna_azimuth_deg"]


def track(seconds: int = 200, *, step_s: int = 2) -> pd.DataFrame:
    """A track due north, 0.0001 degree a second, from the time of the first record."""
    times = range(0, seconds, step_s)
    return pd.DataFrame({"Time": [(START + pd.Timedelta(seconds=s)).strftime("%Y-%m-%d %H:%M:%S") for s in times], "Lat": [f"{57.2 + 0.0001 * s:.5f}" for s in times],
                         "Lon": "-4.1", "Alt": "75", "Yaw": [f"{(350 + s) % 360}" for s in times]})


def joined(folder, content, *, name="track.csv", log=None, **positions):
    path = write(folder, name, content)
    names = {"time_utc": "Time", "latitude": "Lat", "longitude": "Lon", "height_m": "Alt", "antenna_azimuth_deg": "Yaw"}
    position_format = PositionFormat(**({"files": (path,), "columns": names, "clock": UTC.clock} | positions))
    log = flight(10).drop(columns=BARE) if log is None else log
    return read(folder, write(folder, "f1.csv", log), log_format=replace(UTC, positions=position_format))


def test_positions_lie_on_the_line_between_track_points(tmp_path):
    records = joined(tmp_path, track(step_s=4)).records.drop_duplicates("record")
    assert np.allclose(records["latitude"], 57.2 + 0.0006 * np.arange(10), atol=1e-9)
    assert records["height_m"].tolist() == [75] * 10
    # the direction turns through north: 350, 356, 2, 8 ...
    assert np.allclose(records["antenna_azimuth_deg"].head(4), [350, 356, 2, 8])


def test_the_lag_moves_the_receiver_onto_the_clock_of_the_track(tmp_path):
    intake = joined(tmp_path, track(), lag_s=4.0)
    assert intake.records["latitude"].iloc[0] == pytest.approx(57.2004) and said(intake, "lag-applied").text == "Lag 4 s applied"


def test_no_position_is_made_up_across_a_gap(tmp_path):
    whole = track()
    records = joined(tmp_path, whole[(whole.index < 10) | (whole.index >= 20)]).records.drop_duplicates("record")
    assert records["latitude"].isna().tolist() == [False, False, False, False, True, True, True, False, False, False]
    assert records["usable"].tolist() == records["latitude"].notna().tolist()


def test_records_outside_the_track_have_no_position(tmp_path):
    records = joined(tmp_path, track(31)).records.drop_duplicates("record")
    assert records["latitude"].notna().sum() == 6


def test_a_track_of_another_time_is_told(tmp_path):
    with pytest.raises(SurveyError) as error:
        joined(tmp_path, track().assign(Time=lambda points: points["Time"].str.replace("2027", "2026")))
    assert codes(error.value) == ["records-unusable"]


def test_an_hour_between_log_and_track_is_recognised(tmp_path):
    """A receiver left on summer time: one log falls on the track, the other is an hour late."""
    hour_late = flight(40).drop(columns=BARE)
    hour_late["time_utc"] = [(pd.Timestamp(text) + pd.Timedelta(hours=1)).strftime("%Y-%m-%dT%H:%M:%SZ") for text in hour_late["time_utc"]]
    right = write(tmp_path, "right.csv", flight(11).drop(columns=BARE))
    path = write(tmp_path, "track.csv", track(400))
    names = {"time_utc": "Time", "latitude": "Lat", "longitude": "Lon", "height_m": "Alt", "antenna_azimuth_deg": "Yaw"}
    positions = PositionFormat(files=(path,), columns=names, clock=UTC.clock)
    told = said(read(tmp_path, right, write(tmp_path, "late.csv", hour_late), log_format=replace(UTC, positions=positions)), "clock-hours")
    assert told.text == "0% of the records lie within the time of the flight track; 100% would if the log's times were 1 h earlier"
    assert told.file == "late.csv" and told.value == "-1 h" and "time_zone" in told.remedy


def test_a_missing_column_of_the_track_names_its_setting(tmp_path):
    with pytest.raises(SurveyError, match=r"Column 'Lat' \(for latitude\) is missing; found: Time, Latitude, Lon, Alt, Yaw; did you mean 'Latitude'.*receiver_log.positions.columns"):
        joined(tmp_path, track().rename(columns={"Lat": "Latitude"}))


GPX = """<?xml version="1.0"?>
<gpx version="1.1" creator="own test" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>
<trkpt lat="57.2000" lon="-4.1"><ele>310</ele><time>2027-04-25T10:00:00Z</time></trkpt>
<trkpt lat="57.2030" lon="-4.1"><ele>340</ele><time>2027-04-25T10:00:30Z</time></trkpt>
<trkpt lat="57.2031" lon="-4.1"></trkpt>
</trkseg></trk></gpx>
"""


def test_a_gpx_track_is_joined(tmp_path):
    intake = joined(tmp_path, GPX, name="track.gpx", longest_gap_s=60.0)
    records = intake.records.drop_duplicates("record")
    assert np.allclose(records["latitude"].head(6), 57.2 + 0.0006 * np.arange(6)) and records["latitude"].isna().sum() == 4
    assert records["height_m"].iloc[1] == pytest.approx(316)
    assert said(intake, "gpx-untimed").text == "1 of 3 track points have no time"


@pytest.mark.parametrize("content", ["<gpx><trk>", '<!DOCTYPE x [<!ENTITY a "b">]><gpx/>'])
def test_a_broken_or_armed_gpx_file_stops_the_run(tmp_path, content):
    with pytest.raises(SurveyError, match="track.gpx: Cannot be read as GPX"):
        joined(tmp_path, content, name="track.gpx")
