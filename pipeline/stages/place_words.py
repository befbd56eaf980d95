"""A position in words: its date, its coordinates as the maps print them, and how far a later one lies from it."""

from __future__ import annotations

import math

import pandas as pd

from pipeline.location import PLACED
from pipeline.wording import two_figures

COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def side(east_m: float, north_m: float) -> str:
    """The point of the compass that an offset lies in, of eight. [m]"""
    return COMPASS[round(math.degrees(math.atan2(east_m, north_m)) / 45.0) % 8]


def coordinates(latitude: float, longitude: float, easting_m: float, northing_m: float) -> str:
    """Latitude and longitude (WGS84, about a metre) and the place in the survey grid; nothing where there is no place."""
    if not all(math.isfinite(value) for value in (latitude, longitude, easting_m, northing_m)):
        return ""
    degrees = f"{abs(latitude):.5f}° {'S' if latitude < 0 else 'N'} {abs(longitude):.5f}° {'W' if longitude < 0 else 'E'}"
    return f"{degrees} grid {_whole(easting_m)} E {_whole(northing_m)} N"


def _whole(metres: float) -> str:
    return f"{round(metres)}".replace("-", "−")


def place_of(row) -> str:
    """The place of a row of FIXES that has a position; nothing for others."""
    return coordinates(row.latitude, row.longitude, row.easting_m, row.northing_m) if row.status in PLACED else ""


def dated_place(row) -> str:
    """"2026-05-07, flight 0507-b: 57.19496° N ..."; nothing without a position. row : of FIXES."""
    place = place_of(row)
    return f"{row.time_end_utc:%Y-%m-%d}, flight {row.flight_id}: {place}" if place else ""


def found_at(row) -> str:
    """What the ground crew found and where. row : what, time_utc, latitude, longitude, easting_m, northing_m."""
    return f"{row.what} on {row.time_utc:%Y-%m-%d}, at {coordinates(row.latitude, row.longitude, row.easting_m, row.northing_m)}"


def latest_places(fixes: pd.DataFrame) -> dict:
    """Tag -> the row of its latest position, as a tuple with the columns as names. fixes : rows of FIXES."""
    placed = fixes[fixes["status"].isin(PLACED)].sort_values("time_end_utc", kind="stable")
    return {row.tag_id: row for row in placed.itertuples()}


def since_then(row, latest) -> str:
    """Where the latest position of the tag lies from this one; nothing where this is the latest. row, latest : of FIXES; latest may be None."""
    if latest is None or not place_of(latest) or latest.flight_id == row.flight_id or not latest.time_end_utc > row.time_end_utc:
        return ""
    within = f"within {two_figures(latest.error_radius_95_m)} m with probability 0.95"
    if not place_of(row):
        return f"since then {dated_place(latest)}, {within}"
    east, north = latest.easting_m - row.easting_m, latest.northing_m - row.northing_m
    return f"since then {dated_place(latest)}, {two_figures(math.hypot(east, north))} m to the {side(east, north)}, {within}"
