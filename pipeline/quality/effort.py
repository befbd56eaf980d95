"""Survey effort: minutes listening, kilometres, records per tag, speed and height, with on and off effort told apart."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.quality.pace import pace_table
from pipeline.quality.track import OFF_EFFORT_REASONS

CAMPAIGN = "all flights"


def effort_table(records: pd.DataFrame, track: pd.DataFrame, flights: pd.DataFrame) -> pd.DataFrame:
    """Effort of every flight and, in the last row ("all flights"), of the campaign.

    Returns
    -------
    DataFrame: flight_id, style, start_utc, listening_min, off_effort_min, off_effort_why, distance_km, speed_median_m_per_s, height_median_m,
    records_on_effort, tags_listened, records_per_tag_median. Minutes count the time a record stands for, at most two
    record intervals, so gaps add nothing. [min, km, m/s, m]
    """
    pace = pace_table(track)
    on = track["on_effort"].to_numpy(bool)
    seconds = pace["listening_s"].fillna(0.0)
    per_tag = records_per_tag(records, track)
    rows = []
    for flight in flights.to_dict("records"):
        mine = (track["flight_id"] == flight["flight_id"]).to_numpy()
        rows.append({
            **{name: flight[name] for name in ("flight_id", "style", "start_utc", "listening_min", "distance_km", "speed_median_m_per_s",
                                               "height_median_m", "records_on_effort", "tags_listened")},
            "off_effort_min": float(seconds[mine & ~on].sum()) / 60.0,
            "off_effort_why": _why(track.loc[mine & ~on, "off_effort_reason"], seconds[mine & ~on]),
            "records_per_tag_median": per_tag.loc[per_tag["flight_id"] == flight["flight_id"], "records"].median(),
        })
    rows.append(_campaign_row(rows, records, track, pace, seconds))
    order = ["flight_id", "style", "start_utc", "listening_min", "off_effort_min", "off_effort_why", "distance_km", "speed_median_m_per_s",
             "height_median_m", "records_on_effort", "tags_listened", "records_per_tag_median"]
    return pd.DataFrame(rows)[order]


def _campaign_row(rows: list[dict], records: pd.DataFrame, track: pd.DataFrame, pace: pd.DataFrame, seconds: pd.Series) -> dict:
    on = track["on_effort"]
    on_records = records_per_tag(records, track).groupby("tag_id")["records"].sum()
    return {
        "flight_id": CAMPAIGN, "style": "", "start_utc": min((row["start_utc"] for row in rows), default=pd.NaT),
        "listening_min": sum(row["listening_min"] for row in rows), "off_effort_min": sum(row["off_effort_min"] for row in rows),
        "off_effort_why": _why(track.loc[~on, "off_effort_reason"], seconds[~on]),
        "distance_km": sum(row["distance_km"] for row in rows), "speed_median_m_per_s": pace.loc[on, "speed_m_per_s"].median(),
        "height_median_m": track.loc[on, "height_above_ground_m"].median(), "records_on_effort": int(on.sum()),
        "tags_listened": int(records["tag_id"].nunique()), "records_per_tag_median": on_records.median(),
    }


def _why(reasons: pd.Series, seconds: pd.Series) -> str:
    minutes = seconds.groupby(reasons.astype(str)).sum() / 60.0
    named = [f"{reason} {minutes[reason]:.1f}" for reason in OFF_EFFORT_REASONS if minutes.get(reason, 0.0) > 0]
    return ", ".join(named)


def records_per_tag(records: pd.DataFrame, track: pd.DataFrame) -> pd.DataFrame:
    """Records on effort in which each tag was listened to: tag_id, flight_id, records, listening_min."""
    seconds = track[["flight_id", "record"]].assign(minutes=pace_table(track)["listening_s"] / 60.0)[track["on_effort"]]
    joined = records[["flight_id", "record", "tag_id"]].merge(seconds, on=["flight_id", "record"], how="inner")
    grouped = joined.groupby(["tag_id", "flight_id"])["minutes"]
    return pd.DataFrame({"records": grouped.size(), "listening_min": grouped.sum()}).reset_index()


def off_effort_share(track: pd.DataFrame) -> float:
    """Share of all records that are off effort, 0 to 1."""
    return float(np.mean(~track["on_effort"])) if len(track) else 0.0
