"""An animal that walks: the filter with two more unknowns against exact integration over walks."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import logsumexp

from pipeline.location import Posterior, log_likelihood, walk_test, walking_likelihood
from pipeline.radio.walking import share_of_time, walk_slopes_db_per_m
from tests.radio_sample import heard_along, line_path, listening, signal_model

MODEL = signal_model()
CELLS = (np.array([50.0, -120.0, 200.0, 330.0]), np.array([80.0, 150.0, -90.0, 250.0]))


def heard_while_walking(walk, generator, power_db=-20.0):
    """A flight along lines past an animal that walks evenly about the origin."""
    path = line_path(600.0, 6, 18)
    share = np.linspace(-0.5, 0.5, len(path[0]))
    moved = (path[0] - walk[0] * share, path[1] - walk[1] * share)
    return listening(*path, heard_along(moved, (0.0, 0.0), MODEL, generator, power_db))


def integrated_over_walks(flight, walk_sd_m, nodes=9):
    """Gauss-Hermite integration over the two components of the walk, the still filter at each node (scipy's and numpy's quadrature)."""
    points, weights = np.polynomial.hermite_e.hermegauss(nodes)
    weights, share, total = weights / weights.sum(), share_of_time(flight), []
    for x, wx in zip(points, weights):
        for y, wy in zip(points, weights):
            moved = replace(flight, easting_m=flight.easting_m - walk_sd_m * x * share, northing_m=flight.northing_m - walk_sd_m * y * share)
            total.append(log_likelihood(moved, MODEL, *CELLS, "collar") + np.log(wx * wy))
    return logsumexp(total, axis=0)


def test_an_animal_that_does_not_walk_is_the_ordinary_case():
    flight = heard_while_walking((0.0, 0.0), np.random.default_rng(1))
    still = walking_likelihood(flight, [MODEL], *CELLS, "collar", walk_sd_m=0.0)
    np.testing.assert_allclose(still.log_evidence[0], log_likelihood(flight, MODEL, *CELLS, "collar"), atol=1e-9)
    np.testing.assert_allclose(still.sd_east_m, 0.0)


@pytest.mark.parametrize("walk_sd_m, typical, worst", [(30.0, 0.05, 0.2), (100.0, 0.2, 1.5)])
def test_cells_compare_as_exact_integration_over_walks_says(walk_sd_m, typical, worst, capsys):
    """Differences of log-likelihood between cells; the walk is made linear, which costs more the longer it is."""
    off = []
    for seed in range(6):
        flight = heard_while_walking((120.0, -60.0), np.random.default_rng(seed))
        quick, exact = walking_likelihood(flight, [MODEL], *CELLS, "collar", walk_sd_m).log_evidence[0], integrated_over_walks(flight, walk_sd_m)
        off += list(np.abs((quick - quick[0]) - (exact - exact[0]))[1:])
    with capsys.disabled():
        print(f"\nwalks of sd {walk_sd_m:.0f} m: differences between cells agree with exact integration within {np.median(off):.3f} (median of {len(off)}), {max(off):.3f} at worst")
    assert np.median(off) < typical and max(off) < worst


def test_a_slope_of_strength_points_the_way_the_tag_comes_nearer():
    overhead = listening([0.0, 0.0, 0.0], [0.0, 0.0, 0.0])

    def gain_db(moved):
        east, north = moved.easting_m[:, None], moved.northing_m[:, None]
        return -25.0 * np.log10(np.hypot(np.hypot(east - 300.0, north), 80.0))

    east, north = walk_slopes_db_per_m(gain_db, overhead, 50.0)
    # At the start a walk to the east still lies ahead, so the tag is west of its middle place and nearer.
    assert east[0, 0] > 0 > east[2, 0]
    np.testing.assert_allclose([east[1, 0], *north[:, 0]], 0.0, atol=1e-12)


def test_a_long_walk_is_shown_and_a_still_animal_is_not_said_to_walk():
    cells = np.arange(900)
    posterior = Posterior(cells % 30, cells // 30, -725.0, -725.0, 50.0, np.zeros(900))
    loud = replace(MODEL, power_sd_db=1.0, shadowing_sd_db=1.5, shadowing_length_m=40.0)
    generator, path = np.random.default_rng(5), line_path(600.0, 6, 18)
    share = np.linspace(-0.5, 0.5, len(path[0]))
    for walk, shown in (((0.0, 0.0), False), ((600.0, 0.0), True)):
        moved = (path[0] - walk[0] * share, path[1] - walk[1] * share)
        found = walk_test(listening(*path, heard_along(moved, (0.0, 0.0), loud, generator, -20.0)), loud, "collar", posterior)
        assert found.shown is shown
        assert abs(found.east_m - walk[0]) < 3 * found.sd_m and abs(found.north_m - walk[1]) < 3 * found.sd_m


def test_time_and_not_the_count_of_records_says_how_far_a_walk_has_come():
    flight = replace(listening([0.0, 1.0, 2.0], [0.0, 0.0, 0.0]), time_s=np.array([0.0, 90.0, 100.0]))
    np.testing.assert_allclose(share_of_time(flight), [-0.5, 0.4, 0.5])
