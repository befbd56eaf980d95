"""The tables that travel between stages and out of a run: names (with units) and kinds, defined once.

Kinds: "text", "float", "int", "flag" (true/false), "time" (UTC, microseconds).
Angles are degrees clockwise from true north unless the name says grid. Eastings and northings are metres in the survey CRS.
"""

from __future__ import annotations

import pandas as pd

# One row per tag and record: the tidy receiver log.
RECORDS = {
    "flight_id": "text",
    "tag_id": "text",
    "record": "int",                      # number of the record within its flight, shared by all tags listened to in it
    "time_utc": "time",
    "latitude": "float",
    "longitude": "float",
    "easting_m": "float",
    "northing_m": "float",
    "height_m": "float",                  # as logged, over the reference the config names
    "height_above_ground_m": "float",     # what the geometry uses; blank when unknown
    "antenna_azimuth_deg": "float",       # true north
    "antenna_azimuth_grid_deg": "float",  # grid north of the survey CRS: what the geometry uses
    "heard": "flag",
    "strength_db": "float",               # blank exactly when not heard
    "pulse_rate_per_min": "float",
    "noise_db": "float",
    "threshold_db": "float",              # of this record, from noise_db; blank when the log has none
    "usable": "flag",
    "unusable_reason": "text",
    "source_file": "text",
    "source_line": "int",
}

# One row per record of a flight: where the receiver was.
TRACK = {
    "flight_id": "text",
    "record": "int",
    "time_utc": "time",
    "latitude": "float",
    "longitude": "float",
    "easting_m": "float",
    "northing_m": "float",
    "height_above_ground_m": "float",
    "antenna_azimuth_deg": "float",
    "tags_listened": "int",
    "tags_heard": "int",
    "on_effort": "flag",
    "off_effort_reason": "text",
}

FLIGHTS = {
    "flight_id": "text",
    "style": "text",                      # loop | lines | mixed | unclear, as found from the track
    "start_utc": "time",
    "end_utc": "time",
    "duration_min": "float",
    "listening_min": "float",             # on effort
    "records": "int",
    "records_on_effort": "int",
    "record_interval_s": "float",
    "gaps": "int",
    "longest_gap_s": "float",
    "distance_km": "float",               # on effort
    "speed_median_m_per_s": "float",
    "speed_max_m_per_s": "float",
    "height_median_m": "float",
    "height_min_m": "float",
    "height_max_m": "float",
    "azimuth_coverage_deg": "float",      # of 360, in 10-degree sectors
    "positions_lost": "int",
    "noise_median_db": "float",
    "tags_listened": "int",
    "tags_heard": "int",
    "beacons_listened": "int",
    "beacons_heard": "int",
    "verdict": "text",                    # fit for location | presence only | rejected
    "verdict_reason": "text",
}

TAGS = {
    "tag_id": "text",
    "animal_id": "text",
    "species": "text",
    "frequency_mhz": "float",
    "tag_type": "text",
    "pulse_rate_live_per_min": "float",
    "pulse_rate_mortality_per_min": "float",
    "deployed_utc": "time",
    "expected_end_utc": "time",
    "decoy": "flag",
    "role": "text",                       # animal | beacon | decoy | unregistered
}

BEACONS = {
    "tag_id": "text",
    "latitude": "float",
    "longitude": "float",
    "easting_m": "float",
    "northing_m": "float",
    "height_above_ground_m": "float",
    "position_sd_m": "float",
    "tag_type": "text",
    "frequency_mhz": "float",
    "valid_from_utc": "time",
    "valid_to_utc": "time",
    "use": "text",                        # fit | test | both
    "place_id": "text",                   # one per tag and place; places are what is left out
}

# The contract's tables: order and names are fixed.
FIXES = {
    "tag_id": "text",
    "animal_id": "text",
    "flight_id": "text",
    "time_start_utc": "time",
    "time_end_utc": "time",
    "status": "text",
    "status_reason": "text",
    "latitude": "float",
    "longitude": "float",
    "easting_m": "float",
    "northing_m": "float",
    "best_latitude": "float",
    "best_longitude": "float",
    "error_radius_50_m": "float",
    "error_radius_95_m": "float",
    "region_50_ha": "float",
    "region_80_ha": "float",
    "region_95_ha": "float",
    "ellipse_95_semi_major_m": "float",
    "ellipse_95_semi_minor_m": "float",
    "ellipse_95_azimuth_deg": "float",
    "records_listened": "int",
    "records_heard": "int",
    "fate": "text",
    "method": "text",
}

BEACON_ERRORS = {
    "tag_id": "text",
    "flight_id": "text",
    "true_latitude": "float",
    "true_longitude": "float",
    "latitude": "float",
    "longitude": "float",
    "error_m": "float",
    "error_east_m": "float",
    "error_north_m": "float",
    "error_radius_95_m": "float",
    "region_95_ha": "float",
    "level_before": "float",
    "level_after": "float",
    "records_heard": "int",
    "closest_approach_m": "float",
}

STATUSES = ("located", "several places", "area only", "heard once", "not heard", "not searched", "suspect")

_DTYPES = {"text": "string", "float": "float64", "int": "Int64", "flag": "bool", "time": "datetime64[us, UTC]"}


def conform(table: pd.DataFrame, columns: dict[str, str]) -> pd.DataFrame:
    """The table with exactly these columns, in this order, in these kinds.

    Columns that are absent are added blank (a flag as false); columns not named are dropped. The argument is not written to.
    """
    shaped = pd.DataFrame(index=range(len(table)))
    for name, kind in columns.items():
        if name in table.columns:
            values = table[name].reset_index(drop=True)
        else:
            values = pd.Series([False if kind == "flag" else pd.NA] * len(table), dtype="object")
        if kind == "time":
            shaped[name] = pd.to_datetime(values, utc=True).astype(_DTYPES[kind])
        elif kind == "float":
            shaped[name] = pd.to_numeric(values).astype("Float64").astype("float64")
        elif kind == "text":
            shaped[name] = values.astype("string").fillna("")
        else:
            shaped[name] = values.astype(_DTYPES[kind])
    return shaped


def require_columns(table: pd.DataFrame, columns, what: str) -> None:
    """Raise ValueError naming every column that the table lacks."""
    missing = [name for name in columns if name not in table.columns]
    if missing:
        raise ValueError(f"{what} lacks {', '.join(missing)}; it has {', '.join(map(str, table.columns))}")
