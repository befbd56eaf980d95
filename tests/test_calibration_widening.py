import numpy as np
import pytest

from pipeline.calibration import HeldOutPlace, choose_widening, scores, widenings_leaving_out
from pipeline.location import SearchArea, tile

AREA = SearchArea(-2000.0, -2000.0, 2000.0, 2000.0)
STATED_SD = 40.0


@pytest.fixture(scope="module")
def leaves():
    return tile(lambda east, north: -0.5 * (east**2 + north**2) / STATED_SD**2, AREA)


def places_with(leaves, true_sd, count, seed=1, repeats=1):
    """Places whose truth lies with a spread of its own about fixes that all claim the same."""
    generator = np.random.default_rng(seed)
    found = []
    for number in range(count):
        offsets = true_sd * generator.standard_normal((repeats, 2))
        found += [HeldOutPlace(f"P{number:02d}", leaves, -0.5 * float(offset @ offset) / STATED_SD**2) for offset in offsets]
    return found


def chosen(tests):
    return choose_widening(scores(tests), [test.place_id for test in tests])


def test_regions_half_as_wide_as_the_errors_are_widened_by_a_quarter_in_density(leaves):
    """Variance goes with one over the widening: errors of twice the stated sd ask for (1/2)^2."""
    assert chosen(places_with(leaves, 2 * STATED_SD, 400)) == pytest.approx(0.25, rel=0.12)


def test_honest_regions_are_left_as_they_are(leaves):
    assert chosen(places_with(leaves, STATED_SD, 400)) == pytest.approx(1.0, rel=0.12)


def test_with_no_beacon_the_prior_speaks_and_with_three_it_still_does(leaves):
    assert choose_widening(np.zeros((0, 160)), []) == pytest.approx(0.85, rel=0.02)
    assert 0.5 < chosen(places_with(leaves, STATED_SD, 3)) < 1.05


def test_repeats_of_one_beacon_are_not_new_beacons(leaves):
    once, often = places_with(leaves, 2 * STATED_SD, 4), places_with(leaves, 2 * STATED_SD, 4, repeats=50)
    table = scores(once)
    doubled = choose_widening(np.repeat(table, 10, axis=0), [test.place_id for test in once for _ in range(10)])
    assert doubled == choose_widening(table, [test.place_id for test in once])
    assert chosen(often) > 0.25  # 200 fixes at 4 places do not outweigh the prior as 200 places would


def test_a_place_is_judged_by_the_others_only(leaves):
    good, bad = places_with(leaves, 0.8 * STATED_SD, 6), places_with(leaves, 6 * STATED_SD, 1, seed=3)
    tests = good + [HeldOutPlace("BAD", bad[0].leaves, bad[0].log_density_at_truth)]
    left_out = widenings_leaving_out(scores(tests), [test.place_id for test in tests])
    assert left_out["BAD"] == chosen(good)
    assert left_out["P00"] < left_out["BAD"]
