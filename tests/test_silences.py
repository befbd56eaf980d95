"""Flights that missed a tag which others heard."""

import pandas as pd
import pytest

from pipeline.columns import FIXES, conform
from pipeline.stages.silences import fell_silent, in_full, in_the_lead, silences

DAY = pd.Timestamp("2026-04-21T06:00", tz="UTC")
AREA = pd.DataFrame({"flight_id": ["a", "b", "c"], "tag_type": ["collar"] * 3, "mean_cautious": [0.97, 0.91, 0.98]})
NO_FATE = pd.DataFrame({"tag_id": [], "class": []}, dtype="string")


def campaign(**heard):
    rows = [(tag_id, flight_id, "located" if flight_id in flights else "not heard", DAY + pd.Timedelta(days=day), DAY + pd.Timedelta(days=day, minutes=54), 9 if flight_id in flights else 0, 50)
            for tag_id, flights in heard.items() for day, flight_id in enumerate("abc")]
    animals = pd.DataFrame(rows, columns=["tag_id", "flight_id", "status", "time_start_utc", "time_end_utc", "records_heard", "records_listened"])
    return silences(animals, pd.DataFrame({"tag_id": list(heard), "tag_type": "collar"}), AREA, NO_FATE)


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
    animals = pd.DataFrame({"tag_id": ["A"] * 2, "flight_id": ["a", "b"], "status": ["heard once", "not heard"], "time_start_utc": [DAY, DAY + pd.Timedelta(days=1)], "time_end_utc": [DAY, DAY + pd.Timedelta(days=1)], "records_heard": [1, 0], "records_listened": [50, 50]})
    assert in_full(silences(animals, pd.DataFrame({"tag_id": ["A"]}), AREA.iloc[:0], NO_FATE)["A"]) == "Not heard in 1 other flight, had it been on the ground asked about (cautious)."


def heard_in(*flights):
    """Rows of FIXES of one tag that listened in four flights and was heard in some."""
    return conform(pd.DataFrame([{"tag_id": "a", "flight_id": str(number), "time_start_utc": f"2026-04-0{number}T05:40:00Z", "time_end_utc": f"2026-04-0{number}T06:00:00Z", "status": "located" if number in flights else "not heard", "records_listened": 50,
                                  "records_heard": 9 if number in flights else 0} for number in (1, 2, 3, 4)]), FIXES)


@pytest.mark.parametrize("flights, searched, silent", [((1, 2), 0.95, 2), ((1,), 0.95, 3), ((1, 2, 3), 0.95, None), ((1, 2), 0.85, None), ((4,), 0.95, None), ((), 0.95, None)])
def test_silence_counts_from_two_flights_on_of_which_one_searched_well(flights, searched, silent):
    area = pd.DataFrame({"flight_id": list("1234"), "tag_type": "collar", "mean_cautious": [0.99, 0.99, 0.5, searched]})
    tags = pd.DataFrame({"tag_id": ["a"], "tag_type": ["collar"], "role": ["animal"]})
    gone = fell_silent(silences(heard_in(*flights), tags, area, NO_FATE))
    assert [each.later for each in gone.values()] == ([] if silent is None else [silent])
    assert not silences(heard_in(*flights), tags, area, pd.DataFrame({"tag_id": ["a"], "class": ["Confirmed dead"]}))
