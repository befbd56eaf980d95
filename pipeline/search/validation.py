"""The honest test of a search map: of beacons on ground said to be well searched, how many were heard?"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import binomtest

from pipeline.columns import require_columns

BANDS = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)


def share_interval(successes: int, trials: int, level: float = 0.95, method: str = "exact") -> tuple[float, float]:
    """Interval of a share k of n: "exact" (Clopper & Pearson 1934) or "wilson" (Wilson 1927). (0, 1) for n = 0."""
    if trials == 0:
        return 0.0, 1.0
    interval = binomtest(int(successes), int(trials)).proportion_ci(confidence_level=level, method=method)
    return float(interval.low), float(interval.high)


def none_heard_limit(trials: int, level: float = 0.95) -> float:
    """Largest share that still leaves a chance of 1 - level of hearing none of n (one-sided; 3 / n is the rule of three)."""
    return 1.0 - (1.0 - level) ** (1.0 / trials)


def band_table(detection, heard, edges=BANDS) -> pd.DataFrame:
    """Predicted detection against what was heard, band by band.

    Parameters
    ----------
    detection : array (n,), predicted probability of being heard, one per beacon and flight (or other known tag). [0 to 1]
    heard : array (n,) of flags.

    Returns
    -------
    DataFrame: band, predicted_mean, tags, heard, share, share_low, share_high (exact 95 %), agrees (the prediction lies within the interval); empty bands are left out.
    """
    detection, heard = np.asarray(detection, float), np.asarray(heard, bool)
    band = np.clip(np.digitize(detection, edges[1:-1]), 0, len(edges) - 2)
    rows = []
    for number in np.unique(band):
        here = band == number
        k, n, predicted = int(heard[here].sum()), int(here.sum()), float(detection[here].mean())
        low, high = share_interval(k, n)
        rows.append((f"{edges[number]:.1f} to {edges[number + 1]:.1f}", predicted, n, k, k / n, low, high, low <= predicted <= high))
    return pd.DataFrame(rows, columns=["band", "predicted_mean", "tags", "heard", "share", "share_low", "share_high", "agrees"])


def well_searched_beacons(beacons: pd.DataFrame, least: float = 0.9) -> dict:
    """Of beacons on ground at the stated detection or more, k of n heard, with the exact interval and the sentence for the report.

    Parameters
    ----------
    beacons : one row per beacon and flight (or campaign) with `detection_cautious` and `heard`.
    """
    require_columns(beacons, ["detection_cautious", "heard"], "beacons with their detection")
    on_ground = beacons[beacons["detection_cautious"] >= least]
    k, n = int(on_ground["heard"].sum()), len(on_ground)
    low, high = share_interval(k, n)
    return {"least": least, "heard": k, "beacons": n, "share_low": low, "share_high": high, "text": _said_of(on_ground, least)}


def _said_of(on_ground: pd.DataFrame, least: float) -> str:
    """The sentence; where a beacon was searched for more than once, the interval counts places heard every time, since repeats are not new beacons."""
    n = len(on_ground)
    if n == 0:
        return f"No beacon lay on ground searched to {least:g} or more, so the search map is untested there."
    if "place_id" in on_ground and on_ground["place_id"].nunique() < n:
        always = on_ground.groupby("place_id")["heard"].all()
        low, high = share_interval(int(always.sum()), len(always))
        beacons = f"{len(always)} beacon{'s' if len(always) != 1 else ''}"
        return (f"Of {n} searches for {beacons} on ground searched to {least:g} or more, {int(on_ground['heard'].sum())} heard them; {int(always.sum())} of the {beacons} "
                f"{'were' if always.sum() != 1 else 'was'} heard every time (exact 95 % interval of the share {low:.2f} to {high:.2f}).")
    k = int(on_ground["heard"].sum())
    low, high = share_interval(k, n)
    return (f"Of {n} beacon{'s' if n != 1 else ''} on ground searched to {least:g} or more, {k} {'were' if k != 1 else 'was'} heard "
            f"(exact 95 % interval of the share {low:.2f} to {high:.2f}).")
