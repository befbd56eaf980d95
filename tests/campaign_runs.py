"""Campaigns worked out stage by stage without notebooks, for tests that look at the tables."""

from pathlib import Path

from pipeline.stages import error_calibration, index, localisation, movement_summaries, quality_check
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
