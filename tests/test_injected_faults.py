"""Faults put into the demo campaign are found by its nine beacons. The demo's own story holds a clock that is 5 s late in one flight."""

import pytest

from pipeline.calibration import known_tags
from pipeline.radio import Corrections, fit_leaving_out, fit_signal_model, lag_curves, lag_from_curves

LATE_FLIGHT, LATE_S = "0429-b", 5.0


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """(records, beacons) of the demo as the quality check leaves them, and the model fitted on them."""
    from pipeline.stages import quality_check
    from pipeline.stages.workspace import Workspace
    from pipeline.survey import load_survey
    from tests.conftest import PROJECT

    folder = tmp_path_factory.mktemp("demo")
    workspace = Workspace(load_survey(PROJECT / "data" / "demo" / "survey.yml"), folder, folder)
    quality_check.compute(workspace)
    records, beacons = workspace.read_work("records"), workspace.read_work("beacons")
    records = records[records["tag_id"].isin(beacons["tag_id"])]
    return records, beacons, fit_signal_model(known_tags(records, beacons))


def test_the_late_clock_of_the_demo_is_found_within_two_seconds_and_no_other_flight_is_accused(demo):
    records, beacons, fitted = demo
    found = {flight: lag_from_curves(curves) for flight, curves in lag_curves(known_tags(records, beacons), fitted).items()}
    assert abs(found[LATE_FLIGHT].lag_s - LATE_S) < 2.0
    assert abs(found[LATE_FLIGHT].applied_s - LATE_S) <= 2.0
    assert all(lag.applied_s == 0.0 for flight, lag in found.items() if flight != LATE_FLIGHT)


def test_eighteen_seconds_more_are_found_in_a_flight_that_was_right(demo):
    records, beacons, fitted = demo
    corrections = Corrections({"0421-b": -18.0})
    found = lag_from_curves(lag_curves(known_tags(records, beacons, corrections), fitted, ["0421-b"])["0421-b"])
    assert abs(found.lag_s - 18.0) < 2.0


@pytest.mark.parametrize("turned_deg", [12.0, -12.0])
def test_azimuths_off_by_twelve_degrees_are_found_with_an_error_of_five_degrees_or_less_and_within_two_of_them(demo, turned_deg):
    """The demo's antenna points where its log says, but for what its own simulation puts in; what is put in on top is found as a difference."""
    records, beacons, before = demo
    off = records.assign(antenna_azimuth_grid_deg=(records["antenna_azimuth_grid_deg"] - turned_deg) % 360.0)
    known = known_tags(off, beacons)
    after, _ = fit_leaving_out(known, [], start=before)
    rows = [fitted.table().set_index("parameter").loc["azimuth_bias_deg"] for fitted in (before, after)]
    assert rows[1]["standard_error"] <= 5.0
    assert abs(rows[1]["value"] - rows[0]["value"] - turned_deg) <= 2.0 * rows[1]["standard_error"]
