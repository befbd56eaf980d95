"""Parameters free: the estimate, its errors and what they do to fixes, against a long run of a general sampler.

emcee (D. Foreman-Mackey et al. 2013, affine-invariant ensemble sampling; a general library) samples the posterior of all parameters of
the signal model given beacons. The likelihood of a small tag (14 records, 3 to 9 of them heard) is averaged over its samples at
three cells 100 to 400 m apart, and differences between cells are compared with those averaged over the project's own draws, which
take the posterior as normal about its top (Laplace's approximation).
"""

import emcee
import numpy as np
import pytest

from pipeline.location.likelihood import mean_log_likelihood
from pipeline.location.posterior import DEEPEST
from pipeline.radio import KnownTag, fit_signal_model
from pipeline.radio.lanes import log_likelihoods, side_by_side
from pipeline.radio.parameters import log_prior, model_from_vector
from tests.radio_sample import heard_along, listening, signal_model

THRESHOLD_DB = -20 - 25 * np.log10(420)
TRUTH = signal_model(threshold_db=THRESHOLD_DB, miss_share=1e-3, fault_share=1e-3, power_drift_sd_db=0.5)
ALONG = (72.0 * np.arange(14), np.zeros(14))
BEACONS, FLIGHTS, TAGS, STEPS, WALKERS = 24, 2, 12, 1500, 64


def beacons(generator):
    found = []
    for number in range(BEACONS):
        place, power = np.array([generator.uniform(0, 936), generator.uniform(-450, 450)]), -20 + 4 * generator.standard_normal()
        flights = tuple(listening(*ALONG, heard_along(ALONG, place, TRUTH, generator, power, THRESHOLD_DB)) for _ in range(FLIGHTS))
        found.append(KnownTag(f"B{number}", f"B{number}", "collar", *place, 0.0, flights))
    return found


def small_tag(generator):
    """14 records of a tag at the first of three cells, 3 to 9 of them heard."""
    while True:
        cells = np.array([[300.0, 250.0], [450.0, 380.0], [600.0, 150.0]]) + generator.normal(0, 50, (3, 2))
        strength = heard_along(ALONG, cells[0], TRUTH, generator, -20 + 4 * generator.standard_normal(), THRESHOLD_DB)
        if 3 <= (~np.isnan(strength)).sum() <= 9:
            return listening(*ALONG, strength), cells


def sampled(known, fitted, seed):
    """Parameter vectors from the posterior, shape (samples, parameters)."""
    lanes, parameters = side_by_side(known), fitted.parameters
    centre, width = np.array([p.prior_mean for p in parameters]), np.array([p.prior_sd for p in parameters])

    def log_posterior(vectors):
        inside = (np.abs(vectors - centre) < 5 * width).all(axis=1)
        value = log_likelihoods(lanes, parameters, np.where(inside[:, None], vectors, centre), fitted.given).sum(axis=1) + log_prior(parameters, vectors)
        return np.where(inside & ~np.isnan(value), value, -np.inf)

    sampler = emcee.EnsembleSampler(WALKERS, len(parameters), log_posterior, vectorize=True, moves=[(emcee.moves.DEMove(), 0.8), (emcee.moves.DESnookerMove(), 0.2)])
    sampler.random_state = np.random.RandomState(seed).get_state()
    start = fitted.vector + np.random.default_rng(seed).multivariate_normal(np.zeros(len(parameters)), fitted.covariance, WALKERS)
    sampler.run_mcmc(start, STEPS)
    return sampler.get_chain(discard=300, thin=20).reshape(-1, len(parameters))


def between_cells(heard, cells, models):
    value = mean_log_likelihood(heard, models, cells[:, 0], cells[:, 1], "collar")
    return value[1:] - value[0]


@pytest.fixture(scope="module")
def case():
    generator = np.random.default_rng([12, 0])
    known = beacons(generator)
    fitted, tags = fit_signal_model(known), [small_tag(generator) for _ in range(TAGS)]
    return fitted, tags, sampled(known, fitted, seed=0)


def test_estimates_and_errors_are_those_of_the_sampler(case):
    """Laplace's approximation takes the top for the mean, which a skewed posterior moves by a part of its width."""
    fitted, _, samples = case
    sd = np.sqrt(np.diag(fitted.covariance))
    assert np.abs((samples.mean(axis=0) - fitted.vector) / sd).max() < 0.5
    assert np.abs(np.log(samples.std(axis=0) / sd)).max() < np.log(1.25)


def test_cells_compare_as_the_sampler_says(case, capsys):
    """Of cells that a posterior keeps (no deeper than exp(-7) below another)."""
    fitted, tags, samples = case
    long_run = [model_from_vector(fitted.parameters, vector, fitted.given) for vector in samples[::2]]
    own = {"2000 draws": fitted.draws(2000, np.random.default_rng(5)), "16 draws": fitted.draws(16, np.random.default_rng(1))}
    off = {name: [] for name in own}
    for heard, cells in tags:
        exact = between_cells(heard, cells, long_run)
        for name, models in own.items():
            off[name] += list(np.abs(between_cells(heard, cells, models) - exact)[np.abs(exact) <= DEEPEST])
    with capsys.disabled():
        for name, differences in off.items():
            print(f"\n{name} against emcee, {len(differences)} differences: median {np.median(differences):.3f}, 95 % {np.quantile(differences, 0.95):.3f}, worst {max(differences):.3f}")
    assert np.median(off["2000 draws"]) < 0.05 and max(off["2000 draws"]) < 0.2
    assert np.median(off["16 draws"]) < 0.1
