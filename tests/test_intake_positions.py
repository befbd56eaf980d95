"""Positions that cannot be true."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from intake_sample import UTC, codes, flight, read, said, write
from pipeline.messages import SurveyError

BEACONS = "tag_id,latitude,longitude\nt1,57.205,-4.1\n"


def campaign(folder, log, *, beacons=BEACONS, log_format=UTC):
    return read(folder, write(folder, "f1.csv", log), log_format=log_format, beacons_file=write(folder, "beacons.csv", beacons))


def refused(folder, log, **more):
    with pytest.raises(SurveyError) as error:
        campaign(folder, log, **more)
    return error.value


def test_zero_zero_is_no_position(tmp_path):
    log = flight(10)
    log.loc[log.index[:4], ["latitude", "longitude"]] = "0.0"
    intake = campaign(tmp_path, log)
    message = said(intake, "position-missing")
    assert (message.text, message.line) == ("2 records of 10 of flight f1 without position", 2)
    lost = intake.records[~intake.records["usable"]]
    assert intake.changes.set_index("rule").loc["records without a position marked", "rows"] == 4  # two records of two tags fill four rows, as duplicates are counted
    assert lost["record"].tolist() == [1, 1, 2, 2] and set(lost["unusable_reason"]) == {"no position"} and lost["latitude"].isna().all()


def test_a_frozen_position_is_marked_with_how_long_it_stood(tmp_path):
    log = flight(40)
    log.loc[log.index[20:42], "latitude"] = log["latitude"].iloc[20]
    intake = campaign(tmp_path, log)
    # records 11 to 21 share one position over 60 s, record 22 is 11 steps of 66.8 m further
    message = said(intake, "position-frozen")
    assert message.text == "Position did not change for 60 s at 11 m/s"
    assert intake.records.query("not usable")["record"].unique().tolist() == list(range(12, 22))
    assert set(intake.records.query("not usable")["unusable_reason"]) == {"position frozen"}
    assert intake.changes.set_index("rule").loc["records with a frozen position marked", "rows"] == (~intake.records["usable"]).sum()


def test_hovering_is_not_frozen(tmp_path):
    north = np.r_[np.arange(10), np.full(12, 9), np.arange(10, 20)]
    log = flight(len(north), tags=("t1",)).assign(latitude=[f"{57.2 + 0.0006 * k:.6f}" for k in north])
    assert "position-frozen" not in codes(campaign(tmp_path, log))


def test_a_jump_is_marked_and_its_neighbours_are_kept(tmp_path):
    log = flight(20)
    log.loc[log.index[20:22], "latitude"] = "57.3"
    intake = campaign(tmp_path, log)
    assert said(intake, "position-jump").text == "1 position faster than 60 m/s from the track"
    assert intake.records.query("not usable")["record"].unique().tolist() == [11]
    assert intake.changes.set_index("rule").loc["records with a jumping position marked", "rows"] == (~intake.records["usable"]).sum() == 2


def test_a_jump_in_the_first_record_condemns_only_itself(tmp_path):
    log = flight(20)
    log.loc[log.index[:2], "latitude"] = "57.9"
    assert campaign(tmp_path, log).records.query("not usable")["record"].unique().tolist() == [1]


def test_swapped_columns_stop_the_run(tmp_path):
    log = flight(10).rename(columns={"latitude": "longitude", "longitude": "latitude"})
    message = said(refused(tmp_path, log), "position-swapped")
    assert message.text == "Swapping latitude and longitude puts points inside the study area; confirm"


def test_a_missing_minus_sign_stops_the_run(tmp_path):
    log = flight(10).assign(longitude="4.1")
    message = said(refused(tmp_path, log), "position-sign")
    assert message.text == "Points are 495 km from study area and beacons; with a minus sign on longitude they are there"


def test_metres_in_the_columns_of_degrees_stop_the_run(tmp_path):
    log = flight(10).assign(latitude="6340000.0", longitude="433000.0")
    message = said(refused(tmp_path, log), "position-metres")
    assert message.text == "Values look like UTM; give zone and hemisphere" and "position_crs" in message.remedy


def test_metres_are_read_with_their_crs(tmp_path):
    plain = campaign(tmp_path, flight(5)).records
    import pyproj

    east, north = pyproj.Transformer.from_crs(4326, 32630, always_xy=True).transform(plain["longitude"], plain["latitude"])
    log = flight(5).assign(latitude=north, longitude=east)
    read_back = campaign(tmp_path, log, log_format=replace(UTC, position_crs="EPSG:32630")).records
    assert np.allclose(read_back[["latitude", "longitude"]], plain[["latitude", "longitude"]], atol=1e-9)


def test_a_latitude_beyond_the_pole_stops_the_run_without_beacons_too(tmp_path):
    log = flight(10).assign(latitude="174.8", longitude="-41.3")
    with pytest.raises(SurveyError, match="Latitude 174.8 is beyond 90 degrees"):
        read(tmp_path, write(tmp_path, "f1.csv", log))


def test_flights_far_from_the_beacons_are_told(tmp_path):
    assert said(campaign(tmp_path, flight(10, latitude=58.5)), "position-far").text.startswith("Points are 145 km from")


def test_longitudes_to_360_are_brought_to_180(tmp_path):
    log = flight(10).assign(longitude="355.9")
    assert campaign(tmp_path, log).records["longitude"].iloc[0] == pytest.approx(-4.1)


def test_a_flight_across_the_antimeridian_is_one_flight(tmp_path):
    log = flight(20, tags=("t1",), latitude=-17.0)
    east = [f"{((179.995 + 0.0006 * i) + 180) % 360 - 180:.6f}" for i in range(20)]
    intake = campaign(tmp_path, log.assign(longitude=east, latitude="-17.0"), beacons="tag_id,latitude,longitude\nt1,-17,180\n")
    assert intake.records["usable"].all() and np.diff(intake.records["easting_m"]).max() < 70


def test_a_flight_without_any_position_ends_the_run(tmp_path):
    log = flight(10).assign(latitude="", longitude="")
    assert codes(refused(tmp_path, log)) == ["records-unusable"]


def test_positions_in_degrees_minutes_and_seconds_are_read(tmp_path):
    log = flight(1, tags=("t1",)).assign(latitude="57°12'00\"N", longitude="4°06'00\"W")
    # the separator stays the comma, the quotation marks are cells' own
    log = pd.DataFrame(log).to_csv(index=False, lineterminator="\n")
    record = campaign(tmp_path, log).records.iloc[0]
    assert (record["latitude"], record["longitude"]) == pytest.approx((57.2, -4.1))


def test_positions_written_too_coarsely_are_told_with_the_distance(tmp_path):
    log = flight(30)
    log["latitude"] = [f"{float(value):.3f}" for value in log["latitude"]]
    log["longitude"] = "-4.100"
    told = said(campaign(tmp_path, log, beacons="tag_id,latitude,longitude\nb1,57.205000,-4.100000\n"), "position-coarse")
    # half of 126 m, the diagonal of a cell of 0.001 degree at 57 north; see the table in tests/outside/test_geodesy.py
    assert told.text == "Positions are written in steps of 0.001 deg: a place may lie 63 m from what is written" and (told.file, told.line, told.value) == ("f1.csv", 2, "57.200, -4.100")


def test_beacons_written_to_four_decimals_are_told_and_to_six_are_not(tmp_path):
    coarse = campaign(tmp_path, flight(10), beacons="tag_id,latitude,longitude\nb1,57.2051,-4.1\nb2,57.2,-4.1023\n")
    assert said(coarse, "position-coarse").file == "beacons.csv" and "6.3 m" in said(coarse, "position-coarse").text
    assert "position-coarse" not in codes(campaign(tmp_path, flight(10), beacons="tag_id,latitude,longitude\nb1,57.205123,-4.1\nb2,57.2,-4.1\n"))
