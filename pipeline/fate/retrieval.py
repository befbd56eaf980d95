"""The list to walk with: where each tag that should be fetched or checked is, and how large the circle to search."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.columns import conform
from pipeline.wording import two_figures

RETRIEVAL = {
    "urgency": "int",
    "tag_id": "text",
    "animal_id": "text",
    "class": "text",
    "flight_id": "text",               # the flight whose position is given
    "time_utc": "time",
    "latitude": "float",
    "longitude": "float",
    "easting_m": "float",
    "northing_m": "float",
    "error_radius_95_m": "float",      # the circle to search, not a point
    "region_95_ha": "float",
    "status": "text",
    "note": "text",
    "last_live_utc": "time",           # between this and the next the mortality rate began
    "first_mortality_utc": "time",
    "other_explanations": "text",
}


def retrieval_list(triage_table, fixes, pulses=None, *, classes=("Retrieve", "Check soon")):
    """Position, circle and area for every tag of the named classes, the most urgent first.

    The position is that of the flight with the smallest 95 % radius among those in which the tag sent its mortality rate (any flight when
    none did). Where no flight gave a position, the posterior mean is given with the note that it is no fix.

    Parameters
    ----------
    triage_table : DataFrame of triage
    fixes : DataFrame with the columns of FIXES
    pulses : DataFrame of pulse_table | None

    Returns
    -------
    DataFrame with the columns of RETRIEVAL; empty when nothing calls for a walk.
    """
    rows = []
    for case in triage_table[triage_table["class"].isin(classes)].to_dict("records"):
        place = _best_fix(case["tag_id"], fixes, pulses)
        rows.append({name: case[name] for name in ("urgency", "tag_id", "animal_id", "class", "last_live_utc", "first_mortality_utc", "other_explanations")} | place)
    return conform(pd.DataFrame(rows, columns=list(RETRIEVAL)), RETRIEVAL)


def _best_fix(tag_id, fixes, pulses):
    own = fixes[(fixes["tag_id"] == tag_id) & fixes["best_latitude"].notna()]
    if pulses is not None:
        sending = pulses.loc[(pulses["tag_id"] == tag_id) & (pulses["fate"] == "mortality"), "flight_id"]
        own = own[own["flight_id"].isin(sending)] if own["flight_id"].isin(sending).any() else own
    if not len(own):
        return {"note": "Heard, but no flight gave a place."}
    placed = own[own["status"].isin(["located", "several places"])]
    chosen = (placed if len(placed) else own).sort_values(["error_radius_95_m", "flight_id"], kind="stable").iloc[0]
    fix = {name: chosen[name] for name in ("flight_id", "easting_m", "northing_m", "error_radius_95_m", "region_95_ha", "status")}
    kind = "" if len(placed) else "best_"
    return fix | {"time_utc": chosen["time_end_utc"], "latitude": chosen[kind + "latitude"], "longitude": chosen[kind + "longitude"], "note": _note(chosen)}


def _note(fix):
    radius, area = fix["error_radius_95_m"], fix["region_95_ha"]
    size = f"circle of {two_figures(radius)} m" if np.isfinite(radius) else "circle unknown"
    if fix["status"] == "located":
        return f"Search the {size}."
    if fix["status"] == "several places":
        return f"Search the {size}, then the other places of the region ({area:.2g} ha): {fix['status_reason']}"
    return f"No fix: middle of a region of {area:.2g} ha. {fix['status_reason']}"
