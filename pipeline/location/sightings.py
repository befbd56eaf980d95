"""Animals and tags found by eye: the best evidence there is, for the time at which it was had."""

from __future__ import annotations

import numpy as np
import pandas as pd

# A hand-held receiver of positions, when the register does not say better. Common practice, no source.
USUAL_SD_M = 10.0
SMALLEST_SD_M = 1.0


def log_density_of_sighting(easting_m, northing_m, *, at_easting_m: float, at_northing_m: float, position_sd_m: float = USUAL_SD_M) -> np.ndarray:
    """Log-density of a place found by eye for a tag in each cell: a circular normal about the place. Shape (cells,). [log 1/m2]

    position_sd_m : standard deviation per axis of the stated place; a blank one is taken for 10 m, none below 1 m. [m]
    """
    sd = USUAL_SD_M if not np.isfinite(position_sd_m) else max(float(position_sd_m), SMALLEST_SD_M)
    squared = (np.asarray(easting_m, float) - at_easting_m) ** 2 + (np.asarray(northing_m, float) - at_northing_m) ** 2
    return -0.5 * squared / sd**2 - np.log(2 * np.pi * sd**2)


def taken_during(evidence: pd.DataFrame, start_utc: pd.Timestamp, end_utc: pd.Timestamp, margin_min: float = 10.0) -> pd.DataFrame:
    """The bearings or sightings (column time_utc) that belong to a flight: taken during it, or within a margin before or after. [min]"""
    margin = pd.Timedelta(minutes=margin_min)
    inside = (evidence["time_utc"] >= start_utc - margin) & (evidence["time_utc"] <= end_utc + margin)
    return evidence[inside.fillna(False).to_numpy(bool)]
