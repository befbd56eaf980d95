"""The card of a tag to look for: places, dates and the way there."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pyproj
import pytest

from pipeline.geodesy import choose_projection
from pipeline.stages.place_words import coordinates, latest_places, since_then
from pipeline.stages.search_circle import SearchCircle
from pipeline.stages.several_places import does_it_matter
from pipeline.stages.walking_card import known_points, walking_card

HERE = choose_projection([57.2], [-4.1])
DAY = pd.Timestamp("2026-05-07T06:26", tz="UTC")


def tag(east, north, **changes):
    latitude, longitude = (float(value) for value in HERE.inverse(east, north))
    values = {"tag_id": "G08", "named_class": "Retrieve", "flight_id": "b", "time_utc": DAY, "latitude": latitude, "longitude": longitude, "easting_m": east, "northing_m": north, "status": "located", "note": "as it was",
              "first_mortality_utc": DAY - pd.Timedelta(days=8), "last_live_utc": pd.NaT, "other_explanations": "dropped tag"}
    return SimpleNamespace(**(values | changes))


def test_the_way_from_the_nearest_known_point_is_told_by_distance_and_true_bearing():
    east, north = -220.0, -560.0
    said = walking_card(tag(east, north), SearchCircle("b", east, north, 160.0), known_points(np.array([[9000.0, 0.0], [-1470.0, -65.0]]), True, None, HERE))
    # the bearing and distance of WGS84 by pyproj's own geodesic
    (lat, lon), (to_lat, to_lon) = HERE.inverse(-1470.0, -65.0), HERE.inverse(east, north)
    azimuth, _, distance_m = pyproj.Geod(ellps="WGS84").inv(float(lon), float(lat), float(to_lon), float(to_lat))
    assert f"bearing {azimuth % 360:.0f}° true" in said and "1,300 m from the nearest take-off point" in said and distance_m == pytest.approx(1344, abs=2)
    assert "mortality rate first heard on 2026-04-29, no certain life before it on record" in said and "Place of 2026-05-07 (flight b)" in said and "Search the circle of 160 m" in said


def test_without_a_circle_the_note_stands_and_without_a_known_point_no_way_is_told():
    said = walking_card(tag(np.nan, np.nan, latitude=np.nan, longitude=np.nan), None, [])
    assert "as it was" in said and "bearing" not in said and "Place of" not in said
    assert "bearing" not in walking_card(tag(0.0, 0.0), None, []) and known_points(np.zeros((0, 2)), False, None, HERE) == []


def test_a_later_place_is_told_with_its_distance_and_side_and_the_latest_has_none():
    rows = pd.DataFrame({"tag_id": ["A", "A"], "flight_id": ["a", "b"], "status": ["located"] * 2, "time_end_utc": [DAY, DAY + pd.Timedelta(days=1)], "latitude": [57.2, 57.201], "longitude": [-4.1, -4.1],
                         "easting_m": [0.0, 0.0], "northing_m": [0.0, 110.0], "error_radius_95_m": [100.0, 150.0]})
    latest, (first, last) = latest_places(rows)["A"], rows.itertuples()
    assert since_then(first, latest) == "since then 2026-05-08, flight b: 57.20100° N 4.10000° W grid 0 E 110 N, 110 m to the north, within 150 m with probability 0.95" and since_then(last, latest) == ""
    assert coordinates(-3.0, 151.0, -12.4, 7.0) == "3.00000° S 151.00000° E grid −12 E 7 N" and coordinates(np.nan, 0.0, 0.0, 0.0) == ""


def test_a_deciding_pass_matters_until_a_later_flight_has_the_tag_in_one_place():
    places = pd.DataFrame({"tag_id": ["G"] * 2, "flight_id": ["a"] * 2, "place": [1, 2], "easting_m": [0.0, 300.0], "northing_m": [0.0, 0.0]})
    fixes = pd.DataFrame({"tag_id": ["G"] * 2, "flight_id": ["a", "b"], "status": ["several places", "located"], "time_start_utc": [DAY, DAY + pd.Timedelta(days=1)], "time_end_utc": [DAY, DAY + pd.Timedelta(days=1)],
                          "easting_m": [0.0, 100.0], "northing_m": [0.0, 0.0]})
    assert does_it_matter(places, fixes).endswith("flight b has it in one, 100 m to the east of the first of these: the pass is not needed to look for it now.")
    assert does_it_matter(places, fixes.iloc[:1]).endswith("so the pass still matters.")
