"""The map that opens the localisation report: the newest place of every animal, its regions and what is said of it."""

import geopandas as gpd
import pandas as pd
from shapely.geometry import Point

from pipeline.columns import FIXES, conform
from pipeline.figures import MapSheet
from pipeline.figures.sheet_payload import SheetPlaces, sheet_payload
from pipeline.geodesy import choose_projection
from pipeline.stages.ground_fixes import GROUND_FIXES
from pipeline.stages.newest_places import newest_places, place_marks
from pipeline.stages.localisation_map import drawn_regions, mark_notes
from pipeline.stages.silences import Silence

HERE = choose_projection([57.2], [-4.1])
START = pd.Timestamp("2026-04-21T06:00", tz="UTC")


def fix(tag_id, flight_id, day, radius_m, status="located"):
    when = START + pd.Timedelta(days=day)
    return {"tag_id": tag_id, "flight_id": flight_id, "status": status, "latitude": 57.2, "longitude": -4.1, "easting_m": 10.0 * day, "northing_m": 0.0, "error_radius_50_m": radius_m / 2, "error_radius_95_m": radius_m,
            "records_heard": 9, "records_listened": 80, "time_start_utc": when, "time_end_utc": when}


ANIMALS = conform(pd.DataFrame([fix("G02", "a", 0, 52.0), fix("G02", "b", 16, 130.0), fix("H09", "a", 0, 140.0), fix("H01", "a", 0, 90.0), fix("H01", "b", 16, 80.0), fix("H07", "b", 16, 700.0, "area only")]), FIXES)
FLIGHTS = pd.DataFrame({"flight_id": ["a", "b"], "start_utc": [START, START + pd.Timedelta(days=16)]})
NO_GROUND = conform(pd.DataFrame(), GROUND_FIXES)
SILENT = {"H09": Silence("H09", "a", START, 1, 2, (0.95, 0.97), 2, (0.95, 0.97))}


def marks(ground=NO_GROUND):
    return place_marks(newest_places(ANIMALS, ground), FLIGHTS)[0]


def regions(*pairs, key="flight_id"):
    return gpd.GeoDataFrame([{"tag_id": tag_id, key: name, "probability": 0.95, "geometry": Point(0, 0).buffer(50.0)} for tag_id, name in pairs], columns=["tag_id", key, "probability", "geometry"], geometry="geometry")


def test_each_animal_is_drawn_where_it_was_placed_last_and_an_old_place_carries_its_date():
    assert list(zip(marks()["tag_id"], marks()["position_from"], marks()["label"])) == [("G02", "b", "G02"), ("H01", "b", "H01"), ("H09", "a", "H09 2026-04-21")]


def test_the_regions_are_those_of_what_is_marked_and_of_the_flight_that_the_walk_rests_on():
    found = drawn_regions(regions(("G02", "a"), ("G02", "b"), ("H09", "a"), ("H07", "b")), regions(key="session_id"), marks(), pd.DataFrame({"tag_id": ["H07"], "flight_id": ["b"]}))
    assert set(zip(found["tag_id"], found["flight_id"])) == {("G02", "b"), ("H09", "a"), ("H07", "b")}
    nothing = drawn_regions(regions(), regions(key="session_id"), marks()[:0], pd.DataFrame({"tag_id": [], "flight_id": []}))
    assert nothing.empty and list(nothing.columns) == ["tag_id", "flight_id", "probability", "geometry"]


def test_a_place_that_the_ground_crew_gave_last_has_the_region_of_its_session():
    later = START + pd.Timedelta(days=20)
    ground = conform(pd.DataFrame([{"tag_id": "H01", "session_id": "H01 2026-05-11 06:00", "session_start_utc": later, "session_end_utc": later, "status": "located", "easting_m": 5.0, "northing_m": 5.0, "error_radius_95_m": 12.0}]), GROUND_FIXES)
    drawn = marks(ground)
    found = drawn_regions(regions(("H01", "b")), regions(("H01", "H01 2026-05-11 06:00"), key="session_id"), drawn, pd.DataFrame({"tag_id": [], "flight_id": []}))
    assert list(found["flight_id"]) == ["H01 2026-05-11 06:00"]
    said = dict(zip(drawn["tag_id"], mark_notes(drawn, ANIMALS, {})))["H01"]
    assert said.startswith("2026-05-11, H01 2026-05-11 06:00, 95 % radius 12 m; not drawn: its best fix, 2026-05-07, flight b:")


def test_the_words_tell_the_place_drawn_from_the_best_fix_and_since_when_an_animal_is_silent():
    said = dict(zip(marks()["tag_id"], mark_notes(marks(), ANIMALS, SILENT)))
    assert said["G02"].startswith("2026-05-07, flight b: located, 95 % radius 130 m, heard in 9 of 80 records; not drawn: its best fix, 2026-04-21, flight a: 57.20000° N 4.10000° W") and said["G02"].endswith("95 % radius 52 m")
    assert said["H01"] == "2026-05-07, flight b: located, 95 % radius 80 m, heard in 9 of 80 records"
    assert said["H09"] == "2026-04-21, flight a: located, 95 % radius 140 m, heard in 9 of 80 records; silent since 2026-04-21, see its section for what to do"


def test_the_map_calls_newest_places_newest_and_others_best():
    sheets = [MapSheet(HERE, alt="Places.").fixes(marks(), newest=newest) for newest in (True, False)]
    assert [dict(sheet.legend())["fix"] for sheet in sheets] == ["newest place", "best place"]
    assert [sheet_payload(sheet, SheetPlaces(sheet))["fixesAreNewest"] for sheet in sheets] == [True, False]
