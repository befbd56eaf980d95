"""The survey file: typed, frozen, every fault at once."""

import re
import subprocess
import sys

import pytest
from pydantic import ValidationError

from intake_sample import codes, said, write
from pipeline.intake.log_format import LOG_COLUMNS as INTAKE_LOG_COLUMNS
from pipeline.intake.log_format import POSITION_COLUMNS as INTAKE_POSITION_COLUMNS
from pipeline.fate import Ladder
from pipeline.messages import SurveyError
from pipeline.search import PRIORS, WeakTags
from pipeline.search.next_flight import FLIGHT_MINUTES, HEIGHTS_M, SPACING_M, SPEED_M_PER_S
from pipeline.stages.search_tables import weak_tags
from pipeline.survey import load_survey, starter_text, survey_schema
from pipeline.survey.model import LOG_COLUMNS, POSITION_COLUMNS, Survey, all_settings, settings_at

PLAIN = "campaign: spring-2027\ntitle: Mountain hares, spring 2027\nreceiver_log:\n  files: flights/*.csv\n"


def survey(folder, text=PLAIN):
    write(folder, "flights/a.csv", "x\n")
    return load_survey(write(folder, "survey.yml", text))


def faults(folder, text):
    with pytest.raises(SurveyError) as error:
        survey(folder, text)
    return error.value


def test_the_smallest_survey_has_every_default(tmp_path):
    found = survey(tmp_path)
    assert (found.campaign, found.seed, found.crs, found.tags) == ("spring-2027", 1, None, None)
    assert found.localisation.gates.records_heard == 8 and found.localisation.gates.radius_95_m == 300
    assert found.movement.significance == 0.05 and found.status == "draft" and found.sensitive
    assert found.file == tmp_path / "survey.yml" and found.folder == tmp_path


def test_the_stated_priors_are_those_of_the_search(tmp_path):
    assert [(prior.name, prior.in_area, prior.silent) for prior in survey(tmp_path).search.priors] == [(prior.name, prior.in_area, prior.silent) for prior in PRIORS]


def test_the_limits_of_fate_search_and_next_flight_are_those_of_the_analysis(tmp_path):
    found = survey(tmp_path)
    assert Ladder(**found.fate.model_dump()) == Ladder()
    assert weak_tags(found) == WeakTags()
    told = found.next_flight
    assert (told.minutes, told.speed_m_per_s, told.heights_m, told.spacing_m, told.take_offs) == (FLIGHT_MINUTES, SPEED_M_PER_S, HEIGHTS_M, SPACING_M, ())


def test_a_survey_cannot_be_written_to(tmp_path):
    with pytest.raises(ValidationError, match="frozen"):
        survey(tmp_path).seed = 2


def test_five_faults_give_five_messages(tmp_path):
    text = "campaign: my/camp{x}\ntitle: t\ncrs: EPSG:4326\nreceiver_log:\n  files: flights/*.csv\n  noise_floor: 3\n  height_reference: sea_lvl\ntags: tag.csv\n"
    write(tmp_path, "tags.csv", "tag_id\n")
    error = faults(tmp_path, text)
    assert error.exit_code == 1
    assert [(message.line, message.text) for message in error.messages] == [
        (1, "campaign: must be a name that any system takes for a folder: letters, digits, '-', '_' and '.', beginning with a letter or digit (got 'my/camp{x}')"),
        (3, "crs: must be a projected CRS in metres; EPSG:4326 is 'WGS 84'. Leave it out and a local one is chosen"),
        (6, "receiver_log.noise_floor: unknown setting; did you mean 'noise_db'? That is a name for receiver_log.columns"),
        (7, "receiver_log.height_reference: must be ground, takeoff, sea_level or ellipsoid (got 'sea_lvl'); did you mean 'sea_level'?"),
        (8, "tags: no file 'tag.csv'; did you mean 'tags.csv'?"),
    ]
    assert str(error).startswith("5 problems\n  - stop  survey.yml line 1: campaign:")


