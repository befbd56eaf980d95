"""The quality check on small flights whose answers are obvious."""

import numpy as np
import pandas as pd
import pytest

from pipeline.columns import BEACONS, FLIGHTS, RECORDS, TAGS, TRACK, conform
from pipeline.quality import (azimuth_coverage_deg, column_table, effort_table, findings, flight_style, flight_table, heard_matrix, hit_table,
                              noise_step, records_per_tag, saturation_db, strongest_records, suspicion_table, tag_table, track_table)

START = pd.Timestamp("2027-05-03T09:00:00Z")


def make_records(easting_m, northing_m, tags=("A",), heard=None, height_m=80.0, azimuth_deg=np.nan, every_s=6.0, flight="F1", **more):
    """A flight with one record every 6 s; `heard` maps a tag to {record: strength}."""
    heard = heard or {}
    rows = []
    heights = np.broadcast_to(height_m, len(easting_m))
    azimuths = np.broadcast_to(azimuth_deg, len(easting_m))
    for number, (east, north) in enumerate(zip(easting_m, northing_m)):
        for tag in tags:
            strength = heard.get(tag, {}).get(number, np.nan)
            rows.append({"flight_id": flight, "tag_id": tag, "record": number, "time_utc": START + pd.Timedelta(seconds=every_s * number),
                         "latitude": 57.0, "longitude": -4.0, "easting_m": east, "northing_m": north, "height_m": heights[number],
                         "height_above_ground_m": heights[number], "antenna_azimuth_deg": azimuths[number], "heard": np.isfinite(strength),
                         "strength_db": strength, "pulse_rate_per_min": np.nan, "noise_db": np.nan, "usable": True, "source_file": "f1.csv"})
    return conform(pd.DataFrame(rows).assign(**more), RECORDS)


def make_tags(*ids, **columns):
    return conform(pd.DataFrame({"tag_id": list(ids), "role": "animal", **columns}), TAGS)


NO_BEACONS = conform(pd.DataFrame({"tag_id": []}), BEACONS)
EAST = np.arange(60) * 72.0
LEVEL = np.zeros(60)


def legs(count, records_each=20, apart_m=200.0):
    """Parallel legs flown there and back."""
    along = np.arange(records_each) * 72.0
    east = np.concatenate([along if leg % 2 == 0 else along[::-1] for leg in range(count)])
    return east, np.repeat(np.arange(count) * apart_m, records_each)


def circle(records=100, radius_m=600.0, rounds=1.5):
    angle = np.linspace(0, 2 * np.pi * rounds, records)
    return radius_m * np.sin(angle), radius_m * np.cos(angle)


def course(east, north):
    return np.degrees(np.arctan2(np.diff(east), np.diff(north))) % 360


# track and effort

def test_a_flight_of_sixty_records_every_six_seconds_listens_six_minutes():
    records = make_records(EAST, LEVEL)
    track = track_table(records)
    flights = flight_table(records, track, NO_BEACONS, make_tags("A"))
    assert list(track.columns) == list(TRACK)
    assert track["on_effort"].all()
    assert flights["listening_min"].iloc[0] == pytest.approx(6.0)
    assert flights["distance_km"].iloc[0] == pytest.approx(59 * 0.072)
    assert flights["speed_median_m_per_s"].iloc[0] == pytest.approx(12.0)


def test_listening_counts_each_record_once_however_many_tags_are_tuned_to():
    one = track_table(make_records(EAST, LEVEL, tags=("A",)))
    many = track_table(make_records(EAST, LEVEL, tags=tuple("ABCDE")))
    assert len(one) == len(many) == 60
    assert (many["tags_listened"] == 5).all()


def test_climbing_and_standing_on_the_ground_are_off_effort():
    height = np.full(60, 80.0)
    height[:4], height[4:6], height[-3:] = 0.0, 30.0, 20.0
    track = track_table(make_records(EAST, LEVEL, height_m=height))
    assert track["off_effort_reason"].tolist()[:7] == ["ground"] * 4 + ["landing"] * 2 + [""]
    assert track["off_effort_reason"].tolist()[-3:] == ["landing"] * 3


def test_a_receiver_carried_on_foot_is_never_off_effort_for_being_on_the_ground():
    assert track_table(make_records(EAST, LEVEL, height_m=2.0))["on_effort"].all()


