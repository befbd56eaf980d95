"""Flights joined: one sequence with a break, on paths where the answer is plain."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from pipeline.calibration import Heard
from pipeline.calibration.joining import chance_of_silence, join_by_hand, join_heard, join_listenings, joined_evidence
from pipeline.location import ByHand, Located, Posterior, SearchArea, adaptive_posterior, gather_evidence, log_likelihood
from pipeline.radio import KnownTag, TerrainLoss
from pipeline.radio.lanes import log_likelihoods, side_by_side
from pipeline.radio.parameters import Parameter
from pipeline.radio.propagation import sightlines
from tests.radio_sample import heard_along, line_path, listening, signal_model, square_path

MODEL = signal_model()
PLACE = np.array([120.0, -60.0])
AREA = SearchArea(-1000.0, -1000.0, 1000.0, 1000.0)


def flight(path, seed, power_db=-20.0):
    return listening(*path, heard_along(path, PLACE, MODEL, np.random.default_rng(seed), power_db))


def heard(part, flight_id, style="lines", **more):
    return Heard("T", flight_id, "collar", part, style=style, **more)


@pytest.fixture
def two():
    return flight(line_path(), 1), flight(square_path(), 2)


def test_the_join_breaks_the_path_between_flights_and_nowhere_else(two):
    joined = join_listenings(list(two))
    assert len(joined) == len(two[0]) + len(two[1])
    assert list(np.flatnonzero(np.isinf(joined.step_m))) == [0, len(two[0])]
    np.testing.assert_array_equal(joined.strength_db, np.concatenate([part.strength_db for part in two]))
    assert joined.time_s is None


def test_with_the_power_known_and_no_drift_joined_flights_say_what_each_says_added_up(two):
    known = signal_model(power_sd_db=0.0, power_drift_sd_db=0.0)
    cells = np.array([0.0, 100.0, -300.0]), np.array([0.0, -50.0, 200.0])
    apart = [log_likelihood(part, known, *cells, "collar") for part in two]
    np.testing.assert_allclose(log_likelihood(join_listenings(list(two)), known, *cells, "collar"), np.sum(apart, axis=0), rtol=1e-9)


def test_joined_flights_are_weighed_as_the_flights_of_a_beacon_are():
    """The fit on beacons takes the flights of a beacon side by side: the same records at the same place must give the same evidence."""
    parts = flight(line_path(), 1), flight(square_path(), 2)
    values = {name: getattr(MODEL, name) for name in ("exponent", "ahead_db", "ahead_squared_db", "below_db", "power_sd_db", "power_drift_sd_db", "shadowing_sd_db", "shadowing_length_m",
                                                      "noise_sd_db", "threshold_db", "threshold_shift_db", "softness_db", "miss_share", "fault_share")} | {"power_mean_db collar": -20.0}
    parameters = tuple(Parameter(name, "plain", value, 1.0, "", "") for name, value in values.items())
    lanes = side_by_side([KnownTag("T", "T", "collar", *PLACE, 0.0, parts)])
    expected = log_likelihoods(lanes, parameters, np.array([[p.prior_mean for p in parameters]]))[0, 0]
    assert log_likelihood(join_listenings(list(parts)), MODEL, [PLACE[0]], [PLACE[1]], "collar")[0] == pytest.approx(expected, rel=1e-9)


def test_two_flights_tell_more_than_one(two):
    def region(part):
        return adaptive_posterior(lambda east, north: log_likelihood(part, MODEL, east, north, "collar"), AREA).region_area_ha(0.95)

    assert region(join_listenings(list(two))) < min(region(part) for part in two)


def test_ground_that_is_known_in_one_flight_only_is_level_in_the_other(two):
    # A ridge 150 m high runs north to south through the middle of the flights.
    across = np.abs(np.arange(120) - 60.0)
    ridge = TerrainLoss(np.repeat(np.maximum(150.0 - 10.0 * across, 0.0)[None, :], 120, axis=0), -1200.0, 1200.0, 20.0)
    second = replace(two[1], terrain=ridge.along(two[1], (-800.0, -800.0, 800.0, 800.0)))
    places = np.array([-500.0, 10.0, 400.0]), np.array([0.0, 300.0, -200.0])
    lines, apart = sightlines(join_listenings([two[0], second]), *places), [sightlines(part, *places) for part in (two[0], second)]
    for name in type(lines).__dataclass_fields__:
        np.testing.assert_array_equal(getattr(lines, name), np.concatenate([getattr(part, name) for part in apart]), err_msg=name)
    assert lines.terrain_loss_db.max() > 10.0 and not lines.terrain_loss_db[:len(two[0])].any()
    assert join_listenings(list(two)).terrain is None


def test_one_flight_or_an_empty_one_is_no_join(two):
    for parts in ([two[0]], [two[0], listening([], [], [])]):
        with pytest.raises(ValueError, match="two flights or more with records are joined"):
            join_listenings(parts)


def test_a_joined_tag_is_named_after_its_flights_and_keeps_a_style_that_they_share(two):
    same = join_heard([heard(two[0], "a"), heard(two[1], "b")])
    assert (same.flight_id, same.style, same.tag_id) == ("a + b", "lines", "T")
    assert join_heard([heard(two[0], "a"), heard(two[1], "b", "loop")]).style == ""


def test_a_beacon_at_two_places_is_not_joined(two):
    with pytest.raises(ValueError, match="one tag at one place"):
        join_heard([heard(two[0], "a", place_id="B1@1"), heard(two[1], "b", place_id="B1@2")])


def test_bearings_of_both_flights_enter_the_join():
    one = ByHand(np.array([1.0]), np.array([2.0]), np.array([45.0]), np.array([30.0]), *(np.zeros(0) for _ in range(3)))
    assert join_by_hand([one, None, one]).bearings == 2
    assert join_by_hand([None, None]) is None


def test_passes_and_independent_records_are_counted_flight_by_flight(two):
    parts = [heard(part, name) for part, name in zip((two[0], two[0]), "ab")]
    joined = join_heard(parts)
    posterior = adaptive_posterior(lambda east, north: log_likelihood(joined.listening, MODEL, east, north, "collar"), AREA)
    both = joined_evidence(parts, joined, Located(posterior, 0.0), MODEL)
    once = gather_evidence(two[0], posterior, MODEL, 0.0)
    # Twice the same flight, and nothing correlates across the break: twice of everything.
    assert both.records_heard == 2 * once.records_heard and both.passes == 2 * once.passes
    assert both.effective_records == pytest.approx(2 * once.effective_records)


def test_the_chance_of_silence_of_one_record_is_the_normal_one():
    # One record 300 m off: strength is normal with the variances of power, shadowing and noise added (and of the threshold), and a share of records hears nothing at all.
    model, silent = signal_model(miss_share=0.05), listening([0.0], [0.0], [np.nan], threshold_db=-80.0)
    slant = np.hypot(300.0, 80.0)
    mean, sd = -20.0 - 25.0 * np.log10(slant), np.sqrt(4.0**2 + 4.0**2 + 1.5**2 + 1.0**2)
    expected = 0.05 + 0.95 * norm.cdf((-80.0 - mean) / sd)
    posterior = Posterior(np.array([0]), np.array([0]), 300.0, 0.0, 2.0, np.zeros(1))
    assert chance_of_silence(heard(silent, "a"), posterior, model) == pytest.approx(expected, rel=1e-6)


def test_silence_close_by_is_a_contradiction_and_silence_far_off_is_none():
    silent = heard(listening(*line_path()).with_nothing_heard(), "a")
    near, far = (Posterior(np.array([0]), np.array([0]), place, 0.0, 5.0, np.zeros(1)) for place in (0.0, 50_000.0))
    assert chance_of_silence(silent, near, MODEL) < 1e-3
    assert chance_of_silence(silent, far, MODEL) > 0.99