@pytest.mark.parametrize("line, text", [
    ("titel: x", "titel: unknown setting; did you mean 'title'?"),
    ("gates: {passes: 1}", "gates: unknown setting; did you mean 'localisation.gates'?"),
    ("seed: one", "seed: must be a whole number (got 'one')"),
    ("seed: -1", "seed: must be at least 0 (got -1)"),
    ("seed: 1.5", "seed: must be a whole number (got '1.5')"),
    ("crs: EPSG:999999", "crs: no such coordinate reference system (got 'EPSG:999999'); for example EPSG:32632"),
    ("status: finished", "status: must be draft, checked or final (got 'finished')"),
    ("sensitive: perhaps", "sensitive: must be true or false (got 'perhaps')"),
    ("terrain: nowhere/terrain.tif", "terrain: no file 'nowhere/terrain.tif'; there is no folder 'nowhere'"),
    ("tags: flights", "tags: no file 'flights' (it is a folder)"),
    ("localisation: {gates: {main_place: 1.5}}", "localisation.gates.main_place: must be at most 1 (got 1.5)"),
    ("localisation: 3", "localisation: must be a group of settings, one per line below it (got '3')"),
    ("search: {priors: [{name: a, in_area: 2, silent: 0}]}", "search.priors.0.in_area: must be at most 1 (got 2)"),
    ("movement: {species_movement_m_per_day: {Lepus timidus: -4}}", "movement.species_movement_m_per_day.Lepus timidus: must be above 0 (got -4)"),
    ("permits: {aviation: [1]}", "permits.aviation: must be text (got ['1'])"),
])
def test_a_wrong_setting_is_told_in_words(tmp_path, line, text):
    assert [message.text for message in faults(tmp_path, PLAIN + line + "\n").messages] == [text]


@pytest.mark.parametrize("line, text", [
    ("time_zone: Europe/Berln", "receiver_log.time_zone: no such time zone (got 'Europe/Berln'); did you mean 'Europe/Berlin'?"),
    ("not_heard: blnk", "receiver_log.not_heard: must be blank or a list of codes such as [0, -150] (got 'blnk'); did you mean 'blank'?"),
    ("columns: {strenght_db: Level}", "receiver_log.columns: 'strenght_db' is no column of the contract; did you mean 'strength_db'?"),
    ("date_format: dd.mm.yyyy", "receiver_log.date_format: must be day first, month first, unix seconds, unix milliseconds, gps seconds or a pattern such as '%d.%m.%Y %H:%M:%S' (got 'dd.mm.yyyy')"),
    ("date: yesterday", "receiver_log.date: must be a date such as 2027-04-25 (got 'yesterday')"),
    ("declination_deg: 200", "receiver_log.declination_deg: must be at most 180 (got 200)"),
    ("positions: {lag: 4, files: flights/*.csv}", "receiver_log.positions.lag: unknown setting; did you mean 'lag_s'?"),
    ("positions: {}", "receiver_log.positions.files: required setting is missing"),
    ("delimiter: blank", "receiver_log.delimiter: must be comma, semicolon, tab or bar (got 'blank')"),
])
def test_a_wrong_setting_of_the_log_is_told_in_words(tmp_path, line, text):
    assert [message.text for message in faults(tmp_path, PLAIN + f"  {line}\n").messages] == [text]


def test_missing_settings_are_told(tmp_path):
    error = faults(tmp_path, "seed: 1\n")
    assert [message.text for message in error.messages] == [f"{name}: required setting is missing" for name in ("campaign", "title", "receiver_log")]
    assert error.messages[0].remedy == "Its meaning: short name, safe for a folder: the results go to reports/<campaign>"


def test_a_pattern_that_matches_nothing_is_told(tmp_path):
    message = said(faults(tmp_path, PLAIN.replace("*.csv", "*.txt")), "file-missing")
    assert message.text == "receiver_log.files: no file matches 'flights/*.txt'" and message.line == 4


def test_yaml_that_cannot_be_read_names_the_line(tmp_path):
    message = said(faults(tmp_path, "campaign: a\n\ttitle: b\n"), "yaml-syntax")
    assert message.line == 2 and message.remedy == "Indent with blanks, not tabs"
    assert said(faults(tmp_path, 'title: "a\ncampaign: b\n'), "yaml-syntax").text.startswith("not valid YAML: ")


@pytest.mark.parametrize("text", ["", "# nothing\n", "- a\n- b\n", "just words\n"])
def test_a_file_without_settings_is_told(tmp_path, text):
    assert codes(faults(tmp_path, text)) == ["survey-empty"]


def test_a_setting_written_twice_is_told(tmp_path):
    message = said(faults(tmp_path, PLAIN + "seed: 1\nseed: 2\n"), "setting-twice")
    assert (message.text, message.line) == ("seed: written twice", 6)


def test_a_missing_survey_file_is_told(tmp_path):
    with pytest.raises(SurveyError, match="none.yml: cannot be read: No such file"):
        load_survey(tmp_path / "none.yml")


