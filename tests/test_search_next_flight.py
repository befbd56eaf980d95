"""Where a next flight would tell most: candidates a battery can fly, ranked by gains whose order is obvious."""

import numpy as np
import pandas as pd
import pytest

from pipeline.geodesy import choose_projection
from pipeline.search import Sought, Unplaced, candidate_flights, cautious_strengths, one_look_per_pass, rank_flights
from pipeline.search.next_flight import adequacy_after, share_left
from pipeline.stages.next_flight import badly_placed, take_off_points, take_offs_m
from pipeline.stages.next_flight_report import heading, paragraphs
from pipeline.survey.model import NextFlight
from tests.radio_sample import signal_model

MODEL = signal_model(power_mean_db={"collar": -36.0})
AXIS = np.arange(-2900.0, 3000.0, 400.0)
EAST, NORTH = (values.ravel() for values in np.meshgrid(AXIS, AXIS))
STRENGTHS = cautious_strengths((MODEL,), "collar")


def sought(tag_id="M1", easting_m=None, northing_m=0.0):
    """A missing tag that may be anywhere, or within 500 m of a place; nothing flown so far."""
    near = np.ones(len(EAST)) if easting_m is None else (np.hypot(EAST - easting_m, NORTH - northing_m) < 500.0).astype(float)
    return Sought(tag_id, STRENGTHS, near / near.sum(), np.zeros((*STRENGTHS.power_db.shape, len(EAST))))


def candidates(**changes):
    return candidate_flights(EAST, NORTH, [(0.0, 0.0)], **changes)


def test_no_candidate_is_longer_than_the_battery_and_all_come_back():
    for each in candidates(minutes=20.0):
        assert each.length_m <= 20 * 60 * 12.0
        assert (each.waypoints_m[0] == 0.0).all() and (each.waypoints_m[-1] == 0.0).all()


def test_a_record_every_six_seconds_at_nine_miles_in_twenty_minutes_is_two_hundred_records():
    """Nine miles in twenty minutes and a record every 6 s: common practice, no source; the count is arithmetic."""
    speed = 9 * 1609.344 / 1200
    longest = max(candidates(minutes=20.0, speed_m_per_s=speed), key=lambda each: each.length_m)
    listening = longest.listening()
    assert 0.7 * 200 < len(listening) <= 201
    assert np.median(listening.step_m[1:]) == pytest.approx(72.4, abs=1.0)


def test_ground_beyond_half_the_battery_has_no_candidate():
    far = candidate_flights(EAST + 20_000.0, NORTH, [(0.0, 0.0)])
    assert far == []


def test_blocks_spread_over_the_ground_and_come_in_three_kinds_and_two_heights():
    found = candidates(most_middles=6)
    assert len({each.middle_m for each in found}) == 6
    assert {(each.style, each.bearing_deg) for each in found} == {("lines", 0.0), ("lines", 90.0), ("loop", 0.0)}
    assert {each.height_above_ground_m for each in found} == {60.0, 100.0}


def test_without_a_take_off_point_there_is_no_candidate():
    with pytest.raises(ValueError, match="at least one take-off point"):
        candidate_flights(EAST, NORTH, np.zeros((0, 2)))


def test_lines_run_the_way_they_are_named():
    for each in candidates():
        if each.style == "lines":
            north_south = np.abs(np.diff(each.waypoints_m[1:3], axis=0)[0])
            assert (north_south[1] > north_south[0]) == ("north-south" in each.name)


def test_the_flight_over_the_ground_where_the_missing_tag_may_be_comes_first():
    ranked = rank_flights(candidates(heights_m=(80.0,)), [sought(easting_m=-1900.0, northing_m=1700.0)], [], MODEL, EAST, NORTH)
    best, worst = ranked.iloc[0], ranked.iloc[-1]
    assert np.hypot(best["middle_easting_m"] + 1900.0, best["middle_northing_m"] - 1700.0) < 1800.0
    assert best["adequacy_gain"] > 3 * worst["adequacy_gain"] and best["for_tags"] == "M1" and np.isnan(best["shrinkage"])
    assert best["adequacy_after"] == pytest.approx(best["adequacy_before"] + best["adequacy_gain"])


def test_ground_already_searched_gains_less_from_the_same_flight():
    tag, again = sought(), candidates(heights_m=(80.0,))[0].listening()
    once = adequacy_after(again, [tag], EAST, NORTH)[0]
    twice = adequacy_after(again, [Sought("M1", STRENGTHS, tag.prior, one_look_per_pass(again, STRENGTHS, EAST, NORTH))], EAST, NORTH)[0]
    assert 0.05 < once and 0.0 < twice - once < once


def test_a_flight_near_a_badly_placed_tag_takes_more_of_its_region_away_than_one_far_off():
    places = np.random.default_rng(1).normal([1500.0, 0.0], 400.0, (300, 2))
    by_distance = sorted(candidates(heights_m=(80.0,)), key=lambda each: np.hypot(each.middle_m[0] - 1500.0, each.middle_m[1]))
    near, far = (share_left(each.listening(), MODEL, Unplaced("U1", "collar", places)) for each in (by_distance[0], by_distance[-1]))
    assert near < 0.4 < far <= 1.0


def test_a_tag_that_nobody_can_hear_leaves_its_region_as_it_was():
    silent = signal_model(power_mean_db={"collar": -150.0})
    places = np.random.default_rng(1).normal(0.0, 400.0, (300, 2))
    assert share_left(candidates()[0].listening(), silent, Unplaced("U1", "collar", places)) == pytest.approx(1.0, abs=1e-6)


