"""Campaigns that lack what most have, all stages from files to pages: every part of every report must have something to say."""

import json

import pandas as pd
import pytest

from pipeline.stages import appendix, error_calibration, index, localisation, movement_summaries, quality_check
from pipeline.stages.calibration_report import CalibrationReport
from pipeline.stages.data_dictionary import NOT_DESCRIBED
from pipeline.stages.localisation_report import LocalisationReport
from pipeline.stages.movement_report import MovementReport
from pipeline.stages.quality_report import QualityReport
from pipeline.stages.workspace import Workspace
from pipeline.survey import load_survey

TAGS_KEPT = ["H01", "H02", "H05", "G01", "G08", "B01", "B02", "B05", "D01"]
LOG = "receiver_log: {files: flights/*.csv, time_zone: UTC, not_heard: blank}\n"


def calls(project, notebook):
    """What the cells of a notebook call on its report."""
    cells = json.loads((project / "notebooks" / f"{notebook}.ipynb").read_text())["cells"]
    return ["".join(cell["source"]) for cell in cells if cell["cell_type"] == "code" and "".join(cell["source"]).startswith("report.")]


def log_of(project, change=lambda rows: rows):
    rows = pd.read_csv(project / "data" / "demo" / "flights" / "0421-b.csv", dtype=str)
    return change(rows[rows["tag_id"].isin(TAGS_KEPT)].copy())


def silent(rows):
    return rows.assign(strength_db=None, pulse_rate_per_min=None)


def bare(project, folder):
    """One flight and nothing else: no register, no beacons, no terrain, no area."""
    log_of(project).to_csv(folder / "flights" / "a.csv", index=False)
    return LOG


def nothing_heard(project, folder):
    """Registers and beacons, and no record that heard anything."""
    log_of(project, silent).to_csv(folder / "flights" / "a.csv", index=False)
    for name in ("tags.csv", "beacons.csv"):
        pd.read_csv(project / "data" / "demo" / name, dtype=str).to_csv(folder / name, index=False)
    return LOG + "tags: tags.csv\nbeacons: beacons.csv\n"


def one_beacon(project, folder):
    """A single beacon: it can be located, and proves next to nothing."""
    log_of(project).to_csv(folder / "flights" / "a.csv", index=False)
    pd.read_csv(project / "data" / "demo" / "beacons.csv", dtype=str).head(1).to_csv(folder / "beacons.csv", index=False)
    return LOG + "beacons: beacons.csv\n"


@pytest.fixture(params=[bare, nothing_heard, one_beacon], ids=lambda made: made.__name__)
def campaign(request, project, tmp_path):
    (tmp_path / "flights").mkdir()
    (tmp_path / "survey.yml").write_text("campaign: small\ntitle: A small campaign\n" + request.param(project, tmp_path))
    return request.param, Workspace(load_survey(tmp_path / "survey.yml"), tmp_path / "out", tmp_path / "out")


def test_every_stage_ends_and_every_part_of_every_report_can_be_shown(campaign, project):
    made, workspace = campaign
    quality_check.compute(workspace)
    localisation.compute(workspace)
    reports = {
        "1_quality_check": QualityReport(workspace), "2_localisation": LocalisationReport(workspace),
        "3_error_calibration": CalibrationReport(workspace, error_calibration.compute(workspace)),
        "4_movement_summaries": MovementReport(workspace, movement_summaries.compute(workspace)),
    }
    for notebook, report in reports.items():
        for call in calls(project, notebook):
            assert isinstance(eval(call, {"report": report}).report_html(), str), call  # the cells of our own notebooks
    index.build(workspace)
    page = workspace.path_to_read("index.html").read_text()
    assert ("no error was measured" in page) == (made is not one_beacon)
    fixes = workspace.read_table("fixes")
    assert (fixes["status"] == "located").any() == (made is not nothing_heard)
    assert " nan" not in page.lower().split("<svg")[0]
    appendix.build(workspace)
    supplement = workspace.path_to_read("appendix.html").read_text()
    assert ("No beacon was heard" in supplement) == (made is not one_beacon)
    assert "No register of tagged animals was given" in supplement or made is nothing_heard
    assert " nan" not in supplement.lower().split("<svg")[0] and NOT_DESCRIBED not in supplement
