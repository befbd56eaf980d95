"""The quality report: its sentences on small tables, its figures on awkward input, and the whole stage on the demo campaign."""

import re

import numpy as np
import pandas as pd
import pytest

from pipeline.figures.quality import azimuth_roses, heard_matrix_figure, strength_histogram, time_strips
from pipeline.figures.style import figure_as_svg, settle
from pipeline.stages import quality_check
from pipeline.stages import quality_words as say
from pipeline.stages.ground_files import read_ground
from pipeline.stages.quality_report import QualityReport
from pipeline.stages.workspace import Workspace
from pipeline.survey import load_survey


def flights(*verdicts, **columns):
    return pd.DataFrame({"flight_id": [f"F{i}" for i in range(len(verdicts))], "verdict": list(verdicts), "verdict_reason": "Because.", **columns})


FIT, PRESENCE, REJECTED = "fit for location", "presence only", "rejected"


@pytest.mark.parametrize("verdicts, said", [
    ([FIT] * 6, "Yes: the logs of all 6 flights are fit for location."),
    ([FIT], "Yes: the logs of the one flight are fit for location."),
    ([FIT, FIT, PRESENCE, REJECTED], "In part: 2 of 4 flights are fit for location, 1 is good for presence only and 1 is rejected."),
    ([REJECTED] * 2, "No, not for positions: 0 of 2 flights are fit for location, 2 are rejected."),
])
def test_the_answer_opens_with_what_the_flights_are_fit_for(verdicts, said):
    assert say.fitness_sentence(flights(*verdicts)) == said


@pytest.mark.parametrize("lost, said", [([0, 0], "Every flight kept its position throughout"), ([3, 0], "One flight lost its position for a while"),
                                        ([3, 9], "Two flights lost their position for a while")])
def test_the_heading_says_how_many_flights_lost_their_position(lost, said):
    assert say.position_heading(flights(FIT, FIT, positions_lost=lost)) == said


def test_the_worst_message_is_told_first():
    rows = pd.DataFrame({"severity": ["look", "look", "note"], "code": ["saturated", "noise-step", "time-gaps"], "text": ["A", "B", "C"], "file": ""})
    assert say.problem_sentence(rows) == "The main thing to look at: B."
    assert say.problem_sentence(rows.iloc[2:]) == "Nothing was found that needs a look."
    assert say.message_heading(rows) == "Nothing stops the work; two to look at, one for the record"


def test_errors_are_given_to_two_figures():
    assert [say.two_figures(value) for value in (181.3, 1234.0, 47.2, 4.52)] == ["180", "1,200", "47", "4.5"]


def test_without_a_heard_beacon_there_is_no_crude_error():
    strongest = pd.DataFrame({"flight_id": ["F1"], "strongest_record_error_m": [np.nan]})
    summary = quality_check.strongest_summary(strongest)
    assert summary["heard"].tolist() == [0, 0]
    assert say.crude_heading(summary) == "No beacon gives a crude error"
    assert say.crude_sentence(pd.DataFrame({"flight_id": ["all flights"], "heard": [54], "median_m": [190.0], "p90_m": [450.0]})).startswith("A yardstick, and not the error of any position in these reports")
    assert say.crude_heading(quality_check.strongest_summary(strongest.iloc[:0])) == "No beacon gives a crude error"


def test_the_crude_error_is_summed_up_by_flight_and_for_all():
    strongest = pd.DataFrame({"flight_id": ["F1", "F1", "F2"], "strongest_record_error_m": [100.0, 200.0, 600.0]})
    summary = quality_check.strongest_summary(strongest).set_index("flight_id")
    assert summary["median_m"].to_dict() == {"F1": 150.0, "F2": 600.0, "all flights": 200.0}
    assert summary.loc["all flights", "largest_m"] == 600.0


def test_figures_draw_what_was_not_logged_as_not_logged():
    strips = pd.DataFrame({"flight_id": "F1", "minute": np.arange(30) * 0.1, "on_effort": np.arange(30) > 4, "tags_heard": 1, "height_above_ground_m": np.nan,
                           "turn_deg_per_s": np.nan, "noise_db": np.nan})
    figure = time_strips(strips)
    settle(figure)
    assert figure_as_svg(figure).count("not logged") >= 3


