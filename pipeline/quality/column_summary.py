"""What each column of each flight holds: missing values, range, values that cannot be right."""

from __future__ import annotations

import numpy as np
import pandas as pd

# column: unit, what it refers to, smallest and largest value that makes sense
CHECKED = {
    "latitude": ("deg", "WGS 84", -90.0, 90.0),
    "longitude": ("deg", "WGS 84", -180.0, 180.0),
    "height_m": ("m", "as logged", -500.0, 9000.0),
    "height_above_ground_m": ("m", "ground below the receiver", -5.0, 1000.0),
    "antenna_azimuth_deg": ("deg", "true north", 0.0, 360.0),
    "strength_db": ("dB", "receiver's scale", -np.inf, np.inf),
    "pulse_rate_per_min": ("per min", "heard records", 5.0, 400.0),
    "noise_db": ("dB", "receiver's scale", -np.inf, np.inf),
}


def column_table(records: pd.DataFrame) -> pd.DataFrame:
    """One row per flight and column: flight_id, column, unit, reference, missing_percent, minimum, median, maximum, suspicious, action.

    Strengths and pulse rates are counted over heard records only: a strength blank because the tag was not heard is not missing.
    """
    rows = []
    for flight_id, part in records.groupby("flight_id", sort=False):
        for column, (unit, reference, low, high) in CHECKED.items():
            heard_only = column in ("strength_db", "pulse_rate_per_min")
            values = part.loc[part["heard"], column] if heard_only else part[column]
            rows.append(_column_row(flight_id, column, unit, reference, values.to_numpy(float), low, high))
    names = ["flight_id", "column", "unit", "reference", "missing_percent", "minimum", "median", "maximum", "suspicious", "action"]
    return pd.DataFrame(rows, columns=names)


def _column_row(flight_id, column, unit, reference, values, low, high) -> list:
    known = values[np.isfinite(values)]
    missing = 100.0 * (1.0 - known.size / values.size) if values.size else np.nan
    suspicious = int(((known < low) | (known > high)).sum())
    spread = [float(known.min()), float(np.median(known)), float(known.max())] if known.size else [np.nan] * 3
    if not known.size:
        action = "none in this flight: not used"
    elif suspicious:
        action = "kept and marked; see messages"
    else:
        action = "used as it is"
    return [flight_id, column, unit, reference, missing, *spread, suspicious, action]
