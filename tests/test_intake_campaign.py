"""Whole campaigns read in: every layout and writing of one flight gives the same records, and every fault is told at once."""

import hashlib
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from intake_sample import UTC, codes, flight, read, said, write
from pipeline.columns import RECORDS
from pipeline.intake import Clock, LogFormat, TextFormat, read_campaign
from pipeline.messages import SurveyError

SAME = ["tag_id", "record", "time_utc", "latitude", "longitude", "height_m", "heard", "strength_db", "noise_db", "usable"]


@pytest.fixture
def plain(tmp_path):
    return read(tmp_path, write(tmp_path, "f1.csv", flight())).records


def same(records, expected):
    pd.testing.assert_frame_equal(records[SAME], expected[SAME])


def test_records_have_the_agreed_columns_and_remember_file_and_line(tmp_path, plain):
    assert list(plain.columns) == list(RECORDS)
    assert plain["source_line"].tolist() == list(range(2, 62)) and set(plain["source_file"]) == {"f1.csv"}
    assert (plain["strength_db"].isna() == ~plain["heard"]).all() and plain["heard"].sum() == 15


def test_a_renamed_semicolon_log_with_decimal_commas_reads_the_same(tmp_path, plain):
    names = {"time_utc": "UTC", "strength_db": "Pegel", "latitude": "Breite", "longitude": "L\u00e4nge"}
    log = flight().rename(columns=names)
    for column in ("Pegel", "Breite", "L\u00e4nge", "noise_db", "height_m"):
        log[column] = log[column].str.replace(".", ",")
    intake = read(tmp_path, write(tmp_path, "f2.csv", log, sep=";", encoding="latin-1"), log_format=replace(UTC, columns=names))
    same(intake.records, plain)
    assert intake.files.loc[0, ["encoding", "delimiter", "decimal"]].tolist() == ["latin-1", ";", ","]


def test_a_log_with_codes_and_local_day_first_times_reads_the_same(tmp_path, plain):
    log = flight()
    log["time_utc"] = pd.to_datetime(log["time_utc"]).dt.tz_convert("Europe/Berlin").dt.strftime("%d.%m.%Y %H:%M:%S")
    log["strength_db"] = log["strength_db"].replace("", "-150")
    log_format = LogFormat(clock=Clock("day first", "Europe/Berlin"), not_heard=("-150",))
    same(read(tmp_path, write(tmp_path, "f2.csv", log), log_format=log_format).records, plain)