def test_a_record_without_position_is_off_effort_and_its_time_is_named():
    records = make_records(EAST, LEVEL)
    lost = records["record"].between(10, 19)
    records = records.assign(usable=~lost, easting_m=records["easting_m"].where(~lost), northing_m=records["northing_m"].where(~lost))
    track = track_table(records)
    flights = flight_table(records, track, NO_BEACONS, make_tags("A"))
    assert (track["off_effort_reason"] == "no position").sum() == 10
    assert flights["positions_lost"].iloc[0] == 10
    texts = [m.text for m in findings(records, track, flights, make_tags("A"), NO_BEACONS, suspicion_table(records, make_tags("A")))]
    assert "Flight F1 had no usable position in 10 records, 09:01:00Z to 09:01:54Z" in texts


def test_the_fast_way_to_the_site_is_transit():
    east = np.concatenate([np.arange(8) * 150.0, 8 * 150.0 + np.arange(52) * 50.0])
    assert track_table(make_records(east, LEVEL))["off_effort_reason"].tolist()[:9] == ["transit"] * 8 + [""]


def test_effort_sums_over_flights_and_says_why_minutes_were_off_effort():
    height = np.full(60, 80.0)
    height[:10] = 0.0
    records = pd.concat([make_records(EAST, LEVEL), make_records(EAST, LEVEL, height_m=height, flight="F2")], ignore_index=True)
    track = track_table(records)
    effort = effort_table(records, track, flight_table(records, track, NO_BEACONS, make_tags("A")))
    assert effort["flight_id"].tolist() == ["F1", "F2", "all flights"]
    assert effort["listening_min"].tolist() == pytest.approx([6.0, 5.0, 11.0])
    assert effort["off_effort_why"].tolist() == ["", "ground 1.0", "ground 1.0"]
    assert records_per_tag(records, track)["records"].tolist() == [60, 50]


# style and verdict

@pytest.mark.parametrize("style, track", [("lines", legs(6)), ("loop", circle()), ("loop", circle(rounds=4, radius_m=300)), ("lines", (EAST, LEVEL))])
def test_the_style_is_found_from_the_track(style, track):
    assert flight_style(course(*track)) == style


def test_half_a_loop_flight_and_half_lines_is_mixed():
    loop, lines = circle(rounds=2, radius_m=400), legs(5)
    east = np.concatenate([loop[0], loop[0][-1] + lines[0]])
    north = np.concatenate([loop[1], loop[1][-1] + lines[1]])
    assert flight_style(course(east, north)) == "mixed"


def test_aimless_wandering_is_unclear():
    steps = np.random.default_rng(1).uniform(0, 360, 200)
    assert flight_style(steps) == "unclear"


def test_a_rotated_flight_keeps_its_style():
    for turn_deg in (0.0, 33.0, 118.0):
        assert flight_style(course(*legs(6)) + turn_deg) == "lines"
        assert flight_style(course(*circle()) + turn_deg) == "loop"


def test_a_flight_of_five_records_is_rejected_with_its_numbers():
    records = make_records(EAST[:5], LEVEL[:5])
    flights = flight_table(records, track_table(records), NO_BEACONS, make_tags("A"))
    assert flights["verdict"].iloc[0] == "rejected"
    assert flights["verdict_reason"].iloc[0].startswith("Too little to work with: 5 of 5 records on effort, 0.5 min")


def test_a_hovering_flight_shows_presence_only():
    records = make_records(EAST * 0, LEVEL)
    assert flight_table(records, track_table(records), NO_BEACONS, make_tags("A"))["verdict"].iloc[0] == "presence only"


def test_an_ordinary_flight_is_fit_for_location():
    records = make_records(EAST, LEVEL, azimuth_deg=(np.arange(60) * 25.0) % 360)
    flights = flight_table(records, track_table(records), NO_BEACONS, make_tags("A"))
    assert list(flights.columns)[:len(FLIGHTS)] == list(FLIGHTS)
    assert flights["verdict"].iloc[0] == "fit for location"
    assert flights["azimuth_coverage_deg"].iloc[0] == 360
    assert flights["turn_rate_max_deg_per_s"].iloc[0] == pytest.approx(25 / 6)


def test_azimuth_coverage_counts_ten_degree_sectors():
    assert azimuth_coverage_deg([5, 6, 7, 355, 365]) == 20
    assert np.isnan(azimuth_coverage_deg([np.nan]))


# tags

def test_runs_and_isolated_hits_are_counted_over_the_records_listened_to():
    records = make_records(EAST, LEVEL, heard={"A": {3: -90, 10: -80, 11: -81, 12: -82}})
    hits = hit_table(records)
    assert hits["run_length"].tolist() == [1, 3, 3, 3]
    assert hits["isolated"].tolist() == [True, False, False, False]


