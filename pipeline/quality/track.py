"""Where the receiver was, and which of its records count as survey effort."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from pipeline.columns import TRACK, conform
from pipeline.quality.pace import pace_table, runs

OFF_EFFORT_REASONS = ("no position", "not listening", "ground", "landing", "transit")

AIRBORNE_HEIGHT_M = 15.0     # a flight whose median height is below this was not flown: nothing in it is "ground"
GROUND_HEIGHT_M = 5.0
CLIMB_SHARE = 0.6            # at either end of a flight, below this share of its median height = climbing or landing
STANDING_M_PER_S = 0.5       # without heights: slower than this at either end of a fast flight = standing on the ground
FLYING_M_PER_S = 3.0
TRANSIT_SPEED_FACTOR = 1.5
TRANSIT_RECORDS = 5
STUDY_AREA_MARGIN_M = 500.0


def track_table(records: pd.DataFrame, study_area=None) -> pd.DataFrame:
    """The track of every flight, one row per record, with the records off effort marked and the reason named.

    Off effort are, in this order of precedence: "no position" (lost, frozen or jumping: no tag's row of the record is usable),
    "not listening" (no tag was tuned to), "ground" (below 5 m in a flown flight, or standing at either end of one without heights),
    "landing" (climbing or descending at either end, below 0.6 of the flight's median height), and "transit" (at either
    end, five or more records faster than 1.5 times the flight's median speed, or more than 500 m outside the study area).
    A receiver carried on foot has no ground, landing or transit records.

    Parameters
    ----------
    records : RECORDS table; `record` numbers are shared by the tags of a flight.
    study_area : shapely geometry in the survey CRS, or None.

    Returns
    -------
    TRACK table, flights in order of their start, records in order of time.
    """
    track = _one_row_per_record(records)
    pace = pace_table(track)
    reason = pd.Series("", index=track.index, dtype="object")
    for _, rows in track.groupby("flight_id", sort=False):
        reason.loc[rows.index] = _reasons(rows, pace.loc[rows.index], study_area)
    track["off_effort_reason"] = reason
    track["on_effort"] = reason == ""
    return conform(track, TRACK)


def _one_row_per_record(records: pd.DataFrame) -> pd.DataFrame:
    listened = records["tag_id"].fillna("").astype(str).str.strip() != ""
    rows = records.assign(listened=listened, heard_here=records["heard"] & listened)
    place = ["time_utc", "latitude", "longitude", "easting_m", "northing_m", "height_above_ground_m", "antenna_azimuth_deg"]
    grouped = rows.groupby(["flight_id", "record"], sort=False)
    track = grouped[place].first()
    track["tags_listened"] = grouped["listened"].sum()
    track["tags_heard"] = grouped["heard_here"].sum()
    track["usable"] = grouped["usable"].any()
    track = track.reset_index()
    start = track.groupby("flight_id")["time_utc"].transform("min")
    return track.assign(start=start).sort_values(["start", "flight_id", "time_utc", "record"], kind="stable").reset_index(drop=True)


def _reasons(rows: pd.DataFrame, pace: pd.DataFrame, study_area) -> np.ndarray:
    placed = rows["easting_m"].notna().to_numpy() & rows["usable"].to_numpy()
    height_m = rows["height_above_ground_m"].to_numpy(float)
    speed = pace["speed_m_per_s"].to_numpy(float)
    reason = np.full(len(rows), "", dtype=object)
    reason[_transit(rows, speed, study_area)] = "transit"
    flown = np.isfinite(height_m).any() and np.nanmedian(height_m) >= AIRBORNE_HEIGHT_M
    if flown:
        low = np.nan_to_num(height_m, nan=np.inf) < CLIMB_SHARE * np.nanmedian(height_m)
        reason[_at_either_end(low)] = "landing"
        reason[np.nan_to_num(height_m, nan=np.inf) < GROUND_HEIGHT_M] = "ground"
    elif not np.isfinite(height_m).any() and np.isfinite(speed).any() and np.nanmedian(speed) >= FLYING_M_PER_S:
        reason[_at_either_end(np.nan_to_num(speed, nan=0.0) < STANDING_M_PER_S)] = "ground"
    reason[rows["tags_listened"].to_numpy() == 0] = "not listening"
    reason[~placed] = "no position"
    return reason


def _transit(rows: pd.DataFrame, speed: np.ndarray, study_area) -> np.ndarray:
    transit = np.zeros(len(rows), bool)
    if np.isfinite(speed).any():
        fast = np.nan_to_num(speed, nan=0.0) > max(TRANSIT_SPEED_FACTOR * np.nanmedian(speed), FLYING_M_PER_S)
        ends = _at_either_end(fast)
        for first, last in runs(ends):
            transit[first:last + 1] = last - first + 1 >= TRANSIT_RECORDS
    if study_area is not None and len(rows):
        near = study_area.buffer(STUDY_AREA_MARGIN_M)
        outside = ~shapely.contains_xy(near, rows["easting_m"].to_numpy(float), rows["northing_m"].to_numpy(float))
        if not outside.all():  # a flight wholly outside was flown there on purpose, or the area is wrong: not transit
            transit |= _at_either_end(outside & rows["easting_m"].notna().to_numpy())
    return transit


def _at_either_end(flags: np.ndarray) -> np.ndarray:
    """Only the unbroken stretches of `flags` that touch the first or the last record."""
    kept = np.zeros(len(flags), bool)
    for first, last in runs(flags):
        if first == 0 or last == len(flags) - 1:
            kept[first:last + 1] = True
    return kept
