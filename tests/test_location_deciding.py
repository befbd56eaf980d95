"""Two places: mirror images are recognised, and the advised pass is one that decides."""

import numpy as np
import pytest

from pipeline.location.deciding import deciding_pass, is_mirror_image
from tests.radio_sample import heard_along, listening, signal_model

MODEL = signal_model(ahead_db=4.0)
ALONG = np.arange(-700.0, 701.0, 70.0)


def straight_pass(azimuth_deg):
    strength = np.where(np.abs(ALONG) < 500, -80.0, np.nan)
    return listening(ALONG, np.zeros(len(ALONG)), strength, azimuth_deg=azimuth_deg)


@pytest.mark.parametrize("azimuth_deg", [90.0, 270.0, np.nan])
def test_two_sides_of_a_straight_pass_with_the_antenna_along_it_are_mirror_images(azimuth_deg):
    assert is_mirror_image(straight_pass(azimuth_deg), (50.0, 300.0), (60.0, -280.0))


def test_an_antenna_across_the_track_tells_the_sides_apart():
    assert not is_mirror_image(straight_pass(0.0), (50.0, 300.0), (60.0, -280.0))


def test_two_places_on_one_side_are_no_mirror_images():
    assert not is_mirror_image(straight_pass(90.0), (-300.0, 300.0), (300.0, 300.0))


def test_a_track_that_turns_has_no_mirror():
    turn = np.linspace(0, 1.5 * np.pi, 30)
    round_it = listening(400 * np.cos(turn), 400 * np.sin(turn), np.full(30, -80.0), azimuth_deg=90.0)
    assert not is_mirror_image(round_it, (0.0, 300.0), (0.0, -300.0))


def test_the_chance_promised_is_that_of_the_likelihood_ratio_on_simulated_strengths():
    """400 simulated passes, the filter naming the likelier place: within an exact 99 % binomial interval of what was promised."""
    from scipy.stats import binom

    from pipeline.location import log_likelihood

    first, second = (0.0, 90.0), (0.0, -90.0)
    found = deciding_pass(MODEL, "collar", first, second, height_above_ground_m=80.0, step_m=70.0)
    count = int(1200 / 70.0) + 1
    along = (np.arange(count) - (count - 1) / 2) * 70.0
    east = found.easting_m + along * np.sin(np.radians(found.azimuth_grid_deg))
    north = found.northing_m + along * np.cos(np.radians(found.azimuth_grid_deg))
    plain, generator, right = signal_model(miss_share=1e-9, fault_share=1e-9), np.random.default_rng(1), 0
    promised = deciding_pass(plain, "collar", first, second, height_above_ground_m=80.0, step_m=70.0)
    east = promised.easting_m + along * np.sin(np.radians(promised.azimuth_grid_deg))
    north = promised.northing_m + along * np.cos(np.radians(promised.azimuth_grid_deg))
    for number in range(400):
        place = (first, second)[number % 2]
        strength = heard_along((east, north), place, plain, generator, -20.0 + 4.0 * generator.standard_normal(), threshold_db=-500.0)
        flown = listening(east, north, strength, threshold_db=-500.0)
        at_first, at_second = log_likelihood(flown, plain, [0.0, 0.0], [90.0, -90.0], "collar")
        right += (at_first > at_second) == (place is first)
    low, high = binom.interval(0.99, 400, promised.chance)
    assert low <= right <= high
    assert 0.5 < promised.chance < 1.0


def test_a_pass_that_runs_along_the_mirror_would_decide_nothing():
    found = deciding_pass(signal_model(), "collar", (0.0, 300.0), (0.0, -300.0), height_above_ground_m=80.0, step_m=70.0)
    assert found.chance > 0.9
    assert not (abs(found.northing_m) < 1.0 and abs(found.azimuth_grid_deg - 90.0) < 1.0)