def test_the_tag_table_counts_what_was_heard():
    records = make_records(EAST, LEVEL, tags=("A", "B"), heard={"A": {3: -90, 10: -80, 11: -85}}, pulse_rate_per_min=50.0)
    table = tag_table(records, make_tags("A", "B", "C", pulse_rate_live_per_min=50.0)).set_index("tag_id")
    assert table.loc["A", ["records_listened", "records_heard", "longest_run", "isolated_hits"]].tolist() == [60, 3, 2, 1]
    assert table.loc["A", "best_strength_db"] == -80
    assert table.loc["A", "pulse_interval_s"] == pytest.approx(1.2)
    assert table.loc["A", "pulse_interval_live_s"] == pytest.approx(1.2)
    assert table.loc["B", "records_heard"] == 0
    assert table.loc["C", "records_listened"] == 0


def test_not_listened_to_and_not_heard_stay_apart_in_the_matrix():
    matrix = heard_matrix(make_records(EAST, LEVEL, tags=("A",)), make_tags("A", "C")).set_index("tag_id")
    assert matrix.loc["A", "heard_percent"] == 0
    assert np.isnan(matrix.loc["C", "heard_percent"])


def test_a_flat_top_is_found_and_an_ordinary_tail_is_not():
    levels = np.random.default_rng(2).normal(-70, 8, 400)
    assert saturation_db(np.minimum(levels, -60.0)) == -60.0
    assert np.isnan(saturation_db(levels))
    assert np.isnan(saturation_db(np.round(levels)))


# suspicion

def test_any_hit_of_a_decoy_is_suspect():
    records = make_records(EAST, LEVEL, heard={"A": {3: -90}})
    table = suspicion_table(records, make_tags("A", role="decoy"))
    assert table["reason"].tolist() == ["This tag is known to be switched off, yet 1 of 60 records say it was heard."]


def test_an_isolated_hit_with_a_wrong_pulse_rate_is_suspect_and_with_a_right_one_is_not():
    tags = make_tags("A", pulse_rate_live_per_min=50.0, pulse_rate_mortality_per_min=100.0)
    hit = {"A": {3: -90}}
    wrong = suspicion_table(make_records(EAST, LEVEL, heard=hit, pulse_rate_per_min=72.0), tags)
    assert wrong["reason"].tolist() == ["Heard as one isolated hit, pulsing 72 per minute where 50 or 100 is expected."]
    for right in (44.0, 57.0, 90.0):
        assert not suspicion_table(make_records(EAST, LEVEL, heard=hit, pulse_rate_per_min=right), tags)["suspect"].any()


def test_a_run_with_a_wrong_pulse_rate_is_not_suspect():
    tags = make_tags("A", pulse_rate_live_per_min=50.0)
    records = make_records(EAST, LEVEL, heard={"A": {3: -90, 4: -90}}, pulse_rate_per_min=72.0)
    assert not suspicion_table(records, tags)["suspect"].any()


def test_a_tag_in_the_bag_is_suspect_and_a_near_tag_heard_all_the_time_is_not():
    east, north = legs(6)
    noise = np.random.default_rng(3).normal(0, 2, len(east))
    near = -40 - 25 * np.log10(np.hypot(np.hypot(east - 700, north - 450), 80)) + noise
    bag, tag = dict(enumerate(-50 + noise)), dict(enumerate(near))
    table = suspicion_table(make_records(east, north, tags=("A", "B"), heard={"A": bag, "B": tag}), make_tags("A", "B"))
    assert table["suspect"].tolist() == [True, False]
    assert "Heard in 120 of 120 records" in table["reason"].iloc[0]


# findings

def all_findings(records, tags, beacons=NO_BEACONS, changes=None):
    track = track_table(records)
    flights = flight_table(records, track, beacons, tags)
    return findings(records, track, flights, tags, beacons, suspicion_table(records, tags), changes)


def found(messages, code):
    return [message.text for message in messages if message.code == code]


def test_a_time_gap_is_told_and_not_counted_as_listening():
    records = make_records(EAST, LEVEL)
    records = records[~records["record"].between(20, 29)].reset_index(drop=True)
    messages = all_findings(records, make_tags("A"))
    assert found(messages, "time-gaps") == ["Flight F1: 1 gap longer than twice the record interval of 6 s, 60 s in all; the longest, 66 s, begins at 09:01:54Z"]


def test_a_constant_azimuth_and_one_that_equals_the_course_are_told():
    east, north = circle()
    along = np.append(course(east, north), 0)
    assert found(all_findings(make_records(east, north, azimuth_deg=45.0), make_tags("A")), "azimuth-constant")
    assert found(all_findings(make_records(east, north, azimuth_deg=along), make_tags("A")), "azimuth-equals-course")
    assert not found(all_findings(make_records(east, north, azimuth_deg=(along + 90) % 360), make_tags("A")), "azimuth-equals-course")


