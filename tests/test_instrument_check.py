"""What the quality check says of clocks and antenna on beacons: a line per flight, messages with their evidence."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pipeline.calibration import Instruments
from pipeline.radio import AZIMUTH_LAG, DRIFT, LAG, Estimate
from pipeline.radio.timing import BIAS
from pipeline.report import Book
from pipeline.stages.instrument_check import checked_heading, instrument_messages, instrument_rows, instruments_checked, verdict


def found(lag_s=0.2, *, se_s=0.5, drift=(0.3, 1.5), azimuth_lag=None, bias=(-1.0, 2.5)):
    """Two flights; what is given is that of the second."""
    return Instruments(
        lags={"a": Estimate(LAG, 0.1, 0.5), "b": Estimate(LAG, lag_s, se_s)}, drifts={"a": Estimate(DRIFT, -0.4, 1.5), "b": Estimate(DRIFT, *drift)},
        azimuth_lags={"b": Estimate(AZIMUTH_LAG, *azimuth_lag)} if azimuth_lag else {}, bias=Estimate(BIAS, *bias), beacons={"a": 8, "b": 9}, turning={"a": 0.5, "b": 8.0})


def said(instruments, code, declination_deg=None):
    return [message for message in instrument_messages(instruments, declination_deg) if message.code == code]


def test_a_clear_lag_is_told_with_its_interval_and_its_beacons():
    (message,) = said(found(5.2, se_s=0.8), "clock-lag")
    assert message.severity == "look"
    assert message.text == "Flight b: strengths were stamped 5 s after the positions (5.2 s, 95 % interval 3.6 to 6.8 s; 9 beacons)"
    assert "localisation" in message.done


def test_a_lag_that_could_be_that_of_the_azimuths_is_told_as_either():
    either = replace(found(-2.3, se_s=0.5, azimuth_lag=(2.9, 1.1)), lags_beside={"b": Estimate(LAG, -0.3, 0.9)})
    assert "2 s before the positions, or azimuths 3 s after them, which beacons cannot tell apart here (" in said(either, "clock-lag")[0].text
    surely = replace(either, lags_beside={"b": Estimate(LAG, -3.1, 0.9)})
    assert "or azimuths" not in said(surely, "clock-lag")[0].text


def test_eighteen_seconds_are_named_as_gps_time():
    """GPS time is 18 s ahead of UTC since 2017-01-01: IERS."""
    (message,) = said(found(17.6, se_s=0.6), "clock-lag")
    assert "this is the difference of GPS time and UTC" in message.text
    assert "GPS" not in said(found(12.0, se_s=0.6), "clock-lag")[0].text


def test_flights_without_a_clear_lag_are_told_with_how_far_off_they_could_be():
    (message,) = said(found(0.2, se_s=0.5), "clocks-agree")
    assert message.severity == "note" and "2 flights (a and b)" in message.text and "reaches 1.2 s" in message.text
    assert said(found(0.2), "clock-lag") == [] and said(found(0.2), "clock-drift") == []


def test_a_clear_drift_is_told_as_the_lag_at_either_end():
    (message,) = said(found(1.0, drift=(5.0, 1.0)), "clock-drift")
    assert "the lag went from \u22121.5 s at the start to 3.5 s at the end" in message.text
    assert "9 beacons" in message.text and "95 % interval 3.0 to 7.0 s" in message.text and message.done == "told, not taken out"


def test_a_clear_azimuth_lag_is_told_and_one_that_cannot_be_told_is_called_so():
    (message,) = said(found(azimuth_lag=(3.1, 0.9)), "azimuth-lag")
    assert "azimuths were stamped 3 s after the positions" in message.text and "1.3 to 4.9 s" in message.text
    untold = found(azimuth_lag=(3.1, 4.0))
    assert said(untold, "azimuth-lag") == [] and verdict(untold, "b") == "azimuth lag cannot be told"


@pytest.mark.parametrize("bias, declination_deg, severity, words", [
    ((-1.0, 2.5), None, "note", "No azimuth bias is clear on beacons (\u22121.0 degrees, standard error 2.5"),
    ((-6.0, 1.5), None, "note", "The antenna seems to point 6 degrees left of the azimuth in the log (\u22126.0 degrees, standard error 1.5"),
    ((11.0, 2.0), 12.5, "look", "are these azimuths magnetic?"),
])
def test_the_azimuth_bias_is_told_with_its_standard_error_and_named_where_it_is_the_declination(bias, declination_deg, severity, words):
    (message,) = said(found(bias=bias), "azimuth-bias", declination_deg)
    assert message.severity == severity and words in message.text


def test_there_is_a_line_for_every_flight_also_for_one_that_heard_no_beacon():
    rows = instrument_rows(found(5.2, se_s=0.8), ["a", "b", "c"]).set_index("flight_id")
    assert rows.loc["b", ["lag_low_95_s", "lag_high_95_s"]].tolist() == pytest.approx([5.2 - 1.96 * 0.8, 5.2 + 1.96 * 0.8])
    assert rows.loc["a", "verdict"] == "no clear lag" and rows.loc["b", "verdict"] == "strengths were stamped 5 s after the positions"
    assert rows.loc["c", "verdict"] == "no beacon was heard: nothing tests its clocks and azimuth" and np.isnan(rows.loc["c", "lag_s"])
    assert checked_heading(rows.reset_index()) == "Strengths and positions follow different clocks in b"
    both = rows.reset_index().assign(verdict=["azimuths were stamped 3 s after the positions", "strengths were stamped 5 s after the positions", "no clear lag"])
    assert checked_heading(both) == "Strengths and positions follow different clocks in b; azimuths and positions follow different clocks in a"
    assert checked_heading(rows.reset_index().iloc[:1]) == "Clocks agree in every flight, as far as beacons can tell"


def test_without_a_heard_beacon_the_report_says_that_nothing_tests_the_instruments(tmp_path):
    rows = instrument_rows(Instruments(), ["a"])
    assert instrument_messages(Instruments(), 3.0) == []
    assert "Nothing tests clocks and azimuths" in instruments_checked(Book(tmp_path, tmp_path), rows).report_html()


def test_the_table_shows_intervals_and_says_where_the_test_on_held_out_beacons_stands(tmp_path):
    page = instruments_checked(Book(tmp_path, tmp_path), instrument_rows(found(5.2, se_s=0.8, azimuth_lag=(0.4, 1.0)), ["a", "b"])).report_html()
    assert "5.2 (3.6 to 6.8)" in page and "0.4 (\u22121.6 to 2.4)" in page and "held-out beacons" in page


def test_rows_of_a_campaign_without_flights_are_none():
    assert instrument_rows(Instruments(), pd.Series([], dtype=str)).empty
