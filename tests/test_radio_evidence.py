"""The one-pass filter against answers that need no filter."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import log_ndtr
from scipy.stats import multivariate_normal, norm

from pipeline.radio import Scatter, log_evidence, stacked_scatter
from pipeline.radio.evidence import observation

RARE = 1e-200
SCATTER = Scatter(power_mean_db=-20.0, power_sd_db=5.0, power_drift_sd_db=0.0, shadowing_sd_db=5.0, shadowing_length_m=150.0, noise_sd_db=1.5,
                  softness_db=1.0, miss_share=RARE, fault_share=RARE, fault_sd_db=10.0)
STEP_M = 72.0


def steps(count):
    return np.concatenate([[np.inf], np.full(count - 1, STEP_M)])[:, None]


def covariance(count, scatter=SCATTER):
    flown = STEP_M * np.arange(count)
    return scatter.shadowing_sd_db**2 * np.exp(-np.abs(flown[:, None] - flown) / scatter.shadowing_length_m) + scatter.power_sd_db**2


def by_integration(strength, gain, threshold, scatter=SCATTER):
    """The same probability from the joint normal distribution: density of what was heard, orthant integral of what was not."""
    heard = ~np.isnan(strength)
    joint, mean = covariance(len(strength), scatter), scatter.power_mean_db + gain
    of_heard = joint[np.ix_(heard, heard)] + scatter.noise_sd_db**2 * np.eye(heard.sum())
    total = multivariate_normal(mean[heard], of_heard).logpdf(strength[heard])
    total += log_ndtr((strength[heard] - threshold) / scatter.softness_db).sum()
    weight = joint[np.ix_(~heard, heard)] @ np.linalg.inv(of_heard)
    given = mean[~heard] + weight @ (strength[heard] - mean[heard])
    left = joint[np.ix_(~heard, ~heard)] - weight @ joint[np.ix_(heard, ~heard)]
    left += (scatter.noise_sd_db**2 + scatter.softness_db**2) * np.eye((~heard).sum())
    return total + np.log(multivariate_normal(given, left).cdf(np.full((~heard).sum(), threshold), rng=np.random.default_rng(0)))


def small_case(generator):
    """14 records past three cells 100 to 400 m apart, or None when fewer than 3 or more than 9 are heard."""
    count, threshold = 14, -20 - 25 * np.log10(420)
    along = STEP_M * np.arange(count)
    cells = np.array([[300.0, 250.0], [450.0, 380.0], [600.0, 150.0]]) + generator.normal(0, 50, (3, 2))
    gain = -25 * np.log10(np.hypot(np.hypot(along[:, None] - cells[:, 0], cells[:, 1]), 80))
    joint = covariance(count) + 1e-9 * np.eye(count)
    true = SCATTER.power_mean_db + gain[:, 0] + np.linalg.cholesky(joint) @ generator.standard_normal(count) + 1.5 * generator.standard_normal(count)
    strength = np.where(true > threshold + generator.standard_normal(count), true, np.nan)
    return (strength, gain, threshold) if 3 <= (~np.isnan(strength)).sum() <= 9 else None


def test_with_every_record_heard_the_evidence_is_the_joint_normal_density():
    generator = np.random.default_rng(3)
    gain = generator.normal(-60, 5, (9, 4))
    strength = -80 + generator.normal(0, 6, 9)
    found = log_evidence(strength[:, None], gain, np.full((9, 1), -500.0), steps(9), SCATTER)
    joint = covariance(9) + 1.5**2 * np.eye(9)
    expected = [multivariate_normal(-20 + gain[:, cell], joint).logpdf(strength) for cell in range(4)]
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-6)


def test_one_record_not_heard_is_a_normal_tail():
    sd = np.sqrt(5**2 + 5**2 + 1.5**2 + 1.0)
    found = log_evidence(np.array([[np.nan]]), np.array([[-70.0]]), np.array([[-92.0]]), steps(1), SCATTER)
    np.testing.assert_allclose(found, norm.logcdf((-92 - -90) / sd), atol=1e-9)


def test_differences_between_cells_agree_with_direct_integration_of_the_normal():
    """Outside reference: orthant probabilities of the multivariate normal by scipy (A. Genz's method)."""
    generator = np.random.default_rng(7)
    cases = [case for case in (small_case(generator) for _ in range(40)) if case is not None][:12]
    off = []
    for strength, gain, threshold in cases:
        found = log_evidence(strength[:, None], gain, np.full((len(strength), 1), threshold), steps(len(strength)), SCATTER)
        expected = np.array([by_integration(strength, gain[:, cell], threshold) for cell in range(3)])
        off += list(np.abs((found - found[0]) - (expected - expected[0]))[1:])
    assert len(cases) == 12
    assert np.median(off) < 0.05
    assert max(off) < 0.2


def test_a_record_not_listened_to_says_nothing():
    generator = np.random.default_rng(5)
    gain = generator.normal(-60, 3, (6, 2))
    strength = np.array([-80.0, np.nan, -78.0, np.nan, -81.0, -79.0])[:, None]
    thresholds = np.full((6, 1), -92.0)
    listened = np.array([1, 1, 1, 1, 0, 0], bool)[:, None]
    found = log_evidence(strength, gain, thresholds, steps(6), SCATTER, listened=listened)
    np.testing.assert_allclose(found, log_evidence(strength[:4], gain[:4], thresholds[:4], steps(4), SCATTER))


def test_a_break_forgets_the_shadowing_and_keeps_the_power():
    """Two flights with nothing in common but the power: the joint normal has only the power's variance between them."""
    strength, gain = np.array([-80.0, -82.0])[:, None], np.full((2, 1), -60.0)
    found = log_evidence(strength, gain, np.full((2, 1), -500.0), np.array([[np.inf], [np.inf]]), SCATTER)
    joint = 25.0 + np.diag([25.0 + 2.25] * 2)
    np.testing.assert_allclose(found, multivariate_normal([-80.0, -80.0], joint).logpdf(strength[:, 0]), atol=1e-6)


def test_a_faulty_record_moves_the_power_less_when_faults_are_allowed_for():
    strength = np.array([-80.0, -80.5, -79.5, -110.0])[:, None]
    gain = np.full((4, 2), -60.0)
    strict = log_evidence(strength, gain, np.full((4, 1), -500.0), steps(4), SCATTER)
    forgiving = log_evidence(strength, gain, np.full((4, 1), -500.0), steps(4), replace(SCATTER, fault_share=0.05))
    assert (forgiving > strict).all()


def test_a_share_of_misses_bounds_what_one_silent_record_can_say():
    near = np.full((1, 1), 0.0)
    found = log_evidence(np.array([[np.nan]]), near, np.array([[-92.0]]), steps(1), replace(SCATTER, miss_share=0.03))
    np.testing.assert_allclose(found, np.log(0.03), atol=1e-6)


def test_models_side_by_side_give_what_each_gives_alone():
    other = replace(SCATTER, shadowing_sd_db=3.0, power_mean_db=-22.0)
    generator = np.random.default_rng(2)
    gain, strength = generator.normal(-60, 4, (5, 7)), np.array([-80.0, np.nan, -84.0, -83.0, np.nan])
    thresholds = np.full((5, 1, 1), -92.0)
    both = log_evidence(strength[:, None, None], np.stack([gain, gain], axis=1), thresholds, steps(5)[:, None], stacked_scatter([SCATTER, other]))
    for found, scatter in zip(both, (SCATTER, other)):
        np.testing.assert_allclose(found, log_evidence(strength[:, None], gain, thresholds[:, 0], steps(5), scatter))


@pytest.mark.parametrize("shadowing_sd_db, power_sd_db", [(2.0, 4.0), (6.0, 8.0)])
def test_the_chance_of_hearing_nothing_at_all_agrees_with_simulation(shadowing_sd_db, power_sd_db):
    """Sampler: 40,000 flights of 20 records; the filter's one-sided updates are approximate, 0.02 is what they are held to."""
    scatter = replace(SCATTER, shadowing_sd_db=shadowing_sd_db, power_sd_db=power_sd_db)
    count, threshold, generator = 20, -92.0, np.random.default_rng(11)
    gain = np.full(count, -68.0)
    joint = covariance(count, scatter) + np.eye(count) * 1e-9
    drawn = -20 + gain + generator.standard_normal((40000, count)) @ np.linalg.cholesky(joint).T
    drawn += np.sqrt(1.5**2 + 1.0) * generator.standard_normal(drawn.shape)
    found = log_evidence(np.full((count, 1), np.nan), gain[:, None], np.full((count, 1), threshold), steps(count), scatter)
    assert abs(float(np.exp(found[0])) - (drawn < threshold).all(axis=1).mean()) < 0.02


def test_a_record_at_the_ceiling_says_only_that_the_strength_was_no_less():
    ceiling = -60.0
    found = log_evidence(np.array([[ceiling]]), np.array([[-30.0]]), np.array([[-92.0]]), steps(1), replace(SCATTER, ceiling_db=ceiling))
    sd = np.sqrt(SCATTER.power_sd_db**2 + SCATTER.shadowing_sd_db**2 + SCATTER.noise_sd_db**2)
    assert found[0] == pytest.approx(norm(-50.0, sd).logsf(ceiling), abs=1e-9)


def test_records_at_the_ceiling_agree_with_the_orthant_integral():
    """Three records at the ceiling, then one below it: the joint normal distribution by direct integration (scipy)."""
    ceiling, strength = -55.0, np.array([-55.0, -55.0, -55.0, -63.0])
    gain = np.array([-34.0, -32.0, -35.0, -41.0])
    found = log_evidence(strength[:, None], gain[:, None], np.full((4, 1), -500.0), steps(4), replace(SCATTER, ceiling_db=ceiling))
    joint, mean = covariance(4) + SCATTER.noise_sd_db**2 * np.eye(4), SCATTER.power_mean_db + gain
    weight = joint[:3, 3:] / joint[3, 3]
    above = multivariate_normal(-(mean[:3] + weight[:, 0] * (strength[3] - mean[3])), joint[:3, :3] - weight @ joint[3:, :3])
    exact = norm(mean[3], np.sqrt(joint[3, 3])).logpdf(strength[3]) + np.log(above.cdf(np.full(3, -ceiling), rng=np.random.default_rng(0)))
    # the bound asked of the filter at worst; one-sided records are matched in mean and variance only
    assert found[0] == pytest.approx(exact, abs=0.2)


def test_one_pass_gives_what_the_first_so_many_records_alone_give():
    strength, gain, threshold = small_case(np.random.default_rng(5))
    limits = np.full((14, 1), threshold)
    running = log_evidence(strength[:, None], gain, limits, steps(14), SCATTER, after=[1, 6, 14])
    alone = [log_evidence(strength[:count, None], gain[:count], limits[:count], steps(14)[:count], SCATTER) for count in (1, 6, 14)]
    np.testing.assert_array_equal(running, alone)


def probability_of_all(gain_db, scatter, ceiling_db):
    """Not heard, every value below the ceiling, and the ceiling itself, in one record."""
    def probability(strength_db):
        return float(np.exp(log_evidence(np.array([[strength_db]]), np.array([[gain_db]]), np.array([[-92.0]]), steps(1), replace(scatter, ceiling_db=ceiling_db))[0]))

    below, _ = quad(probability, -220.0, min(ceiling_db, 20.0) - 1e-9, points=[-92.0, -20.0 + gain_db], limit=400)
    return probability(np.nan) + below + (probability(ceiling_db) if np.isfinite(ceiling_db) else 0.0)


@pytest.mark.parametrize("fault_share", [RARE, 0.05, 0.6])
@pytest.mark.parametrize("gain_db", [-100.0, -78.0, -72.0, -50.0])
def test_what_a_record_may_show_adds_up_to_one(gain_db, fault_share):
    """Values and silence together are certain, faults or none, near the threshold too: else a larger share of faults would seem to explain weak signals."""
    scatter = replace(SCATTER, fault_share=fault_share, miss_share=0.04)
    assert probability_of_all(gain_db, scatter, np.inf) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("gain_db", [-50.0, -30.0])
def test_what_a_record_may_show_adds_up_to_one_near_the_ceiling_of_the_receiver(gain_db):
    scatter = replace(SCATTER, fault_share=0.2, miss_share=0.04)
    # What beats the ceiling is taken to beat the threshold, 42 dB below it, for certain.
    assert probability_of_all(gain_db, scatter, -50.0) == pytest.approx(1.0, abs=2e-3)


@pytest.mark.parametrize("fault_share", [RARE, 0.05, 0.6])
@pytest.mark.parametrize("strength_db", [np.nan, -93.0, -85.0, -60.0, -50.0])
def test_slopes_and_curvatures_are_those_of_the_logarithm(strength_db, fault_share):
    """Against differences of the logarithm itself."""
    scatter, step, mu = replace(SCATTER, fault_share=fault_share, miss_share=0.04, ceiling_db=-50.0), 1e-3, np.linspace(-105.0, -45.0, 7)
    low, (middle, slope, curve), high = (observation(np.full(7, strength_db), np.full(7, -92.0), at, np.full(7, 30.0), scatter) for at in (mu - step, mu, mu + step))
    np.testing.assert_allclose(slope, (high[0] - low[0]) / (2 * step), atol=1e-5)
    np.testing.assert_allclose(curve, -(high[0] - 2 * middle + low[0]) / step**2, atol=1e-4)


def test_faults_are_not_found_where_there_are_none():
    """2,000 records of the model itself, 5 dB below the threshold, 6 in 100 of them heard: the likelihood falls with the share of faults.

    It rose by 47 up to a share of 0.8 when silence and values were not reckoned with together.
    """
    generator, count, sd = np.random.default_rng(4), 2000, 2.0
    strength = -97.0 + np.sqrt(2 * sd**2 + 1.5**2) * generator.standard_normal(count)
    strength = np.where(strength > -92.0 + generator.standard_normal(count), strength, np.nan)
    scatter = replace(SCATTER, power_sd_db=sd, shadowing_sd_db=sd, fault_share=np.array([1e-6, 0.01, 0.03, 0.1, 0.3, 0.8]))
    found = log_evidence(strength[None, :, None], np.full((1, count, 6), -77.0), np.full((1, 1, 1), -92.0), np.full((1, 1, 1), np.inf), scatter).sum(axis=0)
    assert (np.diff(found) < 0).all()
