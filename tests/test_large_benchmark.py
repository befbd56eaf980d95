"""The benchmark of reports in short: the campaign is as large as it says, and what the long run measured keeps the bounds that the project set itself."""

import importlib

import nbformat
import pandas as pd
import pytest

from pipeline.run.plan import STAGES
from pipeline.survey import load_survey
from tests.benchmarks.large import ANIMALS, BEACONS, FLIGHTS, REPORT_OF, RESULT, rewriting_stages, write_campaign

HEAVIEST_BYTES, LONGEST_WRITING_S, LATEST_MAP_S = 8_000_000, 40.0, 1.5


def test_every_flight_lasts_23_minutes_and_listens_to_every_tag_every_six_seconds(tmp_path):
    survey = load_survey(write_campaign(tmp_path, flights=2))
    logs = [pd.read_csv(path) for path in sorted((tmp_path / "flights").iterdir())]
    assert len(logs) == 2 and survey.campaign == "large"
    for log in logs:
        assert log["tag_id"].nunique() == ANIMALS + BEACONS and (log.groupby("tag_id").size() == 23 * 60 / 6).all()
        assert 0.05 < log["strength_db"].notna().mean() < 0.5


def test_writing_again_leaves_out_what_takes_long_and_nothing_else(tmp_path):
    stages = rewriting_stages(tmp_path)
    assert [stage.name for stage in stages] == [stage.name for stage in STAGES]
    for old, new in zip(STAGES, stages):
        assert (old == new) == (old.name not in REPORT_OF)
        if old != new:
            before, after = (nbformat.read(stage.notebook, as_version=4).cells for stage in (old, new))
            (changed,) = [(was.source, now.source) for was, now in zip(before, after, strict=True) if was.source != now.source]
            module, report = REPORT_OF[old.name]
            assert "open_report" in changed[0] and "open_report" not in changed[1] and report in changed[1]
            assert hasattr(importlib.import_module(f"pipeline.stages.{module}"), report)


# what the long run measured (python -m tests.benchmarks.large)

@pytest.fixture(scope="module")
def measured():
    return pd.read_csv(RESULT).set_index("report")


def test_the_measured_campaign_has_forty_tags_and_twelve_flights_and_all_reports(measured):
    assert (measured["tags"] >= 40).all() and (measured["flights"] == FLIGHTS).all() and FLIGHTS == 12
    assert list(measured.index) == [f"{stage.name}.html" for stage in STAGES]


def test_no_measured_report_is_heavier_than_it_may_be(measured):
    assert (measured["size_bytes"] > 50_000).all() and measured["size_bytes"].max() < HEAVIEST_BYTES


def test_the_measured_maps_are_drawn_in_time(measured):
    drawn = measured["first_map_s"].dropna()
    assert "2_localisation.html" in drawn.index and (drawn > 0).all() and drawn.max() < LATEST_MAP_S


def test_all_reports_together_were_written_in_time(measured):
    assert 0 < measured["writing_s"].sum() <= LONGEST_WRITING_S
    assert 0 < measured["writing_processor_s"].sum() <= LONGEST_WRITING_S
