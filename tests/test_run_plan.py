"""Which stages run, and why."""

from dataclasses import replace

import pytest

from pipeline.run.plan import STAGES, State, decide, forced_stages, make_plan, stage_named

NAMES = [stage.name for stage in STAGES]
STATE = State(inputs={"survey.yml": "1", "flights/a.csv": "2"}, code={"pipeline/radio/fit.py": "3"},
              packages={"numpy": "2.4.6"}, upstream={"1_quality_check": "4"})
RECORD = {"inputs": STATE.inputs, "code": STATE.code, "packages": STATE.packages, "upstream": STATE.upstream,
          "outputs": {"tables/fixes.csv": "5"}, "finished_utc": "2027-05-12T14:02:31Z", "duration_s": 1.0}


def why(state=STATE, record=RECORD, present=None, forced=""):
    decision = decide("2_localisation", state, record, RECORD["outputs"] if present is None else present, forced)
    return decision.runs, decision.why


def test_a_stage_that_never_finished_runs():
    assert why(record=None, present={}) == (True, "it has no finished results yet")


def test_a_stage_of_which_nothing_changed_is_skipped_and_says_since_when():
    assert why() == (False, "nothing changed since 2027-05-12 14:02 UTC")


@pytest.mark.parametrize("part, now, expected", [
    ("inputs", {"survey.yml": "1", "flights/a.csv": "x"}, "flights/a.csv changed"),
    ("inputs", STATE.inputs | {"flights/b.csv": "6"}, "flights/b.csv is new"),
    ("inputs", {"survey.yml": "1"}, "flights/a.csv is gone"),
    ("code", {"pipeline/radio/fit.py": "x"}, "pipeline/radio/fit.py changed"),
    ("packages", {"numpy": "2.5.0"}, "numpy is 2.5.0 and was 2.4.6"),
    ("upstream", {"1_quality_check": "x"}, "1_quality_check gave other results"),
])
def test_every_kind_of_change_is_named(part, now, expected):
    assert why(state=replace(STATE, **{part: now})) == (True, expected)


def test_a_result_that_is_missing_or_was_edited_is_named():
    assert why(present={"tables/fixes.csv": None}) == (True, "its result tables/fixes.csv is missing")
    assert why(present={"tables/fixes.csv": "x"}) == (True, "its result tables/fixes.csv was changed afterwards")


def test_many_changes_are_three_names_and_a_count():
    many = {f"flights/{number}.csv": "x" for number in range(5)}
    assert why(state=replace(STATE, inputs=STATE.inputs | many)) == (
        True, "flights/0.csv is new, flights/1.csv is new, flights/2.csv is new and 2 more")


def test_force_and_from_name_the_option():
    assert forced_stages(NAMES, force=True)["1_quality_check"] == "asked for with --force"
    assert forced_stages(NAMES, from_stage="error") == dict.fromkeys(NAMES[2:], "asked for with --from 3_error_calibration")
    assert why(forced="asked for with --force") == (True, "asked for with --force")


@pytest.mark.parametrize("text", ["2", "2_localisation", "localisation", "loc", "2 Localisation", "2_localisation.ipynb"])
def test_a_stage_is_found_by_number_word_or_beginning(text):
    assert stage_named(text, NAMES) == "2_localisation"


def test_an_unknown_stage_gets_the_nearest_name():
    with pytest.raises(ValueError, match="there is no stage 'localization'; did you mean 2_localisation?"):
        stage_named("localization", NAMES)


def test_a_plan_says_what_depends_on_the_outcome_of_earlier_stages():
    names = NAMES[:3]
    stale = replace(STATE, inputs={"survey.yml": "1"})
    plan = make_plan(names, {names[0]: stale, names[1]: STATE, names[2]: STATE}, dict.fromkeys(names, RECORD),
                     dict.fromkeys(names, RECORD["outputs"]), {})
    assert [(step.runs, step.certain, step.why) for step in plan] == [
        (True, True, "flights/a.csv is gone"),
        (True, False, "only if 1_quality_check gives other results"),
        (True, False, "only if 1_quality_check, 2_localisation gives other results"),
    ]
