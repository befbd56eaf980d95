"""Pulse rates of a flight, triage over a campaign, and the list to walk with."""

import re

import numpy as np
import pandas as pd
import pytest

from pipeline.columns import FIXES, TAGS, conform
from pipeline.fate import Ladder, mode_probabilities, pulse_table, read_pulses, retrieval_list, triage
from pipeline.fate.pulse import count_passes

LIVE, MORTALITY = 55.0, 110.0


def verdict(rates, live=LIVE, mortality=MORTALITY):
    return read_pulses(rates, live_per_min=live, mortality_per_min=mortality)


def test_three_records_at_the_mortality_rate_are_mortality():
    found = verdict([110.2, 109.1, 110.9])
    assert (found.state, found.records_mortality) == ("mortality", 3)
    assert found.reason == "3 of 3 records at 110 per minute, the mortality rate is 110."


def test_three_records_at_the_live_rate_are_live():
    assert verdict([55.3, 54.2, 55.0]).state == "live"


@pytest.mark.parametrize("rates", [[110.0], [110.0, 110.0], [55.0]])
def test_fewer_than_three_records_are_never_counted(rates):
    found = verdict(rates)
    assert found.state == "unclear"
    assert "3 needed, not counted." in found.reason


def test_no_pulse_rates_give_a_blank_state():
    assert verdict([np.nan, np.nan]).state == ""
    assert verdict([]).reason == "No record carries a pulse rate."


def test_missed_pulses_of_a_live_tag_are_not_mortality_at_half_the_rate():
    found = verdict([55.0, 27.3, 54.6, 27.7, 18.5], mortality=27.5)
    assert (found.state, found.records_mortality) == ("live", 0)
    assert "3 at a half or a third of it, as when pulses are missed" in found.reason


def test_a_tag_that_only_ever_sends_half_the_live_rate_is_mortality_when_that_is_its_mortality_rate():
    assert verdict([27.5, 27.0, 28.1, 27.4], mortality=27.5).state == "mortality"


def test_missed_pulses_of_a_mortality_tag_do_not_make_it_live():
    assert verdict([110.0, 55.2, 109.0, 110.5]).state == "mortality"


def test_equal_register_rates_cannot_be_told_apart():
    assert "cannot be told apart" in verdict([60.0, 60.5, 59.8], live=60, mortality=61).reason


def test_a_rate_of_neither_mode_is_unclear():
    assert verdict([83.0, 83.5, 82.8, 83.1]).state == "unclear"


def test_two_rates_in_one_flight_are_said():
    mixed = verdict([70.0] * 8 + [110.0] * 8, live=70.0)
    assert mixed.state == "unclear"
    assert "8 records at the live and 8 at the mortality rate, of 16" in mixed.reason


def test_without_register_rates_the_state_is_unclear_and_says_so():
    assert "the register has no pulse rates" in verdict([55.0, 55, 55], live=np.nan, mortality=np.nan).reason


def test_mode_probabilities_sum_to_one():
    assert sum(mode_probabilities([55.0, 80.0], live_per_min=55, mortality_per_min=110).values()) == pytest.approx(1)


def simulated(generator, rate, records, missed=0.1):
    """Rates of heard records with a jitter of 1 per minute; of those with missed pulses three in four lost every second pulse, the others two of three."""
    part = generator.choice([1, 2, 3], size=records, p=[1 - missed, 0.75 * missed, 0.25 * missed])
    return rate / part + generator.normal(0, 1, records)


@pytest.mark.parametrize("factor", [2.0, 0.5])
@pytest.mark.parametrize("records", [(3, 4), (3, 16)])
def test_modes_are_right_for_99_of_100_simulated_tags_of_both_kinds(factor, records):
    """Live rates of 40 to 60 per minute, doubled or halved by the mortality sensor: common practice, no source. Few records: exactly 3; else 3 to 15."""
    generator = np.random.default_rng(20)
    right = []
    for _ in range(1000):
        live = generator.uniform(40, 60)
        mortality, count = factor * live, int(generator.integers(*records))
        right += [verdict(simulated(generator, rate, count), live, mortality).state == state for state, rate in (("live", live), ("mortality", mortality))]
    assert len(right) == 2000 and np.mean(right) >= 0.99


def test_a_doubled_interval_is_never_called_mortality_while_a_record_keeps_the_live_rate():
    generator = np.random.default_rng(21)
    states = {}
    for records in range(3, 31):
        for doubled in range(1, records):
            live = generator.uniform(40, 60)
            rates = live / np.r_[np.full(doubled, 2), np.ones(records - doubled)] + generator.normal(0, 1, records)
            states.setdefault(verdict(rates, live, live / 2).state, []).append(doubled / records)
    assert set(states) == {"live", "unclear"}
    assert min(states["unclear"]) > 0.6  # in doubt only where most records lost pulses


def test_one_stray_record_in_a_long_flight_does_not_hide_a_mortality_rate():
    rates = [27.5 + 0.1 * (number % 7) for number in range(60)]
    assert verdict([*rates, 55.2], mortality=27.5).state == "mortality"
    doubted = verdict([*rates[:9], 55.2], mortality=27.5)
    assert doubted.state == "unclear"
    assert doubted.reason.startswith("1 of 10 records at the live rate of 55 per minute") and doubted.reason.endswith("mortality is not shown.")


