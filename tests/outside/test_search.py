"""Search theory, detection functions and intervals against values from outside. Row numbers are those of the project's list of check values.

"From memory, recomputed" = the number was remembered from the source named and recomputed independently; it confirms the number, not the page.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pipeline.search import (coverage, explain_silence, fit_logistic, half_normal_half_width_m, none_heard_limit, parallel_sweep_detection,
                             random_search_detection, share_interval)
from pipeline.search.range import sweep_width_m

VALUES = Path(__file__).parent / "values"


def test_random_search_detects_one_minus_exp_of_coverage():
    """9.1, Koopman 1946; value from memory, recomputed."""
    expected = [.2212, .3935, .6321, .7769, .8647]
    assert random_search_detection([.25, .5, 1, 1.5, 2]) == pytest.approx(expected, abs=6e-5)


def test_coverage_is_sweep_width_over_spacing():
    """9.1b: C = Z/A = W/S, Cooper & Frost, Selected inland search definitions (read)."""
    spacing_m, length_m, width_m = 250.0, 4000.0, 200.0
    assert coverage(width_m, length_m, spacing_m * length_m) == pytest.approx(width_m / spacing_m)


def test_parallel_sweeps_under_the_inverse_cube_law():
    """9.2, Koopman; IAMSAR probability of detection curve ("ideal"); value from memory, recomputed."""
    assert parallel_sweep_detection([.5, 1, 1.5]) == pytest.approx([.469, .790, .940], abs=6e-4)


def test_half_normal_effective_half_width():
    """9.3, Buckland et al. 2001; value from memory, recomputed."""
    assert half_normal_half_width_m(1.0) == pytest.approx(1.2533, abs=6e-5)
    assert half_normal_half_width_m(1.0, 2.0) == pytest.approx(1.1963, abs=6e-5)


def test_the_sweep_width_is_the_integral_over_both_sides():
    """9.1b and 9.3: W = integral of p(x), Cooper & Frost; for a half-normal p twice 1.2533 sigma."""
    offset_m = np.arange(0.0, 2000.0, 1.0)
    lateral = pd.DataFrame({"offset_m": offset_m, "probability": np.exp(-0.5 * (offset_m / 200.0) ** 2)})
    assert sweep_width_m(lateral) == pytest.approx(2 * 1.2533 * 200.0, abs=2 * 200.0 * 6e-5)


def test_logistic_regression_of_the_beetles():
    """9.4, Bliss 1935; Dobson & Barnett Tables 7.2-7.3; value from memory, recomputed (inputs too)."""
    beetles = pd.read_csv(VALUES / "bliss_beetles.csv", comment="#")
    dose, killed, exposed = (beetles.iloc[:, column].to_numpy(float) for column in (0, 2, 1))
    curve = fit_logistic(dose, killed, exposed)
    assert (curve.intercept, curve.intercept_se) == pytest.approx((-60.72, 5.18), abs=6e-3)
    assert (curve.slope, curve.slope_se) == pytest.approx((34.27, 2.91), abs=6e-3)
    assert curve.deviance == pytest.approx(11.23, abs=6e-3)
    assert curve.half == pytest.approx(1.7717, abs=6e-5)


@pytest.mark.parametrize("k, n, wilson, exact", [
    (81, 263, (.2553, .3662), (.2527, .3676)), (15, 148, (.0624, .1605), (.0578, .1617)),
    (0, 20, (0, .1611), (0, .1684)), (1, 29, (.0061, .1718), (.0009, .1776)),
])
def test_intervals_of_a_share(k, n, wilson, exact):
    """9.5, Newcombe 1998, Statistics in Medicine 17:857, Table I; value from memory, recomputed."""
    assert share_interval(k, n, method="wilson") == pytest.approx(wilson, abs=6e-5)
    assert share_interval(k, n) == pytest.approx(exact, abs=6e-5)


def test_what_five_eight_and_twenty_beacons_can_prove():
    """Exact binomial; derived."""
    assert [share_interval(k, k)[0] for k in (5, 8, 12)] == pytest.approx([.478, .631, .735], abs=6e-4)
    assert share_interval(19, 20) == pytest.approx((.751, .999), abs=6e-4)


def test_none_of_twenty_heard():
    """9.6: one-sided 95 % limit and the rule of three; value from memory, recomputed."""
    assert none_heard_limit(20) == pytest.approx(.1391, abs=6e-5)
    assert none_heard_limit(20) < .15 < 1.08 * none_heard_limit(20)   # 3 / n lies above the exact limit, and nearer the more looks there are
    assert none_heard_limit(1000) < .003 < 1.003 * none_heard_limit(1000)


def test_a_missing_animal_under_the_stated_prior():
    """Bayes' rule worked by hand; derived."""
    said = explain_silence(in_area=0.8, silent=0.05, detection=0.9)
    assert (said["missed"], said["outside"], said["silent"]) == pytest.approx((.2405, .6013, .1582), abs=6e-5)
    assert explain_silence(0.8, 0.05, 0.5)["missed"] == pytest.approx(0.61, abs=6e-3)
    assert explain_silence(0.8, 0.30, 0.9)["silent"] == pytest.approx(0.60, abs=6e-3)


def test_the_facts_of_the_trade_hang_together():
    """A record every 6 s and nine miles in twenty minutes over two square miles: common practice, no source; what follows is arithmetic."""
    mile_m = 1609.344
    speed_m_per_s, records = 9 * mile_m / 1200, 1200 / 6
    assert speed_m_per_s == pytest.approx(12.07, abs=0.01)
    assert speed_m_per_s * 6 == pytest.approx(72.4, abs=0.1)
    assert 40 * records == 8000
    strip_m = 2 * mile_m**2 / (9 * mile_m)
    assert coverage(strip_m, 9 * mile_m, 2 * mile_m**2) == pytest.approx(1.0)
    assert strip_m == pytest.approx(357.6, abs=0.1)
