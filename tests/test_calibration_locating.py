"""The whole way from records to calibrated fixes, on a small campaign drawn from the model itself."""

import numpy as np
import pandas as pd
import pytest

from pipeline.calibration import fit_held_out, find_widening, gather_heard, locate_all
from pipeline.columns import BEACONS, RECORDS, TAGS, conform
from tests.radio_sample import heard_along, line_path, signal_model

TRUTH = signal_model(miss_share=0.001, fault_share=0.001)
START = pd.Timestamp("2026-04-21T06:00:00Z")


def records_of(tag_id, place, generator, flight_id="f1"):
    east, north = line_path()
    strength = heard_along((east, north), place, TRUTH, generator, -20.0 + 4.0 * generator.standard_normal())
    return pd.DataFrame({
        "flight_id": flight_id, "tag_id": tag_id, "record": np.arange(len(east)), "time_utc": START + pd.to_timedelta(6 * np.arange(len(east)), unit="s"),
        "easting_m": east, "northing_m": north, "height_above_ground_m": 80.0, "heard": ~np.isnan(strength), "strength_db": strength, "usable": True,
    })


@pytest.fixture(scope="module")
def campaign():
    generator = np.random.default_rng(8)
    places = {f"{'B' if number < 7 else 'T'}{number}": generator.uniform(-400, 400, 2) for number in range(14)}
    records = conform(pd.concat([records_of(tag, place, generator) for tag, place in places.items()]), RECORDS)
    known = [tag for tag in places if tag.startswith("B")]
    beacons = conform(pd.DataFrame({"tag_id": known, "place_id": known, "tag_type": "collar", "use": "both", "height_above_ground_m": 0.0,
                                    "easting_m": [places[tag][0] for tag in known], "northing_m": [places[tag][1] for tag in known]}), BEACONS)
    tags = conform(pd.DataFrame({"tag_id": list(places), "tag_type": "collar"}), TAGS)
    return records, tags, beacons, places


@pytest.fixture(scope="module")
def located(campaign):
    records, tags, beacons, _ = campaign
    models = fit_held_out(records, beacons, seed=1)
    heard = gather_heard(records, tags, beacons)
    widening = find_widening(heard, models)
    return heard, models, widening, locate_all(heard, models, widening)


def test_every_heard_tag_gets_a_fix_within_its_error(campaign, located):
    places = campaign[3]
    errors = [np.hypot(*(fix.posterior.mean() - places[item.tag_id])) for item, fix in zip(located[0], located[3])]
    assert len(errors) == 14
    assert np.median(errors) < 100
    assert all(fix.posterior.level_at(*places[item.tag_id]) < 0.9999 for item, fix in zip(located[0], located[3]))


def test_the_strengths_of_a_beacon_do_not_enter_the_model_that_locates_it(campaign):
    """Shift all strengths of one beacon by 9 dB: its own model must not move, everybody else's must."""
    records, _, beacons, _ = campaign
    shifted = records.copy()
    own = shifted["tag_id"] == "B0"
    shifted.loc[own, "strength_db"] = shifted.loc[own, "strength_db"] + 9.0
    before, after = (fit_held_out(table, beacons, seed=1) for table in (records, shifted))
    errors = np.sqrt(np.diag(before.for_place("B0").covariance))
    assert (np.abs(before.for_place("B0").vector - after.for_place("B0").vector) / errors).max() < 0.1
    assert (np.abs(before.whole.vector - after.whole.vector) / np.sqrt(np.diag(before.whole.covariance))).max() > 0.1


def test_a_beacon_kept_for_testing_enters_no_model_and_no_widening(campaign, located):
    records, tags, beacons, _ = campaign
    kept = beacons.copy()
    kept.loc[kept["tag_id"] == "B6", "use"] = "test"
    models = fit_held_out(records, kept, seed=1)
    assert models.whole.beacons == 6
    assert "B6" not in find_widening(gather_heard(records, tags, kept), models, {"B6"}).left_out


def test_without_beacons_every_fix_rests_on_the_priors(campaign):
    records, tags, beacons, places = campaign
    none = beacons.iloc[:0]
    models = fit_held_out(records, none, seed=1)
    heard = gather_heard(records, tags, none)[:3]
    widening = find_widening(heard, models)
    assert (models.whole.beacons, widening.places) == (0, 0)
    assert widening.overall == pytest.approx(0.85, rel=0.02)
    assert all(np.isfinite(fix.posterior.mean()).all() for fix in locate_all(heard, models, widening))


def test_the_same_records_give_the_same_fixes(campaign, located):
    again = locate_all(located[0][:2], located[1], located[2])
    for first, second in zip(located[3], again):
        assert np.array_equal(first.posterior.log_density, second.posterior.log_density)


def test_a_margin_that_the_survey_names_is_kept_to(located):
    near = locate_all(located[0][:3], located[1], located[2], margin_m=50.0)
    for fix in near:
        assert fix.posterior.easting_m.min() >= -550 and fix.posterior.easting_m.max() <= 550
