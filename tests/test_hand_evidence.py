import numpy as np
import pandas as pd
import pytest

from pipeline.location import Evidence, Gates, concentration_from_sd, status_of
from pipeline.stages.hand_evidence import gather_by_hand, usual_concentration

FLIGHTS = pd.DataFrame({"flight_id": ["f1", "f2"], "start_utc": pd.to_datetime(["2026-04-21T06:00Z", "2026-04-22T06:00Z"]),
                        "end_utc": pd.to_datetime(["2026-04-21T06:20Z", "2026-04-22T06:20Z"])})
NO_BEACONS = pd.DataFrame({"tag_id": pd.Series([], dtype="string"), "easting_m": [], "northing_m": []})


def bearings(rows):
    return pd.DataFrame(rows, columns=["tag_id", "time_utc", "easting_m", "northing_m", "bearing_grid_deg", "bearing_sd_deg"]).assign(
        time_utc=lambda table: pd.to_datetime(table["time_utc"], utc=True))


def sightings(rows):
    return pd.DataFrame(rows, columns=["tag_id", "time_utc", "easting_m", "northing_m", "position_sd_m"]).assign(time_utc=lambda table: pd.to_datetime(table["time_utc"], utc=True))


def test_evidence_enters_the_flight_during_which_it_was_had_and_the_rest_is_told():
    taken = bearings([("A", "2026-04-21T06:05Z", 0.0, 0.0, 45.0, 5.0), ("A", "2026-04-22T06:10Z", 0.0, 0.0, 50.0, 5.0), ("A", "2026-04-23T06:10Z", 0.0, 0.0, 50.0, 5.0)])
    seen = sightings([("C", "2026-04-21T06:19Z", 10.0, 20.0, 5.0)])
    found, used = gather_by_hand(taken, seen, FLIGHTS, NO_BEACONS)
    assert {key: (hand.bearings, hand.sightings) for key, hand in found.items()} == {("A", "f1"): (1, 0), ("A", "f2"): (1, 0), ("C", "f1"): (0, 1)}
    assert list(used["used"]) == [True, True, False, True]
    assert used.loc[2, "why"] == "not during a flight, nor within ten minutes of one"


def test_a_stated_scatter_is_kept_and_a_blank_one_is_taken_for_ten_degrees():
    taken = bearings([("A", "2026-04-21T06:05Z", 0.0, 0.0, 45.0, 5.0), ("A", "2026-04-21T06:06Z", 0.0, 0.0, 45.0, np.nan)])
    found, _ = gather_by_hand(taken, sightings([]), FLIGHTS, NO_BEACONS)
    np.testing.assert_allclose(found["A", "f1"].concentration, concentration_from_sd([5.0, 10.0]))


def test_bearings_to_beacons_tell_the_scatter_and_enter_no_fix():
    beacons = pd.DataFrame({"tag_id": pd.Series(["B"], dtype="string"), "easting_m": [0.0], "northing_m": [1000.0]})
    errors = [-6.0, 6.0, -3.0, 3.0, -5.0, 5.0, -4.0, 4.0]
    taken = bearings([("B", "2026-04-21T06:05Z", 0.0, 0.0, error % 360, np.nan) for error in errors])
    found, used = gather_by_hand(taken, sightings([]), FLIGHTS, beacons)
    assert found == {}
    assert not used["used"].any()
    mean_cosine = np.mean(np.cos(np.radians(errors)))
    assert usual_concentration(taken, beacons) == pytest.approx(float(concentration_from_sd(np.degrees(np.sqrt(-2 * np.log(mean_cosine))))), rel=1e-6)
    assert usual_concentration(taken.head(3), beacons) == pytest.approx(float(concentration_from_sd(10.0)))


def test_crossing_bearings_stand_for_the_gates_on_records_but_not_for_those_on_the_region():
    weak = {"records_listened": 200, "records_heard": 1, "effective_records": 1.0, "passes": 1, "bearing_spread_deg": 0.0, "place_shares": (1.0,), "edge_probability": 0.0}
    status, reason = status_of(Evidence(**weak, radius_95_m=120.0, bearings=2), Gates())
    assert status == "located"
    assert reason.startswith("Heard in 1 of 200 records, with 2 hand bearings on")
    assert status_of(Evidence(**weak, radius_95_m=900.0, bearings=2), Gates())[0] == "area only"
    assert status_of(Evidence(**weak, radius_95_m=120.0, bearings=1), Gates())[0] == "area only"
    assert status_of(Evidence(**weak, radius_95_m=20.0, sightings=1), Gates())[0] == "located"
