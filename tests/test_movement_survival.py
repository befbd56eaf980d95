"""Survival: who enters, how they leave, and the extremes."""

import numpy as np
import pandas as pd
import pytest

from pipeline.columns import TAGS, conform
from pipeline.movement import kaplan_meier, lives_table, survival_table

END = pd.Timestamp("2027-05-01", tz="UTC")


def campaign(classes, deployed="2027-03-01", silent=0):
    tags = conform(pd.DataFrame({"tag_id": [f"{k:02d}" for k in range(len(classes))], "role": "animal", "deployed_utc": pd.Timestamp(deployed, tz="UTC")}), TAGS)
    judged = pd.DataFrame({"tag_id": tags["tag_id"], "class": classes, "last_live_utc": pd.Timestamp("2027-04-01", tz="UTC"),
                           "first_mortality_utc": [pd.Timestamp("2027-04-11", tz="UTC") if name == "Confirmed dead" else pd.NaT for name in classes]})
    judged.loc[judged["class"] == "Live mode heard", "last_live_utc"] = END
    judged["flights_silent_since"] = silent
    return lives_table(tags, judged, END, silent_from=2)


def test_death_lies_between_the_last_life_and_the_first_mortality_rate():
    life = campaign(["Confirmed dead"]).iloc[0]
    assert life["end_utc"] == pd.Timestamp("2027-04-06", tz="UTC") and life["reason"] == "Dead between 2027-04-01 and 2027-04-11."


def test_silence_is_no_death():
    assert list(campaign(["Not heard", "Battery end expected", "Check soon", "Confirmed dropped tag", "Live mode heard"])["ends"]) == [
        "lost", "lost", "mortality rate, not confirmed", "tag dropped", "alive"]


@pytest.mark.parametrize("silent, ends", [(0, "alive"), (1, "alive"), (2, "lost")])
def test_an_animal_not_heard_by_later_flights_is_of_unknown_fate(silent, ends):
    life = campaign(["Live mode heard"], silent=silent).iloc[0]
    assert life["ends"] == ends and ("2 later flights listened for it and did not hear it" in life["reason"]) == (silent == 2)


def test_lost_tags_pull_the_extremes_apart_and_not_the_curve():
    table, reason = survival_table(campaign(["Live mode heard"] * 17 + ["Confirmed dead"] + ["Not heard"] * 2), END)
    assert reason == ""
    last = table.iloc[-1]
    assert last["survival"] == pytest.approx(1 - 1 / 18) and last["if_lost_alive"] == pytest.approx(0.95) and last["if_lost_dead"] == pytest.approx(0.85)
    assert last["survival_low"] < last["survival"] < last["survival_high"]


def test_an_unconfirmed_mortality_rate_bounds_the_death_that_the_lowest_curve_assumes():
    lives = campaign(["Live mode heard"] * 18 + ["Confirmed dead", "Retrieve"])
    lives.loc[19, "dead_by_utc"] = pd.Timestamp("2027-04-05", tz="UTC")     # as a first mortality rate on that day would have it
    table, _ = survival_table(lives, END)
    lowest = table[table["if_lost_dead"] < 1.0].iloc[0]
    assert lowest["date_utc"] == pd.Timestamp("2027-04-03", tz="UTC") and lowest["survival"] == 1.0 and np.isnan(lowest["survival_low"]) and np.isnan(lowest["survival_high"])
    both = lives_table(conform(pd.DataFrame({"tag_id": ["1"], "role": "animal", "deployed_utc": pd.Timestamp("2027-03-01", tz="UTC")}), TAGS),
                       pd.DataFrame({"tag_id": ["1"], "class": ["Retrieve"], "last_live_utc": [pd.Timestamp("2027-04-01", tz="UTC")], "first_mortality_utc": [pd.Timestamp("2027-04-11", tz="UTC")], "flights_silent_since": [0]}), END, silent_from=2)
    assert both.loc[0, "dead_by_utc"] == pd.Timestamp("2027-04-11", tz="UTC") and both.loc[0, "end_utc"] == pd.Timestamp("2027-04-01", tz="UTC")


def test_without_losses_the_three_curves_are_one():
    table, _ = survival_table(campaign(["Live mode heard"] * 18 + ["Confirmed dead"] * 2), END)
    assert table["survival"].tolist() == table["if_lost_alive"].tolist() == table["if_lost_dead"].tolist() == [0.9]


def test_few_animals_have_no_curve_and_it_is_said():
    table, reason = survival_table(campaign(["Live mode heard"] * 5), END)
    assert len(table) == 0 and reason == "5 animals with a date of deployment; 20 are needed for a survival curve."


def test_an_animal_without_a_date_does_not_enter():
    assert list(campaign(["Live mode heard"], deployed=None)["ends"]) == ["not entered"]


def test_an_animal_that_enters_late_was_not_at_risk_before():
    found = kaplan_meier([0, 0, 5], [4, 10, 10], [True, False, False], [4, 10])
    assert list(found["at_risk"]) == [2, 2] and found["survival"].iloc[0] == pytest.approx(0.5)


def test_nobody_dead_is_a_survival_of_one_without_an_interval():
    found = kaplan_meier([0, 0], [4, 4], [False, False], [4])
    assert found["survival"].tolist() == [1.0] and np.isnan(found["survival_low"]).all()