def test_passes_are_separated_by_silence():
    assert count_passes([]) == 0
    assert count_passes([0, 6, 12]) == 1
    assert count_passes([0, 6, 100, 106, 300]) == 3


# A small campaign: flights a day apart; each tag is a list of rates per flight.

DAYS = pd.to_datetime(["2027-04-10T08:00Z", "2027-04-11T08:00Z", "2027-04-12T08:00Z"])


def campaign(rates_of):
    records, fixes = [], []
    for tag, flights in rates_of.items():
        for number, rates in enumerate(flights):
            flight, start = f"F{number + 1}", DAYS[number]
            for place, rate in enumerate(rates):
                records.append({"flight_id": flight, "tag_id": tag, "time_utc": start + pd.Timedelta(seconds=6 * place + (300 if place >= 2 else 0)),
                                "heard": True, "usable": True, "pulse_rate_per_min": rate})
            fixes.append({"tag_id": tag, "flight_id": flight, "time_start_utc": start, "time_end_utc": start, "status": "located" if len(rates) > 2 else "not heard",
                          "latitude": 57.1, "longitude": -4.2, "best_latitude": 57.1 if rates else np.nan, "best_longitude": -4.2, "easting_m": 10.0,
                          "northing_m": 20.0, "error_radius_95_m": 100.0 + number, "region_95_ha": 3.0, "records_listened": 30, "records_heard": len(rates)})
    tags = conform(pd.DataFrame({"tag_id": list(rates_of), "animal_id": [f"hare {tag}" for tag in rates_of], "role": "animal",
                                 "pulse_rate_live_per_min": LIVE, "pulse_rate_mortality_per_min": MORTALITY}), TAGS)
    return pulse_table(pd.DataFrame(records), tags), tags, conform(pd.DataFrame(fixes), FIXES)


ALIVE, STILL, SILENT = [55.0] * 4, [110.0] * 4, []


def classes(rates_of, **more):
    pulses, tags, fixes = campaign(rates_of)
    return triage(pulses, tags, fixes, **more).set_index("tag_id")


def test_mortality_rate_on_two_passes_is_to_be_checked_soon_and_never_called_dead():
    row = classes({"7": [ALIVE, STILL, STILL]}).loc["7"]
    assert row["class"] == "Check soon"
    assert (row["records_mortality"], row["passes_mortality"], row["flights_mortality"]) == (8, 4, 2)
    assert f"{row['last_live_utc']:%Y-%m-%d}" == "2027-04-10" and f"{row['first_mortality_utc']:%Y-%m-%d}" == "2027-04-11"
    assert "dead" not in row["why"] and "dropped tag" in row["other_explanations"]


def test_mortality_rate_in_one_place_is_to_be_retrieved():
    still = pd.DataFrame({"tag_id": ["7"], "same_place_flights": [2], "minimum_detectable_m": [80.0]})
    assert classes({"7": [ALIVE, STILL, STILL]}, stillness=still).loc["7", "class"] == "Retrieve"
    assert classes({"7": [ALIVE, STILL, STILL]}, stillness=still.assign(minimum_detectable_m=180.0)).loc["7", "class"] == "Check soon"


def test_mortality_then_live_again_is_watched():
    row = classes({"7": [STILL, ALIVE, SILENT]}).loc["7"]
    assert row["class"] == "Watch" and row["why"].endswith("then live again.")
    assert "scavenger or wind" in row["other_explanations"]


def test_a_single_mortality_record_is_not_counted():
    row = classes({"7": [[110.0], SILENT, SILENT]}).loc["7"]
    assert row["class"] == "Heard, mode unknown"
    assert "1 record at the mortality rate; not counted." in row["why"]


def test_only_a_sighting_on_the_ground_confirms():
    seen = pd.DataFrame({"time_utc": [DAYS[2]], "tag_id": ["7"], "state": ["dead"]})
    assert classes({"7": [ALIVE, STILL, STILL]}, sightings=seen).loc["7", "class"] == "Confirmed dead"
    assert classes({"7": [ALIVE, STILL, STILL]}, sightings=seen.assign(state="tag only")).loc["7", "class"] == "Confirmed dropped tag"
    assert classes({"7": [ALIVE, STILL, SILENT]}, sightings=seen.assign(state="alive")).loc["7", "class"] == "Watch"


def test_an_animal_seen_alive_after_it_was_found_dead_is_not_confirmed_dead():
    seen = pd.DataFrame({"time_utc": [DAYS[1], DAYS[2]], "tag_id": ["7", "7"], "state": ["dead", "alive"]})
    row = classes({"7": [ALIVE, STILL, SILENT]}, sightings=seen).loc["7"]
    assert row["class"] == "Watch" and row["why"].endswith("one of the two sightings is of another animal.")
    # A tag found without the animal and the animal alive after that do not contradict each other.
    assert classes({"7": [ALIVE, STILL, SILENT]}, sightings=seen.assign(state=["tag only", "alive"])).loc["7", "class"] == "Confirmed dropped tag"