def test_an_azimuth_that_hangs_while_the_aircraft_turns_is_told_and_one_that_holds_its_line_is_not():
    east, north = circle()
    azimuth = (np.append(course(east, north), 0) + 90.0) % 360
    azimuth[30:60] = azimuth[30]
    (text,) = found(all_findings(make_records(east, north, azimuth_deg=azimuth), make_tags("A")), "azimuth-frozen")
    # 100 records go round one and a half times: 29 steps turn by 29 * 540 / 99 degrees, the first of them counted from itself
    assert "in 30 records, 09:03:00Z to 09:05:54Z" in text and "turned by 153 degrees" in text
    straight, level = legs(3, records_each=30)
    held = np.append(course(straight, level), 90.0)
    held = np.where(np.abs(held - 90) < 1, 90.0, np.where(np.abs(held - 270) < 1, 270.0, held))
    assert not found(all_findings(make_records(straight, level, azimuth_deg=held), make_tags("A")), "azimuth-frozen")


def test_a_noise_step_is_found_at_its_record():
    records = make_records(EAST, LEVEL)
    records = records.assign(noise_db=np.where(records["record"] >= 30, -100.0, -106.0))
    assert noise_step(records) == (6.0, 30)
    assert found(all_findings(records, make_tags("A")), "noise-step") == ["Flight F1: the noise rose by 6.0 dB at about 09:03Z"]


def test_a_weak_copy_of_a_strong_tag_is_told_and_two_animals_side_by_side_are_not():
    strong = -60 + 10 * np.sin(np.arange(60) / 6)
    wobble = np.random.default_rng(4).normal(0, 1, 60)
    heard = {"A": dict(enumerate(strong)), "B": dict(enumerate(strong - 25 + wobble)), "C": dict(enumerate(strong + wobble))}
    texts = found(all_findings(make_records(EAST, LEVEL, tags=("A", "B", "C"), heard=heard), make_tags("A", "B", "C")), "tags-copy-one-another")
    assert len(texts) == 2 and all("B follows" in text for text in texts)


def test_decoys_give_a_measured_rate():
    records = make_records(EAST, LEVEL, tags=("A", "B"), heard={"A": {3: -90}})
    tags = make_tags("A", "B", role="decoy")
    assert found(all_findings(records, tags), "decoys-heard") == ["False detections: 1 of 120 records, usable or not, for tags that were switched off (A)"]


def test_heights_that_cannot_be_are_told():
    texts = found(all_findings(make_records(EAST, LEVEL, height_m=-40.0), make_tags("A")), "height-impossible")
    assert texts == ["Flight F1: 60 records at a height above ground that cannot be, such as −40 m"]


def test_duplicates_in_the_changes_are_told():
    changes = pd.DataFrame({"rule": ["duplicate rows removed", "decimal comma"], "rows": [14, 100], "flight_id": ["F1", "F1"]})
    assert found(all_findings(make_records(EAST, LEVEL), make_tags("A"), changes=changes), "duplicates") == ["Flight F1: 14 duplicate rows removed or set aside"]


# beacons

def one_beacon(easting_m, northing_m):
    return conform(pd.DataFrame({"tag_id": ["A"], "easting_m": [easting_m], "northing_m": [northing_m], "place_id": ["A"]}), BEACONS)


def test_the_strongest_record_error_is_the_distance_of_the_receiver_at_that_record():
    records = make_records(EAST, LEVEL, heard={"A": {10: -90, 11: -70}})
    table = strongest_records(records, one_beacon(11 * 72.0, 150.0))
    assert table["strongest_record_error_m"].tolist() == [150.0]
    assert table["closest_approach_m"].tolist() == [150.0]


def test_a_beacon_never_heard_and_a_flight_without_beacon_are_told():
    records = make_records(EAST, LEVEL)
    messages = all_findings(records, make_tags("A"), one_beacon(0.0, 0.0))
    assert found(messages, "beacon-never-heard") == ["Beacon A was listened to in 60 records and never heard"]
    assert found(all_findings(records, make_tags("A")), "flight-without-beacon") == ["Flight F1: no beacon was listened to"]


def test_columns_are_summed_up_with_impossible_values_counted():
    table = column_table(make_records(EAST, LEVEL, height_m=-40.0)).set_index("column")
    assert table.loc["height_above_ground_m", ["missing_percent", "median", "suspicious"]].tolist() == [0.0, -40.0, 60]
    assert table.loc["antenna_azimuth_deg", "action"] == "none in this flight: not used"


def test_nothing_is_written_into_the_callers_tables():
    records = make_records(EAST, LEVEL, heard={"A": {3: -90}})
    before = records.copy()
    all_findings(records, make_tags("A"))
    tag_table(records, make_tags("A"))
    pd.testing.assert_frame_equal(records, before)
