"""What each stage computes, behind the cells of its notebook; one module a stage, each with `compute(workspace)`.

    1_quality_check       quality_check.py
    2_localisation        localisation.py
    3_error_calibration   error_calibration.py
    4_movement_summaries  movement_summaries.py
    index                 index.py, which has no notebook

The names below are the names of notebooks, reports and records; their order is the order in which they run.
"""

NOTEBOOK_STAGES = ("1_quality_check", "2_localisation", "3_error_calibration", "4_movement_summaries")


def module_of(stage: str) -> str:
    """Name of the module that computes a stage: "2_localisation" -> "pipeline.stages.localisation"."""
    return f"pipeline.stages.{stage.split('_', 1)[1]}"
