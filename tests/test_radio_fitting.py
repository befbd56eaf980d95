from dataclasses import replace

import numpy as np
import pytest

from pipeline.radio import KnownTag, SignalModel, fit_leaving_out, fit_signal_model, prior_model
from tests.radio_sample import heard_along, listening, signal_model, square_path

TRUTH = signal_model(miss_share=0.001, fault_share=0.001, power_drift_sd_db=0.5)


def beacons(count, flights=2, seed=1):
    """Beacons inside a square loop, their records drawn from the model that is to be found again."""
    generator, path = np.random.default_rng(seed), square_path(500.0, 20)
    found = []
    for number in range(count):
        place, power = generator.uniform(-450, 450, 2), -20.0 + 4.0 * generator.standard_normal()
        heard = [heard_along(path, place, TRUTH, generator, power) for _ in range(flights)]
        found.append(KnownTag(f"B{number}", f"B{number}", "collar", *place, 0.0, tuple(listening(*path, strength) for strength in heard)))
    return found


@pytest.fixture(scope="module")
def fitted():
    return fit_leaving_out(beacons(8), ["B0", "B5"])


@pytest.mark.parametrize("name, truth", [("exponent", 2.5), ("shadowing_sd_db", 4.0), ("noise_sd_db", 1.5), ("threshold_db", -92.0),
                                         ("power_sd_db", 4.0), ("shadowing_length_m", 120.0)])
def test_what_the_records_were_drawn_with_is_found_again_within_three_standard_errors(fitted, name, truth):
    row = fitted[0].table().set_index("parameter").loc[name]
    assert abs(row["value"] - truth) < 3 * row["standard_error"]
    assert row["standard_error"] > 0


def test_a_model_left_out_is_the_model_fitted_without_that_place(fitted):
    alone = fit_signal_model([tag for tag in beacons(8) if tag.place_id != "B0"])
    left_out = fitted[1]["B0"]
    assert left_out.beacons == 7
    # the priors centre on the strengths of the beacons at hand, which leaves a trace far below the standard errors
    errors = np.abs(alone.vector - left_out.vector) / np.sqrt(np.diag(alone.covariance))
    assert errors.max() < 0.1


def test_the_estimate_does_not_depend_on_the_order_of_beacons(fitted):
    turned = fit_signal_model(beacons(8)[::-1])
    assert (np.abs(turned.vector - fitted[0].vector) / np.sqrt(np.diag(turned.covariance))).max() < 0.02


def test_leaving_the_absences_out_makes_the_threshold_run_away():
    """Why a heard record must also say that it beat the threshold: silent records hold the threshold where it is."""
    row = fit_signal_model(beacons(8)).table().set_index("parameter").loc["threshold_db"]
    assert abs(row["value"] - -92.0) < 1.0


def test_without_azimuths_no_pattern_is_estimated(fitted):
    assert not any(p.name.startswith("ahead") for p in fitted[0].parameters)
    assert fitted[0].model.ahead_db == 0.0


def test_one_beacon_still_gives_a_model_and_says_how_weak_it_is():
    one, left_out = fit_leaving_out(beacons(1), ["B0"])
    assert left_out == {}
    assert one.table().set_index("parameter").loc["power_sd_db", "prior_share"] > 0.5


def test_nothing_to_fit_on_is_an_error_that_says_so():
    with pytest.raises(ValueError, match="nothing to fit a signal model on"):
        fit_signal_model([])


def test_the_prior_model_rests_on_no_beacon_and_covers_the_truth_widely():
    model = prior_model([listening(*square_path(), heard_along(square_path(), (100.0, 50.0), TRUTH, np.random.default_rng(4), -20.0))])
    assert (model.beacons, model.records_heard) == (0, 0)
    assert (model.table()["prior_share"] == 1.0).all()
    assert len(model.draws(4, np.random.default_rng(1))) == 4


def test_draws_come_in_pairs_about_the_mean_of_the_posterior(fitted):
    drawn = fitted[0].draws(4, np.random.default_rng(1))
    at = [p.name for p in fitted[0].parameters].index("exponent")
    np.testing.assert_allclose((drawn[0].exponent + drawn[2].exponent) / 2, fitted[0].mean[at])
    assert drawn[0].exponent != drawn[1].exponent


def test_two_draws_for_every_parameter_have_exactly_its_mean_and_spread(fitted):
    whole, count = fitted[0], 2 * len(fitted[0].vector)
    for name, value in (("exponent", lambda model: model.exponent), ("power_mean_db collar", lambda model: model.power_mean_db["collar"])):
        at = [p.name for p in whole.parameters].index(name)
        drawn = np.array([value(model) for model in whole.draws(count, np.random.default_rng(3))])
        np.testing.assert_allclose([drawn.mean(), drawn.std()], [whole.mean[at], np.sqrt(whole.covariance[at, at])])


def test_the_mean_lies_beside_the_top_by_a_part_of_the_standard_error(fitted):
    whole = fitted[0]
    beside = np.abs(whole.mean - whole.vector) / np.sqrt(np.diag(whole.covariance))
    assert 0 < beside.max() < 1.0


def test_draws_hardly_change_when_the_covariance_hardly_does():
    # parameters equally well known, a billionth apart: which axes a decomposition calls the first is then chance, and draws must not hang on it
    prior = prior_model([listening(*square_path())])
    count = len(prior.vector)
    nudge = 1e-9 * np.random.default_rng(3).standard_normal((count, count))
    plain, nudged = (replace(prior, covariance=np.eye(count) + change).draws(4, np.random.default_rng(1)) for change in (0.0, nudge + nudge.T))
    assert [model.exponent for model in nudged] == pytest.approx([model.exponent for model in plain], abs=1e-6)
    assert len({round(model.exponent, 3) for model in plain}) == 4


def test_a_model_survives_being_written_as_plain_numbers():
    assert SignalModel.from_dict(TRUTH.to_dict()) == TRUTH


def test_a_tag_type_never_calibrated_gets_the_mean_power_and_a_wider_spread():
    model = signal_model(power_mean_db={"a": -20.0, "b": -24.0})
    scatter = model.scatter("c")
    assert scatter.power_mean_db == -22.0
    assert scatter.power_sd_db == pytest.approx(np.hypot(4.0, 6.0))


def test_a_record_without_noise_uses_the_usual_threshold_of_those_that_have_it():
    path = square_path(500.0, 20)
    strength = heard_along(path, (100.0, 50.0), TRUTH, np.random.default_rng(4), -20.0)
    own = KnownTag("B", "B", "collar", 100.0, 50.0, 0.0, (listening(*path, strength, threshold_db=-92.0),))
    fitted = fit_signal_model([own])
    np.testing.assert_allclose(fitted.model.thresholds_db(listening(*path)), -92.0 + fitted.model.threshold_shift_db)


def test_with_nothing_heard_a_tag_at_the_usual_reach_just_meets_the_threshold():
    for threshold in (np.nan, -110.0):
        model = prior_model([listening(*square_path(), threshold_db=threshold)]).model
        expected = model.mean_power_db("") - 10 * model.exponent * np.log10(700.0)
        np.testing.assert_allclose(expected, model.thresholds_db(listening([0.0], [0.0], threshold_db=threshold)), atol=1e-9)