def test_the_same_seed_gives_the_same_ranking():
    places = np.random.default_rng(1).normal(0.0, 400.0, (300, 2))
    few = candidates(heights_m=(80.0,), most_middles=3)
    first, second = (rank_flights(few, [sought()], [Unplaced("U1", "collar", places)], MODEL, EAST, NORTH, seed=4) for _ in range(2))
    pd.testing.assert_frame_equal(first, second)


def test_take_off_points_are_where_flights_began_each_place_once():
    rows = [{"flight_id": name, "record": record, "time_utc": pd.Timestamp("2026-05-01T06:00Z") + pd.Timedelta(seconds=6 * record), "easting_m": east + 70.0 * record, "northing_m": 0.0}
            for name, east in (("a", 0.0), ("b", 40.0), ("c", 900.0)) for record in range(3)]
    assert take_off_points(pd.DataFrame(rows)) == pytest.approx(np.array([[0.0, 0.0], [900.0, 0.0]]))


def test_take_off_points_may_be_stated_in_the_survey_file():
    projection = choose_projection([57.0], [-4.0])
    stated = NextFlight(take_offs=[{"latitude": 57.0, "longitude": -4.0}, {"latitude": 57.01, "longitude": -4.0}])
    found = take_offs_m(stated, pd.DataFrame(), projection)
    assert found[0] == pytest.approx(projection.forward(57.0, -4.0))
    assert np.hypot(*(found[1] - found[0])) == pytest.approx(1114.0, rel=0.002)  # a hundredth of a degree of latitude, by hand: 6371 km * pi / 18000 and the flattening


def test_badly_placed_are_animals_heard_and_placed_in_no_flight(tmp_path):
    fixes = pd.DataFrame([("A", "1", "area only", 40.0), ("A", "2", "area only", 30.0), ("B", "1", "area only", 90.0), ("B", "2", "located", 3.0), ("C", "1", "not heard", np.nan)],
                         columns=["tag_id", "flight_id", "status", "region_95_ha"])
    tags = pd.DataFrame({"tag_id": ["A", "B", "C"], "tag_type": "collar", "role": "animal"})
    np.savez(tmp_path / "draws.npz", **{"A|1": np.zeros((5, 2)), "A|2": np.ones((5, 2))})
    found = badly_placed(fixes, tags, tmp_path / "draws.npz")
    assert [each.tag_id for each in found] == ["A"] and (found[0].places_m == 1.0).all()


def test_tags_named_in_the_survey_file_are_narrowed_down_although_they_have_a_position(tmp_path):
    fixes = pd.DataFrame([("A", "1", "area only", 40.0), ("B", "1", "area only", 90.0), ("B", "2", "located", 3.0)], columns=["tag_id", "flight_id", "status", "region_95_ha"])
    tags = pd.DataFrame({"tag_id": ["A", "B"], "tag_type": "collar", "role": "animal"})
    np.savez(tmp_path / "draws.npz", **{"A|1": np.zeros((5, 2)), "B|1": np.ones((5, 2)), "B|2": np.full((5, 2), 2.0)})
    found = badly_placed(fixes, tags, tmp_path / "draws.npz", ("B",))
    assert [each.tag_id for each in found] == ["B"] and (found[0].places_m == 2.0).all()


# in words

def ranked(**changes):
    rows = [{"rank": 1, "name": "04 loop at 60 m", "style": "loop", "height_m": 60.0, "minutes": 17.0, "adequacy_before": 0.6, "adequacy_after": 0.8, "adequacy_gain": 0.2, "shrinkage": 0.3, "score": 0.25,
             "for_tags": "T2; M1", "gains": "M1 0.20; T2 0.30"}, {"score": 0.1}]
    return pd.DataFrame([rows[0] | changes, rows[1]])


BOTH = {"not_found": 1, "to_narrow_down": 1}


def test_the_advice_names_the_block_its_gains_and_the_tags():
    said = paragraphs(ranked(), BOTH, ["hills"])
    assert "raises the ground searched for the tags not found from 0.60 to 0.80 (cautious, mean) and makes the regions smaller by about 30 % for" in said[0]
    assert "It serves most T2 (0.30) and M1 (0.20)." in said[0]
    assert "What hills would take along these tracks is reckoned with, on a lattice of 200 m." in said[0]
    assert "no flight plan" in said[1] and heading(ranked(), BOTH) == "A next flight would add most over block 04 loop at 60 m"


def test_without_terrain_and_canopy_the_advice_says_that_the_ground_is_taken_as_level():
    assert "taken as level and open" in paragraphs(ranked(), BOTH, [])[0]


def test_the_tags_of_the_survey_file_are_named():
    assert "for the tags of the survey file (T7)" in paragraphs(ranked(), BOTH, [], ("T7",))[0]


def test_ground_out_of_reach_is_not_said_to_need_no_flight():
    nothing = pd.DataFrame()
    assert heading(nothing, BOTH) == "No flight from the take-off points reaches this ground" and "next_flight.take_offs" in paragraphs(nothing, BOTH, [])[0]
    none = {"not_found": 0, "to_narrow_down": 0}
    assert heading(nothing, none) == "No tag asks for a next flight" and paragraphs(nothing, none, []) == ["Every animal was heard and has a position in some flight."]
