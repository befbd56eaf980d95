"""The benchmark of search in short: few campaigns with the true signal model, and what the long run measured."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from pipeline.search import band_table
from tests.benchmarks.search import RESULT, TAGS, WORLDS, Judged, detection_rows, made, next_flight_row, reliability, silence_rows
from tests.benchmarks.worlds import true_model

WEAK = WORLDS[0]


def judged(seed):
    """A campaign judged by the true model of its world: what is left to go wrong is the arithmetic of looks."""
    model = true_model(WEAK)
    return Judged(made(WEAK, seed), SimpleNamespace(model=model, draws=lambda count, generator: [model]))


@pytest.fixture(scope="module")
def campaigns():
    return [judged(seed) for seed in range(201, 209)]


def test_with_the_true_model_expected_detection_is_what_was_heard_and_cautious_never_says_more(campaigns):
    rows = pd.concat([detection_rows(each) for each in campaigns])
    flights = rows[rows["flight"] != "all"]
    fifths = np.linspace(0, 1, 6)
    expected, cautious = (band_table(flights[view], flights["true"].astype(bool), fifths) for view in ("expected", "cautious"))
    assert expected["tags"].sum() == 8 * TAGS * 3
    assert expected["agrees"].sum() >= 4
    assert not (cautious["predicted_mean"] > cautious["share_high"]).any()
    assert (flights["cautious"] <= flights["expected"] + 1e-9).all()


def test_with_the_true_model_and_right_priors_the_explanations_of_silence_are_calibrated(campaigns):
    rows = pd.concat([silence_rows(each)[0] for each in campaigns])
    assert len(rows) > 100
    for case in ("missed", "outside", "silent"):
        # Some 130 animals: the standard error of a share is 0.04, and three of them are allowed.
        assert abs(rows[f"said_{case}"].mean() - (rows["case"] == case).mean()) < 0.12


def test_the_advised_flight_adds_more_than_the_median_candidate(campaigns):
    _, sought, cells = silence_rows(campaigns[0])
    row = next_flight_row(campaigns[0], sought, cells).iloc[0]
    assert row["advised_gain"] >= 1.3 * row["median_gain"] > 0


# what the long run measured (python -m tests.benchmarks.search)

@pytest.fixture(scope="module")
def measured():
    return pd.read_csv(RESULT, low_memory=False)


def test_thirty_campaigns_or_more_were_measured_in_both_worlds(measured):
    assert measured.groupby(["world", "seed"]).ngroups >= 30 and set(measured["world"]) == {world.name for world in WORLDS}


def detection(measured):
    """(rows of single flights, whether each tag was heard)."""
    flights = measured[(measured["what"] == "detection") & (measured["flight"] != "all")]
    return flights, flights["true"].astype(bool)


def test_measured_detection_agrees_in_nine_bands_of_ten(measured):
    flights, heard = detection(measured)
    expected = band_table(flights["expected"], heard)
    assert len(expected) == 10 and expected["agrees"].sum() >= 9


def test_measured_detection_never_boasts(measured):
    flights, heard = detection(measured)
    expected, cautious = band_table(flights["expected"], heard), band_table(flights["cautious"], heard)
    assert len(expected) == len(cautious) == 10
    assert (expected["predicted_mean"] > expected["share_high"]).sum() == 0
    assert (cautious["predicted_mean"] > cautious["share_high"]).sum() <= 1
    assert heard[flights["cautious"] >= 0.9].mean() >= 0.9


def test_measured_explanations_of_silence_are_within_seven_hundredths(measured):
    rows = measured[measured["what"] == "silence"]
    assert len(rows) >= 500
    for case in ("missed", "outside", "silent"):
        table = reliability(rows[f"said_{case}"], rows["case"] == case)
        assert (np.abs(table["said"] - table["was"]) * table["n"]).sum() / table["n"].sum() <= 0.07


def test_the_measured_advice_gains_a_third_more_than_the_median_candidate(measured):
    rows = measured[measured["what"] == "next"]
    assert rows["advised_gain"].mean() >= 1.3 * rows["median_gain"].mean()


def test_the_measured_advice_hears_more_of_the_tags_that_were_missed_than_the_median_candidate(measured):
    rows = measured[(measured["what"] == "next") & (measured["silent_tags"] > 0)]
    assert rows["silent_tags"].sum() >= 1000
    assert (rows["advised_heard"] * rows["silent_tags"]).sum() >= 1.3 * (rows["median_heard"] * rows["silent_tags"]).sum()
