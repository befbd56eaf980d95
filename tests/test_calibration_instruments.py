"""The quick look at clocks and antenna on all beacons."""

import numpy as np
import pandas as pd
import pytest

from pipeline.calibration import look_at_instruments
from pipeline.columns import BEACONS, RECORDS, conform
from tests.test_radio_timing import beacons


def tables(known):
    """RECORDS and BEACONS of what beacons heard, as a campaign has them."""
    start, rows = pd.Timestamp("2027-05-03T09:00:00Z"), []
    for tag in known:
        for number, heard in enumerate(tag.listenings):
            rows.append(pd.DataFrame({
                "flight_id": heard.flight_id, "tag_id": tag.tag_id, "record": np.arange(len(heard)), "time_utc": start + pd.to_timedelta(heard.time_s + 7200.0 * number, unit="s"),
                "easting_m": heard.easting_m, "northing_m": heard.northing_m, "height_above_ground_m": heard.height_above_ground_m, "antenna_azimuth_deg": heard.azimuth_grid_deg,
                "antenna_azimuth_grid_deg": heard.azimuth_grid_deg, "heard": heard.heard, "strength_db": heard.strength_db, "usable": True}))
    places = pd.DataFrame({"tag_id": [tag.tag_id for tag in known], "place_id": [tag.place_id for tag in known], "tag_type": "collar", "use": "both", "height_above_ground_m": 0.0,
                           "easting_m": [tag.easting_m for tag in known], "northing_m": [tag.northing_m for tag in known]})
    return conform(pd.concat(rows), RECORDS), conform(places, BEACONS)


def test_a_lag_is_found_from_the_tables_with_drift_and_azimuth_lag_beside_it():
    records, places = tables(beacons(57, lag_s=18.0, count=7))
    found = look_at_instruments(records, places)
    assert found.lags["turning"].clear and abs(found.lags["turning"].value - 18.0) < 2 * found.lags["turning"].se
    assert not found.lags["loop"].clear and not found.lags["lines"].clear
    assert set(found.drifts) == {"turning", "loop", "lines"} and not any(drift.clear for drift in found.drifts.values())
    # only where the antenna turns fast can its own lag be told from a bias
    assert set(found.azimuth_lags) == {"turning", "lines"}
    assert found.turning["turning"] == pytest.approx(8.0, abs=0.5) and found.turning["loop"] < 5.0


def test_azimuths_that_come_late_are_not_blamed_on_the_clock_alone():
    """Without the azimuth's own lag the clock is found 2 s off, clearly; with it the clock is right, and either the azimuth's lag is clear or both are said to be possible."""
    found = look_at_instruments(*tables(beacons(52, azimuth_lag_s=3.0, count=8)))
    assert not found.lags["turning"].clear or found.could_be_azimuths("turning")
    assert found.azimuth_lags["turning"].interval_95[0] <= 3.0 <= found.azimuth_lags["turning"].interval_95[1]
    assert not found.lags["loop"].clear and not found.could_be_azimuths("lines")


def test_beacons_kept_for_testing_and_campaigns_that_heard_none_say_nothing():
    records, places = tables(beacons(58, count=1, flights=("loop",)))
    assert look_at_instruments(records, places.assign(use="test")).lags == {}
    assert look_at_instruments(records, places.iloc[:0]).lags == {}
    assert look_at_instruments(records.assign(heard=False, strength_db=np.nan), places).lags == {}
