"""How numbers, dates and findings of the movement report are worded."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from pipeline.movement import SharedError, proximity_table
from pipeline.stages.movement_limits_words import errors_heading
from pipeline.stages.movement_numbers import day_range, p_values, time_apart
from pipeline.stages.movement_sheet import date_words, fix_marks
from pipeline.stages.movement_words import (
    MOST_STEPS, animal_frame, fidelity_heading, fidelity_paragraphs, pair_paragraphs, path_caption, shared_sentence, shown_steps, step_frame, steps_caption, steps_left_out,
)
from pipeline.stages.silences import Silence
from tests.test_movement import CASES, displacement_table


def fixes_of(*rows):
    """Usable fixes as the report has them: tag, number, flight, time, 95 % radius, several places."""
    table = pd.DataFrame(rows, columns=["tag_id", "number", "flight_id", "time_utc", "error_radius_95_m", "several_places"])
    return SimpleNamespace(places=table.assign(time_utc=pd.to_datetime(table["time_utc"], utc=True)))


def test_each_position_is_said_with_its_place_in_the_row_and_the_days_since_the_one_before():
    words = date_words(fixes_of(("H07", 1, "0421-a", "2026-04-21 05:50", 83.2, False), ("H07", 2, "0429-a", "2026-04-29 17:50", 214.0, True)))
    assert words == ["H07, position 1 of 2: 2026-04-21 05:50 UTC, flight 0421-a, located, 95 % radius 83 m.",
                     "H07, position 2 of 2: 2026-04-29 17:50 UTC, flight 0429-a, several places, 95 % radius 210 m, 8.5 days after the one before."]


def test_days_are_counted_from_the_same_animal():
    words = date_words(fixes_of(("H07", 1, "F1", "2026-04-21", 80.0, False), ("H08", 1, "F2", "2026-04-25", 80.0, False), ("H07", 2, "F3", "2026-04-28", 80.0, False)))
    assert words[1].startswith("H08, position 1 of 1") and words[1].endswith("radius 80 m.") and words[2].endswith("7.0 days after the one before.")


def test_an_animal_with_one_position_has_no_days_before():
    assert "after the one before" not in date_words(fixes_of(("H07", 1, "F1", "2026-04-21", 80.0, False)))[0]


def test_without_positions_there_are_no_words():
    assert date_words(fixes_of()) == []


def test_marks_are_named_by_tag_and_number():
    marks = fix_marks(fixes_of(("H07", 1, "F1", "2026-04-21 05:50", 83.2, False), ("H07", 2, "F2", "2026-04-29 05:50", 83.2, False)))
    assert list(marks["label"]) == ["H07 1", "H07 2"] and marks["note"].iloc[1] == "position 2 of 2, 2026-04-29 05:50 UTC, flight F2, 95 % radius 83 m"


@pytest.mark.parametrize("days, said", [(16.02, "16"), (7.94, "7.9"), (1.0, "1"), (0.37, "8.9 h"), (50 / 1440, "50 min"), (0.0, "0 min")])
def test_two_flights_of_one_morning_are_not_0_days_apart(days, said):
    assert time_apart(days) == said


def test_probabilities_of_a_test_are_never_written_as_0():
    assert p_values(1e-9, 0.0312) == "<0.001, 0.031"
    # What moved says p < 0.05: its p is not printed as 0.050.
    assert p_values(0.0004, 0.04971) == "<0.001, 0.0497" and p_values(0.0501, 0.05) == "0.050, 0.050"


@pytest.mark.parametrize("first, last, said", [("2026-04-21 05:00", "2026-05-07", "2026-04-21 – 05-07"), ("2026-04-21 05:00", "2026-04-21 09:00", "2026-04-21"),
                                               ("2026-12-30", "2027-01-02", "2026-12-30 – 2027-01-02")])
def test_first_and_last_date(first, last, said):
    assert day_range(pd.Timestamp(first, tz="UTC"), pd.Timestamp(last, tz="UTC")) == said


def test_no_date_is_none():
    assert day_range(pd.NaT, pd.NaT) is None


def test_steps_are_read_movers_first_then_animals_without_a_step_with_their_reason():
    shown = step_frame(displacement_table(CASES))
    order = [verdict if kind else "no step" for verdict, kind in zip(shown["verdict"], shown["kind"])]
    assert list(dict.fromkeys(order)) == ["moved", "no step", "not shown"] and order == sorted(order, key=["moved", "no step", "not shown"].index)
    without = shown[shown["kind"] == ""]
    assert list(without["tag_id"]) == ["none", "one"] and list(without["between"]) == ["No usable fix", "1 usable fix"] and set(without["verdict"]) == {"cannot tell"}
    assert without["chance"].isna().all()


def test_animals_that_were_never_compared_are_named_with_the_reason():
    tables = SimpleNamespace(proximity=proximity_table(CASES), shared=SharedError(0.3, 0.1, 0.5, 80, "Errors correlate."))
    assert "Without a pair: none (no usable fix)." in pair_paragraphs(tables)[0]
    alone = SimpleNamespace(proximity=proximity_table(CASES[:2]), shared=tables.shared)
    assert pair_paragraphs(alone) == ["Without a pair: one (no other animal has a usable fix in the same flight), none (no usable fix)."]


@pytest.mark.parametrize("correlation, low, said", [(0.3, 0.1, "is left out of the distance"), (0.001, -0.2, "So next to nothing is taken as shared"), (0.0, np.nan, "rather too wide")])
def test_what_was_done_with_shared_errors_is_said(correlation, low, said):
    assert said in shared_sentence(SharedError(correlation, low, 0.4, 80, "Errors correlate."))


def test_a_figure_of_nine_of_many_says_so():
    steps = pd.DataFrame({"tag_id": [f"H{k:02d}" for k in range(12)], "verdict": "moved", "distance_low_m": 300.0})
    assert path_caption(SimpleNamespace(steps=steps)).startswith("The 9 of 12 animals that moved for which it is clearest")
    assert path_caption(SimpleNamespace(steps=steps.head(3))).startswith("Animals that moved, all at one scale")


def test_every_animal_is_found_in_the_steps_of_the_page():
    steps = displacement_table(CASES)
    shown = shown_steps(steps)
    moved = steps["verdict"] == "moved"
    assert set(shown["tag_id"]) == set(steps["tag_id"]) and moved.any() and len(shown) < len(steps)
    assert set(steps.index[moved]) <= set(shown.index)
    for tag, own in steps[~steps["tag_id"].isin(steps.loc[moved, "tag_id"]) & steps["p"].notna()].groupby("tag_id"):
        assert list(shown.loc[shown["tag_id"] == tag, "p"]) == [own["p"].min()]
    assert steps_caption(steps, shown) == "Did it move? All steps that moved, and the clearest one of every other animal."
    left = len(steps) - len(shown)
    assert steps_left_out(steps, shown) == f" Every animal is here; {left} further steps are in the file." and steps_left_out(shown, shown) == " Every animal is here."


def test_of_a_campaign_with_very_many_steps_the_clearest_of_every_animal_is_shown():
    steps = pd.DataFrame({"tag_id": np.repeat([f"H{k}" for k in range(3)], MOST_STEPS), "verdict": "moved", "from_utc": pd.Timestamp("2027-04-10", tz="UTC"),
                          "p": np.tile(np.linspace(0.04, 0.001, MOST_STEPS), 3)})
    shown = shown_steps(steps)
    assert list(shown["tag_id"]) == ["H0", "H1", "H2"] and set(shown["p"]) == {0.001}
    assert steps_caption(steps, shown) == "Did it move? The clearest step of every animal."


def silence(tag, day="2027-04-12"):
    return Silence(tag, "F2", pd.Timestamp(day, tz="UTC"), 2, 3, (0.95,) * 3, 3, (0.95,) * 3)


def test_the_verdict_on_an_animal_that_fell_silent_is_the_day_up_to_which_it_holds():
    steps = displacement_table(CASES)
    still = next(tag for tag, own in steps.groupby("tag_id") if set(own["verdict"]) == {"not shown"})
    gone = next(tag for tag, own in steps.groupby("tag_id") if "moved" in set(own["verdict"]))
    shown = step_frame(steps, {still: silence(still), gone: silence(gone)})
    assert set(shown.loc[shown["tag_id"] == still, "said"]) == {"silent since 04-12"}
    assert "moved" in set(shown.loc[shown["tag_id"] == gone, "said"])          # what it did before stays said
    assert list(step_frame(steps)["said"]) == list(step_frame(steps)["verdict"])


def test_the_date_of_a_silence_has_its_year_where_the_campaign_has_two():
    steps = displacement_table(CASES)
    still = next(tag for tag, own in steps.groupby("tag_id") if set(own["verdict"]) == {"not shown"})
    later = steps.assign(to_utc=steps["to_utc"] + pd.Timedelta(days=400))
    assert "silent since 2027-04-12" in set(step_frame(later, {still: silence(still)})["said"])


def fidelity_of(*rows):
    pairs = pd.DataFrame(rows, columns=["tag_id", "pairs", "pairs_same_place"]).assign(minimum_detectable_m=230.0)
    return pairs, pd.DataFrame({"tag_id": pairs["tag_id"], "span_days": 16.0})


def test_pairs_that_look_apart_are_no_second_verdict_on_movement():
    pairs, summary = fidelity_of(("A", 15, 15), ("B", 15, 7), ("C", 10, 7), ("D", 15, 2))
    assert fidelity_heading(pairs, ["D"], summary) == "3 of 4 animals with positions a day or more apart are not shown to have moved; all positions of 1 could be one place"
    said = fidelity_paragraphs(pairs, ["D"], summary)[1]
    assert said.startswith("No two positions of A look like different places. Of B and C 3 to 8 pairs do.") and "these animals may have moved, but it is not shown" in said
    assert fidelity_heading(pairs, ["B", "C", "D"], summary).endswith("1 of 4 animals with positions a day or more apart is not shown to have moved; all positions of it could be one place")


def test_the_middle_radius_is_called_a_median_and_no_bound():
    # Half of the radii are above 130 m when their median is 134.8 m.
    assert errors_heading(pd.DataFrame({"what": ["fixes used: 95 % radius"], "count": [132], "median_m": [134.8]})) == "The 132 positions used have a 95 % radius of 130 m in the median"


def test_an_animal_that_fell_silent_has_its_day_beside_what_may_be_said():
    summary = pd.DataFrame({"tag_id": ["A", "B"], "gate": ["displacement", "net distance"], "flights_heard": 2, "flights_searched": 6, "median_error_radius_95_m": 150.0, "fixes_usable": 2,
                            "fixes_total": 2, "first_utc": pd.NaT, "last_utc": pd.NaT})
    assert list(animal_frame(summary, {"A": silence("A")})["allowed"]) == ["displacement; silent since 2027-04-12", "net distance"]
