"""What each correction is worth, on a campaign in which one flight's clock is off."""

import numpy as np
import pandas as pd
import pytest

from pipeline.calibration import Widening, fit_held_out, gather_heard, locate_all, worth_of_corrections
from pipeline.columns import BEACONS, RECORDS, TAGS, conform
from tests.test_calibration_locating import records_of

LAG_S = 18.0


@pytest.fixture(scope="module")
def campaign():
    """Seven beacons in one flight whose strengths were stamped late: the log puts each three records further on."""
    generator = np.random.default_rng(3)
    places = {f"B{number}": generator.uniform(-400, 400, 2) for number in range(7)}
    records = pd.concat([records_of(tag, place, generator) for tag, place in places.items()])
    late = records.sort_values(["tag_id", "record"]).groupby("tag_id")[["heard", "strength_db"]].shift(int(LAG_S / 6))
    records = records.assign(strength_db=late["strength_db"], heard=late["strength_db"].notna())
    beacons = conform(pd.DataFrame({"tag_id": list(places), "place_id": list(places), "tag_type": "collar", "use": "both", "height_above_ground_m": 0.0,
                                    "easting_m": [place[0] for place in places.values()], "northing_m": [place[1] for place in places.values()]}), BEACONS)
    return conform(records, RECORDS), conform(pd.DataFrame({"tag_id": list(places), "tag_type": "collar"}), TAGS), beacons


def test_a_lag_is_taken_out_of_every_model_and_its_worth_is_told(campaign):
    records, tags, beacons = campaign
    models = fit_held_out(records, beacons, seed=1)
    assert models.corrections.lags_s["f1"] == pytest.approx(LAG_S, abs=2.0)
    assert all(lags["f1"] == pytest.approx(LAG_S, abs=3.0) for lags in models.left_out_lags_s.values())
    heard, widening = gather_heard(records, tags, beacons, corrections_for=models.corrections_for), Widening(0.9, {}, 7)
    table = worth_of_corrections(records, tags, beacons, models, widening, heard, locate_all(heard, models, widening)).set_index("left_out")
    assert list(table.index) == ["nothing", "clock lags", "records not heard", "likeness of neighbouring records"]
    assert table.loc["clock lags", "median_m"] > 1.3 * table.loc["nothing", "median_m"]
    assert table.loc["likeness of neighbouring records", "median_region_95_ha"] < table.loc["nothing", "median_region_95_ha"]


def test_without_beacons_there_is_nothing_to_compare(campaign):
    records, tags, beacons = campaign
    none = beacons.iloc[:0]
    assert worth_of_corrections(records, tags, none, fit_held_out(records, none, seed=1), Widening(0.9, {}, 0), [], []).empty
