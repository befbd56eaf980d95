"""Tracks: the rate of a walk, the band, and what is refused."""

import numpy as np
import pytest

from pipeline.movement import AnimalFixes, Fix, track_table, walk_of, walk_table, walks_of_animals
from pipeline.movement.track import pieces_of
from tests.test_movement import START, made_animal, two_places


def walker(generator, fixes, rate_m, error_m=60.0, draws=200):
    days = np.sort(generator.uniform(0, 20, fixes))
    path = np.cumsum(generator.normal(size=(fixes, 2)) * rate_m * np.sqrt(np.diff(days, prepend=days[0]))[:, None], axis=0)
    return days, path, [place + generator.normal(0, error_m, 2) + generator.normal(0, error_m, (draws, 2)) for place in path]


@pytest.mark.parametrize("rate_m", [0.0, 100.0, 400.0])
def test_the_band_holds_the_animal_and_the_interval_its_rate(rate_m):
    generator, held, rates = np.random.default_rng(8), [], []
    for number in range(40):
        days, path, draws = walker(generator, 7, rate_m)
        walk = walk_of(draws, days, seed=number, count=300)
        middle = walk.places_m.mean(axis=0)
        radius = np.quantile(np.linalg.norm(walk.places_m - middle, axis=-1), 0.95, axis=0)
        held += list(np.linalg.norm(path - middle, axis=1) <= radius)
        rates.append(walk.low <= rate_m <= walk.high)
    assert np.mean(held) >= 0.91                     # 280 places, not independent within a track
    assert np.mean(rates) >= 0.85


def test_a_still_animal_is_known_better_from_all_its_fixes_than_from_one():
    animal = made_animal("1", [(0, 0)] * 8, observed=True)
    walks = walks_of_animals([animal], 1)
    row = walk_table([animal], walks, track_table([animal], walks, seed=1)).iloc[0]
    assert row["walk_low_m_per_root_day"] == 0 and row["radius_95_at_fixes_m"] < 0.7 * row["radius_95_of_fixes_m"]
    assert row["reason"].startswith("Standing still explains the fixes.")


def test_the_track_chooses_the_place_that_its_neighbours_ask_for():
    generator = np.random.default_rng(3)
    draws = [generator.normal(0, 40, (300, 2)) for _ in range(6)]
    draws[3] = np.where(generator.random((300, 1)) < 0.4, 0.0, 1.0) * [600, 0] + generator.normal(0, 40, (300, 2))
    assert (walk_of(draws, np.arange(6.0), seed=1).places_m[:, 3, 0] < 300).mean() > 0.9


def test_a_region_of_two_places_keeps_its_mean_and_spread_in_pieces():
    draws = two_places(np.random.default_rng(4), 2000)
    weights, means, covariances = pieces_of(draws, 1)
    middle = weights @ means
    spread = np.einsum("k,kij->ij", weights, covariances + (means - middle)[:, :, None] * (means - middle)[:, None, :])
    assert len(weights) > 1
    assert middle == pytest.approx(draws.mean(axis=0), abs=0.5) and spread == pytest.approx(np.cov(draws.T), rel=0.01, abs=60)


def test_the_band_swells_between_fixes_and_fixes_keep_their_flights():
    animal = made_animal("1", [(0, 0), (800, 0), (900, 700), (200, 900), (0, 100)], observed=True)
    table = track_table([animal], walks_of_animals([animal], 1), seed=1)
    at = table["flight_id"] != ""
    assert list(table.loc[at, "flight_id"]) == ["F1", "F2", "F3", "F4", "F5"] and table["time_utc"].is_monotonic_increasing
    assert table.loc[~at, "radius_95_m"].max() > 2 * table.loc[at, "radius_95_m"].max()


def test_four_fixes_give_no_track():
    animal = made_animal("1", [(0, 0)] * 4)
    assert walks_of_animals([animal], 1) == {}
    assert walk_table([animal], {}, track_table([animal], {}, seed=1)).loc[0, "reason"] == "4 usable fixes; 5 are needed for a track."
    with pytest.raises(ValueError, match="5 fixes are needed"):
        walk_of([fix.draws_m for fix in animal.fixes], np.arange(4.0), seed=1)


def test_fixes_of_one_moment_do_not_break_the_walk():
    fixes = tuple(Fix("1", f"F{k}", START, 0.0, 0.0, 150.0, False, np.random.default_rng(k).normal(0, 60, (200, 2))) for k in range(5))
    assert np.isfinite(walks_of_animals([AnimalFixes("1", "", "", fixes)], 1)["1"].places_m).all()
