"""The fate tables of the localisation stage: triage and the list to walk with, from fixes, pulses, sightings and draws."""

import json
import xml.etree.ElementTree as ET
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

from pipeline.columns import FIXES, TAGS, conform
from pipeline.fate import PULSES
from pipeline.geodesy import choose_projection
from pipeline.stages.fate_tables import write_fate
from pipeline.survey.model import Fate

START = pd.Timestamp("2026-05-01T06:00:00Z")
FLIGHTS = ("a", "b")


class Shelf:
    """Stands in for a workspace: tables in memory, the draws in a file."""

    def __init__(self, folder, sightings, fate=Fate()):
        self.survey = SimpleNamespace(movement=SimpleNamespace(significance=0.05), fate=fate)
        self.folder, self.work, self.tables = folder, {"sightings": sightings, "regions": NO_REGIONS}, {}

    def read_work(self, name):
        return self.work[name]

    def path_to_read(self, relative):
        return self.folder / relative

    def path_to_write(self, relative):
        (self.folder / relative).parent.mkdir(exist_ok=True)
        return self.folder / relative

    def write_work(self, name, frame):
        self.work[name] = frame

    def write_table(self, name, frame):
        self.tables[name] = frame


def fixes(sd_m, step_m):
    rows = [{"tag_id": "H1", "animal_id": "one", "flight_id": flight_id, "time_start_utc": START + pd.Timedelta(days=day), "time_end_utc": START + pd.Timedelta(days=day, minutes=20),
             "status": "located", "latitude": 57.0, "longitude": -4.0, "best_latitude": 57.0, "best_longitude": -4.0, "easting_m": step_m * day, "northing_m": 0.0,
             "error_radius_95_m": 2.45 * sd_m, "region_95_ha": 1.0, "records_listened": 200, "records_heard": 40} for day, flight_id in enumerate(FLIGHTS)]
    return conform(pd.DataFrame(rows), FIXES)


def pulses(fate):
    rows = [{"tag_id": "H1", "flight_id": flight_id, "fate": fate, "records_with_rate": 30, "records_live": 30 * (fate == "live"), "records_mortality": 30 * (fate == "mortality"), "passes": 4,
             "passes_mortality": 4 * (fate == "mortality"), "rate_per_min": 80.0, "first_utc": START + pd.Timedelta(days=day), "last_utc": START + pd.Timedelta(days=day, minutes=20)}
            for day, flight_id in enumerate(FLIGHTS)]
    return conform(pd.DataFrame(rows), PULSES)


TAGS_TABLE = conform(pd.DataFrame([{"tag_id": "H1", "animal_id": "one", "role": "animal", "pulse_rate_live_per_min": 40.0, "pulse_rate_mortality_per_min": 80.0}, {"tag_id": "D1", "role": "decoy"}]), TAGS)
NO_REGIONS = gpd.GeoDataFrame({"tag_id": [], "flight_id": [], "probability": []}, geometry=[])
PROJECTION = choose_projection([57.0], [-4.0])
NO_SIGHTINGS = pd.DataFrame({"time_utc": pd.Series(dtype="datetime64[us, UTC]"), "tag_id": pd.Series(dtype="string"), "state": pd.Series(dtype="string")})


@pytest.fixture
def written(tmp_path):
    def write(fate="mortality", sd_m=10.0, step_m=0.0, sightings=NO_SIGHTINGS, settings=Fate()):
        (tmp_path / "work").mkdir(exist_ok=True)
        generator = np.random.default_rng(1)
        draws = {f"H1|{flight_id}": generator.normal([step_m * day, 0.0], sd_m, (300, 2)) for day, flight_id in enumerate(FLIGHTS)}
        np.savez(tmp_path / "work" / "draws.npz", **draws)
        shelf = Shelf(tmp_path, sightings, settings)
        write_fate(shelf, fixes(sd_m, step_m), pulses(fate), TAGS_TABLE, PROJECTION)
        assert shelf.work["fate_triage"].equals(shelf.tables["fate_triage"])
        return shelf.tables
    return write


def test_a_mortality_rate_from_one_well_known_place_is_to_be_retrieved(written):
    tables = written()
    assert list(tables["fate_triage"]["class"]) == ["Retrieve"]
    assert "same place in 2 flights" in tables["fate_triage"]["why"].iloc[0]
    assert list(tables["retrieval_list"]["tag_id"]) == ["H1"]


