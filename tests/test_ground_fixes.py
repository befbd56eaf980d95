"""Fixes from the ground crew alone, from files to table, report and layers, in an invented campaign of one flight."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from pipeline.columns import FIXES
from pipeline.exchange import write_results
from pipeline.geodesy import choose_projection
from pipeline.stages.ground_fixes import GROUND_FIXES, GROUND_TESTS, sessions, with_sessions
from pipeline.stages.ground_report import evidence_words, ground_heading, ground_paragraphs, words_of_tests, unheard_words, use_words
from pipeline.stages.hand_evidence import gather_by_hand, without_flight
from pipeline.stages.localisation_report import LocalisationReport
from tests.campaign_runs import worked_out

PLACE = (57.2045, -4.1065)                         # where the ground crew finds G11; the flight is in the same valley
SURVEY = ("campaign: ground\ntitle: Ground crew\nreceiver_log: {files: flights/*.csv, time_zone: UTC, not_heard: blank}\n"
          "tags: tags.csv\nbeacons: beacons.csv\nbearings: bearings.csv\nsightings: sightings.csv\n")
STATIONS = [(57.2000, -4.1150), (57.2010, -4.0980), (57.2090, -4.1000)]


def bearing_to(place, station, off_deg=0.0):
    """Azimuth from true north on a sphere (great circle), which at a kilometre is that of the ellipsoid to 0.2 degrees."""
    (to_latitude, to_longitude), (latitude, longitude) = np.radians(place), np.radians(station)
    east = np.sin(to_longitude - longitude) * np.cos(to_latitude)
    north = np.cos(latitude) * np.sin(to_latitude) - np.sin(latitude) * np.cos(to_latitude) * np.cos(to_longitude - longitude)
    return (np.degrees(np.arctan2(east, north)) + off_deg) % 360


def line(tag_id, time, place, station, off_deg=0.0, sd="6"):
    return f"{time},{tag_id},{station[0]},{station[1]},{bearing_to(place, station, off_deg):.2f},{sd},true"


@pytest.fixture(scope="module")
def campaign(project, tmp_path_factory):
    """One flight on 21 April; bearings and sightings on other days, and one of a tag that the flight did not listen for."""
    folder = tmp_path_factory.mktemp("ground")
    (folder / "flights").mkdir()
    log = pd.read_csv(project / "data" / "demo" / "flights" / "0421-b.csv", dtype=str)
    log[log["tag_id"].isin(["H01", "H02", "B01", "B02"])].to_csv(folder / "flights" / "a.csv", index=False)
    beacons = pd.read_csv(project / "data" / "demo" / "beacons.csv", dtype=str).head(2)
    beacons.to_csv(folder / "beacons.csv", index=False)
    pd.read_csv(project / "data" / "demo" / "tags.csv", dtype=str).to_csv(folder / "tags.csv", index=False)
    beacon = beacons.iloc[0]
    at_beacon = float(beacon["latitude"]), float(beacon["longitude"])
    (folder / "bearings.csv").write_text("\n".join([
        "time_utc,tag_id,latitude,longitude,bearing_deg,bearing_sd_deg,north_reference",
        *(line("G11", f"2026-04-25T05:{minute}:00Z", PLACE, station, off) for minute, station, off in zip((10, 20, 30), STATIONS, (2, -3, 4))),
        line("G11", "2026-04-25T09:00:00Z", PLACE, STATIONS[0], sd=""),
        line("H02", "2026-04-21T06:40:00Z", PLACE, STATIONS[0]),
        line("H05", "2026-04-21T06:40:00Z", PLACE, STATIONS[0]),
        line("X99", "2026-04-25T06:00:00Z", PLACE, STATIONS[0]), line("X99", "2026-04-25T06:05:00Z", PLACE, STATIONS[1]),
        line(beacon["tag_id"], "2026-04-25T07:00:00Z", at_beacon, STATIONS[0], 3), line(beacon["tag_id"], "2026-04-25T07:05:00Z", at_beacon, STATIONS[1], -2)]) + "\n")
    (folder / "sightings.csv").write_text(f"time_utc,tag_id,latitude,longitude,position_sd_m,state\n2026-05-07T13:20:00Z,H05,{PLACE[0]},{PLACE[1]},5,dead\n")
    (folder / "survey.yml").write_text(SURVEY)
    return worked_out(folder / "survey.yml", folder / "out")


@pytest.fixture
def ground(campaign):
    return campaign.read_table("ground_fixes", GROUND_FIXES)


# the campaign

def test_every_tag_and_session_of_the_ground_crew_has_one_row(ground):
    assert list(zip(ground["tag_id"], ground["session_id"], ground["method"], ground["status"])) == [
        ("G11", "2026-04-25T05:10Z", "bearing", "located"), ("G11", "2026-04-25T09:00Z", "bearing", "area only"), ("H05", "2026-04-21T06:40Z", "bearing", "area only"),
        ("H05", "2026-05-07T13:20Z", "sighting", "located"), ("X99", "2026-04-25T06:00Z", "bearing", "suspect")]


def test_a_crossing_lies_where_the_bearings_were_pointed_and_its_radius_holds_the_place(ground):
    row = ground.iloc[0]
    off_m = np.hypot((row["latitude"] - PLACE[0]) * 111_300, (row["longitude"] - PLACE[1]) * 111_300 * np.cos(np.radians(PLACE[0])))
    assert off_m < row["error_radius_95_m"] < 300
    assert (row["bearings"], row["sightings"], row["animal_id"], row["misfit_freedom"]) == (3, 0, "TT26-11", 1)
    assert row["session_end_utc"] == pd.Timestamp("2026-04-25T05:30Z")


def test_a_sighting_is_kept_with_its_state_and_its_own_error(ground):
    row = ground[ground["method"] == "sighting"].iloc[0]
    np.testing.assert_allclose([row["latitude"], row["longitude"]], PLACE, atol=1e-5)
    assert row["error_radius_95_m"] == pytest.approx(5 * np.sqrt(5.991), abs=1.0)  # 5.991: chi-square, 2 degrees of freedom, standard tables
    assert row["state"] == "dead"


def test_the_fixes_of_flights_keep_one_row_for_each_tag_and_flight(campaign, ground):
    fixes = campaign.read_table("fixes", FIXES)
    assert not fixes.duplicated(["tag_id", "flight_id"]).any() and set(fixes["flight_id"]) == {"a"}
    assert fixes.set_index("tag_id").loc["H02", "method"] == "strength+bearing"
    assert fixes.set_index("tag_id").loc["H05", "status"] == "not searched"
    assert "X99" not in set(fixes["tag_id"])


def test_what_became_of_each_bearing_is_told(campaign):
    taken = campaign.read_table("hand_evidence")
    told = dict(zip(zip(taken["tag_id"], taken["time_utc"].dt.strftime("%d %H:%M")), use_words(taken)))
    assert told["H02", "21 06:40"] == "in the fix" and told["G11", "25 05:10"] == "in a ground fix" and told["B01", "25 07:00"] == "not used"
    assert taken.loc[taken["tag_id"] == "H05", "why"].iloc[0] == "this flight did not listen for the tag"


def test_the_report_shows_the_table_and_says_that_the_widening_is_not_for_bearings(campaign):
    shown = LocalisationReport(campaign).ground_fixes().report_html()
    assert "The ground crew alone placed a tag in 2 of 5 sessions" in shown
    assert "touches no bearing or sighting" in shown and "no gap of more than 60 minutes" in shown
    assert "No flight heard G11 and H05" in shown
    assert "1 bearing without one was given a standard deviation of 10 degrees, as is common practice" in shown


def test_a_beacon_found_by_bearings_alone_tests_them(campaign):
    tests = campaign.read_table("ground_fix_tests", GROUND_TESTS)
    assert list(tests["tag_id"]) == ["B01"] and tests["inside_95"].all() and tests["error_m"].iloc[0] < tests["error_radius_95_m"].iloc[0]


def test_the_geopackage_has_points_and_regions_of_ground_fixes_beside_the_layers_of_the_contract(campaign, ground):
    path = campaign.path_to_read("results.gpkg")
    assert set(gpd.list_layers(path)["name"]) == {"fixes", "regions", "tracks", "searched", "beacons", "ground_fixes", "ground_regions", "next_flight"}
    points, regions = gpd.read_file(path, layer="ground_fixes"), gpd.read_file(path, layer="ground_regions")
    assert list(points["session_id"]) == list(ground["session_id"]) and list(points["position"]) == ["stated", "best, not stated", "best, not stated", "stated", "best, not stated"]
    wide = regions[regions["probability"] == 0.95]
    np.testing.assert_allclose(wide.geometry.area / 1e4, ground["region_95_ha"], rtol=0.15)
    assert set(gpd.read_file(path, layer="regions")["tag_id"]).isdisjoint({"G11", "X99"})


# its parts

def test_a_flight_that_did_not_listen_for_a_tag_leaves_its_bearing_to_the_ground():
    flights = pd.DataFrame({"flight_id": ["f"], "start_utc": pd.to_datetime(["2026-04-21T06:00Z"]), "end_utc": pd.to_datetime(["2026-04-21T06:20Z"])})
    no_beacons = pd.DataFrame({"tag_id": pd.Series([], dtype="string"), "easting_m": [], "northing_m": []})
    taken = pd.DataFrame({"tag_id": ["A", "B"], "time_utc": pd.to_datetime(["2026-04-21T06:05Z"] * 2), "easting_m": 0.0, "northing_m": 0.0, "bearing_grid_deg": 45.0, "bearing_sd_deg": 5.0})
    nothing = pd.DataFrame({"tag_id": [], "time_utc": pd.to_datetime([], utc=True), "easting_m": [], "northing_m": [], "position_sd_m": []})
    found, used = gather_by_hand(taken, nothing, flights, no_beacons, {("A", "f")})
    assert set(found) == {("A", "f")} and list(used["used"]) == [True, False]
    assert list(without_flight(taken, "bearing", used, no_beacons)["tag_id"]) == ["B"]


def test_bearings_and_sightings_of_a_tag_share_its_sessions():
    bearings = pd.DataFrame({"tag_id": ["A", "A", "B"], "time_utc": pd.to_datetime(["2026-04-21T06:00Z", "2026-04-21T09:00Z", "2026-04-21T06:00Z"])})
    sightings = pd.DataFrame({"tag_id": ["A"], "time_utc": pd.to_datetime(["2026-04-21T06:50Z"])})
    found = sessions(bearings, sightings, 60.0)
    assert [(key["tag_id"], key["session_id"], len(taken["bearing"]), len(taken["sighting"])) for key, taken in found] == [
        ("A", "2026-04-21T06:00Z", 1, 1), ("A", "2026-04-21T09:00Z", 1, 0), ("B", "2026-04-21T06:00Z", 1, 0)]
    assert sessions(bearings.head(0), sightings.head(0), 60.0) == []


def test_evidence_that_a_flight_used_is_not_given_to_a_session_that_spans_it():
    times = pd.to_datetime(["2026-04-21T06:00Z", "2026-04-21T06:30Z", "2026-04-21T06:50Z"])
    used = pd.DataFrame({"kind": "bearing", "tag_id": "A", "time_utc": times, "flight_id": ["", "f", ""], "used": [False, True, False], "why": ""})
    fixes = pd.DataFrame({"tag_id": ["A"], "session_id": ["s"], "session_start_utc": times[:1], "session_end_utc": times[2:]})
    found = with_sessions(used, fixes)
    assert list(found["session_id"]) == ["s", "", "s"] and found["used"].all()


def test_words_count_what_there_is():
    ground = pd.DataFrame({"tag_id": ["G11", "H05"], "status": ["located", "area only"]})
    assert ground_heading(ground) == "The ground crew alone placed a tag in 1 of 2 sessions"
    assert evidence_words(3, 1) == "3 bearings, 1 sighting" and evidence_words(0, 2) == "2 sightings"
    heard = pd.DataFrame({"tag_id": ["G11"], "records_heard": [4]})
    assert unheard_words(ground, heard) == ""
    assert "tested by nothing" in words_of_tests(pd.DataFrame(columns=list(GROUND_TESTS)))
    method = {"gap_min": 45.0, "reach_m": 4000.0, "usual_sd_deg": 6.4, "from_beacons": 12, "unstated": 2}
    said = " ".join(ground_paragraphs(ground, heard, pd.DataFrame(columns=list(GROUND_TESTS)), method))
    assert "more than 45 minutes" in said and "2 bearings without one were given a standard deviation of 6.4 degrees, found on 12 bearings to beacons" in said


def test_a_layer_that_nobody_knows_is_refused(tmp_path):
    empty = gpd.GeoDataFrame({"tag_id": []}, geometry=[], crs=choose_projection([57.2], [-4.1]).crs)
    with pytest.raises(ValueError, match="no layers of these names: elsewhere"):
        write_results(tmp_path / "results.gpkg", fixes=empty, regions=empty, tracks=empty, searched=empty, beacons=empty, elsewhere=empty)
