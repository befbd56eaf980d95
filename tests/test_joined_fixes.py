"""Flights joined at the survey file's request, from setting to table, report and layers, on a part of the invented demo whose truth is known."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from pipeline.columns import FIXES
from pipeline.messages import SurveyError
from pipeline.run.commands import main
from pipeline.stages.check import check_survey
from pipeline.stages.joined_check import joined_faults
from pipeline.stages.joined_fixes import JOINED_AGREEMENT, JOINED_FIXES, JOINED_TESTS
from pipeline.stages.joined_report import agreement_words, beacon_words, comparison, joined_heading, p_words
from pipeline.stages.localisation_report import LocalisationReport
from pipeline.survey import load_survey
from tests.campaign_runs import located, worked_out

# H05 stayed within the morning; H01 walked 0.6 km between 21 April and 7 May; H09 was heard in April only; H12 in no flight.
TAGS_KEPT = ["H01", "H05", "H09", "H12", "B01", "B02"]
FLIGHTS = ["0421-a", "0421-b", "0507-a"]
SURVEY = ("campaign: joined\ntitle: Joined flights\nreceiver_log: {files: flights/*.csv, time_zone: UTC, not_heard: blank}\ntags: tags.csv\nbeacons: beacons.csv\n")
ASKED = """localisation:
  joined_flights:
    - {tag_id: H05, flights: [0421-b, 0421-a]}
    - {tag_id: H01, flights: [0421-a, 0507-a]}
    - tag_id: H09
      flights: [0421-a, 0507-a]
    - {tag_id: H12, flights: [0421-a, 0421-b]}
