"""The circle to search on foot, beside the 95 % region: two shapes that hold the tag with the same probability, and how far the region reaches."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from pipeline.stages.tag_panel_words import COMPASS
from pipeline.wording import two_figures

MAP_NOTE = "The line of dashes and dots round a tag to look for is the circle to search on foot."


@dataclass(frozen=True)
class SearchCircle:
    """Where to search for one tag. Places in survey-CRS metres.

    radius_m : of the circle. region_ha, reach_m, reach_side : area of the 95 % region of the same flight, its farthest point from the middle of the
    circle, and the side on which that lies; NaN and "" where there is no region.
    """

    flight_id: str
    easting_m: float
    northing_m: float
    radius_m: float
    region_ha: float = math.nan
    reach_m: float = math.nan
    reach_side: str = ""

    @property
    def area_ha(self) -> float:
        """Of the circle. [ha]"""
        return math.pi * self.radius_m**2 / 1e4

    @property
    def beyond_m(self) -> float:
        """How far the region reaches beyond the circle, 0 where it lies within. [m]"""
        return max(self.reach_m - self.radius_m, 0.0) if math.isfinite(self.reach_m) else math.nan


def search_circles(walk: pd.DataFrame, regions) -> dict[str, SearchCircle]:
    """The circle of every tag on the retrieval list that has a place and a radius. regions : tag_id, flight_id, probability, geometry in the survey CRS."""
    found = {}
    for row in walk.itertuples():
        if np.isfinite([row.easting_m, row.northing_m, row.error_radius_95_m]).all():
            found[row.tag_id] = SearchCircle(row.flight_id, row.easting_m, row.northing_m, row.error_radius_95_m, float(row.region_95_ha), *_reach(row, regions))
    return found


def _reach(row, regions) -> tuple[float, str]:
    own = regions[(regions["tag_id"] == row.tag_id) & (regions["flight_id"] == row.flight_id) & np.isclose(regions["probability"], 0.95)]
    corners = shapely.get_coordinates(own.geometry.to_numpy())
    if not len(corners):
        return math.nan, ""
    east, north = (corners - (row.easting_m, row.northing_m)).T
    farthest = int(np.argmax(np.hypot(east, north)))
    return float(np.hypot(east, north)[farthest]), COMPASS[round(math.degrees(math.atan2(east[farthest], north[farthest])) / 45.0) % 8]


def how_they_relate(circle: SearchCircle | None) -> str:
    """Circle and region in words; nothing where there is no circle."""
    if circle is None:
        return ""
    said = f"Search the circle of {two_figures(circle.radius_m)} m round the mark, drawn in dashes and dots."
    if not math.isfinite(circle.reach_m):
        return said
    return (f"{said} Circle ({two_figures(circle.area_ha)} ha) and 95 % region ({two_figures(circle.region_ha)} ha) each hold the tag with probability 0.95: "
            f"the circle is easy to walk, the region follows what was heard. {_reach_sentence(circle)}")


def _reach_sentence(circle: SearchCircle) -> str:
    if circle.beyond_m < 1.0:
        return "The region lies within the circle."
    return (f"To the {circle.reach_side} the region reaches {two_figures(circle.reach_m)} m from the mark, {two_figures(circle.beyond_m)} m beyond the circle; "
            "where the circle holds nothing, go on there.")


def with_reach(walk: pd.DataFrame, circles: dict[str, SearchCircle]) -> pd.DataFrame:
    """The retrieval list with what lies beyond each circle added to its note, as pages show it; the file keeps the plain note."""
    notes = [f"{note} {_reach_sentence(circles[tag_id])}" if tag_id in circles and math.isfinite(circles[tag_id].reach_m) else note for tag_id, note in zip(walk["tag_id"], walk["note"])]
    return walk.assign(note=notes)
