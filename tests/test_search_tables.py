"""The tables of ground searched and animals not found, on a campaign of two short flights with obvious answers."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import shapely

from pipeline.columns import BEACONS, FIXES, RECORDS, TAGS, TRACK, conform
from pipeline.intake import CanopyHeights, Terrain
from pipeline.radio import Corrections
from pipeline.search import CAMPAIGN, PRIORS, GroundSearch, search_grid
from pipeline.stages.ground_kinds import canopy_m, kinds_of_ground, slope_deg
from pipeline.stages.ground_fixes import GROUND_FIXES
from pipeline.stages.last_seen import LastSeen, places_of
from pipeline.stages.search_looks import Listened, antenna_known
from pipeline.stages.search_tables import by_ground, false_detections, missing_tags, search_for_type, searched_ground, sought_tags, stated_priors
from pipeline.stages.search_on_beacons import beacons_searched_for
from tests.radio_sample import signal_model

MODEL = signal_model()
START = pd.Timestamp("2026-05-01T06:00:00Z")


def flight(flight_id, tag_ids, records=30, heard=(), threshold_db=-92.0, northing_m=0.0, day=0):
    """A straight flight along a line of northing, 60 m a record, listening to every tag in every record."""
    rows = []
    for tag_id in tag_ids:
        for record in range(records):
            rows.append({"flight_id": flight_id, "tag_id": tag_id, "record": record, "time_utc": START + pd.Timedelta(days=day, seconds=6 * record),
                         "easting_m": 60.0 * record, "northing_m": northing_m, "height_above_ground_m": 80.0, "heard": tag_id in heard,
                         "strength_db": -80.0 if tag_id in heard else np.nan, "threshold_db": threshold_db, "usable": True})
    return conform(pd.DataFrame(rows), RECORDS)


def track_of(records):
    return conform(records.drop_duplicates(["flight_id", "record"]).assign(on_effort=True), TRACK)


def listened_to(*flights):
    records = pd.concat(flights, ignore_index=True)
    return Listened(records, track_of(records))


def tags(**roles):
    return conform(pd.DataFrame([{"tag_id": tag_id, "animal_id": f"animal {tag_id}", "role": role, "tag_type": "collar"} for tag_id, role in roles.items()]), TAGS)


def fixes(heard):
    return conform(pd.DataFrame([{"tag_id": tag_id, "flight_id": "a", "records_heard": count, "time_end_utc": START} for tag_id, count in heard.items()]), FIXES)


AREA = shapely.box(0.0, -500.0, 1800.0, 500.0)


@pytest.fixture(scope="module")
def searched():
    listened = listened_to(flight("a", ["H1", "H2"], heard=["H1"]), flight("b", ["H1"], heard=["H1"], day=1))
    return listened, search_for_type("collar", ["H1", "H2"], listened, MODEL, (), AREA)


# whom and where

def test_beacons_and_decoys_do_not_stand_for_the_animals_searched_for():
    records = flight("a", ["H1", "B1", "D1"])
    assert sought_tags(tags(H1="animal", B1="beacon", D1="decoy"), records) == {"collar": ["H1"]}


def test_without_a_register_every_tag_but_beacons_is_searched_for():
    assert sought_tags(tags(X1="unregistered", B1="beacon"), flight("a", ["X1", "B1"])) == {"collar": ["X1"]}


def test_a_type_that_nobody_listened_to_is_not_searched_for():
    assert sought_tags(tags(H1="animal"), flight("a", ["B1"])) == {}


def test_the_ground_is_that_round_the_tracks_where_no_study_area_is_given():
    records = flight("a", ["H1"])
    ground = searched_ground(SimpleNamespace(study_area=None), records)
    assert ground.bounds == pytest.approx((-500.0, -500.0, 60.0 * 29 + 500.0, 500.0), abs=1.0)
    assert searched_ground(SimpleNamespace(study_area=None), records.head(0)) is None


# looks

def test_tags_listened_to_together_share_one_look():
    listened = listened_to(flight("a", ["H1", "H2"]))
    one, other = listened.of_tag("H1")["a"], listened.of_tag("H2")["a"]
    assert np.array_equal(one.threshold_db, other.threshold_db) and np.array_equal(one.easting_m, other.easting_m)


def test_forty_tags_at_once_cost_one_look():
    """Forty tags in every record: common practice, no source."""
    names = [f"T{number:02d}" for number in range(40)]
    listened = listened_to(flight("a", names))
    search = GroundSearch(MODEL, search_grid(AREA, cell_m=200.0))
    looks = [search.look(listened.of_tag(name)["a"], "collar") for name in names]
    assert all(look is looks[0] for look in looks)


def test_a_tag_with_noise_on_its_frequency_keeps_its_own_threshold():
    noisy = flight("a", ["H3"], threshold_db=-86.0)
    listened = listened_to(flight("a", ["H1", "H2"]), noisy)
    assert np.allclose(listened.of_tag("H3")["a"].threshold_db, -86.0)
    assert np.allclose(listened.of_tag("H1")["a"].threshold_db, -92.0)


def test_a_flight_counts_for_a_type_with_the_tag_of_the_median_number_of_records():
    listened = listened_to(flight("a", ["H1"], records=30), flight("a", ["H2"], records=20), flight("a", ["H3"], records=10))
    assert len(listened.of_type(["H1", "H2", "H3"])["a"].listening) == 20


def test_flights_come_in_order_of_time_and_each_record_stands_for_its_interval():
    looks = listened_to(flight("z", ["H1"]), flight("a", ["H1"], day=1)).of_type(["H1"])
    assert list(looks) == ["z", "a"]
    assert looks["z"].minutes.sum() == pytest.approx(30 * 0.1)
    assert not antenna_known(looks)


def test_what_was_heard_does_not_change_what_was_searched():
    silent, loud = listened_to(flight("a", ["H1"])), listened_to(flight("a", ["H1"], heard=["H1"]))
    tables = [search_for_type("collar", ["H1"], listened, MODEL, (), AREA).area for listened in (silent, loud)]
    pd.testing.assert_frame_equal(*tables)


# what comes of it

def test_a_second_flight_never_makes_the_ground_less_searched(searched):
    _, found = searched
    cautious = found.cells.pivot(index=["row", "column"], columns="flight_id", values="cautious")
    assert (cautious[CAMPAIGN] >= cautious[["a", "b"]].max(axis=1) - 1e-9).all()


def test_the_polygons_hold_the_area_of_the_table(searched):
    _, found = searched
    whole = found.area.set_index("flight_id").loc[CAMPAIGN]
    polygon = next(each["geometry"] for each in found.polygons if each["flight_id"] == CAMPAIGN and each["probability"] == 0.9)
    assert polygon.area / 1e4 == pytest.approx(whole["area_90_cautious_ha"])


def test_the_curve_of_ground_searched_only_rises_and_ends_with_all_minutes(searched):
    _, found = searched
    assert found.cumulative["area_90_ha"].is_monotonic_increasing
    assert found.cumulative["minutes"].iloc[-1] == pytest.approx(60 * 0.1)


def test_without_drawn_models_ranges_have_no_interval(searched):
    row = searched[1].ranges.iloc[0]
    assert row["d90_m"] < row["d50_m"] and np.isnan(row["d50_low_m"])


def test_a_type_that_no_flight_listened_to_has_no_search(searched):
    assert search_for_type("collar", ["H9"], searched[0], MODEL, (), AREA) is None


def test_the_kind_of_ground_is_read_from_terrain_and_canopy():
    grid = search_grid(shapely.box(0.0, 0.0, 400.0, 200.0), cell_m=100.0)
    east = np.arange(-95.0, 500.0, 10.0)
    plane = Terrain(np.tile(100.0 + 0.5 * east, (40, 1)), -100.0, 300.0, 10.0)   # rises half a metre a metre to the east
    woods = CanopyHeights(np.array([[0.0, 0.0, 15.0]]), 0.0, 200.0, 100.0)       # one row of cells, three columns
    assert slope_deg(plane, grid) == pytest.approx(np.degrees(np.arctan(0.5)))
    assert canopy_m(woods, grid)[:4] == pytest.approx([0.0, 0.0, 15.0, np.nan], nan_ok=True)
    kinds = kinds_of_ground(SimpleNamespace(terrain=plane, canopy=woods), grid)
    assert set(kinds["slope"]) == {"20 degrees and more"} and kinds["canopy"][:4] == ["below 2 m", "below 2 m", "2 m and more", "not known"]
    assert kinds_of_ground(SimpleNamespace(terrain=None, canopy=None), grid) == {}


def test_without_terrain_and_canopy_the_ground_is_not_taken_apart(searched):
    _, found = searched
    assert by_ground(found, SimpleNamespace(terrain=None, canopy=None)).empty
    level = Terrain(np.full((60, 60), 300.0), -500.0, 1500.0, 50.0)
    table = by_ground(found, SimpleNamespace(terrain=level, canopy=None)).set_index("kind")
    assert table.loc["height", "area_ha"] == pytest.approx(found.area["area_ha"].iloc[0])
    assert table.loc["slope", "mean_cautious"] == pytest.approx(found.area.set_index("flight_id").loc[CAMPAIGN, "mean_cautious"])


# animals not found

def test_only_registered_animals_that_no_flight_heard_are_missing(searched):
    listened, found = searched
    register = tags(H1="animal", H2="animal", B1="beacon", D1="decoy", X1="unregistered")
    missing = missing_tags(register, fixes({"H1": 9, "H2": 0, "B1": 0, "D1": 0, "X1": 0}), listened, {"collar": found.search}, True)
    assert [tag.tag_id for tag in missing] == ["H2"]
    assert missing[0].prior.sum() == pytest.approx(1.0) and missing[0].prior_text == "anywhere in the study area alike"


def test_a_silent_tag_is_judged_by_the_flights_that_listened_to_it(searched):
    listened, found = searched
    missing = missing_tags(tags(H2="animal"), fixes({"H2": 0}), listened, {"collar": found.search}, True)[0]
    first = found.cells[found.cells["flight_id"] == "a"]["cautious"].to_numpy()
    assert missing.records_listened == 30 and np.allclose(missing.cautious, first)


def test_an_animal_that_no_record_listened_to_is_not_called_silent(searched):
    listened, found = searched
    missing = missing_tags(tags(H7="animal"), fixes({"H7": 0}), listened, {"collar": found.search}, False)[0]
    assert missing.records_listened == 0 and missing.prior_text == "anywhere within 500 m of the ground flown over alike"


def test_battery_is_the_share_of_the_expected_life(searched):
    listened, found = searched
    register = tags(H2="animal").assign(deployed_utc=START - pd.Timedelta(days=30), expected_end_utc=START + pd.Timedelta(days=90))
    assert missing_tags(register, fixes({"H2": 0}), listened, {"collar": found.search}, True)[0].battery_used == pytest.approx(0.25)
    assert np.isnan(missing_tags(tags(H2="animal"), fixes({"H2": 0}), listened, {"collar": found.search}, True)[0].battery_used)


def test_the_survey_may_state_its_own_priors():
    own = SimpleNamespace(name="gone", in_area=0.1, silent=0.2)
    said = stated_priors(SimpleNamespace(search=SimpleNamespace(priors=(own,))))
    assert [(prior.name, prior.in_area, prior.silent) for prior in said] == [("gone", 0.1, 0.2)]
    assert stated_priors(SimpleNamespace(search=SimpleNamespace(priors=()))) == PRIORS


# the test on beacons

def beacons(*rows):
    return conform(pd.DataFrame([{"tag_type": "collar", "height_above_ground_m": 0.0, "place_id": f"{row['tag_id']} 1", **row} for row in rows]), BEACONS)


def held_out(**of_place):
    """Models by place, MODEL where none is named."""
    return SimpleNamespace(for_place=lambda place_id: SimpleNamespace(model=of_place.get(place_id, MODEL)), drawn=lambda place_id: (of_place.get(place_id, MODEL),),
                           corrections_for=lambda place_id: Corrections())


def asked_about(places, *flights, models=held_out()):
    records = pd.concat(flights, ignore_index=True)
    return beacons_searched_for(records, track_of(records), places, models)


def test_a_beacon_under_the_track_is_sure_to_be_heard_and_one_far_off_is_not():
    places = beacons({"tag_id": "B1", "easting_m": 900.0, "northing_m": 0.0}, {"tag_id": "B2", "easting_m": 900.0, "northing_m": 30_000.0})
    tested = asked_about(places, flight("a", ["B1", "B2"], heard=["B1"]))
    near, far = tested.set_index("tag_id").loc["B1"], tested.set_index("tag_id").loc["B2"]
    assert near["detection_expected"] > 0.99 > near["detection_cautious"] > 0.95 and near["heard"] and near["records_heard"] == 30
    assert far["detection_expected"] < 0.01 and not far["heard"]


def test_a_beacon_is_tested_by_the_model_that_never_saw_it():
    deaf = signal_model(power_mean_db={"collar": -90.0})
    places = beacons({"tag_id": "B1", "easting_m": 900.0, "northing_m": 0.0, "place_id": "here"})
    sure, unsure = (asked_about(places, flight("a", ["B1"], heard=["B1"]), models=held_out(**own)) for own in ({}, {"here": deaf}))
    assert sure["detection_expected"].iloc[0] > 0.99 and unsure["detection_expected"].iloc[0] < 0.01


def test_a_beacon_is_tested_only_while_it_stands():
    place = {"tag_id": "B1", "easting_m": 900.0, "northing_m": 0.0, "valid_from_utc": START + pd.Timedelta(hours=12)}
    assert list(asked_about(beacons(place), flight("a", ["B1"]), flight("b", ["B1"], day=1))["flight_id"]) == ["b"]


def test_without_beacons_the_test_is_an_empty_table():
    tested = asked_about(beacons({"tag_id": "B1", "easting_m": 0.0, "northing_m": 0.0}), flight("a", ["H1"]))
    assert tested.empty and "detection_cautious" in tested


# where a missing animal is looked for

def test_an_animal_seen_alive_is_looked_for_round_that_place(searched):
    listened, found = searched
    sighting = pd.DataFrame({"time_utc": [START - pd.Timedelta(days=4)], "tag_id": ["H2"], "state": ["alive"], "easting_m": [300.0], "northing_m": [0.0], "position_sd_m": [20.0], "how": "seen"})
    register = tags(H2="animal").assign(species="Lepus timidus")
    seen = LastSeen(sighting, {"Lepus timidus": 50.0})
    missing = missing_tags(register, fixes({"H2": 0}), listened, {"collar": found.search}, True, seen)[0]
    assert missing.prior @ found.search.grid.easting_m == pytest.approx(300.0, abs=25.0)
    assert missing.prior_text.startswith("seen 2026-04-27, spread by 50 m a day over 4 days;") and missing.days_since_heard == pytest.approx(4.0)
    dead = LastSeen(sighting.assign(state="dead"), {"Lepus timidus": 50.0})
    assert missing_tags(register, fixes({"H2": 0}), listened, {"collar": found.search}, True, dead)[0].prior_text == "anywhere in the study area alike"


def test_a_tag_that_the_ground_crew_placed_is_looked_for_round_that_place(searched):
    listened, found = searched
    crew = conform(pd.DataFrame([{"tag_id": "H2", "session_id": "g1", "session_end_utc": START - pd.Timedelta(days=1), "status": status, "state": state, "easting_m": east, "northing_m": 0.0,
                                  "error_radius_95_m": 244.7746830680816} for status, state, east in (("located", "", 1500.0), ("area only", "", np.nan))]), GROUND_FIXES)
    seen = pd.DataFrame({"time_utc": [START - pd.Timedelta(days=9)], "tag_id": ["H2"], "state": ["alive"], "easting_m": [300.0], "northing_m": [0.0], "position_sd_m": [20.0], "how": "seen"})
    places = places_of(seen, crew)
    assert places["position_sd_m"].tolist() == pytest.approx([20.0, 100.0]) and len(places) == 2
    register = tags(H2="animal").assign(species="Lepus timidus")
    missing = missing_tags(register, fixes({"H2": 0}), listened, {"collar": found.search}, True, LastSeen(places, {"Lepus timidus": 50.0}))[0]
    assert missing.prior @ found.search.grid.easting_m == pytest.approx(1500.0, abs=25.0)
    assert missing.prior_text.startswith("placed by the ground crew 2026-04-30, spread by 50 m a day over 1 day;")


# false detections

def test_decoys_give_the_rate_of_false_detections():
    records = pd.concat([flight("a", ["D1", "D2", "H1"]), flight("b", ["D1"], heard=["D1"], records=1, day=1)], ignore_index=True)
    found = false_detections(tags(D1="decoy", D2="decoy", H1="animal"), records).iloc[0]
    assert (found["decoys"], found["records_listened"], found["records_heard"], found["decoys_heard"]) == (2, 61, 1, 1)
    assert found["share_low"] < 1 / 61 < found["share_high"] < 0.1
    assert false_detections(tags(H1="animal"), records).empty
