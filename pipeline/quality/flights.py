"""One row of numbers and one verdict for every flight."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.columns import FLIGHTS, conform
from pipeline.quality.pace import pace_table
from pipeline.quality.style import flight_style
from pipeline.wording import printed

VERDICTS = ("fit for location", "presence only", "rejected")

RECORDS_LEAST = 10
LISTENING_LEAST_MIN = 1.0
PLACED_SHARE_LEAST = 0.5
EXTENT_LEAST_M = 100.0
HEIGHT_RANGE_M = (-5.0, 1000.0)
SECTOR_DEG = 10


def flight_table(records: pd.DataFrame, track: pd.DataFrame, beacons: pd.DataFrame, tags: pd.DataFrame) -> pd.DataFrame:
    """The FLIGHTS table, plus turn_rate_max_deg_per_s, extent_m and noise_step_db for the report.

    Parameters
    ----------
    records, track, beacons, tags : RECORDS, TRACK, BEACONS and TAGS tables.

    Returns
    -------
    DataFrame with the columns of FLIGHTS and three more, one row per flight in order of start. Minutes, kilometres, speeds
    and heights are those on effort; the azimuth coverage counts 10-degree sectors.
    """
    pace = pace_table(track)
    rows = [_flight_row(flight, part, pace.loc[part.index]) for flight, part in track.groupby("flight_id", sort=False)]
    table = pd.DataFrame(rows) if rows else pd.DataFrame({"flight_id": []})
    noise = records.groupby("flight_id")["noise_db"].median()
    table["noise_median_db"] = table["flight_id"].map(noise) if len(table) else []
    table["noise_step_db"] = [noise_step(part)[0] for _, part in _by_flight(records, table)]
    for name, counts in _tag_counts(records, beacons).items():
        table[name] = table["flight_id"].map(counts).fillna(0).astype(int) if len(table) else []
    judged = [verdict(row) for row in table.to_dict("records")]
    table["verdict"] = [name for name, _ in judged]
    table["verdict_reason"] = [reason for _, reason in judged]
    extra = table[[name for name in ("turn_rate_max_deg_per_s", "extent_m", "noise_step_db") if name in table]]
    return pd.concat([conform(table, FLIGHTS), extra.reset_index(drop=True)], axis=1)


def _by_flight(records: pd.DataFrame, table: pd.DataFrame):
    groups = dict(list(records.groupby("flight_id", sort=False)))
    return [(flight, groups[flight]) for flight in table["flight_id"]]


def _flight_row(flight_id: str, track: pd.DataFrame, pace: pd.DataFrame) -> dict:
    on = track["on_effort"].to_numpy(bool)
    both = on & np.append(on[1:], False)  # a step counts when it starts and ends on effort
    speed, height_m = pace["speed_m_per_s"].to_numpy(float)[both], track["height_above_ground_m"].to_numpy(float)[on]
    gaps_s = pace["to_next_s"].to_numpy(float)[pace["gap"].to_numpy(bool)]
    east, north = track["easting_m"].to_numpy(float)[on], track["northing_m"].to_numpy(float)[on]
    turn = pace["turn_deg_per_s"].to_numpy(float)[both]
    start, end = track["time_utc"].iloc[0], track["time_utc"].iloc[-1]
    return {
        "flight_id": flight_id,
        "style": flight_style(pace["course_deg"].to_numpy(float)[both]),
        "start_utc": start, "end_utc": end, "duration_min": (end - start).total_seconds() / 60.0,
        "listening_min": float(np.nansum(pace["listening_s"].to_numpy(float)[on])) / 60.0,
        "records": len(track), "records_on_effort": int(on.sum()), "record_interval_s": pace["interval_s"].iloc[0],
        "gaps": len(gaps_s), "longest_gap_s": gaps_s.max() if len(gaps_s) else 0.0,
        "distance_km": float(np.nansum(pace["step_m"].to_numpy(float)[both])) / 1000.0,
        "speed_median_m_per_s": _statistic(np.median, speed), "speed_max_m_per_s": _statistic(np.max, speed),
        "height_median_m": _statistic(np.median, height_m), "height_min_m": _statistic(np.min, height_m),
        "height_max_m": _statistic(np.max, height_m),
        "azimuth_coverage_deg": azimuth_coverage_deg(track["antenna_azimuth_deg"].to_numpy(float)[on]),
        "positions_lost": int((track["off_effort_reason"] == "no position").sum()),
        "turn_rate_max_deg_per_s": _statistic(np.max, turn),
        "extent_m": float(np.hypot(np.ptp(east), np.ptp(north))) if on.any() else 0.0,
    }


def _statistic(function, values) -> float:
    known = values[np.isfinite(values)]
    return float(function(known)) if known.size else np.nan


def azimuth_coverage_deg(azimuth_deg) -> float:
    """Degrees of the horizon towards which the antenna pointed at least once, counted in 10-degree sectors; blank without azimuths. [deg]"""
    known = np.asarray(azimuth_deg, float)
    known = known[np.isfinite(known)]
    if not known.size:
        return np.nan
    return float(len(np.unique((known % 360.0) // SECTOR_DEG)) * SECTOR_DEG)


def noise_step(records_of_flight: pd.DataFrame, least_records: int = 20) -> tuple[float, int | None]:
    """The largest lasting change of the noise level within a flight, and the record after which it holds.

    The noise of each record is averaged over the tags, each tag taken about its own median, so that channels with different levels do not make a step;
    the step is the difference of the medians after and before the record that divides the flight best (largest standardised difference of means), with at
    least 20 records on either side. [dB]
    """
    rows = records_of_flight[records_of_flight["noise_db"].notna()]
    if rows.empty:
        return np.nan, None
    about_own = rows["noise_db"] - rows.groupby("tag_id")["noise_db"].transform("median")
    level = about_own.groupby(rows["record"]).mean()
    values = level.to_numpy(float)
    if len(values) < 2 * least_records:
        return 0.0, None
    splits = np.arange(least_records, len(values) - least_records + 1)
    before = np.cumsum(values)[splits - 1] / splits
    after = (values.sum() - np.cumsum(values)[splits - 1]) / (len(values) - splits)
    best = int(splits[np.argmax(np.abs(after - before) * np.sqrt(splits * (len(values) - splits)))])
    return float(np.median(values[best:]) - np.median(values[:best])), int(level.index[best])


def _tag_counts(records: pd.DataFrame, beacons: pd.DataFrame) -> dict[str, pd.Series]:
    listened = records[["flight_id", "tag_id", "time_utc", "heard"]]
    heard = listened[listened["heard"]]
    standing = beacon_rows(listened, beacons)
    return {
        "tags_listened": listened.groupby("flight_id")["tag_id"].nunique(),
        "tags_heard": heard.groupby("flight_id")["tag_id"].nunique(),
        "beacons_listened": standing.groupby("flight_id")["tag_id"].nunique(),
        "beacons_heard": standing[standing["heard"]].groupby("flight_id")["tag_id"].nunique(),
    }


def beacon_rows(records: pd.DataFrame, beacons: pd.DataFrame) -> pd.DataFrame:
    """The records of beacons that stood at their place at the time, each row with the place's columns beside it (suffix _beacon where names clash)."""
    places = beacons[["tag_id", "place_id", "easting_m", "northing_m", "height_above_ground_m", "valid_from_utc", "valid_to_utc"]]
    joined = records.merge(places, on="tag_id", how="inner", suffixes=("", "_beacon"))
    after = joined["valid_from_utc"].isna() | (joined["time_utc"] >= joined["valid_from_utc"])
    before = joined["valid_to_utc"].isna() | (joined["time_utc"] <= joined["valid_to_utc"])
    return joined[after & before].reset_index(drop=True)


