"""Campaigns worked out stage by stage without notebooks, for tests that look at the tables or at the pages."""

from pathlib import Path

import nbformat

from pipeline.run.closing import closing_section
from pipeline.run.plan import STAGES
from pipeline.run.provenance import gather
from pipeline.run.reports import changed_rows, report_html
from pipeline.stages import appendix, error_calibration, index, localisation, movement_summaries, quality_check
from pipeline.stages.calibration_report import CalibrationReport
from pipeline.stages.localisation_report import LocalisationReport
from pipeline.stages.movement_report import MovementReport
from pipeline.stages.quality_report import QualityReport
from pipeline.stages.workspace import Workspace
from pipeline.survey import load_survey


def located(survey_file: Path, into: Path) -> Workspace:
    """The campaign of a survey file after quality check and localisation."""
    workspace = Workspace(load_survey(survey_file), into, into)
    quality_check.compute(workspace)
    localisation.compute(workspace)
    return workspace


def worked_out(survey_file: Path, into: Path) -> Workspace:
    """The campaign of a survey file after all stages, the index included."""
    workspace = located(survey_file, into)
    error_calibration.compute(workspace)
    movement_summaries.compute(workspace)
    index.build(workspace)
    return workspace


def with_pages(survey_file: Path, into: Path) -> Workspace:
    """The campaign of a survey file with all its pages, as a run leaves them; only the durations are blank."""
    workspace = located(survey_file, into)
    reports = {
        "1_quality_check": lambda: QualityReport(workspace), "2_localisation": lambda: LocalisationReport(workspace),
        "3_error_calibration": lambda: CalibrationReport(workspace, error_calibration.compute(workspace)),
        "4_movement_summaries": lambda: MovementReport(workspace, movement_summaries.compute(workspace)),
    }
    facts = gather(workspace.survey, inputs={name: "0" * 64 for name in workspace.survey.input_files()}, code={}, packages={})
    for stage in STAGES:
        if stage.notebook:
            notebook = _executed(stage.notebook, reports[stage.name]())
            closing = closing_section(facts, list(STAGES), stage, durations_s={}, changed=changed_rows(workspace))
            workspace.path_to_write(f"{stage.name}.html").write_text(report_html(notebook, stage, list(STAGES), facts, closing), encoding="utf-8", newline="\n")
    index.build(workspace)
    appendix.build(workspace)
    return workspace


def _executed(notebook_file: Path, report):
    """A notebook as it is after its cells were executed: those that show a part of the report have it as output."""
    notebook = nbformat.read(notebook_file, as_version=4)
    for cell in notebook.cells:
        if cell.cell_type == "code" and cell.source.startswith("report."):
            part = eval(cell.source, {"report": report})  # the cells of our own notebooks
            cell.outputs = [nbformat.v4.new_output("display_data", data=part._repr_mimebundle_())]
    return notebook
