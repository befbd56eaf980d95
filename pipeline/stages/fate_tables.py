"""What the pulse rates call for: the triage of every animal's tag, and the list to walk with.

    tables/   fate_triage, retrieval_list; the same in work/
"""

from __future__ import annotations

import pandas as pd

from pipeline.fate import retrieval_list, triage
from pipeline.movement import animals_with_fixes, displacement_table, stillness
from pipeline.stages.movement_summaries import DRAWS_FILE, read_draws
from pipeline.stages.workspace import Workspace


def write_fate(workspace: Workspace, fixes: pd.DataFrame, pulses: pd.DataFrame, tags: pd.DataFrame) -> None:
    """Judge every animal's tag and list those to be fetched or checked; work/sightings and work/draws.npz are read.

    fixes : columns of FIXES. pulses : of pipeline.fate.pulse_table. tags : columns of TAGS.
    """
    sightings = workspace.read_work("sightings")
    judged = triage(pulses, tags, fixes, sightings=sightings, stillness=_stillness(workspace, fixes, tags))
    walk = retrieval_list(judged, fixes, pulses)
    for name, table in (("fate_triage", judged), ("retrieval_list", walk)):
        workspace.write_work(name, table)
        workspace.write_table(name, table)


def _stillness(workspace: Workspace, fixes: pd.DataFrame, tags: pd.DataFrame) -> pd.DataFrame:
    """In how many of its last flights each tag stayed where it was, by the displacement test."""
    draws = read_draws(workspace.path_to_read(DRAWS_FILE))
    steps = displacement_table(animals_with_fixes(tags, fixes, draws), significance=workspace.survey.movement.significance)
    return stillness(steps)
