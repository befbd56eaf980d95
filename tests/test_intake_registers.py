"""Registers of tags, beacons, bearings and sightings, and one spelling for each tag."""

import pandas as pd
import pytest

from intake_sample import START, codes, flight, read, said, write
from pipeline.columns import BEACONS, TAGS
from pipeline.intake.findings import Findings
from pipeline.intake.tag_ids import aliases, plain_id
from pipeline.messages import SurveyError

TAG_FILE = "tag_id,animal_id,species,frequency_mhz,tag_type,deployed_utc,expected_end_utc,decoy\n"


def campaign(folder, *, log=None, **files):
    """files : name of an argument -> text of the file."""
    paths = {f"{name}_file": write(folder, f"{name}.csv", text) for name, text in files.items()}
    return read(folder, write(folder, "f1.csv", flight(6) if log is None else log), **paths)


def refused(folder, **more):
    with pytest.raises(SurveyError) as error:
        campaign(folder, **more)
    return error.value


def test_every_tag_has_a_row_and_a_role(tmp_path):
    intake = campaign(tmp_path, tags=TAG_FILE + "t1,a1,Lepus timidus,150.01,collar,,,\nd1,,,150.05,collar,,,true\n", beacons="tag_id,latitude,longitude\nb1,57.2,-4.1\n")
    assert intake.tags.set_index("tag_id")["role"].to_dict() == {"b1": "beacon", "d1": "decoy", "t1": "animal", "t2": "unregistered"}
    assert list(intake.tags.columns) == list(TAGS) and list(intake.beacons.columns) == list(BEACONS)
    assert said(intake, "tag-unknown").text == "1 tag in the logs and in no register: t2"


def test_only_the_tag_id_is_required(tmp_path):
    assert campaign(tmp_path, tags="tag_id\nt1\nt2\n").tags["role"].tolist() == ["animal", "animal"]


def test_a_missing_column_names_file_column_and_what_was_found(tmp_path):
    error = refused(tmp_path, beacons="tag_id,latitude,lng\nb1,57.2,-4.1\n", tags="tagid\nt1\n")
    texts = [message.as_line() for message in error.messages]
    assert len(texts) == 2
    assert "tags.csv line 1: Column 'tag_id' is missing; found: tagid; did you mean 'tagid'?" in texts[0]
    assert "beacons.csv line 1: Column 'longitude' is missing; found: tag_id, latitude, lng; did you mean 'lng'?" in texts[1]


def test_a_header_without_rows_is_an_empty_register(tmp_path):
    intake = campaign(tmp_path, beacons="tag_id,latitude,longitude\n", tags="tag_id\n")
    assert codes(intake).count("register-empty") == 2 and "beacons-missing" in codes(intake) and intake.beacons.empty


def test_a_beacon_that_cannot_be_placed_is_left_out_and_the_others_stay(tmp_path):
    intake = campaign(tmp_path, beacons="tag_id,latitude,longitude,use\nb1,95,-4.1,\nb2,57.2,-4.1,\nb3,57.2,-4.1,maybe\n")
    assert intake.beacons["tag_id"].tolist() == ["b2"] and intake.beacons["use"].tolist() == ["both"]
    left = [message for message in intake.messages if message.code == "beacon-wrong"]
    assert [message.line for message in left] == [2, 4] and "use 'maybe' is none of fit, test, both or blank" in left[1].text


def test_one_tag_at_two_places_in_different_periods_has_two_places(tmp_path):
    rows = "b1,57.200,-4.1,2027-04-01,2027-04-10\nb1,57.210,-4.1,2027-04-10,2027-04-30\nb1,57.200,-4.1,2027-05-01,\n"
    beacons = campaign(tmp_path, beacons="tag_id,latitude,longitude,valid_from_utc,valid_to_utc\n" + rows).beacons
    assert beacons["place_id"].tolist() == ["b1@1", "b1@2", "b1@1"]


def test_one_tag_at_two_places_at_one_time_is_left_out(tmp_path):
    intake = campaign(tmp_path, beacons="tag_id,latitude,longitude\nb1,57.2,-4.1\nb1,57.3,-4.1\nb2,57.2,-4.1\n")
    message = said(intake, "beacon-two-places")
    assert (message.line, message.severity) == (3, "stop") and intake.beacons["place_id"].tolist() == ["b2"]


def test_a_beacon_surveyed_by_phone_is_told(tmp_path):
    intake = campaign(tmp_path, beacons="tag_id,latitude,longitude,position_sd_m\nb1,57.2,-4.1,10\n")
    assert said(intake, "beacon-rough").text == "1 beacon positions are known to 10 m only"


def test_frequencies_too_close_are_told_in_pairs(tmp_path):
    intake = campaign(tmp_path, tags=TAG_FILE + "t1,,,150.0100,,,,\nt2,,,150.0125,,,,\nt3,,,150.0200,,,,\n")
    assert said(intake, "frequency-close").text == "Tags t1 and t2 are 2.5 kHz apart (150.01 and 150.012 MHz)"


