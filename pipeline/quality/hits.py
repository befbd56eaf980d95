"""How the heard records of a tag lie among those listened to: runs, isolated hits, the flat top of a receiver."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.columns import require_columns


def hit_table(records: pd.DataFrame) -> pd.DataFrame:
    """Every heard record with the length of the unbroken run it belongs to.

    A run is counted over the records in which the tag was listened to; a hit is isolated when its run is one record long.

    Returns
    -------
    DataFrame: tag_id, flight_id, record, time_utc, strength_db, pulse_rate_per_min, run_length, isolated; ordered by tag, flight, record.
    """
    needed = ["tag_id", "flight_id", "record", "time_utc", "heard", "strength_db", "pulse_rate_per_min"]
    require_columns(records, needed, "records")
    rows = records[needed].sort_values(["tag_id", "flight_id", "record"], kind="stable").reset_index(drop=True)
    series = rows["tag_id"].astype(str) + "\x00" + rows["flight_id"].astype(str)
    heard = rows["heard"].to_numpy(bool)
    new = np.ones(len(rows), bool)
    new[1:] = (series.to_numpy()[1:] != series.to_numpy()[:-1]) | (heard[1:] != heard[:-1])
    run = np.cumsum(new)
    rows["run_length"] = pd.Series(run).groupby(run).transform("size").to_numpy()
    hits = rows[heard].drop(columns="heard").reset_index(drop=True)
    hits["isolated"] = hits["run_length"] == 1
    return hits


def saturation_db(strength_db) -> float:
    """The level at which the receiver tops out, or blank when the strongest value looks like any other.

    The strongest value is called a ceiling when it occurs at least five times, and at least twice as often as the mean of the next three
    levels below it: in an unclipped log the strongest levels are the rarest. Rule of the trade, our thresholds. [dB]
    """
    values = np.asarray(strength_db, float)
    values = values[np.isfinite(values)]
    if values.size < 20:
        return np.nan
    levels, counts = np.unique(np.round(values, 2), return_counts=True)
    if len(levels) < 5 or counts[-1] < 5:
        return np.nan
    return float(levels[-1]) if counts[-1] >= 2.0 * counts[-4:-1].mean() else np.nan
