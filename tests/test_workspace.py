"""Where a stage reads and writes."""

import json
import sys
import types
from types import SimpleNamespace

import geopandas as gpd
import pandas as pd
import pytest
from shapely.geometry import Point

from pipeline.stages import NOTEBOOK_STAGES, module_of
from pipeline.stages import workspace as workspace_module
from pipeline.stages.workspace import Workspace, open_workspace


@pytest.fixture
def survey(tmp_path):
    (tmp_path / "survey.yml").write_text("campaign: hills\n")
    (tmp_path / "f1.csv").write_text("time_utc\n")
    files = {"survey.yml": tmp_path / "survey.yml", "f1.csv": tmp_path / "f1.csv"}
    return SimpleNamespace(campaign="hills", file=files["survey.yml"], input_files=lambda: files)


@pytest.fixture
def by_hand(survey, tmp_path):
    return Workspace(survey, tmp_path / "out", tmp_path / "out")


@pytest.fixture
def calls(monkeypatch):
    """Stand-ins for the stage modules that note when they are called."""
    made = []
    for stage in NOTEBOOK_STAGES:
        module = types.ModuleType(module_of(stage))
        module.compute = lambda workspace, stage=stage: made.append(stage)
        monkeypatch.setitem(sys.modules, module_of(stage), module)
    return made


def test_a_stage_writes_into_the_building_folder_and_reads_what_earlier_stages_left(survey, tmp_path):
    earlier = Workspace(survey, tmp_path / "out", tmp_path / "out")
    earlier.write_table("fixes", pd.DataFrame({"tag_id": ["1"]}))
    stage = Workspace(survey, tmp_path / "out", tmp_path / "out" / ".building-x")
    assert stage.read_table("fixes")["tag_id"].tolist() == ["1"]
    stage.write_table("fixes", pd.DataFrame({"tag_id": ["2"]}))
    assert stage.read_table("fixes")["tag_id"].tolist() == ["2"]
    assert earlier.read_table("fixes")["tag_id"].tolist() == ["1"]


def test_a_missing_file_is_named_with_the_command_that_makes_it(by_hand):
    with pytest.raises(FileNotFoundError, match=r"work/model.json is not in .*out; .*python3 -m pipeline run .*survey.yml"):
        by_hand.read_json("model")


def test_work_tables_keep_kinds_and_a_geodataframe_its_crs(by_hand):
    times = pd.DataFrame({"time_utc": pd.to_datetime(["2027-04-12T06:31:06Z"]).as_unit("us"), "tag_id": pd.Series(["01"], dtype="string")})
    by_hand.write_work("times", times)
    pd.testing.assert_frame_equal(by_hand.read_work("times"), times)
    by_hand.write_work("area", gpd.GeoDataFrame({"a": [1]}, geometry=[Point(1, 2)], crs="EPSG:32632"))
    assert by_hand.read_work("area").crs == "EPSG:32632"
    by_hand.write_json("model", {"exponent": 2.5, "name": "Übergang"})
    assert by_hand.read_json("model") == {"exponent": 2.5, "name": "Übergang"}


def test_opening_a_later_stage_computes_the_earlier_ones_once(by_hand, calls):
    by_hand.ensure("2_localisation")
    assert calls == ["1_quality_check", "2_localisation"]
    by_hand.ensure("3_error_calibration")
    assert calls == ["1_quality_check", "2_localisation", "3_error_calibration"]


def test_a_changed_input_computes_the_earlier_stages_again(by_hand, survey, calls):
    by_hand.ensure("1_quality_check")
    survey.input_files()["f1.csv"].write_text("time_utc\n2027-01-01T00:00:00Z\n")
    by_hand.ensure("1_quality_check")
    assert calls == ["1_quality_check", "1_quality_check"]


def test_a_stage_computed_again_makes_the_later_ones_stale(by_hand, calls):
    by_hand.ensure("2_localisation")
    by_hand.mark_computed("1_quality_check")
    by_hand.ensure("2_localisation")
    assert calls == ["1_quality_check", "2_localisation", "2_localisation"]


def test_results_of_a_run_are_used_by_hand(by_hand, calls):
    record = by_hand.path_to_write("work/records/1_quality_check.json")
    record.write_text(json.dumps({"inputs": by_hand._input_hashes()}))
    by_hand.ensure("1_quality_check")
    assert calls == []


def test_under_the_runner_nothing_is_computed_twice(survey, tmp_path, calls):
    stage = Workspace(survey, tmp_path / "out", tmp_path / "out" / ".building-x")
    stage.ensure("2_localisation")
    stage.mark_computed("2_localisation")
    assert calls == [] and not (tmp_path / "out").exists()


def test_the_folders_come_from_the_runner_or_else_from_the_campaign_name(survey, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pipeline.survey", SimpleNamespace(load_survey=lambda path: survey))
    monkeypatch.delenv("FIXLEDGER_INTO", raising=False)
    monkeypatch.delenv("FIXLEDGER_BUILDING", raising=False)
    assert open_workspace("survey.yml").folder == workspace_module.PROJECT / "reports" / "hills"
    assert open_workspace("survey.yml").by_hand
    monkeypatch.setenv("FIXLEDGER_INTO", str(tmp_path / "a {b} é"))
    monkeypatch.setenv("FIXLEDGER_BUILDING", str(tmp_path / "a {b} é" / ".building-x"))
    opened = open_workspace("survey.yml")
    assert (opened.folder, opened.building) == (tmp_path / "a {b} é", tmp_path / "a {b} é" / ".building-x")
    assert not opened.by_hand
