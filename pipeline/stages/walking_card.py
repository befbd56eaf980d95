"""What to carry when a tag is looked for on foot: one text for each tag, the same on the map, in its section, on paper, in the list and in the files for a hand-held receiver."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.fate.search_areas import PROOF
from pipeline.stages.place_words import coordinates
from pipeline.stages.search_circle import SearchCircle, where_to_go_on
from pipeline.wording import two_figures

CARE = f"Two people; do not flush a live animal. {PROOF}"


@dataclass(frozen=True)
class KnownPoint:
    """A point that those who walk know: what it is called, where it is, in degrees and survey-CRS metres, and what to add to a grid azimuth there for one of true north [degrees]."""

    called: str
    latitude: float
    longitude: float
    easting_m: float
    northing_m: float
    convergence_deg: float


def known_points(take_offs_m: np.ndarray, stated: bool, study_area, projection) -> list[KnownPoint]:
    """Take-off points, else the middle of the study area; none without either.

    take_offs_m : (n, 2), survey CRS [m]. stated : whether the survey file names them, else they are where flights began to listen. study_area : GeoDataFrame or None.
    projection : has inverse(easting_m, northing_m) and convergence_deg(latitude, longitude).
    """
    called, points = ("nearest take-off point" if stated else "nearest place where a flight began to listen"), [tuple(point) for point in take_offs_m]
    if not points and study_area is not None and len(study_area):
        middle = study_area.union_all().centroid
        called, points = "middle of the study area", [(middle.x, middle.y)]
    found = []
    for east, north in points:
        latitude, longitude = (float(value) for value in projection.inverse(east, north))
        found.append(KnownPoint(called, latitude, longitude, float(east), float(north), float(projection.convergence_deg(latitude, longitude))))
    return found


def walking_card(row, circle: SearchCircle | None, points: list[KnownPoint]) -> str:
    """The card of one tag as plain sentences. row : of the retrieval list, with `named_class` for its column class. points : see known_points."""
    said = [f"Class {row.named_class}: {_rates(row)}.", _place(row, points), where_to_go_on(circle) if circle else str(row.note)]
    if circle is not None and row.status == "several places":
        said.append("Then the other places of the region.")
    if circle is not None and row.status not in ("located", "several places"):
        said.append("No position: the mark is the middle of what was heard.")
    if isinstance(row.other_explanations, str) and row.other_explanations.strip():
        said.append(f"Besides death it could be: {row.other_explanations}.")
    return " ".join(words for words in (*said, CARE) if words)


def with_cards(walk: pd.DataFrame, circles: dict[str, SearchCircle], points: list[KnownPoint]) -> pd.DataFrame:
    """The retrieval list with the card of each tag as its note."""
    rows = walk.rename(columns={"class": "named_class"}).itertuples()
    return walk.assign(note=pd.Series([walking_card(row, circles.get(row.tag_id), points) for row in rows], index=walk.index, dtype=walk["note"].dtype))


def _rates(row) -> str:
    first = f"mortality rate first heard on {row.first_mortality_utc:%Y-%m-%d}" if pd.notna(row.first_mortality_utc) else "no mortality rate heard"
    return f"{first}, {f'last certain life on {row.last_live_utc:%Y-%m-%d}' if pd.notna(row.last_live_utc) else 'no certain life before it on record'}"


def _place(row, points: list[KnownPoint]) -> str:
    if not np.isfinite([row.latitude, row.longitude, row.easting_m, row.northing_m]).all():
        return ""
    at = f"Place of {row.time_utc:%Y-%m-%d} (flight {row.flight_id}): {coordinates(row.latitude, row.longitude, row.easting_m, row.northing_m)}"
    if not points:
        return f"{at}."
    from_here = min(points, key=lambda point: math.hypot(row.easting_m - point.easting_m, row.northing_m - point.northing_m))
    east, north = row.easting_m - from_here.easting_m, row.northing_m - from_here.northing_m
    bearing = (math.degrees(math.atan2(east, north)) + from_here.convergence_deg) % 360.0
    return (f"{at}; {two_figures(math.hypot(east, north))} m from the {from_here.called} ({coordinates(from_here.latitude, from_here.longitude, from_here.easting_m, from_here.northing_m).split(' grid')[0]}), "
            f"bearing {bearing:.0f}° true.")