"""


def folder_with(project, folder, asked):
    (folder / "flights").mkdir(parents=True)
    for flight in FLIGHTS:
        log = pd.read_csv(project / "data" / "demo" / "flights" / f"{flight}.csv", dtype=str)
        log[log["tag_id"].isin(TAGS_KEPT)].to_csv(folder / "flights" / f"{flight}.csv", index=False)
    for name in ("tags.csv", "beacons.csv"):
        rows = pd.read_csv(project / "data" / "demo" / name, dtype=str)
        rows[rows["tag_id"].isin(TAGS_KEPT)].to_csv(folder / name, index=False)
    (folder / "survey.yml").write_text(SURVEY + asked)
    return folder / "survey.yml"


@pytest.fixture(scope="module")
def campaign(project, tmp_path_factory):
    survey_file = folder_with(project, tmp_path_factory.mktemp("joined") / "c", ASKED)
    return worked_out(survey_file, survey_file.parent / "out")


@pytest.fixture
def joined(campaign):
    return campaign.read_table("joined_fixes", JOINED_FIXES).set_index("tag_id")


# the campaign

def test_every_join_asked_for_has_one_row_with_its_flights_in_order_of_time(joined):
    assert dict(joined["flight_ids"]) == {"H05": "0421-a + 0421-b", "H01": "0421-a + 0507-a", "H09": "0421-a + 0507-a", "H12": "0421-a + 0421-b"}
    assert list(joined["flights"]) == [2, 2, 2, 2] and list(joined["flights_heard"]) == [2, 2, 1, 0]


def test_a_tag_that_stayed_is_placed_closer_than_by_either_flight_and_the_region_holds_it(campaign, joined, project):
    row, fixes = joined.loc["H05"], campaign.read_table("fixes", FIXES)
    single = fixes[(fixes["tag_id"] == "H05") & fixes["flight_id"].isin(["0421-a", "0421-b"])]
    truth = pd.read_csv(project / "data" / "demo-truth" / "positions.csv").query("tag_id == 'H05' and flight_id == '0421-a'").iloc[0]
    off_m = np.hypot((row["latitude"] - truth["latitude"]) * 111_300, (row["longitude"] - truth["longitude"]) * 111_300 * np.cos(np.radians(57.2)))
    assert row["status"] == "located" and row["agreement"] == "agree"
    assert row["region_95_ha"] < single["region_95_ha"].min() and row["error_radius_95_m"] < single["error_radius_95_m"].min()
    assert off_m < row["error_radius_95_m"]
    assert row["records_heard"] == single["records_heard"].sum() and row["records_listened"] == single["records_listened"].sum()


def test_a_tag_that_moved_between_the_flights_gets_no_position_and_the_reason(joined):
    row = joined.loc["H01"]
    assert row["status"] == "area only" and row["agreement"] == "disagree" and row["agreement_p"] < 0.05 and np.isnan(row["latitude"])
    assert "the flights do not agree on one place (p " in row["status_reason"]


def test_a_flight_that_heard_nothing_where_it_should_have_contradicts_the_join(campaign, joined):
    tests = campaign.read_table("joined_agreement", JOINED_AGREEMENT).set_index("tag_id")
    assert tests.loc["H09", "test"] == "silence" and tests.loc["H09", "to_flight_id"] == "0507-a"
    assert joined.loc["H09", "agreement_p"] == tests.loc["H09", "p_adjusted"]
    assert (joined.loc["H09", "agreement"] == "disagree") == (tests.loc["H09", "p"] < 0.05)


def test_a_tag_that_no_flight_heard_is_not_heard_together_either(joined):
    row = joined.loc["H12"]
    assert row["status"] == "not heard" and row["records_heard"] == 0 and np.isnan(row["best_latitude"]) and row["agreement"] == ""


def test_the_fixes_of_single_flights_are_those_of_a_survey_that_joins_nothing(campaign, project, tmp_path):
    plain = located(folder_with(project, tmp_path / "plain", ""), tmp_path / "out")
    for name in ("fixes", "fix_evidence"):
        assert plain.path_to_read(f"tables/{name}.csv").read_bytes() == campaign.path_to_read(f"tables/{name}.csv").read_bytes()
    assert len(plain.read_table("joined_fixes", JOINED_FIXES)) == 0
    assert LocalisationReport(plain).joined_fixes().report_html() == LocalisationReport(plain).book.words(None).report_html()


def test_beacons_joined_over_the_same_flights_test_the_joined_regions(campaign):
    tests = campaign.read_table("joined_fix_tests", JOINED_TESTS)
    assert set(zip(tests["tag_id"], tests["flight_ids"])) == {(tag, flights) for tag in ("B01", "B02") for flights in ("0421-a + 0421-b", "0421-a + 0507-a")}
    assert (tests["inside_95"] == (tests["level"] <= 0.95)).all() and (tests["error_m"] < 400).all()


def test_the_report_sets_joined_fixes_beside_single_ones_with_the_caution(campaign):
    shown = LocalisationReport(campaign).joined_fixes().report_html()
    assert "1 of 4 joined fixes ended with a position" in shown and "presumes that the animal did not move" in shown
    assert shown.count("together") >= 4 and "silence of 0507-a" in shown and "H01 (0421-a + 0507-a): the flights contradict one place (p " in shown


def test_the_geopackage_has_points_and_regions_of_joined_fixes(campaign, joined):
    path = campaign.path_to_read("results.gpkg")
    assert {"joined_fixes", "joined_regions"} <= set(gpd.list_layers(path)["name"])
    points, regions = (gpd.read_file(path, layer=f"joined_{name}") for name in ("fixes", "regions"))
    assert len(points) == 4 and set(regions["tag_id"]) == {"H05", "H01", "H09"}
    wide = regions[regions["probability"] == 0.95].set_index("tag_id").geometry.area / 1e4
    np.testing.assert_allclose(wide, joined.loc[wide.index, "region_95_ha"], rtol=0.15)


# faults

WRONG = """localisation:
  joined_flights:
    - {tag_id: h05, flights: [0421-a, 0421-b]}
    - tag_id: H01
      flights:
        - 0421-a
        - 0421-c
    - {tag_id: H05, flights: [0421-a, 0421-b]}
    - {tag_id: H05, flights: [0421-b, 0421-a]}
