"""Site fidelity: in how many pairs of its fixes an animal cannot be told from one that stayed."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd

from pipeline.columns import conform
from pipeline.movement.difference_of_places import difference
from pipeline.movement.gates import gate

FIDELITY = {
    "tag_id": "text",
    "animal_id": "text",
    "fixes": "int",
    "pairs": "int",
    "pairs_same_place": "int",             # not distinguishable from the same place, each pair at the 5 % level
    "share_same_place": "float",
    "minimum_detectable_m": "float",       # median over pairs: how far it would have had to move to be found in 8 of 10 cases
    "reason": "text",
}


def fidelity_table(animals, *, significance=0.05, power=0.8):
    """Share of fix pairs not distinguishable from the same place, with the movement that would have shown.

    Pairs share fixes, so the share has no sample size of its own and no interval; it is no test against random movement.

    Parameters
    ----------
    animals : list of AnimalFixes

    Returns
    -------
    DataFrame with the columns of FIDELITY, one row per animal.
    """
    return conform(pd.DataFrame([_row(animal, significance, power) for animal in animals], columns=list(FIDELITY)), FIDELITY)


def _row(animal, significance, power):
    count = len(animal.fixes)
    row = animal.identity | {"fixes": count}
    if count < 2:
        return row | {"pairs": 0, "pairs_same_place": 0, "reason": gate(count).sentence}
    differences = [difference(start.draws_m, end.draws_m) for start, end in itertools.combinations(animal.fixes, 2)]
    same = sum(each.p_same_place() >= significance for each in differences)
    detectable = float(np.median([each.minimum_detectable_m(significance, power) for each in differences]))
    return row | {
        "pairs": len(differences), "pairs_same_place": same, "share_same_place": same / len(differences), "minimum_detectable_m": detectable,
        "reason": f"{same} of {len(differences)} pairs of fixes could be the same place; a movement of {detectable:.0f} m would have shown in most.",
    }
