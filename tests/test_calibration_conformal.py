"""Conformal quantiles: ranks worked by hand, and coverage in simulations whose truth is known.

Outside: for n exchangeable scores without ties the rank ceil((n + 1) p) is held with probability ceil((n + 1) p) / (n + 1) exactly
(V. Vovk, A. Gammerman & G. Shafer 2005, value from memory, derived again: the rank of the last of n + 1 exchangeable scores is uniform).
"""

import math

import numpy as np
import pytest
from scipy.stats import binom

from pipeline.calibration import conformal_quantile, places_needed, quantiles_leaving_out, score_that_holds

REPEATS = 2000


def one_each(count):
    return [f"P{number:03d}" for number in range(count)]


@pytest.mark.parametrize("places, nominal, rank", [(1, 0.5, 1), (4, 0.8, 4), (9, 0.5, 5), (9, 0.8, 8), (10, 0.8, 9), (19, 0.95, 19), (20, 0.95, 20), (39, 0.95, 38), (99, 0.95, 95)])
def test_with_one_fix_at_each_place_the_quantile_is_the_rank_worked_by_hand(places, nominal, rank):
    """ceil((n + 1) p): ceil(10 x 0.5) = 5, ceil(11 x 0.8) = 9, ceil(40 x 0.95) = 38 ..."""
    scores = np.arange(1.0, places + 1)
    assert conformal_quantile(scores[::-1], one_each(places), nominal) == rank


@pytest.mark.parametrize("places", [1, 9, 18])
def test_fewer_than_nineteen_places_give_no_95_percent_level(places):
    assert math.isinf(conformal_quantile(np.linspace(0.1, 0.9, places), one_each(places), 0.95))
    assert math.isfinite(conformal_quantile(np.linspace(0.1, 0.9, 19), one_each(19), 0.95))


def test_no_place_gives_no_level_at_all():
    assert math.isinf(conformal_quantile([], [], 0.5)) and math.isinf(score_that_holds([], [], 0.5))


def test_the_places_needed_are_those_at_which_the_rank_first_exists():
    for nominal in (0.5, 0.8, 0.9, 0.95, 0.99):
        first = next(n for n in range(1, 200) if math.ceil(round((n + 1) * nominal, 9)) <= n)
        assert places_needed(nominal) == first
    assert [places_needed(nominal) for nominal in (0.5, 0.8, 0.95)] == [1, 4, 19]


def test_fixes_of_a_place_share_its_weight():
    """Three places, p = 0.5: (3 + 1) x 0.5 = 2 places are wanted. A weighs 1/4 at 1, 2, 3, 4, B and C weigh 1 at 5 and 6: 1 + 1 at 5."""
    assert conformal_quantile([1, 2, 3, 4, 5, 6], ["A", "A", "A", "A", "B", "C"], 0.5) == 5
    # Ten more fixes of A, all far out, leave B and C where they are: B and C come to 2 at 6.
    assert conformal_quantile([9] * 14 + [5, 6], ["A"] * 14 + ["B", "C"], 0.5) == 6


def test_the_share_of_these_very_truths_needs_no_place_to_come():
    """Four places, half of them: 2. With a place still to come: 0.5 x 5 = 2.5, which the third reaches."""
    assert score_that_holds([1, 2, 3, 4], one_each(4), 0.5) == 2
    assert conformal_quantile([1, 2, 3, 4], one_each(4), 0.5) == 3
    assert score_that_holds([1, 2, 3, 4], one_each(4), 1.0) == 4


def test_a_place_is_served_by_the_others_only_and_test_places_teach_nothing():
    left_out = quantiles_leaving_out([1, 2, 3, 100], ["A", "B", "C", "D"], 0.5)
    assert left_out == {"A": 3, "B": 3, "C": 2, "D": 2}
    assert quantiles_leaving_out([1, 2, 3, 100], ["A", "B", "C", "D"], 0.5, {"A", "B", "C"}) == {"A": 3, "B": 3, "C": 2, "D": 2}
    assert quantiles_leaving_out([1, 2, 100, 3], ["A", "B", "C", "D"], 0.5, {"A", "B", "C"}) == {"A": 100, "B": 100, "C": 2, "D": 2}


def test_a_truth_that_nothing_reaches_stays_infinitely_far_out_and_a_missing_score_is_refused():
    assert math.isinf(conformal_quantile([0.5, math.inf], ["A", "B"], 0.6))
    with pytest.raises(ValueError, match="a score is missing"):
        conformal_quantile([0.5, math.nan], ["A", "B"], 0.5)


def held_in_simulation(places, nominal, seed, repeats_at=lambda generator: 1, place_sd=0.0, summary=None):
    """In how many of 2,000 campaigns the quantile held one fix of a new place; scores are heavy-tailed distances."""
    generator = np.random.default_rng(seed)
    held = 0
    for _ in range(REPEATS):
        scores, names = [], []
        for number in range(places + 1):
            count = repeats_at(generator)
            scores.append(np.exp(place_sd * generator.standard_normal()) * np.abs(generator.standard_t(3, count)))
            names.append([number] * count)
        if summary:
            known = [summary(values) for values in scores[:-1]], list(range(places))
        else:
            known = np.concatenate(scores[:-1]), [name for group in names[:-1] for name in group]
        held += scores[-1][0] <= conformal_quantile(*known, nominal)
    return held


def within_chance(held, share):
    """Exact binomial bounds that chance leaves once in a thousand."""
    low, high = binom.ppf([0.0005, 0.9995], REPEATS, share)
    return low <= held <= high


@pytest.mark.parametrize("places, nominal", [(8, 0.5), (9, 0.8), (19, 0.95), (30, 0.8)])
def test_exchangeable_errors_are_held_as_often_as_stated(places, nominal):
    share = math.ceil(round((places + 1) * nominal, 9)) / (places + 1)
    assert share >= nominal
    assert within_chance(held_in_simulation(places, nominal, seed=places), share)


def few_or_many(generator):
    return int(generator.integers(1, 9))


@pytest.mark.parametrize("nominal", [0.5, 0.8])
def test_places_with_many_and_few_fixes_hold_a_fix_of_a_new_place_as_often_as_stated(nominal):
    """At least the nominal share, and at most one place in n + 1 more (Lee, Barber & Willett 2023, from memory)."""
    held = held_in_simulation(12, nominal, seed=5, repeats_at=few_or_many, place_sd=0.5)
    assert binom.ppf(0.0005, REPEATS, nominal) <= held <= binom.ppf(0.9995, REPEATS, nominal + 2 / 13)


def test_neither_the_median_nor_the_worst_fix_of_a_place_stands_for_it():
    """Why the fixes of a place share its weight: 80 % regions that trust the medians hold far fewer, those that trust the worst far more."""
    median = held_in_simulation(12, 0.8, seed=6, repeats_at=lambda generator: 7, summary=np.median)
    worst = held_in_simulation(12, 0.8, seed=6, repeats_at=lambda generator: 7, summary=np.max)
    shared = held_in_simulation(12, 0.8, seed=6, repeats_at=lambda generator: 7)
    assert median < 0.7 * REPEATS < binom.ppf(0.0005, REPEATS, 0.8) <= shared < 0.9 * REPEATS < worst
