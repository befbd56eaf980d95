"""Flights that missed a tag which others heard."""

import pandas as pd

from pipeline.stages.silences import in_full, in_the_lead, silences

DAY = pd.Timestamp("2026-04-21T06:00", tz="UTC")
AREA = pd.DataFrame({"flight_id": ["a", "b", "c"], "tag_type": ["collar"] * 3, "mean_cautious": [0.97, 0.91, 0.98]})


def campaign(**heard):
    rows = [(tag_id, flight_id, "located" if flight_id in flights else "not heard", DAY + pd.Timedelta(days=day), DAY + pd.Timedelta(days=day, minutes=54), 9 if flight_id in flights else 0)
            for tag_id, flights in heard.items() for day, flight_id in enumerate("abc")]
    animals = pd.DataFrame(rows, columns=["tag_id", "flight_id", "status", "time_start_utc", "time_end_utc", "records_heard"])
    return silences(animals, pd.DataFrame({"tag_id": list(heard), "tag_type": "collar"}), AREA)


def test_a_tag_heard_first_and_not_since_is_silent_since_that_day_with_how_well_the_later_flights_searched():
    found = campaign(H09="a", H01="abc")
    assert list(found) == ["H09"] and found["H09"].fell_silent
    assert in_full(found["H09"]).startswith("Silent since 2026-04-21: last heard in flight a at 06:54 UTC, and not in the 2 flights since then that would have heard it with 0.91 to 0.98")
    assert in_the_lead(found) == "Heard earlier and silent since: H09 (since 2026-04-21, 2 later flights that would have heard it with 0.91 to 0.98)."


def test_a_tag_heard_last_of_all_is_not_silent_and_one_silent_flight_may_be_chance():
    found = campaign(H12="c", H02="ab")
    assert in_full(found["H12"]).startswith("Not heard in 2 other flights that would have heard it with 0.91 to 0.97") and in_the_lead(found) == ""
    assert in_full(None) == "" and not found["H02"].fell_silent


def test_without_a_map_of_the_ground_searched_nothing_is_claimed_of_it():
    animals = pd.DataFrame({"tag_id": ["A"] * 2, "flight_id": ["a", "b"], "status": ["heard once", "not heard"], "time_start_utc": [DAY, DAY + pd.Timedelta(days=1)], "time_end_utc": [DAY, DAY + pd.Timedelta(days=1)], "records_heard": [1, 0]})
    assert in_full(silences(animals, pd.DataFrame({"tag_id": ["A"]}), AREA.iloc[:0])["A"]) == "Not heard in 1 other flight, had it been on the ground asked about (cautious)."
