"""The circle to search on foot, beside the 95 % region: two shapes that hold the tag with the same probability, and how far the region reaches."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from pipeline.stages.place_words import COMPASS
from pipeline.wording import as_printed_m, listed, two_figures

# A region that reaches less than this beyond its circle lies within it, as far as anybody on foot can tell. Our choice. [m]
LEAST_BEYOND_M = 5.0
MAP_NOTE = "The line of dashes and dots round a tag to look for is the circle to search on foot."


@dataclass(frozen=True)
class SearchCircle:
    """Where to search for one tag. Places in survey-CRS metres; lengths to the two figures that pages print, so that a reader who adds them up finds what is said.

    radius_m : of the circle. region_ha, reach_m : area of the 95 % region of the same flight, and its farthest point from the middle of the circle;
    NaN where there is no region. sides : points of the compass on which it reaches beyond the circle, the farthest first.
    """

    flight_id: str
    easting_m: float
    northing_m: float
    radius_m: float
    region_ha: float = math.nan
    reach_m: float = math.nan
    sides: tuple[str, ...] = ()

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
            found[row.tag_id] = SearchCircle(row.flight_id, row.easting_m, row.northing_m, as_printed_m(row.error_radius_95_m), float(row.region_95_ha), *_reach(row, regions))
    return found


def _reach(row, regions) -> tuple[float, tuple[str, ...]]:
    own = regions[(regions["tag_id"] == row.tag_id) & (regions["flight_id"] == row.flight_id) & np.isclose(regions["probability"], 0.95)]
    corners = shapely.get_coordinates(own.geometry.to_numpy())
    if not len(corners):
        return math.nan, ()
    east, north = (corners - (row.easting_m, row.northing_m)).T
    far_m, side = np.hypot(east, north), np.round(np.degrees(np.arctan2(east, north)) / 45.0).astype(int) % 8
    reach = np.array([far_m[side == each].max(initial=0.0) for each in range(8)])
    # of neighbouring sides the farther one speaks for both
    peak = (reach >= np.roll(reach, 1)) & (reach >= np.roll(reach, -1)) & (reach >= as_printed_m(row.error_radius_95_m) + LEAST_BEYOND_M)
    return as_printed_m(far_m.max()), tuple(COMPASS[each] for each in np.argsort(-reach, kind="stable") if peak[each])


def how_they_relate(circle: SearchCircle | None) -> str:
    """Circle and region in words; nothing where there is no circle."""
    if circle is None or not math.isfinite(circle.reach_m):
        return ""
    return (f"The circle, drawn in dashes and dots ({two_figures(circle.area_ha)} ha), and the 95 % region ({two_figures(circle.region_ha)} ha) each hold the tag with probability 0.95: "
            "the circle is easy to walk, the region follows what was heard.")


def where_to_go_on(circle: SearchCircle) -> str:
    """What to search, and where to go on when it holds nothing."""
    said = f"Search the circle of {two_figures(circle.radius_m)} m round it"
    if not math.isfinite(circle.reach_m):
        return f"{said}."
    if not circle.sides or circle.beyond_m <= 0:
        return f"{said}; the region lies within the circle."
    up_to = "" if len(circle.sides) == 1 else "up to "
    return f"{said}; where it holds nothing, go on {up_to}{two_figures(circle.beyond_m)} m beyond it to the {listed(circle.sides)}, where the 95 % region ends."
