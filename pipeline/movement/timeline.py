"""When an animal was searched for and when it was heard: flight by flight, never merging "not heard" with "not searched"."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.columns import conform

TIMELINE = {
    "tag_id": "text",
    "animal_id": "text",
    "flight_id": "text",
    "start_utc": "time",
    "state": "text",             # fix | heard | not heard | not searched
    "fate": "text",
    "records_listened": "int",
    "records_heard": "int",
    "adequacy": "float",         # how well this flight searched the ground for this type of tag (mean, cautious); blank when unknown or not searched
}


def timeline_table(animals, fixes, flights, adequacy=None):
    """One row per animal and flight.

    Parameters
    ----------
    animals : list of AnimalFixes
    fixes : DataFrame with the columns of FIXES
    flights : DataFrame with the columns of FLIGHTS
    adequacy : dict of (tag_id, flight_id) -> probability 0 to 1 | None

    Returns
    -------
    DataFrame with the columns of TIMELINE, by tag, then by start of flight.
    """
    listened = {(row["tag_id"], row["flight_id"]): row for row in fixes.to_dict("records")}
    ordered = flights.sort_values(["start_utc", "flight_id"], kind="stable")
    rows = []
    for animal in animals:
        placed = {fix.flight_id for fix in animal.fixes}
        for flight_id, start in zip(ordered["flight_id"], ordered["start_utc"]):
            fix = listened.get((animal.tag_id, flight_id), {})
            state = _state(fix, flight_id in placed)
            rows.append(animal.identity | {"flight_id": flight_id, "start_utc": start, "state": state,
                                           "fate": fix.get("fate", ""), "records_listened": fix.get("records_listened", 0),
                                           "records_heard": fix.get("records_heard", 0),
                                           "adequacy": np.nan if state == "not searched" else (adequacy or {}).get((animal.tag_id, flight_id), np.nan)})
    return conform(pd.DataFrame(rows, columns=list(TIMELINE)), TIMELINE)


def _state(fix, placed):
    if placed:
        return "fix"
    if not _positive(fix.get("records_listened")) or fix.get("status") == "not searched":
        return "not searched"
    return "heard" if _positive(fix.get("records_heard")) else "not heard"


def _positive(value):
    return value is not None and pd.notna(value) and value > 0
