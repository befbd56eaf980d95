"""Where each animal was placed last, from the air or from the ground, and how maps mark that."""

from __future__ import annotations

import pandas as pd

from pipeline.location import PLACED
from pipeline.wording import two_figures

PLACES = ["tag_id", "position_utc", "position_from", "easting_m", "northing_m", "error_radius_95_m"]


def newest_places(animals: pd.DataFrame, ground: pd.DataFrame) -> pd.DataFrame:
    """The newest position of each animal that has one, from the air or from the ground; columns of PLACES. ground : ground_fixes."""
    parts = [table[table["status"].isin(PLACED)].rename(columns={time: "position_utc", source: "position_from"})[PLACES]
             for table, time, source in ((animals, "time_end_utc", "flight_id"), (ground, "session_end_utc", "session_id")) if len(table)]
    placed = pd.concat(parts) if parts else pd.DataFrame(columns=PLACES)
    return placed.sort_values(["tag_id", "position_utc"], kind="stable").groupby("tag_id").tail(1).reset_index(drop=True)


def place_marks(places: pd.DataFrame, flights: pd.DataFrame) -> tuple[pd.DataFrame, str]:
    """Marks of the newest positions, and the last day of flights; a position of an earlier day carries its date. places : see newest_places."""
    last = flights["start_utc"].max()
    day = "" if pd.isna(last) else f"{last:%Y-%m-%d}"
    dates = [f"{moment:%Y-%m-%d}" for moment in places["position_utc"]]
    return places.assign(old=[date < day for date in dates], label=[f"{tag_id} {date}" if date < day else tag_id for tag_id, date in zip(places["tag_id"], dates)],
                         note=[f"{date}, {source}, 95 % radius {two_figures(radius)} m" for date, source, radius in zip(dates, places["position_from"], places["error_radius_95_m"])]), day