def test_words_and_numbers_stay_as_written(tmp_path):
    found = survey(tmp_path, PLAIN.replace("spring-2027", "2027") + "  not_heard: [0, -150, '--']\n  azimuth_reference: true\n  heard_codes: [0]\npermits: {wildlife: 0017, ethics: no}\n")
    assert found.campaign == "2027" and found.receiver_log.not_heard == ["0", "-150", "--"]
    assert found.receiver_log.azimuth_reference == "true" and found.receiver_log.heard_codes == [0.0]
    assert found.permits == {"wildlife": "0017", "ethics": "no"}


def test_a_setting_left_blank_counts_as_left_out(tmp_path):
    assert survey(tmp_path, PLAIN + "beacons:\ncrs: ~\n").beacons is None


def test_paths_may_be_absolute(tmp_path):
    tags = write(tmp_path, "elsewhere/tags.csv", "tag_id\n")
    logs = write(tmp_path, "elsewhere/logs/b.csv", "x\n")
    found = survey(tmp_path / "here", PLAIN.replace("flights/*.csv", f"['{logs.parent}/*.csv']") + f"tags: {tags}\n")
    assert found.tags == tags and found.log_files == (logs,)
    assert list(found.input_files()) == ["survey.yml", "b.csv", "tags.csv"]


def test_input_files_are_the_survey_the_logs_in_order_and_the_rest(tmp_path):
    for name in ("flights/b.csv", "flights/sub/c.csv", "beacons.csv", "tags.csv"):
        write(tmp_path, name, "x\n")
    found = survey(tmp_path, PLAIN.replace("*.csv", "**/*.csv") + "beacons: beacons.csv\ntags: tags.csv\n")
    assert list(found.input_files()) == ["survey.yml", "flights/a.csv", "flights/b.csv", "flights/sub/c.csv", "tags.csv", "beacons.csv"]
    assert all(path.is_file() and path.is_absolute() for path in found.input_files().values())


def test_two_inputs_of_one_name_are_both_listed(tmp_path):
    one, two = write(tmp_path, "x/tags.csv", "tag_id\n"), write(tmp_path, "y/tags.csv", "tag_id,latitude,longitude\n")
    found = survey(tmp_path / "here", PLAIN + f"tags: {one}\nbeacons: {two}\n")
    assert set(found.input_files().values()) >= {one, two}


def test_a_folder_whose_name_looks_like_a_pattern_is_read(tmp_path):
    assert len(survey(tmp_path / "a [b] *").log_files) == 1


def test_the_committed_schema_is_the_model(project):
    assert (project / "pipeline" / "survey.schema.json").read_text(encoding="utf-8") == survey_schema(), "write it again with: python3 -c 'from pipeline.survey.starter import write_schema; write_schema()'"


def test_every_setting_is_explained():
    unexplained = [".".join(path) for path in all_settings() if not settings_at(path[:-1])[path[-1]].description]
    assert unexplained == []


def test_columns_of_the_survey_are_those_of_intake():
    assert (LOG_COLUMNS, POSITION_COLUMNS) == (INTAKE_LOG_COLUMNS, INTAKE_POSITION_COLUMNS)


def test_the_starter_file_names_every_setting_and_loads(tmp_path):
    text = starter_text("spring-2027")
    for name in ("tags.csv", "beacons.csv", "bearings.csv", "sightings.csv"):
        write(tmp_path, name, "tag_id\n")
    assert survey(tmp_path, text).campaign == "spring-2027"
    for path in all_settings():
        assert re.search(rf"^#? *{path[-1]}:|{path[-1]}: ", text, re.MULTILINE), path


def test_the_starter_file_with_every_comment_removed_is_valid_yaml(tmp_path):
    from pipeline.survey.yaml_lines import read_yaml

    lines = [line.removeprefix("# ") if re.match(r"# +\w+:", line) else line for line in starter_text("a").splitlines()]
    file = read_yaml("\n".join(lines))
    assert set(file.values) == set(Survey.model_fields) and file.twice == []
    assert set(file.values["receiver_log"]) == set(settings_at(("receiver_log",)))


def test_loading_a_survey_imports_no_geography(project):
    code = "import sys; from pipeline.survey import load_survey; load_survey('data/demo/survey.yml'); print([m for m in ('pyproj', 'geopandas', 'rasterio', 'pipeline.intake') if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], cwd=project, capture_output=True, text=True, check=True).stdout.strip() == "[]"