def test_figures_can_be_drawn_of_nothing_heard_and_no_azimuth():
    settle(strength_histogram([], []))
    settle(azimuth_roses(pd.DataFrame({"flight_id": ["F1"], "antenna_azimuth_deg": [np.nan], "listening_s": [6.0]})))
    matrix = pd.DataFrame({"tag_id": ["A"], "flight_id": ["F1"], "records_listened": [0], "records_heard": [0], "heard_percent": [np.nan]})
    figure = heard_matrix_figure(matrix)
    settle(figure)
    assert "–" in figure_as_svg(figure)


# the whole stage on the demo campaign

@pytest.fixture(scope="module")
def demo(project, tmp_path_factory):
    folder = tmp_path_factory.mktemp("quality")
    workspace = Workspace(load_survey(project / "data" / "demo" / "survey.yml"), folder, folder)
    quality_check.compute(workspace)
    return workspace


def test_every_flight_of_the_demo_is_fit_and_its_style_is_found(demo):
    table = demo.read_work("flights")
    assert (table["verdict"] == FIT).all()
    assert sorted(table["style"]) == ["lines", "lines", "lines", "loop", "loop", "mixed"]


def test_effort_of_the_demo_adds_up(demo):
    table = demo.read_work("effort")
    assert table["listening_min"].iloc[-1] == pytest.approx(table["listening_min"].iloc[:-1].sum())
    assert 115 < table["listening_min"].iloc[-1] < 155
    assert table["off_effort_why"].iloc[-1].startswith("no position")


def test_only_decoys_of_the_demo_are_suspect(demo):
    suspicion, tags = demo.read_work("suspicion"), demo.read_work("tags")
    decoys = set(tags.loc[tags["role"] == "decoy", "tag_id"])
    assert set(suspicion.loc[suspicion["suspect"], "tag_id"]) <= decoys


def test_the_demo_tells_its_lost_positions_and_its_duplicates(demo):
    codes = set(demo.read_work("messages")["code"])
    assert {"position-lost", "rows-duplicate"} <= codes


def test_ground_comes_back_as_it_was_read(demo):
    ground = read_ground(demo)
    assert ground.terrain.height_m.shape[0] > 10 and ground.study_area is not None
    east, north = ground.projection.forward(57.2, -4.1)
    assert abs(east) < 1000 and abs(north) < 1000


def test_every_number_of_the_report_is_in_a_table_beside_it(demo):
    report = QualityReport(demo)
    opening = report.answer().report_html()
    effort = demo.read_work("effort").iloc[-1]
    assert f"listened for {effort['listening_min']:.0f} min over {effort['distance_km']:.0f} km" in opening
    for part in (report.effort(), report.flight_verdicts(), report.tags(), report.crude_errors(), report.files(), report.columns()):
        for name in re.findall(r'href="(tables/[^"]+)"', part.report_html()):
            assert (demo.folder / name).is_file()


def test_the_map_and_figures_carry_words_for_those_who_cannot_see_them(demo):
    report = QualityReport(demo)
    assert "6 flight tracks with 9 beacons and the study area" in report.map().report_html()
    assert "degrees per second" in report.flight_verdicts().report_html()
    assert "Histogram of" in report.strengths().report_html()


def test_the_same_logs_give_the_same_tables(demo, tmp_path):
    again = Workspace(demo.survey, tmp_path, tmp_path)
    quality_check.compute(again)
    for path in sorted((demo.folder / "tables").glob("*.csv")):
        if (tmp_path / "tables" / path.name).exists():
            assert path.read_bytes() == (tmp_path / "tables" / path.name).read_bytes(), path.name
    assert len(list((tmp_path / "tables").glob("*.csv"))) == len(quality_check.PRINTED)


def test_the_clock_of_the_demo_that_is_five_seconds_off_is_found_and_no_other(demo, project):
    truth = pd.read_csv(project / "data" / "demo-truth" / "flights.csv").set_index("flight_id")
    rows = demo.read_work("instruments").set_index("flight_id")
    off = rows["verdict"].str.startswith("strengths were stamped")
    assert off.to_dict() == (truth["strengths_lag_positions_s"] != 0).to_dict()
    held = (rows["lag_low_95_s"] <= truth["strengths_lag_positions_s"]) & (truth["strengths_lag_positions_s"] <= rows["lag_high_95_s"])
    assert held.sum() >= 5
    assert (rows["azimuth_bias_deg"] + truth["azimuth_bias_deg"]).abs().max() < 2 * rows["azimuth_bias_se_deg"].min()
    assert {"clock-lag", "clocks-agree", "azimuth-bias"} <= set(demo.read_work("messages")["code"])
    assert "0429-b" in QualityReport(demo).instruments().report_html()
