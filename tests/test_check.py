"""The check of a campaign, and the folder of a new one."""

import pytest

from intake_sample import codes, flight, said, write
from pipeline.messages import SurveyError
from pipeline.stages.check import check_survey, read_arguments
from pipeline.stages.new import REGISTERS, make_folder
from pipeline.survey import load_survey
from tests.benchmarks.field import SURVEY as FIELD_SURVEY

SURVEY = "campaign: small\ntitle: A small campaign\nreceiver_log:\n  files: flights/*.csv\n  time_zone: UTC\n  not_heard: blank\n"


def small(folder, more="", **files):
    write(folder, "flights/a.csv", flight())
    for name, text in files.items():
        write(folder, f"{name}.csv", text)
    return write(folder, "survey.yml", SURVEY + more)


def test_the_demo_passes_and_says_what_is_there(project):
    messages, summary = check_survey(project / "data" / "demo" / "survey.yml")
    assert not [message for message in messages if message.severity == "stop"]
    assert said(messages, "position-missing").file.startswith("flights/") and said(messages, "rows-duplicate").severity == "note"
    assert "39 tags: 28 animals, 9 beacons, 2 decoys" in summary and "6 flights from" in summary


def test_the_summary_counts_what_was_read(tmp_path):
    _, summary = check_survey(small(tmp_path))
    assert summary.splitlines() == [
        "small: A small campaign", "1 flight from 2027-04-25 10:00 to 2027-04-25 10:02 UTC, 60 records of tags, 15 heard, 0 not usable", "2 tags: 2 animals",
        "Coordinates: local transverse Mercator centred on 57.2100 N 4.1000 W (metres)", "3 messages to look at"]


def test_a_register_beside_the_survey_that_is_not_named_is_told(tmp_path):
    messages, _ = check_survey(small(tmp_path, beacons="tag_id,latitude,longitude\nt1,57.2,-4.1\n"))
    message = said(messages, "file-unnamed")
    assert message.text == "beacons.csv lies beside the survey file and is not named in it" and message.remedy == "Add the line beacons: beacons.csv, or move the file away"


def test_a_final_campaign_without_permits_is_a_message_to_look_at(tmp_path):
    permits = "permits: {wildlife: W-1, aviation: A-1, ethics: ' '}\n"
    message = said(check_survey(small(tmp_path / "final", "status: final\n" + permits))[0], "final-without-permits")
    assert message.severity == "look" and message.text == "The status is final, and permits are not recorded: ethics and landowner"
    assert "final-without-permits" not in codes(check_survey(small(tmp_path / "draft", permits))[0])


def test_faults_of_the_tables_are_raised_together(tmp_path):
    path = small(tmp_path, "tags: tags.csv\nbeacons: beacons.csv\n", tags="id\n1\n", beacons="tag_id,lat,lon\nt1,57.2,-4.1\n")
    with pytest.raises(SurveyError) as error:
        check_survey(path)
    assert codes(error.value) == ["column-missing"] * 3
    assert "Column 'latitude' is missing; found: tag_id, lat, lon; did you mean 'lat'?" in str(error.value)


def test_a_file_that_is_left_out_does_not_stop_the_check(tmp_path):
    path = small(tmp_path)
    write(tmp_path, "flights/b.csv", "")
    messages, _ = check_survey(path)
    assert said(messages, "file-empty").severity == "stop"


def test_every_setting_of_the_log_reaches_intake(tmp_path):
    more = ("  columns: {height_m: Alt}\n  layout: long\n  delimiter: semicolon\n  decimal: ','\n  encoding: latin-1\n  date_format: day first\n  date: 2027-04-25\n  not_listened: [off]\n"
            "  heard_codes: [0]\n  height_reference: takeoff\n  height_unit: ft\n  receiver_height_m: 60\n  height_limit_m: 150\n  geoid_undulation_m: 51.5\n  azimuth_reference: magnetic\n  azimuth_unit: deg\n  declination_deg: 3\n"
            "  heard_above_noise_db: 6\n  position_crs: EPSG:4258\n  max_speed_m_per_s: 40\n  positions: {files: flights/*.csv, lag_s: 2, columns: {latitude: Lat}}\n")
    log_format = read_arguments(load_survey(small(tmp_path, more)))["log_format"]
    assert log_format.columns == {"height_m": "Alt"} and log_format.text.delimiter == ";" and log_format.text.decimal == "," and log_format.text.encoding == "latin-1"
    assert (log_format.clock.date_format, log_format.clock.time_zone, log_format.clock.date) == ("day first", "UTC", "2027-04-25")
    assert log_format.not_listened == ("off",) and log_format.heard_codes == (0.0,) and log_format.height_reference == "takeoff" and log_format.height_unit == "ft"
    assert (log_format.height_limit_m, log_format.geoid_undulation_m) == (150, 51.5)
    assert (log_format.receiver_height_m, log_format.declination_deg, log_format.heard_above_noise_db, log_format.max_speed_m_per_s) == (60, 3, 6, 40)
    assert log_format.positions.lag_s == 2 and log_format.positions.clock.time_zone == "UTC" and len(log_format.positions.files) == 1


def test_the_real_walks_pass_with_a_survey_file_written_by_a_user(field_data, tmp_path):
    path = write(tmp_path, "survey.yml", FIELD_SURVEY.format(folder=field_data / "campus-462mhz"))
    messages, summary = check_survey(path)
    assert sorted(set(codes(messages))) == ["azimuth-missing", "height-missing", "terrain-missing"]
    assert "24 tags: 11 animals, 13 beacons" in summary


def test_a_new_folder_has_a_survey_file_registers_and_a_place_for_logs(tmp_path):
    folder = make_folder(tmp_path / "Spring 2027")
    assert sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()) == sorted(["survey.yml", "flights/README.txt", *REGISTERS])
    with pytest.raises(SurveyError) as error:
        load_survey(folder / "survey.yml")
    assert [message.text for message in error.value.messages] == ["receiver_log.files: no file matches 'flights/*.csv'"]


def test_a_new_folder_with_a_log_passes_the_check(tmp_path):
    folder = make_folder(tmp_path / "Spring 2027")
    write(folder, "flights/a.csv", flight())
    messages, summary = check_survey(folder / "survey.yml")
    assert summary.startswith("Spring-2027: My campaign") and not [message for message in messages if message.severity == "stop"]
    assert codes(messages).count("register-empty") == 4


def test_a_folder_with_a_campaign_in_it_is_not_written_over(tmp_path):
    write(tmp_path, "survey.yml", "mine\n")
    with pytest.raises(SurveyError, match="survey.yml: Exists already. Nothing was written"):
        make_folder(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["survey.yml"] and (tmp_path / "survey.yml").read_text() == "mine\n"


def test_a_file_in_place_of_the_folder_is_told(tmp_path):
    with pytest.raises(SurveyError, match="Exists already"):
        make_folder(write(tmp_path, "spring", "x"))