"""


def test_ids_that_nobody_knows_are_all_told_at_once_with_file_line_and_value(project, tmp_path):
    path = folder_with(project, tmp_path / "c", WRONG)
    with pytest.raises(SurveyError) as error:
        check_survey(path)
    assert [(message.file, message.line, message.value, message.text, message.remedy) for message in error.value.messages] == [
        ("survey.yml", 8, "h05", "localisation.joined_flights.0.tag_id: no tag 'h05' in the registers or the logs", "Did you mean 'H05'?"),
        ("survey.yml", 12, "0421-c", "localisation.joined_flights.1.flights.1: no flight '0421-c'", "Known flights: 0421-a, 0421-b and 0507-a"),
        ("survey.yml", 14, "H05", "localisation.joined_flights.3: the same flights of 'H05' are joined twice", "Keep one of the two")]


def test_a_run_with_an_unknown_id_ends_with_exit_code_1_and_writes_no_results(project, tmp_path, capsys):
    path = folder_with(project, tmp_path / "c", WRONG)
    assert main(["run", str(path), "--into", str(tmp_path / "out")]) == 1
    told = capsys.readouterr().err
    assert "3 problems" in told and "survey.yml line 12" in told and "0421-c" in told
    assert not (tmp_path / "out" / "index.html").exists() and not (tmp_path / "out" / "tables").exists()


@pytest.mark.parametrize("asked, told", [
    ("[{tag_id: H05, flights: [0421-a]}]", "localisation.joined_flights.0.flights: must name two or more (got ['0421-a'])"),
    ("[{tag_id: H05, flights: [0421-a, 0421-a]}]", "localisation.joined_flights.0.flights: names '0421-a' more than once"),
    ("[{tag: H05, flights: [0421-a, 0421-b]}]", "localisation.joined_flights.0.tag_id: required setting is missing"),
])
def test_a_join_that_is_none_is_told_before_the_logs_are_read(project, tmp_path, asked, told):
    path = folder_with(project, tmp_path / "c", f"localisation: {{joined_flights: {asked}}}\n")
    with pytest.raises(SurveyError) as error:
        load_survey(path)
    assert told in [message.text for message in error.value.messages]


def test_flights_that_did_not_listen_and_beacons_that_were_moved_are_no_join(project, tmp_path):
    survey = load_survey(folder_with(project, tmp_path / "c", "localisation: {joined_flights: [{tag_id: H05, flights: [0421-a, 0421-b]}, {tag_id: B01, flights: [0421-a, 0421-b]}]}\n"))
    times = pd.to_datetime(["2026-04-21T06:00Z", "2026-04-21T08:00Z"])
    records = pd.DataFrame({"tag_id": ["H05", "H05", "B01", "B01"], "flight_id": ["0421-a", "0421-b"] * 2, "time_utc": [*times, *times], "usable": [True, False, True, True]})
    beacons = pd.DataFrame({"tag_id": "B01", "place_id": ["B01@1", "B01@2"], "valid_from_utc": [pd.NaT, times[1]], "valid_to_utc": [times[1] - pd.Timedelta("1h"), pd.NaT]})
    faults = joined_faults(survey, records, pd.DataFrame({"tag_id": ["H05", "B01"]}), beacons)
    assert [fault.text for fault in faults] == ["localisation.joined_flights.0.flights.1: flight '0421-b' has no usable record of tag 'H05'",
                                                "localisation.joined_flights.1.flights: beacon 'B01' did not stand at one place in these flights"]
    away = joined_faults(survey, records, pd.DataFrame({"tag_id": ["H05", "B01"]}), beacons.head(1))
    assert away[-1].text == faults[-1].text


# words

def test_words_say_what_the_flights_say_of_each_other():
    row = pd.DataFrame({"tag_id": ["A"], "flight_ids": ["f + g"], "agreement": ["agree"], "agreement_p": [0.4], "apart_m": [33.0]})
    tests = pd.DataFrame({"tag_id": ["A"], "flight_ids": ["f + g"], "test": ["distance"], "detectable_m": [214.0]})
    first = next(row.itertuples())
    assert agreement_words(first, tests) == ("A (f + g): nothing speaks against one place (p 0.400), their fixes up to 33 m apart. A move of 210 m would have shown in 8 of 10 cases; shorter ones may hide.")
    assert "One flight alone heard it" in agreement_words(first, tests.assign(test="silence"))
    assert "No position is stated" in agreement_words(next(row.assign(agreement="disagree").itertuples()), tests)
    assert agreement_words(first, tests.head(0)) == "A (f + g): no flight heard it, so there is nothing to join."
    assert (p_words(0.0), p_words(0.0314)) == ("under 0.001", "0.031")
    assert "nothing tests it" in beacon_words(pd.DataFrame(columns=list(JOINED_TESTS)))
    assert joined_heading(pd.DataFrame({"status": ["located", "area only"]})) == "1 of 2 joined fixes ended with a position"


def test_single_flights_stand_before_the_join_in_the_order_of_the_join():
    fixes = pd.DataFrame({"tag_id": ["A", "A", "A", "B"], "flight_id": ["f", "g", "h", "f"], "status": "located"})
    joined = pd.DataFrame({"tag_id": ["A"], "flight_ids": ["h + f"], "status": ["located"]})
    assert list(comparison(joined, fixes)["flight_id"]) == ["h", "f", "together"]
