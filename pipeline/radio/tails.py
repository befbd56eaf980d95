"""Which error a faulty record has (fades, reflections, passing noise), chosen by tags that the model has not seen.

Each candidate is fitted with one place left out at a time; the records heard and not heard of that place, under the model that
never saw it, tell how well the candidate predicts. The highest sum over places wins: a held-out likelihood, I. J. Good's
logarithmic score (1952, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.radio.fitting import FittedModel, fit_leaving_out
from pipeline.radio.lanes import KnownTag, log_likelihoods, side_by_side
from pipeline.radio.parameters import USUAL_FAULT_SD_DB

# No faulty record at all; fades as deep as the shadowing; faults that could be anything.
CANDIDATES_DB = (USUAL_FAULT_SD_DB, None, 20.0)
# Fewer places say too little to choose by.
PLACES_NEEDED = 4


@dataclass(frozen=True)
class Chosen:
    """The models under the chosen error of a faulty record, and how all candidates did.

    whole, left_out : as from fit_leaving_out; for a left-out place the choice is made without its score.
    scores : fault_sd_db (blank = none), log_score (sum over places), chosen, places.
    """

    whole: FittedModel
    left_out: dict[str, FittedModel]
    scores: pd.DataFrame


def fit_with_chosen_tails(known: list[KnownTag], places: list[str], ceiling_db: float | None = None) -> Chosen:
    """Fit with every candidate error of a faulty record and keep the one that predicts left-out places best.

    With fewer than four places the usual error is kept, untried.
    """
    usual = fit_leaving_out(known, places, ceiling_db=ceiling_db)
    fits = {USUAL_FAULT_SD_DB: usual}
    if len(usual[1]) >= PLACES_NEEDED:
        fits |= {sd: fit_leaving_out(known, places, fault_sd_db=sd, ceiling_db=ceiling_db, start=usual[0], rough=True) for sd in CANDIDATES_DB[1:]}
    scores = {sd: held_out_scores(known, left_out) for sd, (_, left_out) in fits.items()}
    best = _best(scores, "")
    served = {place: _best(scores, place) for place in usual[1]}
    # Comparing was done roughly; what is used is fitted in full.
    full = {sd: usual if sd == USUAL_FAULT_SD_DB else fit_leaving_out(known, places, fault_sd_db=sd, ceiling_db=ceiling_db, start=fits[sd][0]) for sd in {best, *served.values()}}
    table = pd.DataFrame({"fault_sd_db": [np.nan if sd is None else sd for sd in scores], "log_score": [sum(each.values()) for each in scores.values()],
                          "chosen": [sd == best for sd in scores], "places": len(usual[1])})
    return Chosen(full[best][0], {place: full[sd][1][place] for place, sd in served.items()}, table)


def _best(scores: dict, without: str):
    """The candidate with the highest score over all places but one; of equals the usual one."""
    totals = {sd: sum(score for place, score in each.items() if place != without) for sd, each in scores.items()}
    return max(totals, key=lambda sd: (totals[sd], sd == USUAL_FAULT_SD_DB))


def held_out_scores(known: list[KnownTag], left_out: dict[str, FittedModel]) -> dict[str, float]:
    """For each place the log-probability of the records of its tags under the model fitted without them."""
    scores = {}
    for place, fitted in left_out.items():
        lanes = side_by_side([tag for tag in known if tag.place_id == place])
        scores[place] = float(log_likelihoods(lanes, fitted.parameters, fitted.vector[None, :], fitted.given).sum())
    return scores
