"""Clocks put right before beacons are located: no flight pays for another's clock, and no azimuth bias for a lag."""

import pandas as pd
import pytest

import pipeline.calibration.held_out as held_out
from pipeline.calibration import fit_held_out
from pipeline.radio import Chosen, fit_leaving_out
from tests.test_calibration_instruments import tables
from tests.test_radio_timing import beacons


def usual_tails(known, places, ceiling_db=None):
    """The usual error of a faulty record, untried."""
    return Chosen(*fit_leaving_out(known, places, rough=True, ceiling_db=ceiling_db), pd.DataFrame())


@pytest.mark.parametrize("seed, lag_s", [(62, 18.0), (60, 5.0)])
def test_a_clock_that_is_off_in_a_turning_flight_is_taken_out_there_and_nowhere_else(seed, lag_s, monkeypatch):
    """Flights whose antennas turn: estimated at a bias that the lag itself has made, 13 s were found for 18 and 3 s for 5, and a lag in another flight."""
    monkeypatch.setattr(held_out, "fit_with_chosen_tails", usual_tails)
    models = fit_held_out(*tables(beacons(seed, lag_s=lag_s, count=8)), seed=1)
    assert models.corrections.lags_s["turning"] == pytest.approx(lag_s, abs=1.5)
    assert models.corrections.lags_s["lines"] == models.corrections.lags_s["loop"] == 0.0
    assert abs(models.whole.model.azimuth_bias_deg) < 8.0
    assert len(models.left_out_lags_s) == 8
    for applied in models.left_out_lags_s.values():
        assert applied["turning"] == pytest.approx(lag_s, abs=2.0) and applied["lines"] == applied["loop"] == 0.0
