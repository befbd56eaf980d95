"""Rows of logs put into flights and records."""

import pandas as pd

from intake_sample import START, codes, flight, read, said, write


def test_records_are_numbered_by_time_and_shared_by_tags(tmp_path):
    intake = read(tmp_path, write(tmp_path, "f1.csv", flight(5)))
    assert list(intake.records["record"]) == [1, 1, 2, 2, 3, 3, 4, 4, 5, 5]
    assert set(intake.records["flight_id"]) == {"f1"}


def test_the_log_may_name_its_flights(tmp_path):
    log = flight(4).assign(flight_id=["a"] * 4 + ["b"] * 4)
    intake = read(tmp_path, write(tmp_path, "f1.csv", log))
    assert intake.records.groupby("flight_id")["record"].max().to_dict() == {"a": 2, "b": 2}


def test_two_flights_in_one_file_are_split_at_a_long_gap(tmp_path):
    log = pd.concat([flight(10), flight(10, start=START + pd.Timedelta(minutes=42))])
    intake = read(tmp_path, write(tmp_path, "f1.csv", log))
    assert list(intake.records["flight_id"].unique()) == ["f1-1", "f1-2"]
    assert said(intake, "flight-split").text == "Split into 2 flights at 10:42Z"
    assert intake.records.groupby("flight_id")["record"].max().to_dict() == {"f1-1": 10, "f1-2": 10}


def test_a_short_gap_in_the_air_splits_nothing(tmp_path):
    log = pd.concat([flight(10), flight(10, start=START + pd.Timedelta(minutes=12))])
    assert read(tmp_path, write(tmp_path, "f1.csv", log)).records["flight_id"].nunique() == 1


def test_a_shorter_gap_on_the_ground_splits(tmp_path):
    one, two = flight(10), flight(10, start=START + pd.Timedelta(minutes=12))
    one.loc[one.index[-2:], "height_m"] = two.loc[two.index[:2], "height_m"] = "0.5"
    assert said(read(tmp_path, write(tmp_path, "f1.csv", pd.concat([one, two]))), "flight-split").text == "Split into 2 flights at 10:12Z"


def test_duplicate_rows_are_removed_and_counted(tmp_path):
    log = flight(10)
    intake = read(tmp_path, write(tmp_path, "f1.csv", pd.concat([log, log.iloc[4:8]])))
    assert said(intake, "rows-duplicate").text == "4 duplicate rows removed"
    assert len(intake.records) == 20 and intake.changes.query("rule == 'duplicate rows removed'")["rows"].tolist() == [4]
    assert intake.files.loc[0, ["rows", "rows_used", "rows_dropped"]].tolist() == [24, 20, 4]


def test_the_same_file_under_another_name_is_read_once(tmp_path):
    one, two = write(tmp_path, "f1.csv", flight(10)), write(tmp_path, "f1 copy.csv", flight(10))
    intake = read(tmp_path, one, two)
    assert said(intake, "file-duplicate").text == "The same bytes as f1.csv"
    assert intake.files["verdict"].tolist() == ["used", "left out"] and set(intake.records["flight_id"]) == {"f1"}


def test_rows_that_stand_in_an_earlier_file_are_removed(tmp_path):
    one, two = write(tmp_path, "f1.csv", flight(10)), write(tmp_path, "f2.csv", flight(11))
    intake = read(tmp_path, one, two)
    assert said(intake, "rows-copied").text == "20 of 22 records stand in an earlier file too"
    assert len(intake.records) == 22


def test_two_values_at_one_time_keep_the_first(tmp_path):
    log = flight(5)
    second = log.iloc[[4]].assign(strength_db="-70.0")
    intake = read(tmp_path, write(tmp_path, "f1.csv", pd.concat([log, second])))
    assert said(intake, "time-twice").text == "Two values at one time for 1 records, first tag t1 at 2027-04-25 10:00:12Z"
    odd = intake.records[~intake.records["usable"]]
    assert odd["strength_db"].tolist() == [-70.0] and odd["unusable_reason"].tolist() == ["second value at the same time"]


def test_a_log_sorted_by_tag_is_in_order(tmp_path):
    intake = read(tmp_path, write(tmp_path, "f1.csv", flight(10).sort_values("tag_id", kind="stable")))
    assert "rows-unordered" not in codes(intake) and intake.records["time_utc"].is_monotonic_increasing


def test_small_disorder_is_sorted_and_told(tmp_path):
    log = flight(10)
    log = pd.concat([log.iloc[:6], log.iloc[8:10], log.iloc[6:8], log.iloc[10:]])
    intake = read(tmp_path, write(tmp_path, "f1.csv", log))
    assert said(intake, "rows-unordered").line == 10 and intake.records["time_utc"].is_monotonic_increasing


def test_a_clock_set_back_during_the_flight_leaves_the_file_out(tmp_path):
    log = pd.concat([flight(60), flight(60, start=START + pd.Timedelta(minutes=2), latitude=57.21)])
    intake = read(tmp_path, write(tmp_path, "f1.csv", log), write(tmp_path, "f2.csv", flight(10, start=START + pd.Timedelta(days=1))))
    message = said(intake, "clock-reset")
    assert message.text.startswith("Clock reset at line 122") and message.severity == "stop"
    assert intake.files["verdict"].tolist() == ["left out", "used"]


def test_pieces_in_the_wrong_order_are_sorted(tmp_path):
    log = pd.concat([flight(10, start=START + pd.Timedelta(minutes=5)), flight(10)])
    intake = read(tmp_path, write(tmp_path, "f1.csv", log))
    assert said(intake, "rows-unordered").severity == "look" and len(intake.records) == 40


def test_records_before_the_clock_was_set_are_dropped(tmp_path):
    log = pd.concat([flight(2, start=pd.Timestamp("1980-01-06T00:00:00Z")), flight(10)])
    intake = read(tmp_path, write(tmp_path, "f1.csv", log))
    assert said(intake, "clock-not-set").text == "Clock not set before GNSS time: 4 records, first 1980-01-06 00:00"
    assert len(intake.records) == 20


def test_flights_that_overlap_in_time_are_told(tmp_path):
    one, two = write(tmp_path, "f1.csv", flight(10)), write(tmp_path, "f2.csv", flight(10, latitude=57.3, longitude=-4.2))
    message = said(read(tmp_path, one, two), "flights-overlap")
    assert message.text == "Flights f1 and f2 overlap in time from 2027-04-25 10:00Z" and message.done == "treated as separate aircraft"