def verdict(flight: dict) -> tuple[str, str]:
    """What a flight may be used for, and a sentence with the numbers behind it.

    rejected: fewer than 10 records on effort, under a minute of listening, or no tag listened to. presence only: more than half the positions lost, a track
    under 100 m across, or a median height outside -5 to 1000 m. Otherwise fit for location.
    """
    records, on = int(flight["records"]), int(flight["records_on_effort"])
    numbers = f"{on:,d} of {records:,d} records on effort, {flight['listening_min']:.1f} min listening over {flight['distance_km']:.1f} km"
    if flight["tags_listened"] == 0:
        return "rejected", "No tag was listened to."
    if on < RECORDS_LEAST or flight["listening_min"] < LISTENING_LEAST_MIN:
        return "rejected", f"Too little to work with: {numbers}; {RECORDS_LEAST} records and {LISTENING_LEAST_MIN:g} min are needed."
    if flight["positions_lost"] > (1.0 - PLACED_SHARE_LEAST) * records:
        return "presence only", f"{flight['positions_lost']:,.0f} of {records:,d} records have no usable position."
    if flight["extent_m"] < EXTENT_LEAST_M:
        return "presence only", f"The track is {flight['extent_m']:.0f} m across; {EXTENT_LEAST_M:.0f} m are needed to tell directions apart."
    height_m = flight["height_median_m"]
    if np.isfinite(height_m) and not HEIGHT_RANGE_M[0] <= height_m <= HEIGHT_RANGE_M[1]:
        return "presence only", f"The median height is {printed(height_m)} m above ground, which cannot be; check the height reference."
    return "fit for location", f"{numbers[0].upper()}{numbers[1:]}{_azimuth_phrase(flight['azimuth_coverage_deg'])}."


def _azimuth_phrase(coverage_deg: float) -> str:
    if not np.isfinite(coverage_deg):
        return ", no antenna azimuth"
    return f", antenna pointed to {coverage_deg:.0f} of 360 degrees"
