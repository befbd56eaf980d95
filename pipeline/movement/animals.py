"""One row per animal: what there is to go on, how much it was searched for, and what may be said."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.columns import conform
from pipeline.location import FIX_STATUSES
from pipeline.movement.extent import span_days
from pipeline.movement.gates import gate

ANIMALS = {
    "tag_id": "text",
    "animal_id": "text",
    "species": "text",
    "fixes_usable": "int",
    "fixes_total": "int",                    # with those that give an area only; blank when the fixes are not given
    "first_utc": "time",                     # first and last usable fix
    "last_utc": "time",
    "span_days": "float",
    "flights_searched": "int",
    "flights_heard": "int",
    "minutes_searched": "float",             # listening minutes of the flights that listened to its tag
    "minutes_heard": "float",                # listening minutes of the flights that heard it
    "median_error_radius_95_m": "float",
    "net_distance_m": "float",               # first to last usable fix, with 95 % interval
    "net_distance_low_m": "float",
    "net_distance_high_m": "float",
    "steps_tested": "int",
    "steps_moved": "int",
    "gate": "text",
    "reason": "text",
}


def animal_table(animals, steps, timeline, flights, fixes=None):
    """Summary of every animal, also of those without a fix.

    Parameters
    ----------
    animals : list of AnimalFixes
    steps : DataFrame of displacement_table
    timeline : DataFrame of timeline_table
    flights : DataFrame with the columns of FLIGHTS
    fixes : DataFrame with the columns of FIXES | None
        For the number of all fixes, usable or not.

    Returns
    -------
    DataFrame with the columns of ANIMALS.
    """
    minutes = dict(zip(flights["flight_id"], pd.to_numeric(flights["listening_min"]).astype(float)))
    totals = None if fixes is None else fixes.loc[fixes["status"].isin(FIX_STATUSES), "tag_id"].value_counts()
    rows = [_row(animal, steps[steps["tag_id"] == animal.tag_id], timeline[timeline["tag_id"] == animal.tag_id], minutes)
            | {"fixes_total": pd.NA if totals is None else int(totals.get(animal.tag_id, 0))} for animal in animals]
    return conform(pd.DataFrame(rows, columns=list(ANIMALS)), ANIMALS)


def _row(animal, steps, timeline, minutes):
    passed = gate(len(animal.fixes))
    searched = timeline.loc[timeline["state"] != "not searched", "flight_id"]
    heard = timeline.loc[timeline["state"].isin(["fix", "heard"]), "flight_id"]
    tested = steps[steps["kind"] != ""]
    return animal.identity | {
        "species": animal.species, "fixes_usable": len(animal.fixes), "span_days": span_days(animal),
        "first_utc": animal.fixes[0].time_utc if animal.fixes else pd.NaT, "last_utc": animal.fixes[-1].time_utc if animal.fixes else pd.NaT,
        "flights_searched": len(searched), "flights_heard": len(heard),
        "minutes_searched": sum(minutes.get(flight, 0.0) for flight in searched), "minutes_heard": sum(minutes.get(flight, 0.0) for flight in heard),
        "median_error_radius_95_m": np.median([fix.error_radius_95_m for fix in animal.fixes]) if animal.fixes else np.nan,
        "steps_tested": len(tested), "steps_moved": int((tested["verdict"] == "moved").sum()), "gate": passed.name, "reason": passed.sentence,
    } | _net(tested)


def _net(tested):
    """First to last; with two fixes the one step there is."""
    if not len(tested):
        return {}
    whole = tested[tested["kind"] == "first to last"]
    last = (whole if len(whole) else tested).iloc[-1]
    return {f"net_{name}": last[name] for name in ("distance_m", "distance_low_m", "distance_high_m")}
