"""Overlap of two animals' space, and net squared displacement."""

import numpy as np
import pytest

from pipeline.movement import kernel_affinity, net_displacement_table, normal_affinity, overlap_table, places_of_animals
from tests.test_movement import CASES, made_animal


def roamer(tag_id, centre_m, seed):
    generator = np.random.default_rng(seed)
    return made_animal(tag_id, generator.normal(0, 500, (30, 2)) + centre_m, errors=lambda g, n: g.normal(0, 40, (n, 2)), observed=True, seed=seed, draws=100)


def test_an_animal_shares_all_of_its_own_space_and_none_of_one_far_away():
    assert normal_affinity([0, 0], np.eye(2), [0, 0], np.eye(2)) == pytest.approx(1)
    assert normal_affinity([0, 0], np.eye(2), [100, 0], np.eye(2)) < 1e-12


def test_kernels_agree_with_normal_ranges_where_there_are_many_places():
    generator = np.random.default_rng(1)
    one, other = generator.normal(0, 100, (1500, 2)), generator.normal(0, 100, (1500, 2)) + [200, 0]
    assert kernel_affinity(one, other) == pytest.approx(normal_affinity([0, 0], 1e4 * np.eye(2), [200, 0], 1e4 * np.eye(2)), abs=0.03)


def test_neighbours_overlap_and_strangers_do_not():
    animals = [roamer("a", (0, 0), 1), roamer("b", (300, 0), 2), roamer("c", (8000, 0), 3)]
    table = overlap_table(animals, places_of_animals(animals, 1)).set_index(["tag_id", "other_tag_id"])
    truth = np.exp(-(300 / 500) ** 2 / 8)
    assert table.loc[("a", "b"), "affinity_low"] <= truth <= table.loc[("a", "b"), "affinity_high"]
    assert table.loc[("a", "c"), "affinity_high"] < 0.01 and table.index[0] == ("a", "b")


def test_animals_with_too_few_fixes_are_named_with_the_reason():
    table = overlap_table([*CASES, roamer("a", (0, 0), 1)], places_of_animals([roamer("a", (0, 0), 1)], 1)).set_index("tag_id")
    assert set(table.index) == {"none", "one", "two", "same", "line", "square", "a"}
    assert table.loc["one", "reason"].startswith("1 usable fix;") and table.loc["a", "reason"].startswith("No other animal")


def test_net_squared_displacement_is_right_in_the_mean_and_below_zero_for_half_of_the_still():
    animals = [made_animal(str(seed), [(0, 0), (0, 0)], observed=True, seed=seed, draws=60) for seed in range(300)]
    net = net_displacement_table(animals)["net_squared_m2"].to_numpy()
    assert abs(net.mean()) < 3 * net.std() / np.sqrt(len(net))
    assert 0.5 < (net < 0).mean() < 0.75                        # exponential less its mean: 1 - 1/e = 0.63


def test_every_animal_is_in_the_table_of_net_displacement():
    table = net_displacement_table(CASES)
    assert set(table["tag_id"]) == {case.tag_id for case in CASES}
    far = table[table["tag_id"] == "two"].iloc[0]
    assert far["net_squared_low_m2"] < 900**2 < far["net_squared_high_m2"] and far["net_squared_m2"] == pytest.approx(900**2, rel=0.1)
