"""Radii, coverage and intervals of positional error against values from outside the project. Row numbers are those of the project's list of check values.

"From memory, recomputed" = the number was remembered from the source named and recomputed independently; it confirms the number, not the page.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import gammaln

from pipeline.calibration import (accuracy_statement, chance_of_so_few, coverage_table, elliptical_probability, elliptical_radius, error_summary, exact_interval,
                                  median_interval, nssda_95_m, what_beacons_can_prove)
from pipeline.calibration.errors import NSSDA_POINTS, RADIUS_95_PER_SD
from pipeline.location.fixes import ellipse_95

VALUES = Path(__file__).parent / "values"


@pytest.mark.parametrize("probability, radius", [(.50, 1.1774), (.90, 2.1460), (.95, 2.4477), (.99, 3.0349)])
def test_radii_of_a_circular_normal_error(probability, radius):
    """2.1, Greenwalt & Shultz 1968; value from memory, recomputed (2.4477 read, cited by the NSSDA)."""
    assert elliptical_radius(probability, 1.0) == pytest.approx(radius, abs=6e-5)


@pytest.mark.parametrize("radius, share", [(1.0, .3935), (np.sqrt(2), .6321), (3.5, .9978)])
def test_shares_within_a_radius_of_a_circular_normal_error(radius, share):
    """2.1, Greenwalt & Shultz 1968; value from memory, recomputed."""
    assert elliptical_probability(radius, 1.0) == pytest.approx(share, abs=6e-5)


def test_the_accuracy_of_the_standard_with_equal_axes():
    """2.2, FGDC-STD-007.3-1998 (NSSDA), appendix 3-A (read): 2.4477 RMSE of an axis = 1.7308 RMSE_r; 90 % lie within 1.5175 RMSE_r.

    The vertical form of the standard has no counterpart: fixes are in the plane.
    """
    error = np.array([30.0, -30.0, 30.0, -30.0])
    rmse_r = np.hypot(30.0, 30.0)
    assert RADIUS_95_PER_SD == 2.4477
    assert nssda_95_m(error, error) == pytest.approx(2.4477 * 30.0, rel=1e-6)
    assert nssda_95_m(error, error) == pytest.approx(1.7308 * rmse_r, rel=1e-4)
    assert elliptical_radius(0.9, 1.0) * 30.0 == pytest.approx(1.5175 * rmse_r, rel=1e-4)


def test_the_accuracy_of_the_standard_is_none_of_the_wrong_forms():
    """2.2, forms seen in public code: 1.7808 for 1.7308; 2.447 times RMSE_r (41 % too large); 1.96 RMSE_r."""
    error = np.array([30.0, -30.0])
    rmse_r = np.hypot(30.0, 30.0)
    for wrong in (1.7808, 2.447, 1.96):
        assert nssda_95_m(error, error) != pytest.approx(wrong * rmse_r, rel=1e-3)


def test_the_accuracy_of_the_standard_with_unequal_axes():
    """2.2, FGDC-STD-007.3-1998 (NSSDA), appendix 3-A (read): 2.4477 x 0.5 x (RMSE_x + RMSE_y) for ratios from 0.6 to 1."""
    assert nssda_95_m([10.0, -10.0], [7.0, 7.0]) == pytest.approx(2.4477 * 0.5 * 17.0, rel=1e-6)


def test_below_a_ratio_of_0_6_the_formula_of_the_standard_is_not_used():
    """2.5b: true coverage of 2.4477 x mean sd at a ratio of 0.4 is .903 (derived): why the 0.6 rule exists."""
    assert elliptical_probability(2.4477 * 0.5 * 1.4, 0.4) == pytest.approx(.903, abs=1e-3)
    assert elliptical_probability(nssda_95_m([10.0], [4.0]) / 10.0, 0.4) == pytest.approx(.95, abs=1e-6)


@pytest.mark.parametrize("ratio, by_mean, by_rmse_r", [(1.0, .950, .950), (.8, .946, .948), (.6, .932, .942), (.4, .903, .931), (.2, .854, .921)])
def test_true_coverage_of_two_short_cuts(ratio, by_mean, by_rmse_r):
    """2.5b: integral of the elliptical normal; derived, no outside print seen."""
    assert elliptical_probability(2.4477 * 0.5 * (1 + ratio), ratio) == pytest.approx(by_mean, abs=1e-3)
    assert elliptical_probability(1.7308 * np.hypot(1, ratio), ratio) == pytest.approx(by_rmse_r, abs=1e-3)


HARTER = {
    .50: [.67449, .68199, .70585, .74993, .80785, .87042, .93365, .99621, 1.05769, 1.11807, 1.17741],
    .90: [1.64485, 1.64791, 1.65731, 1.67383, 1.69918, 1.73708, 1.79152, 1.86253, 1.94716, 2.04236, 2.14597],
    .95: [1.95996, 1.96253, 1.97041, 1.98420, 2.00514, 2.03586, 2.08130, 2.14598, 2.23029, 2.33180, 2.44775],
}


@pytest.mark.parametrize("probability", HARTER)
def test_radii_of_elliptical_normal_errors(probability):
    """2.4, Harter 1960, JASA 55:723, table of K(P, c); value from memory, recomputed (32 of 33 cells; c = .8, P = .9 is the integral)."""
    found = [elliptical_radius(probability, ratio) for ratio in np.arange(11) / 10.0]
    assert found == pytest.approx(HARTER[probability], abs=1.1e-5)


@pytest.mark.parametrize("ratio", [.4, .6, .8, 1.0])
def test_a_short_cut_to_the_median_radius(ratio):
    """2.5: CEP = 0.62 shorter + 0.56 longer sd, within 0.6 % (public page on receiver accuracy, read)."""
    assert .62 * ratio + .56 == pytest.approx(elliptical_radius(.5, ratio), rel=7e-3)


@pytest.mark.parametrize("ratio, high", [(1.0, .0), (.8, .002), (.5, .015), (.3, .021)])
def test_another_short_cut_to_the_median_radius_is_too_high(ratio, high):
    """2.5: 0.5887 (sd_x + sd_y), folklore; by how much it is too high is derived, printed to a tenth of a per cent."""
    assert .5887 * (1 + ratio) / elliptical_radius(.5, ratio) - 1 == pytest.approx(high, abs=6e-4)


@pytest.mark.parametrize("times, circular, thin", [(1, .632, .683), (2, .982, .954)])
def test_what_the_root_mean_square_radius_holds_depends_on_the_shape(times, circular, thin):
    """2.6: once the root mean square radius holds 63.2 to 68.3 %, twice 98.2 to 95.4 %. Derived (a page read prints 65 and 95)."""
    shares = [elliptical_probability(times * np.hypot(1.0, ratio), ratio) for ratio in (1.0, .7, .4, .0)]
    assert (shares[0], shares[-1]) == pytest.approx((circular, thin), abs=1e-3)
    assert sorted(shares, reverse=times == 2) == shares


def test_five_check_points_of_the_mapping_standard():
    """2.3, ASPRS Positional Accuracy Standards 2014, Annex D; value from memory (inputs too), all printed results reproduce."""
    points = pd.read_csv(VALUES / "asprs5_checkpoints.csv", comment="#")
    east, north = points["e_map"] - points["e_survey"], points["n_map"] - points["n_survey"]
    found = error_summary(pd.DataFrame({"error_east_m": east, "error_north_m": north, "error_m": np.hypot(east, north)}))
    assert (found["bias_east_m"], found["bias_north_m"]) == pytest.approx((-.033, .006), abs=6e-4)
    assert found["rmse_m"] == pytest.approx(.147, abs=6e-4)
    assert nssda_95_m(east, north) == pytest.approx(.255, abs=6e-4)
    # the errors are divided by n, not n - 1: an sd about the reference would give .165
    assert found["rmse_m"] == pytest.approx(np.sqrt(np.mean(east**2 + north**2)), rel=1e-9)


def test_the_sentence_of_the_standard_needs_twenty_check_points():
    """2.2b, FGDC-STD-007.3-1998 (NSSDA), section 3.2.2-3.2.3 (read)."""
    assert NSSDA_POINTS == 20
    errors = pd.DataFrame({"error_east_m": 30.0, "error_north_m": 30.0, "place_id": [f"B{number}" for number in range(20)]})
    assert accuracy_statement(errors) == "Tested 73 metres horizontal accuracy at 95% confidence level."
    assert accuracy_statement(errors.iloc[:19]).startswith("The accuracy statement of the NSSDA needs 20 independent check points, and there are 19")


def test_ten_real_points():
    """2.7, Wollschlaeger, vignette on 2-D dispersion, 30 July 2025, sections 3.2.1-3.2.2 (read; every figure reproduced).

    The vignette's ellipse has the factor 2.918 of so few points; ours has that of a known covariance, 2.4477.
    """
    points = pd.read_csv(VALUES / "dispersion10.csv", comment="#").to_numpy(float)
    covariance = np.cov(points.T)
    assert points.mean(axis=0) == pytest.approx([2.599, 2.299], abs=6e-4)
    assert covariance.ravel() == pytest.approx([.4492, -.1695, -.1695, .6253], abs=6e-5)
    major, minor, azimuth = ellipse_95(covariance)
    assert (major / 2.4477, minor / 2.4477) == pytest.approx((2.4900 / 2.918, 1.7168 / 2.918), abs=3e-4)
    assert major / minor == pytest.approx(1.4503, abs=6e-5)
    assert azimuth == pytest.approx((90.0 - 121.2738) % 180.0, abs=6e-4)   # printed counter-clockwise from east
    longer = np.sqrt(np.linalg.eigvalsh(covariance)[1])
    assert elliptical_probability(1.0472 / longer, minor / major) == pytest.approx(.6508, abs=6e-5)
    assert .7432 * elliptical_radius(.5, 1.0) == pytest.approx(.8751, abs=1.1e-4)   # from the printed Rayleigh sd, which has four figures


def test_the_summary_of_ten_real_points_about_their_centre():
    """2.7, as above: Rayleigh sd .7432 and mean radius .9315, from the RMSE of the summary, 18 degrees of freedom and the correction c4."""
    points = pd.read_csv(VALUES / "dispersion10.csv", comment="#").to_numpy(float)
    east, north = (points - points.mean(axis=0)).T
    found = error_summary(pd.DataFrame({"error_east_m": east, "error_north_m": north, "error_m": np.hypot(east, north)}))
    assert found["rmse_m"] ** 2 == pytest.approx(.9 * (.4492 + .6253), rel=2e-4)   # the printed variances, divided by n and not n - 1
    c4 = np.sqrt(2 / 18) * np.exp(gammaln(19 / 2) - gammaln(18 / 2))
    rayleigh_sd = found["rmse_m"] * np.sqrt(10 / 18) / c4
    assert rayleigh_sd == pytest.approx(.7432, abs=6e-5)
    assert rayleigh_sd * np.sqrt(np.pi / 2) == pytest.approx(.9315, abs=6e-5)


def test_one_of_twenty_may_fail_rejects_honest_points_one_time_in_four():
    """2.9: P(at most 1 of 20 outside the true 95 % radius) = .7358; binomial, derived."""
    assert 1.0 - chance_of_so_few(18, 20, .95) == pytest.approx(.7358, abs=6e-5)


@pytest.mark.parametrize("k, n, low, high", [(81, 263, .2527, .3676), (15, 148, .0578, .1617), (0, 20, 0.0, .1684), (1, 29, .0009, .1776)])
def test_exact_intervals_of_a_share(k, n, low, high):
    """9.5, Newcombe 1998, Statistics in Medicine 17:857, Table I; value from memory, recomputed."""
    assert exact_interval(k, n) == pytest.approx((low, high), abs=6e-5)


@pytest.mark.parametrize("k, n, low, high", [(5, 5, .48, 1.0), (8, 8, .63, 1.0), (12, 12, .74, 1.0), (19, 20, .75, 1.0), (57, 60, .86, .99)])
def test_what_so_many_beacons_can_prove(k, n, low, high):
    """Exact binomial intervals, derived; printed to whole per cent."""
    assert exact_interval(k, n) == pytest.approx((low, high), abs=5.1e-3)
    if k == n:
        assert what_beacons_can_prove(n) == exact_interval(k, n)
    levels = np.where(np.arange(n) < k, 0.5, 0.99)
    assert coverage_table(levels, levels)["inside"].tolist()[2::3] == [k, k]


@pytest.mark.parametrize("n, first, last", [(6, 1, 6), (12, 3, 10), (20, 6, 15)])
def test_the_interval_of_a_median_from_order_statistics(n, first, last):
    """Ranks of the exact 95 % interval; binomial, derived."""
    assert median_interval(np.arange(1, n + 1)) == (first, last)
