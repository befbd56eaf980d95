import numpy as np
import pytest

from pipeline.location import Evidence, Gates, status_of
from pipeline.location.status import bearing_spread_deg, count_passes, effective_records
from tests.radio_sample import listening, signal_model, square_path

GOOD = Evidence(records_listened=200, records_heard=30, effective_records=9.0, passes=3, bearing_spread_deg=140.0, place_shares=(1.0,),
                radius_95_m=180.0, edge_probability=0.0)


def changed(**values):
    return Evidence(**(GOOD.__dict__ | values))


def test_enough_of_everything_is_located():
    assert status_of(GOOD, Gates()) == ("located", "Heard in 30 of 200 records on 3 passes, bearings spanning 140 degrees.")


@pytest.mark.parametrize("change, words", [
    ({"records_heard": 5}, "heard in 5 records, 8 needed"),
    ({"effective_records": 1.9}, "these are worth 1.9 independent records, 3 needed"),
    ({"passes": 1, "bearing_spread_deg": 24.0}, "heard on 1 pass with bearings spanning 24 degrees, 2 passes or 60 degrees needed"),
    ({"radius_95_m": 412.0}, "the 95 % radius round the middle of the region is 412 m, 300 m at most"),
    ({"edge_probability": 0.2}, "0.20 of the probability lies at the edge of the searched area"),
])
def test_a_gate_that_fails_names_itself_with_its_numbers(change, words):
    status, reason = status_of(changed(**change), Gates())
    assert status == "area only"
    assert words in reason


def test_one_pass_with_bearings_well_spread_is_enough():
    assert status_of(changed(passes=1, bearing_spread_deg=75.0), Gates())[0] == "located"


def test_a_second_place_above_a_tenth_makes_several_places():
    status, reason = status_of(changed(place_shares=(0.62, 0.38)), Gates())
    assert status == "several places"
    assert "2 parts holding 0.62 / 0.38" in reason


def test_heard_once_gets_no_fix_and_a_reason():
    assert status_of(changed(records_heard=1), Gates())[0] == "heard once"


def test_silence_and_not_listening_are_never_merged():
    assert status_of(None, Gates(), records_listened=120)[0] == "not heard"
    status, reason = status_of(None, Gates(), records_listened=0)
    assert (status, "not an absence" in reason) == ("not searched", True)


def test_doubtful_hits_are_suspect_whatever_else_they_show():
    status, reason = status_of(GOOD, Gates(), "the tag is known to be switched off")
    assert status == "suspect"
    assert reason == "Heard in 30 of 200 records, but this is doubted: the tag is known to be switched off."


@pytest.mark.parametrize("pattern, passes", [("....", 0), ("..1..", 1), ("1.1.11", 1), ("11....11", 2), ("1..1..1", 1), ("1...1", 2), ("1....1....1", 3)])
def test_passes_are_runs_of_hearing_with_silence_between(pattern, passes):
    assert count_passes(np.array([c == "1" for c in pattern])) == passes


def test_bearings_all_round_span_nearly_the_circle_and_a_straight_leg_less_than_half():
    path = square_path()
    assert bearing_spread_deg(listening(*path, np.full(len(path[0]), -80.0)), 0.0, 0.0) > 320
    leg = listening(np.linspace(-500, 500, 11), np.zeros(11), np.full(11, -80.0))
    assert bearing_spread_deg(leg, 0.0, 500.0) == pytest.approx(90.0)


def test_records_far_apart_count_each_and_records_at_one_place_count_little():
    far = listening(np.arange(10) * 5000.0, np.zeros(10), np.full(10, -80.0))
    assert effective_records(far, signal_model()) == pytest.approx(10.0, rel=1e-6)
    same = listening(np.arange(10) * 0.01, np.zeros(10), np.full(10, -80.0))
    assert effective_records(same, signal_model()) < 1.2
