"""Whether a flight read all beacons stronger or weaker than the other flights did: a gain that was changed, another antenna, a bad cable."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

FLIGHT_LEVELS = ["flight_id", "beacons", "level_db", "standard_error_db", "p_adjusted", "clear"]
FEWEST_RECORDS, FEWEST_BEACONS = 5, 3
# Smaller differences come from where the flights passed, since shadowing is shared by the records of a pass. Our choice.
SMALLEST_DB = 3.0
_SIGNIFICANCE = 0.05


def flight_levels(residuals: pd.DataFrame) -> pd.DataFrame:
    """How much stronger each flight read its beacons than the other flights did, columns FLIGHT_LEVELS. [dB]

    residuals : rows of heard records with tag_id, flight_id and residual_db, see record_residuals. A beacon counts in a flight that heard it in FEWEST_RECORDS
    records or more; level_db is the mean over the beacons of (mean residual in this flight less the median of those in the other flights), with the standard error
    over beacons and Student's t; p_adjusted is Bonferroni's over the flights. clear : adjusted p below 0.05 and SMALLEST_DB or more. A flight with fewer than
    FEWEST_BEACONS beacons that another flight heard too is left out.
    """
    heard = residuals.groupby(["tag_id", "flight_id"], observed=True)["residual_db"].agg(["mean", "size"])
    means = heard.loc[heard["size"] >= FEWEST_RECORDS, "mean"].unstack("flight_id")
    others = {flight: (means[flight] - means.drop(columns=flight).median(axis=1)).dropna() for flight in means.columns}
    tested = {flight: apart for flight, apart in others.items() if len(apart) >= FEWEST_BEACONS}
    rows = []
    for flight, apart in tested.items():
        level, error = float(apart.mean()), float(apart.sem())
        p = 2.0 * float(stats.t.sf(abs(level) / error, len(apart) - 1)) if error > 0 else float(level == 0)
        adjusted = min(1.0, p * len(tested))
        rows.append((flight, len(apart), level, error, adjusted, bool(adjusted < _SIGNIFICANCE and np.abs(level) >= SMALLEST_DB)))
    return pd.DataFrame(rows, columns=FLIGHT_LEVELS)
