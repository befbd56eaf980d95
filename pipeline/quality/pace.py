"""How the receiver moved from record to record: intervals, steps, speed, course, turning. Everything else here builds on it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.columns import require_columns

GAP_FACTOR = 2.0  # a gap is an interval longer than this many times the flight's median interval


def pace_table(track: pd.DataFrame) -> pd.DataFrame:
    """What happened between each record and the next one of its flight.

    Parameters
    ----------
    track : TRACK table, one row per record, ordered in time within each flight.

    Returns
    -------
    DataFrame in the order of `track` with flight_id, record and
    to_next_s      seconds to the next record, blank at the last [s]
    interval_s     median interval of the flight [s]
    gap            the next record comes later than 2 median intervals
    listening_s    time this record stands for: to_next_s, at most 2 intervals; one interval at the last record [s]
    step_m         metres flown to the next record in the survey CRS, blank across gaps and lost positions [m]
    speed_m_per_s  step_m / to_next_s
    course_deg     direction of the step, clockwise from grid north, blank for steps under 1 m
    turn_deg_per_s turning of the antenna to the next record, without sign; of the course where azimuths are missing
    """
    require_columns(track, ["flight_id", "record", "time_utc", "easting_m", "northing_m", "antenna_azimuth_deg"], "track")
    parts = [_pace_of_flight(rows) for _, rows in track.groupby("flight_id", sort=False)]
    if not parts:
        names = ["to_next_s", "interval_s", "listening_s", "step_m", "speed_m_per_s", "course_deg", "turn_deg_per_s"]
        return pd.DataFrame({"flight_id": [], "record": [], "gap": [], **{name: [] for name in names}})
    return pd.concat(parts).reindex(track.index)


def _pace_of_flight(rows: pd.DataFrame) -> pd.DataFrame:
    seconds = (rows["time_utc"] - rows["time_utc"].iloc[0]).dt.total_seconds().to_numpy(float)
    to_next_s = np.append(np.diff(seconds), np.nan)
    moving = to_next_s[to_next_s > 0]
    interval_s = float(np.median(moving)) if moving.size else np.nan
    gap = to_next_s > GAP_FACTOR * interval_s
    step_m, course_deg = _steps(rows)
    step_m = np.where(gap, np.nan, step_m)
    with np.errstate(divide="ignore", invalid="ignore"):
        speed_m_per_s = np.where(to_next_s > 0, step_m / to_next_s, np.nan)
        turning_deg = _turning(rows["antenna_azimuth_deg"].to_numpy(float), course_deg)
        turn_deg_per_s = np.where((to_next_s > 0) & ~gap, turning_deg / to_next_s, np.nan)
    listening_s = np.where(np.isnan(to_next_s), interval_s, np.minimum(to_next_s, GAP_FACTOR * interval_s))
    return pd.DataFrame(
        {
            "flight_id": rows["flight_id"], "record": rows["record"], "to_next_s": to_next_s, "interval_s": interval_s,
            "gap": gap, "listening_s": listening_s, "step_m": step_m, "speed_m_per_s": speed_m_per_s,
            "course_deg": np.where(gap, np.nan, course_deg), "turn_deg_per_s": turn_deg_per_s,
        },
        index=rows.index,
    )


def _steps(rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    east = np.append(np.diff(rows["easting_m"].to_numpy(float)), np.nan)
    north = np.append(np.diff(rows["northing_m"].to_numpy(float)), np.nan)
    step_m = np.hypot(east, north)
    # under a metre the direction of a step is the noise of the position, not a course
    course_deg = np.where(step_m >= 1.0, np.degrees(np.arctan2(east, north)) % 360.0, np.nan)
    return step_m, course_deg


def _turning(azimuth_deg: np.ndarray, course_deg: np.ndarray) -> np.ndarray:
    heading = azimuth_deg if np.isfinite(azimuth_deg).any() else course_deg
    return np.append(np.abs(wrap_180(np.diff(heading))), np.nan)


def wrap_180(angle_deg):
    """An angle, or an array of them, brought into -180 (included) to 180 (excluded). [deg]"""
    return (np.asarray(angle_deg, float) + 180.0) % 360.0 - 180.0


def runs(flags) -> list[tuple[int, int]]:
    """First and last position of every unbroken stretch of true values."""
    marked = np.concatenate([[0], np.asarray(flags, bool).astype(int), [0]])
    change = np.diff(marked)
    return [(int(first), int(last) - 1) for first, last in zip(np.flatnonzero(change == 1), np.flatnonzero(change == -1))]
