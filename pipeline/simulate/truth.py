"""The answers: where every tag was in every flight. Written outside the campaign folder, for scoring only."""

from __future__ import annotations

from pathlib import Path as FilePath

import numpy as np

from ..geodesy import Projection
from .animals import Stay, Tag
from .campaign import FlightPlan, write_lines

POSITION_COLUMNS = ("tag_id,flight_id,role,latitude,longitude,easting_m,northing_m,start_latitude,start_longitude,"
                    "end_latitude,end_longitude,present,moved_m,mode,records_heard,story")
TAG_COLUMNS = "tag_id,role,tag_type,power_at_1_m_db,height_above_ground_m"
FLIGHT_COLUMNS = "flight_id,gain_db,strengths_lag_positions_s,azimuth_bias_deg,without_gnss_s,records_written_twice"


def position_rows(plans: list[FlightPlan], tags: list[Tag], stays: dict, heard: dict, stories: dict, plane: Projection) -> list[str]:
    """One line per tag and flight: mean position over the flight, start and end, whether it was in the area, metres walked, what it sent.

    stays, heard : {tag_id: one entry per flight}; heard counts the records with a sound. Decoys have no position.
    """
    return [f"{tag.tag_id},{plan.flight_id},{tag.role},{_places(tag, stay, plan, plane)},{str(stay.in_area).lower()},"
            f"{stay.moved_m:.1f},{stay.mode},{times},{stories.get(tag.tag_id, '')}"
            for tag in tags for plan, stay, times in zip(plans, stays[tag.tag_id], heard[tag.tag_id])]


def _places(tag: Tag, stay: Stay, plan: FlightPlan, plane: Projection) -> str:
    if tag.role == "decoy":
        return ",,,,,,,"
    easting_m, northing_m = (float(np.mean(values)) for values in stay.place(np.arange(len(plan.path))))
    places = [plane.inverse(*place) for place in ((easting_m, northing_m), stay.start, stay.end)]
    mean, start, end = (f"{latitude:.6f},{longitude:.6f}" for latitude, longitude in places)
    return f"{mean},{easting_m:.1f},{northing_m:.1f},{start},{end}"


def _tag_row(tag: Tag) -> str:
    power = f"{tag.power_db:.2f}" if np.isfinite(tag.power_db) else ""
    return f"{tag.tag_id},{tag.role},{tag.tag_type},{power},{tag.height_m:.1f}"


def _flight_row(plan: FlightPlan) -> str:
    lost = "" if plan.lost_s is None else f"{plan.lost_s[0]}-{plan.lost_s[1]}"
    return f"{plan.flight_id},{plan.gain_db:.2f},{plan.lag_s},{plan.azimuth_bias_deg:.1f},{lost},{len(plan.doubled)}"


def write_truth(folder: FilePath, plans: list[FlightPlan], tags: list[Tag], stays: dict, heard: dict, stories: dict,
                plane: Projection, readme: str) -> None:
    """positions.csv, tags.csv (true power), flights.csv (faults put in) and a README; arguments as for position_rows."""
    write_lines(folder / "README.md", readme.strip("\n").split("\n"))
    write_lines(folder / "positions.csv", [POSITION_COLUMNS, *position_rows(plans, tags, stays, heard, stories, plane)])
    write_lines(folder / "tags.csv", [TAG_COLUMNS, *map(_tag_row, tags)])
    write_lines(folder / "flights.csv", [FLIGHT_COLUMNS, *map(_flight_row, plans)])
