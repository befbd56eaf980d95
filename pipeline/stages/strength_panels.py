"""What a few tags sounded like along a flight, and what the model expects of a tag at the stated place."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.figures.style import short_name
from pipeline.location import PLACED
from pipeline.radio import Corrections, SignalModel, sightlines

MOST_PANELS = 12


def chosen_fixes(animals: pd.DataFrame, walk: pd.DataFrame) -> pd.DataFrame:
    """At most twelve fixes to show: those of tags to look for on foot, the widest and the narrowest with a position, then typical ones."""
    heard = animals[(animals["records_heard"] >= 3) & animals["best_latitude"].notna() & (animals["status"] != "suspect")]
    placed = heard[heard["status"].isin(PLACED)].sort_values("error_radius_95_m", kind="stable")
    fetch = heard.merge(walk[["tag_id", "flight_id"]], on=["tag_id", "flight_id"]) if len(walk) else heard.iloc[:0]
    middle = len(placed) // 2
    parts = [fetch, heard[heard["status"] == "several places"].head(2), placed.head(2), placed.tail(2), placed.iloc[max(middle - 3, 0):middle + 3], heard[heard["status"] == "area only"].head(3)]
    return pd.concat(parts).drop_duplicates(["tag_id", "flight_id"]).head(MOST_PANELS)


def panel(fix, rows: pd.DataFrame, model: SignalModel, tag_type: str, easting_m: float, northing_m: float, effective_records: float, corrections: Corrections = Corrections()) -> dict:
    """One panel of figures.localisation.strength_panels.

    fix : row of FIXES. rows : usable records of its tag and flight. The power of the tag is what its heard records and the prior of its type agree on.
    """
    listening = corrections.listening(rows)
    gain = model.gain_db(sightlines(listening, [easting_m], [northing_m]))[:, 0]
    scatter = model.scatter(tag_type)
    spread = float(np.hypot(scatter.shadowing_sd_db, scatter.noise_sd_db))
    heard = listening.heard
    by_records, by_prior = effective_records / spread**2, 1.0 / scatter.power_sd_db**2
    power = (by_records * float(np.mean(listening.strength_db[heard] - gain[heard])) + by_prior * scatter.power_mean_db) / (by_records + by_prior)
    minute = (rows["time_utc"] - rows["time_utc"].min()).dt.total_seconds().to_numpy(float) / 60.0
    tag, flight = short_name(fix.tag_id), short_name(fix.flight_id, 14)
    # a panel is a third of the page wide: about 30 letters
    between = " " if len(f"{tag}, flight {flight}: {fix.status}") <= 29 else "\n"
    return {"title": f"{tag},{between}flight {flight}: {fix.status}", "minute": np.sort(minute), "strength_db": listening.strength_db,
            "threshold_db": model.thresholds_db(listening), "expected_db": power + gain, "spread_db": spread}
