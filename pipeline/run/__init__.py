"""What is stale and why, the notebooks through papermill, provenance, the commands.

    plan, fingerprint, records    hashes in, decisions with a reason out
    notebook, kernel, building    one stage, whole or not at all
    execute                       all stages in order, into one folder
    provenance, closing           what a run used: run.json and the last section of every report
    commands, doctor              what is typed

`run_survey` is loaded on use, so that `import pipeline.run` costs nothing.
"""


def run_survey(survey_path, **options):
    """Run a survey file; see pipeline.run.execute.run_survey."""
    from pipeline.run.execute import run_survey as run

    return run(survey_path, **options)
