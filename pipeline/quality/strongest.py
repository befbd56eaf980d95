"""The crude error figure: how far from a beacon the receiver was when it heard it best."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.quality.flights import beacon_rows


def strongest_records(records: pd.DataFrame, beacons: pd.DataFrame) -> pd.DataFrame:
    """Distance between the receiver at the strongest record and the surveyed beacon, per beacon and flight.

    This is the error of calling the receiver's position the tag's: the habit of the field, and the yardstick a fix has to beat. Only usable records count.

    Returns
    -------
    DataFrame: tag_id, flight_id, place_id, records_listened, records_heard, best_strength_db, strongest_record_error_m (blank when not heard),
    closest_approach_m. Horizontal metres in the survey CRS.
    """
    standing = beacon_rows(records[records["usable"]], beacons)
    distance_m = np.hypot(standing["easting_m"] - standing["easting_m_beacon"], standing["northing_m"] - standing["northing_m_beacon"])
    standing = standing.assign(distance_m=distance_m)
    keys = ["tag_id", "flight_id", "place_id"]
    grouped = standing.groupby(keys)
    table = pd.DataFrame({"records_listened": grouped.size(), "records_heard": grouped["heard"].sum().astype(int),
                          "closest_approach_m": grouped["distance_m"].min()})
    heard = standing[standing["heard"] & standing["strength_db"].notna()]
    best = heard.loc[heard.groupby(keys)["strength_db"].idxmax()].set_index(keys)
    table["best_strength_db"] = best["strength_db"]
    table["strongest_record_error_m"] = best["distance_m"]
    order = [*keys, "records_listened", "records_heard", "best_strength_db", "strongest_record_error_m", "closest_approach_m"]
    return table.reset_index()[order]