@pytest.mark.parametrize("sd_m, step_m", [(10.0, 2000.0), (400.0, 0.0)])
def test_a_tag_that_moved_or_whose_places_are_too_vague_is_checked_soon(written, sd_m, step_m):
    tables = written(sd_m=sd_m, step_m=step_m)
    assert list(tables["fate_triage"]["class"]) == ["Check soon"]
    assert tables["fate_triage"]["why"].iloc[0].endswith("That it stayed in one place is not shown to 100 m.")


def test_a_mortality_rate_kept_up_over_days_without_a_movement_shown_is_to_be_retrieved(written):
    why = written(sd_m=60.0)["fate_triage"].iloc[0]
    assert why["class"] == "Retrieve" and "kept up over 1 day; no movement shown over its last 2 flights, where one of" in why["why"]
    assert 100.0 < why["unmoved_detectable_m"] < 500.0 and why["same_place_flights"] == 0


def test_what_calls_for_a_retrieval_is_a_setting(written):
    def classes(**settings):
        return list(written(sd_m=60.0, settings=Fate(**settings))["fate_triage"]["class"])
    assert classes(same_place_m=1000.0, unmoved_m=1.0) == classes() == ["Retrieve"]
    assert classes(kept_up_days=2.0) == classes(unmoved_m=100.0) == ["Check soon"]
    assert classes(records=100) == classes(passes=20) == ["Watch"]


def test_the_search_areas_are_written_for_a_hand_held_receiver(written, tmp_path):
    written()
    root = ET.parse(tmp_path / "tables" / "search_areas.gpx").getroot()
    name = "{http://www.topografix.com/GPX/1/1}"
    point = root.find(f"{name}wpt")
    assert (float(point.get("lat")), float(point.get("lon"))) == pytest.approx((57.0, -4.0)) and point.find(f"{name}name").text == "H1"
    ring = [(float(each.get("lat")), float(each.get("lon"))) for each in root.find(f"{name}trk").iter(f"{name}trkpt")]
    assert ring[0] == ring[-1] and len(ring) == 49
    # WGS84 by pyproj's own geodesic, not by the project's projection.
    distance_m = pyproj.Geod(ellps="WGS84").inv(np.full(49, -4.0), np.full(49, 57.0), [lon for _, lon in ring], [lat for lat, _ in ring])[2]
    assert np.abs(np.asarray(distance_m) - 24.0).max() < 0.2      # 24.5 m to the two figures that every page prints
    features = json.loads((tmp_path / "tables" / "search_areas.geojson").read_text())["features"]
    assert [each["geometry"]["type"] for each in features] == ["Point", "Polygon"]
    assert shapely.geometry.shape(features[1]["geometry"]).exterior.is_ccw
    assert features[0]["properties"]["note"].count("Not dead until proved on the ground") == 1 and features[0]["properties"]["error_radius_95_m"] == 24.0


def test_one_card_stands_in_the_list_and_in_the_files_for_a_hand_held_receiver(written, tmp_path):
    note = written()["retrieval_list"]["note"].iloc[0]
    described = ET.parse(tmp_path / "tables" / "search_areas.gpx").getroot().find("{http://www.topografix.com/GPX/1/1}wpt/{http://www.topografix.com/GPX/1/1}desc").text
    assert described.startswith(note) and note.startswith("Class Retrieve: mortality rate first heard on 2026-05-01, no certain life before it on record.")
    for fact in ("Place of 2026-05-01 (flight a): 57.00000° N 4.00000° W", "Search the circle of 24 m", "dropped tag", "Two people; do not flush", "Not dead until proved on the ground."):
        assert fact in note, fact


def test_a_live_tag_calls_for_no_walk(written):
    tables = written(fate="live")
    assert list(tables["fate_triage"]["class"]) == ["Live mode heard"] and tables["retrieval_list"].empty


def test_only_a_sighting_makes_an_animal_dead(written):
    seen = pd.DataFrame({"time_utc": [START + pd.Timedelta(days=3)], "tag_id": ["H1"], "state": ["dead"]})
    assert written(sightings=seen)["fate_triage"]["why"].iloc[0] == "Found dead on 2026-05-04."
