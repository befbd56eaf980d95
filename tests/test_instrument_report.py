"""What the calibration report says of clocks, antenna and hills."""

from types import SimpleNamespace

import pandas as pd
import pytest

from pipeline.stages.instrument_report import bias_words, crude_bias_sentence, crude_lag_sentence, fault_words, hills_words, instruments_heading, lag_words, level_words, worth_heading, worth_paragraph

SEEN = pd.DataFrame({"flight_id": ["a"], "share_without_terrain": [0.0]})


def lag(lag_s, applied_s):
    return SimpleNamespace(lag_s=lag_s, applied_s=applied_s, beacons=9)


def test_a_lag_says_which_came_later():
    assert lag_words(lag(5.2, 5.0)) == "strengths were stamped 5 s after the positions: taken out"
    assert lag_words(lag(5.2, 5.0), "looked at again") == "strengths were stamped 5 s after the positions: looked at again"
    assert "4 s before the positions" in lag_words(lag(-4.1, -4.0))
    assert lag_words(lag(0.4, 0.0)) == "not clear (9 beacons), nothing done"


def test_the_error_of_a_faulty_record_says_that_the_testing_beacons_chose_it():
    tried = pd.DataFrame({"fault_sd_db": [10.0, float("nan"), 20.0], "chosen": [False, False, True]})
    assert fault_words(tried) == "of 3 errors tried, 20 dB foretold left-out beacons best (record_faults.csv); the beacons that chose it are those that test the fixes"
    assert "10 dB (common practice, no source)" in fault_words(tried.iloc[:1])


@pytest.mark.parametrize("lag_s, named", [(18.0, True), (-17.2, True), (16.5, True), (12.0, False), (21.0, False)])
def test_eighteen_seconds_are_named_as_gps_time(lag_s, named):
    """GPS time is 18 s ahead of UTC since 2017-01-01: IERS."""
    assert ("GPS time" in lag_words(lag(lag_s, round(lag_s)))) is named


def test_a_bias_of_the_size_of_the_declination_is_named_as_such():
    assert "are these azimuths magnetic?" in bias_words(11.0, 2.0, 12.5)
    assert "11 degrees right" in bias_words(11.0, 2.0, 12.5)
    # the other way round, a small declination, or azimuths that are magnetic already: only a bias
    for declination in (-12.5, 1.0, None):
        assert "magnetic" not in bias_words(11.0, 2.0, declination)
    assert bias_words(3.0, 2.0, 3.0).startswith("not clear")


def test_both_estimates_of_the_azimuth_bias_stand_side_by_side_with_their_errors():
    model = pd.DataFrame({"parameter": ["azimuth_bias_deg"], "value": [-4.05], "standard_error": [1.8]})
    checked = pd.DataFrame({"azimuth_bias_deg": [-6.1], "azimuth_bias_se_deg": [3.1]})
    said = crude_bias_sentence(model, checked)
    assert "−4.0 degrees (standard error 1.8) in the signal model and −6.1 degrees (standard error 3.1), not clear by itself, in the quicker look of the quality check, which estimates the clock lags beside it." in said and "2.2 standard errors are no proof" in said
    assert "no proof" not in crude_bias_sentence(model.assign(value=-12.0), checked)
    assert crude_bias_sentence(model, pd.DataFrame({"azimuth_bias_deg": [""], "azimuth_bias_se_deg": [""]})) == ""     # a blank column of a file
    assert crude_bias_sentence(model, checked.head(0)) == crude_bias_sentence(model.head(0), checked) == ""


def test_a_terrain_model_of_which_nothing_is_found_is_doubted():
    assert "in the right place?" in hills_words(0.03, 0.04, SEEN)
    assert "in the right place?" not in hills_words(0.45, 0.03, SEEN)
    assert "up to 30 % of the paths" in hills_words(0.45, 0.03, SEEN.assign(share_without_terrain=0.3))


def test_the_heading_names_flights_and_says_so_when_all_agree():
    table = pd.DataFrame({"what": ["clock lag", "clock lag"], "where": ["flight a", "flight b"], "said": [lag_words(lag(5.0, 5.0)), lag_words(lag(0.1, 0.0))]})
    assert instruments_heading(table) == "Clocks disagreed in a; this is taken out"
    assert instruments_heading(table.iloc[1:]) == "Clocks and azimuths agree, as far as beacons can tell"
    turned = pd.concat([table, pd.DataFrame({"what": ["azimuth bias"], "where": ["all flights"], "said": [bias_words(12.0, 2.0, None)]})])
    assert instruments_heading(turned) == "Clocks disagreed in a; this is taken out; the antenna seems to point beside its azimuth, a parameter of the model"
    unsure = turned.assign(said=turned["said"].where(turned["what"] != "azimuth bias", bias_words(3.0, 2.0, None)))
    assert instruments_heading(unsure) == "Clocks disagreed in a; this is taken out"
    read = SimpleNamespace(beacons=9, level_db=-6.2, clear=True)
    louder = pd.concat([table, pd.DataFrame({"what": ["level of strengths"], "where": ["flight b"], "said": [level_words(read)]})])
    assert instruments_heading(louder) == "Clocks disagreed in a; this is taken out; strengths of b lie apart from those of the other flights, which is not taken out"


def test_a_flight_that_reads_beacons_weaker_is_said_so_and_one_that_does_not_is_left_alone():
    assert level_words(SimpleNamespace(beacons=9, level_db=-6.2, clear=True)).startswith("9 beacons read 6 dB weaker than in the other flights: gain, antenna or cable may have differed")
    assert level_words(SimpleNamespace(beacons=3, level_db=1.0, clear=False)) == "as in the other flights, within what 3 beacons can show"


def test_what_is_worth_most_is_named_with_both_figures():
    table = pd.DataFrame({"left_out": ["nothing", "hills", "records not heard"], "fixes": 54, "median_m": [60.0, 73.0, 89.0], "p90_m": 150.0, "held_95": [52, 50, 45], "median_region_95_ha": [6.3, 9.3, 13.0]})
    assert worth_heading(table) == "Without the records not heard the median error would be 89 m instead of 60 m"
    assert "without the records not heard they held 45" in worth_paragraph(table)
    alike = table.assign(median_m=[60.0, 61.0, 60.0], held_95=52)
    assert worth_heading(alike) == "No single correction matters much to the median error of these beacons"
    assert "held no fewer" in worth_paragraph(alike)


def test_two_estimates_of_a_lag_that_is_taken_out_are_explained_where_they_differ():
    lags, checked = pd.DataFrame({"flight_id": ["a", "b"], "lag_s": [4.07, 0.6], "applied_s": [4.0, 0.0]}), pd.DataFrame({"flight_id": ["a", "b"], "lag_s": [4.21, -0.2]})
    said = crude_lag_sentence(lags, checked)
    assert "(4.1 s here and 4.2 s there in a)" in said and "whole seconds of the first are taken out" in said and "in b" not in said
    assert crude_lag_sentence(lags, checked.assign(lag_s=4.12)) == crude_lag_sentence(lags.assign(applied_s=0.0), checked) == ""
    # a quality check that looked at nothing leaves no table, or a column without a value
    assert crude_lag_sentence(lags, checked.assign(lag_s="")) == crude_lag_sentence(lags, checked.head(0)) == crude_lag_sentence(lags.head(0), checked) == ""