def test_silence_is_no_fate_and_not_searched_is_no_silence():
    pulses, tags, fixes = campaign({"1": [SILENT] * 3, "2": [SILENT] * 3, "3": [SILENT] * 3, "4": [ALIVE] * 3})
    tags["expected_end_utc"] = pd.to_datetime(["2027-12-01T00:00Z", "2027-03-01T00:00Z", None, None])
    fixes.loc[fixes["tag_id"] == "3", "records_listened"] = 0
    table = triage(pulses, tags, fixes).set_index("tag_id")
    assert list(table.loc[["1", "2", "3", "4"], "class"]) == ["Not heard", "Battery end expected", "Not searched", "Live mode heard"]
    assert "does not show that the animal has left or died" in table.loc["1", "why"]
    assert "Silence expected since 2027-03-01" in table.loc["2", "why"]


def test_a_tag_heard_alive_and_then_silent_says_so_until_it_is_seen():
    found = classes({"1": [ALIVE, SILENT, SILENT], "2": [ALIVE, ALIVE, SILENT], "3": [SILENT] * 3})
    assert list(found.loc[["1", "2", "3"], "flights_silent_since"]) == [2, 1, 0]
    assert found.loc["1", "class"] == "Live mode heard" and found.loc["1", "why"].endswith("Not heard in the 2 flights since then that listened to it.")
    assert "Not heard" not in found.loc["2", "why"]
    seen = pd.DataFrame({"tag_id": ["1"], "time_utc": [DAYS[2] + pd.Timedelta(hours=2)], "state": ["alive"]})
    assert classes({"1": [ALIVE, SILENT, SILENT]}, sightings=seen).loc["1", "flights_silent_since"] == 0


def test_the_most_urgent_come_first_and_the_freshest_signal_before_older_ones():
    table = classes({"1": [ALIVE] * 3, "2": [STILL] * 3, "3": [ALIVE, STILL, STILL]})
    assert list(table.index) == ["3", "2", "1"]
    assert list(table["urgency"]) == [1, 2, 3]


def test_another_tag_with_the_same_rate_and_frequency_is_named():
    pulses, tags, fixes = campaign({"1": [STILL] * 3, "2": [ALIVE] * 3})
    tags["frequency_mhz"] = [150.100, 150.104]
    tags["pulse_rate_live_per_min"] = [LIVE, MORTALITY]
    said = triage(pulses, tags, fixes).set_index("tag_id").loc["1", "other_explanations"]
    assert "tag 2, within 10 kHz, whose live rate is the same" in said


def test_a_mortality_rate_soon_after_deployment_is_marked_as_a_possible_effect_of_capture():
    pulses, tags, fixes = campaign({"1": [ALIVE, STILL, STILL], "2": [ALIVE, STILL, STILL], "3": [ALIVE] * 3, "4": [ALIVE, STILL, STILL]})
    tags["deployed_utc"] = pd.to_datetime(["2027-04-01T08:00Z", "2027-03-01T08:00Z", "2027-04-01T08:00Z", None])
    said = triage(pulses, tags, fixes).set_index("tag_id")["other_explanations"]
    assert said["1"].startswith("effects of capture: the rate was first heard 10 days after deployment; resting")
    assert not any("capture" in said[tag] for tag in ("2", "3", "4"))
    assert "capture" not in triage(pulses, tags, fixes, ladder=Ladder(capture_days=5.0)).set_index("tag_id").loc["1", "other_explanations"]


def test_the_walking_list_gives_the_tightest_circle_of_the_flights_with_the_mortality_rate():
    pulses, tags, fixes = campaign({"7": [ALIVE, STILL, STILL], "8": [ALIVE] * 3})
    walk = retrieval_list(triage(pulses, tags, fixes), fixes, pulses)
    assert list(walk["tag_id"]) == ["7"]
    assert walk.loc[0, "flight_id"] == "F2" and walk.loc[0, "error_radius_95_m"] == 101.0
    assert walk.loc[0, "note"] == "Search the circle of 100 m."


def test_a_walk_without_a_fix_says_that_it_is_none():
    pulses, tags, fixes = campaign({"7": [ALIVE, STILL, STILL]})
    fixes = fixes.assign(status="area only", status_reason="Heard on one pass, 2 needed.", region_95_ha=41.0)
    walk = retrieval_list(triage(pulses, tags, fixes), fixes, pulses)
    assert re.match(r"No fix: middle of a region of 41 ha\. Heard on one pass", walk.loc[0, "note"])


def test_nothing_to_fetch_is_an_empty_list():
    pulses, tags, fixes = campaign({"8": [ALIVE] * 3})
    assert len(retrieval_list(triage(pulses, tags, fixes), fixes, pulses)) == 0


def test_the_tables_given_are_not_written_to():
    pulses, tags, fixes = campaign({"7": [STILL] * 3})
    before = [table.copy() for table in (pulses, tags, fixes)]
    triage(pulses, tags, fixes)
    for table, copy in zip((pulses, tags, fixes), before):
        pd.testing.assert_frame_equal(table, copy)
