"""What the quality check says of thresholds and noise."""

import numpy as np
import pandas as pd
import pytest

from pipeline.quality import man_made_noise_db, noise_findings, track_table
from pipeline.quality.noise import like_surroundings
from test_quality import EAST, LEVEL, make_records


def told(records):
    return {message.code: message for message in noise_findings(records, track_table(records))}


def test_thresholds_that_follow_the_noise_are_told_with_their_margin_and_what_contradicts_them():
    records = make_records(EAST, LEVEL, heard={"A": {3: -110.0, 4: -116.0, 5: -100.0}}, noise_db=-121.0, threshold_db=-115.0)
    message = told(records)["threshold-from-noise"]
    assert "6 dB above it: median \u2212115 dB" in message.text and "1 of 3 heard strengths lie below theirs" in message.text


def test_logs_without_a_threshold_say_so_with_the_weakest_strength_heard():
    assert "weakest strength heard is \u2212112 dB" in told(make_records(EAST, LEVEL, heard={"A": {3: -112.0, 9: -80.0}}))["threshold-one"].text
    assert told(make_records(EAST, LEVEL))["threshold-one"].text == "No record has a threshold of its own"


def test_a_flight_louder_than_another_is_told_and_one_like_it_is_not():
    quiet, loud = make_records(EAST, LEVEL, noise_db=-121.0), make_records(EAST, LEVEL, flight="F2", noise_db=-116.5)
    message = told(pd.concat([quiet, loud], ignore_index=True))["noise-differs"]
    assert message.text == "The noise is 4.5 dB higher in flight F2 (\u2212116 dB) than in flight F1 (\u2212121 dB)" and message.severity == "look"
    assert "noise-differs" not in told(pd.concat([quiet, loud.assign(noise_db=-119.0)], ignore_index=True))


def test_noise_that_comes_with_the_motors_is_told_against_the_ground():
    height = np.where(np.arange(60) < 8, 0.0, 80.0)
    records = make_records(EAST, LEVEL, height_m=height)
    message = told(records.assign(noise_db=np.where(records["record"] < 8, -125.0, -119.0)))["noise-in-flight"]
    assert message.text == "Flight F1: the noise in the air is 6.0 dB above that on the ground (52 and 8 records)" and message.severity == "look"
    assert told(records.assign(noise_db=-120.0))["noise-in-flight"].severity == "note"


def test_the_yardstick_names_the_surroundings_that_differ_by_about_as_much():
    assert like_surroundings(-5.0) == "man-made noise differs by 5 dB between residential and rural surroundings at 150 MHz, ITU-R P.372"
    assert "16 dB between rural and quiet rural" in like_surroundings(14.0)


@pytest.mark.parametrize("frequency_mhz, surroundings", [(0.2, "city"), (300.0, "city"), (150.0, "woods")])
def test_noise_outside_of_what_the_formula_was_made_for_is_refused(frequency_mhz, surroundings):
    with pytest.raises(ValueError):
        man_made_noise_db(frequency_mhz, surroundings)