@pytest.mark.parametrize("tag_columns", ["rssi_*", {"rssi_t1": "t1", "rssi_t2": "t2"}])
def test_a_wide_log_reads_the_same(tmp_path, plain, tag_columns):
    log = flight()
    wide = log.pivot(index=["time_utc", "latitude", "longitude", "height_m", "noise_db"], columns="tag_id", values="strength_db").add_prefix("rssi_").reset_index()
    intake = read(tmp_path, write(tmp_path, "f2.csv", wide), log_format=replace(UTC, layout="wide", tag_columns=tag_columns))
    same(intake.records, plain)
    assert intake.records["source_line"].tolist() == [2 + i // 2 for i in range(60)]
    assert intake.files.loc[0, ["rows", "rows_used", "rows_dropped"]].tolist() == [30, 30, 0]


def test_a_wide_log_finds_the_columns_of_registered_tags_and_their_pulse_rates(tmp_path):
    wide = "time_utc,latitude,longitude,T1,t2,rate_t1,rate_t2\n2027-04-25T10:00:00Z,57.2,-4.1,-90,,40,\n2027-04-25T10:00:06Z,57.201,-4.1,,-95,,80\n"
    log_format = replace(UTC, layout="wide", pulse_rate_columns="rate_*")
    intake = read(tmp_path, write(tmp_path, "f1.csv", wide), log_format=log_format, tags_file=write(tmp_path, "tags.csv", "tag_id\nt1\nt2\n"))
    assert intake.records["tag_id"].tolist() == ["t1", "t2", "t1", "t2"]
    assert intake.records["heard"].tolist() == [True, False, False, True]
    assert intake.records["pulse_rate_per_min"].fillna(0).tolist() == [40, 0, 0, 80]


def test_a_wide_log_with_codes_leaves_blank_cells_out(tmp_path):
    wide = "time_utc,latitude,longitude,t1,t2\n2027-04-25T10:00:00Z,57.2,-4.1,-150,\n2027-04-25T10:00:06Z,57.201,-4.1,-90,-150\n"
    log_format = replace(UTC, layout="wide", tag_columns={"t1": "t1", "t2": "t2"}, not_heard=("-150",))
    assert read(tmp_path, write(tmp_path, "f1.csv", wide), log_format=log_format).records["tag_id"].tolist() == ["t1", "t1", "t2"]


def test_the_threshold_of_a_record_is_its_noise_and_the_margin(tmp_path):
    records = read(tmp_path, write(tmp_path, "f1.csv", flight(3)), log_format=replace(UTC, heard_above_noise_db=6.0)).records
    assert records["threshold_db"].tolist() == [-115] * 6
    assert read(tmp_path, tmp_path / "f1.csv").records["threshold_db"].isna().all()


def test_a_margin_above_the_noise_that_strengths_contradict_is_told(tmp_path):
    path = write(tmp_path, "f1.csv", flight())
    assert said(read(tmp_path, path, log_format=replace(UTC, heard_above_noise_db=30.0)), "threshold-contradicted").text == (
        "heard_above_noise_db: 30, but 80% of the heard strengths lie below it")
    quiet = write(tmp_path, "f2.csv", flight().drop(columns="noise_db"))
    assert said(read(tmp_path, quiet, log_format=replace(UTC, heard_above_noise_db=6.0)), "noise-missing").severity == "look"


def test_every_fault_of_every_file_is_told_at_once(tmp_path):
    log = flight(20).rename(columns={"time_utc": "Time"})
    bad_names = log.rename(columns={"latitude": "Lattitude", "tag_id": "Tag"})
    no_zone = log.assign(Time=log["Time"].str.rstrip("Z"))
    coded = log.assign(strength_db=log["strength_db"].replace("", "-150"))
    with pytest.raises(SurveyError) as error:
        read(tmp_path, write(tmp_path, "a.csv", bad_names), write(tmp_path, "b.csv", no_zone), write(tmp_path, "c.csv", coded), log_format=LogFormat(columns={"time_utc": "Time"}),
             beacons_file=write(tmp_path, "beacons.csv", "tag,latitude,longitude\n"))
    told = [(message.file, message.code) for message in error.value.messages]
    assert told == [("beacons.csv", "column-missing"), ("a.csv", "column-missing"), ("a.csv", "column-missing"), ("b.csv", "time-zone-missing"), ("c.csv", "strength-code")]
    assert error.value.exit_code == 1


def test_a_missing_column_names_file_column_what_was_found_and_the_nearest(tmp_path):
    with pytest.raises(SurveyError) as error:
        read(tmp_path, write(tmp_path, "flights/a.csv", flight(5).rename(columns={"latitude": "Lattitude"})))
    message = said(error.value, "column-missing")
    assert message.file == "flights/a.csv"
    assert message.text == ("Column 'latitude' is missing; found: time_utc, Lattitude, longitude, height_m, antenna_azimuth_deg, tag_id, strength_db, noise_db; "
                            "did you mean 'Lattitude'?")
    assert message.remedy == "Name it in the survey file, receiver_log.columns: {latitude: Lattitude}"


def test_files_that_cannot_be_used_are_left_out_and_listed(tmp_path):
    intake = read(tmp_path, write(tmp_path, "a.csv", ""), write(tmp_path, "b.csv", flight(5)), write(tmp_path, "c.csv", "time_utc,latitude,longitude,tag_id,strength_db\n"))
    assert intake.files["verdict"].tolist() == ["left out", "used", "left out"]
    assert intake.files["reason"].tolist() == ["File has 0 bytes", "", "Header but no records"]
    assert [message.severity for message in intake.messages if message.file in ("a.csv", "c.csv")] == ["stop", "stop"]


def test_no_usable_log_at_all_ends_with_every_reason(tmp_path):
    with pytest.raises(SurveyError) as error:
        read(tmp_path, write(tmp_path, "a.csv", ""))
    assert codes(error.value) == ["file-empty", "logs-empty"]


def test_a_column_named_alike_is_offered(tmp_path):
    intake = read(tmp_path, write(tmp_path, "a.csv", flight(5).rename(columns={"antenna_azimuth_deg": "azimuth_deg"})))
    assert said(intake, "column-unused").text == "Column 'azimuth_deg' is not used; is it antenna_azimuth_deg?"


def test_raw_files_are_never_written_to(tmp_path):
    path = write(tmp_path, "a.csv", flight(5) , encoding="utf-8-sig")
    before = hashlib.sha256(path.read_bytes()).hexdigest()
    path.chmod(0o444)
    intake = read(tmp_path, path)
    assert hashlib.sha256(path.read_bytes()).hexdigest() == before == intake.files.loc[0, "sha256"]
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["a.csv"]


def test_reading_twice_gives_the_same(tmp_path):
    path = write(tmp_path, "a.csv", flight())
    one, two = read(tmp_path, path), read(tmp_path, path)
    pd.testing.assert_frame_equal(one.records, two.records)
    assert one.messages == two.messages


def test_folders_with_blanks_and_accents_are_read(tmp_path):
    folder = tmp_path / "Fr\u00fchjahr 2027 [1]"
    assert len(read(folder, write(folder, "fl\u00fcge/1.csv", flight(5))).records) == 10


def test_a_text_that_looks_like_code_is_only_text(tmp_path):
    log = flight(2).assign(latitude="__import__('os').getcwd()")
    with pytest.raises(SurveyError):
        read(tmp_path, write(tmp_path, "a.csv", log))


def test_a_declared_separator_is_used(tmp_path):
    log_format = replace(UTC, text=TextFormat(delimiter="|"))
    assert len(read(tmp_path, write(tmp_path, "a.csv", flight(5), sep="|"), log_format=log_format).records) == 10


def test_the_real_walks_are_read_as_a_user_would_declare_them(field_data):
    folder = field_data / "campus-462mhz"
    log_format = LogFormat(columns={"time_utc": "time", "latitude": "receiver_lat", "longitude": "receiver_lon", "strength_db": "rss_db", "noise_db": "noise_floor_db"},
                           clock=Clock(time_zone="America/Denver"), not_heard="blank", heard_above_noise_db=3.0)
    intake = read_campaign(log_files=sorted((folder / "flights").glob("*.csv")), log_format=log_format, tags_file=folder / "tags.csv", beacons_file=folder / "beacons.csv", base=folder)
    assert len(intake.records) == 15290 and intake.records["usable"].mean() > 0.99
    assert intake.tags["role"].value_counts().to_dict() == {"beacon": 13, "animal": 11}
    assert str(intake.records["time_utc"].min()) == "2022-04-25 21:57:11+00:00"
    # a signal counts as heard in these logs when it is 3 dB above the noise
    heard = intake.records[intake.records["heard"]]
    assert (heard["strength_db"] >= heard["threshold_db"] - 0.02).mean() > 0.99
    assert np.ptp(intake.records["easting_m"].dropna()) < 5000