def test_an_id_of_two_animals_is_settled_by_its_dates(tmp_path):
    rows = "t1,old hare,,,,2025-01-01,2026-01-01,\nt1,new hare,,,,2027-01-01,,\n"
    intake = campaign(tmp_path, tags=TAG_FILE + rows)
    assert intake.tags.set_index("tag_id").loc["t1", "animal_id"] == "new hare" and "id-collision" not in codes(intake)


def test_an_id_of_two_animals_without_dates_is_left_out(tmp_path):
    intake = campaign(tmp_path, tags=TAG_FILE + "t1,one,,,,,,\nt1,other,,,,,,\nt2,third,,,,,,\n")
    message = said(intake, "id-collision")
    assert (message.text, message.line, message.severity) == ("Id t1 belongs to two animals at this date: one and other", 3, "stop")
    assert set(intake.records.query("not usable")["tag_id"]) == {"t1"} and set(intake.records.query("not usable")["unusable_reason"]) == {"id belongs to two animals"}


@pytest.mark.parametrize("typed, plain", [("017", "17"), (" 17 ", "17"), ("17.0", "17"), ("T 05", "t 05"), ("0", "0"), ("150.010", "150.010")])
def test_ids_are_compared_without_what_typing_adds(typed, plain):
    assert plain_id(typed) == plain


def test_an_id_typed_differently_is_taken_as_the_registered_one(tmp_path):
    intake = campaign(tmp_path, log=flight(6, tags=("017", "t2")), tags="tag_id\n17\nt2\n")
    assert set(intake.records["tag_id"]) == {"17", "t2"} and said(intake, "id-spelling").text == "Id '017' taken as '17'"


def test_between_two_registered_ids_nothing_is_guessed():
    findings = Findings()
    assert aliases(["0017"], ["17", "017"], "logs", findings) == {}
    assert said(findings, "id-unclear").text == "Id '0017' could be '17' or '017'"


def test_without_a_register_the_first_spelling_counts(tmp_path):
    log = pd.concat([flight(6, tags=("17",)), flight(6, tags=("017",), start=START + pd.Timedelta(minutes=5))])
    assert read(tmp_path, write(tmp_path, "f1.csv", log)).records["tag_id"].nunique() == 1


@pytest.mark.parametrize("mangled", ["1E+05", "1.5E+10", "MAR-1", "1-Mar"])
def test_ids_that_a_spreadsheet_changed_stop_the_run(tmp_path, mangled):
    message = said(refused(tmp_path, tags=f"tag_id\n{mangled}\n"), "id-mangled")
    assert message.text.endswith("looks changed by a spreadsheet; use the raw file") and message.line == 2


def test_bearings_are_brought_to_true_north_and_to_the_grid(tmp_path):
    text = "time_utc,tag_id,latitude,longitude,bearing_deg,bearing_sd_deg,north_reference\n2027-04-25T11:00:00Z,t1,57.2,-4.1,350,5,true\n2027-04-25T11:05:00Z,t1,57.2,-4.1,20,,magnetic\n"
    intake = campaign(tmp_path, bearings=text)
    # the compass points 0.7 degrees west of north there and then: the model is checked in tests/outside/test_geodesy.py
    assert intake.bearings["bearing_deg"].tolist() == pytest.approx([350, 20 - 0.73], abs=0.01) and intake.bearings["north_reference"].tolist() == ["true", "true"]
    told = said(intake, "declination-added")
    assert (told.text, told.file) == ("0.7 deg W added to 1 magnetic bearing, World Magnetic Model 2025, 2027-04-25, 57.2000 N 4.1000 W", "bearings.csv")
    assert intake.bearings["bearing_grid_deg"].iloc[0] == pytest.approx(350, abs=0.02)


def test_sightings_keep_their_state_and_bad_rows_are_told(tmp_path):
    text = "time_utc,tag_id,latitude,longitude,position_sd_m,state\n2027-04-25T11:00:00Z,t1,57.2,-4.1,5,dead\n,t2,57.2,-4.1,5,alive\n2027-04-25T11:00:00Z,t2,57.2,-4.1,5,asleep\n"
    intake = campaign(tmp_path, sightings=text)
    assert intake.sightings["state"].tolist() == ["dead", ""] and intake.sightings["easting_m"].notna().all()
    assert said(intake, "row-incomplete").line == 3 and said(intake, "sighting-state").line == 4


def test_flags_must_be_true_or_false(tmp_path):
    assert said(refused(tmp_path, tags="tag_id,decoy\nt1,perhaps\n"), "cell-not-a-flag").text == "decoy: 'perhaps' is neither true nor false"


def test_registers_with_semicolons_and_decimal_commas_are_read(tmp_path):
    assert campaign(tmp_path, beacons="tag_id;latitude;longitude\nb1;57,25;-4,125\n").beacons["latitude"].tolist() == [57.25]
