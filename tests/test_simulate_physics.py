"""What a simulated receiver hears: obvious answers."""

import numpy as np
import pytest

from pipeline.simulate import (LobedAntenna, QuadraticAntenna, expected_strength_db, matched_physics, normals, rich_physics,
                               simulate_strengths, steps_flown_m, stream)

EVEN = QuadraticAntenna(0.0, 0.0, 0.0)


def expected_at(east_m, north_m, *, azimuth_deg=0.0, height_m=80.0, physics=None, terrain=None):
    """Expected strength from receivers at these places, of a tag of power 0 at the origin."""
    east_m, north_m = np.broadcast_arrays(np.asarray(east_m, float), np.asarray(north_m, float))
    return expected_strength_db(
        easting_m=east_m, northing_m=north_m, height_above_ground_m=np.full(east_m.shape, height_m), azimuth_grid_deg=azimuth_deg,
        tag_easting_m=0.0, tag_northing_m=0.0, tag_power_db=0.0, physics=physics or rich_physics(), terrain=terrain)


def flown(distance_m, *, power_db=-40.0, physics=None, seed=1, records=400, **options):
    """Strengths from a straight leg that passes a tag at this distance, antenna towards the tag."""
    north_m = np.linspace(-2000, 2000, records)
    return simulate_strengths(
        easting_m=np.full(records, -float(distance_m)), northing_m=north_m, height_above_ground_m=np.full(records, 80.0),
        azimuth_grid_deg=np.full(records, 90.0), tag_easting_m=0.0, tag_northing_m=0.0, tag_power_db=power_db,
        physics=physics or rich_physics(), generator=stream(seed), **options)


def test_doubling_the_distance_costs_ten_n_log_two():
    near, far = expected_at([400.0, 800.0], 0.0, height_m=0.0, physics=rich_physics(antenna=EVEN))
    assert near - far == pytest.approx(10 * 2.4 * np.log10(2))


def test_the_distance_is_the_slant_distance():
    side, above = expected_at([500.0, 300.0], 0.0, height_m=np.array([0.0, 400.0]), physics=rich_physics(antenna=EVEN))
    assert side == pytest.approx(above)


def test_left_and_right_of_the_antenna_are_alike():
    left, right = expected_at([-700.0, 700.0], 250.0)
    assert left == pytest.approx(right)


def test_turning_everything_changes_nothing():
    straight = expected_at(300.0, 400.0, azimuth_deg=20.0)
    turned = expected_at(400.0, -300.0, azimuth_deg=110.0)
    assert straight == pytest.approx(turned)


def test_front_beats_back_by_twelve_db_at_the_horizon_and_by_nothing_straight_above():
    antenna = LobedAntenna()
    assert antenna.gain_db(0.0, 0.0) - antenna.gain_db(180.0, 0.0) == pytest.approx(12.0)
    assert antenna.gain_db(0.0, 90.0) == pytest.approx(antenna.gain_db(180.0, 90.0))


def test_there_is_a_side_lobe_at_120_degrees():
    gain_db = LobedAntenna().gain_db(np.array([70.0, 120.0, 180.0]), 0.0)
    assert gain_db[1] > gain_db[0] and gain_db[1] > gain_db[2]


def test_the_fitted_antenna_form_has_twice_a1_between_front_and_back():
    antenna = QuadraticAntenna(a1_db=5.0, a2_db=1.0, b_db=-2.0)
    assert antenna.gain_db(0.0, 0.0) - antenna.gain_db(180.0, 0.0) == pytest.approx(10.0)
    assert antenna.gain_db(33.0, 90.0) == pytest.approx(-2.0)


def test_the_matched_world_without_its_noise_is_its_formula():
    physics = matched_physics(shadowing=(), noise_sd_db=0.0, softness_db=0.0, miss_share=0.0, threshold_db=-999.0)
    strengths = flown(500.0, physics=physics, records=401)
    slant_m = np.hypot(500.0, 80.0)
    down, u = np.arctan2(80.0, 500.0), np.cos(np.arctan2(80.0, 500.0))
    assert strengths[200] == pytest.approx(-40 - 25 * np.log10(slant_m) + 5 * u + u**2 - 2 * np.sin(down) ** 2)


def test_a_tag_far_away_is_never_heard_and_one_below_the_leg_always():
    assert np.isnan(flown(15_000.0)).all()
    assert np.isfinite(flown(30.0, physics=rich_physics(fade_share=0.0))[190:210]).all()


def test_not_heard_is_never_a_number():
    strengths = flown(700.0)
    assert 0 < np.isnan(strengths).sum() < len(strengths)
    assert np.nanmin(strengths) > -125


def test_more_power_never_means_fewer_records():
    heard = [np.isfinite(flown(700.0, power_db=power_db)).sum() for power_db in np.arange(-60, -20, 2.0)]
    assert heard == sorted(heard) and heard[0] < heard[-1]


def test_the_same_stream_gives_the_same_flight_and_another_another():
    assert np.array_equal(flown(600.0), flown(600.0), equal_nan=True)
    assert not np.array_equal(flown(600.0), flown(600.0, seed=2), equal_nan=True)


def test_strong_signals_stop_at_the_ceiling_and_all_are_whole_steps():
    strengths = flown(60.0, power_db=-20.0)
    heard = strengths[np.isfinite(strengths)]
    assert heard.max() == rich_physics().ceiling_db
    assert np.allclose(heard * 2, np.round(heard * 2))


def test_a_share_of_records_is_missed_whatever_the_strength():
    strengths = flown(60.0, power_db=40.0, physics=matched_physics(miss_share=0.25), records=8000)
    assert np.isnan(strengths).mean() == pytest.approx(0.25, abs=0.02)


def test_a_share_of_records_fades_by_six_to_fifteen_db():
    calm = {"shadowing": (), "noise_sd_db": 0.0, "ceiling_db": None, "step_db": None}
    clear = flown(60.0, power_db=40.0, physics=rich_physics(fade_share=0.0, **calm), records=8000)
    lost_db = clear - flown(60.0, power_db=40.0, physics=rich_physics(fade_share=0.04, **calm), records=8000)
    faded = lost_db > 0
    assert faded.mean() == pytest.approx(0.04, abs=0.01)
    assert lost_db[faded].min() >= 6 and lost_db[faded].max() <= 15


def test_half_are_heard_at_a_soft_threshold():
    physics = matched_physics(shadowing=(), noise_sd_db=0.0, miss_share=0.0, softness_db=2.0, antenna=EVEN, exponent=0.0)
    strengths = flown(500.0, power_db=-115.0, physics=physics, records=8000)
    assert np.isfinite(strengths).mean() == pytest.approx(0.5, abs=0.02)


def test_each_record_may_have_its_own_threshold():
    threshold_db = np.where(np.arange(400) < 200, -999.0, 999.0)
    heard = np.isfinite(flown(700.0, threshold_db=threshold_db))
    assert heard[:200].all() and not heard[200:].any()


def test_a_walking_tag_is_heard_where_it_is_in_each_record():
    walk_m = np.linspace(-2000, 2000, 5)
    strengths = expected_strength_db(
        easting_m=np.full(5, -300.0), northing_m=walk_m, height_above_ground_m=np.full(5, 80.0), azimuth_grid_deg=np.full(5, 90.0),
        tag_easting_m=np.zeros(5), tag_northing_m=walk_m, tag_power_db=0.0, physics=rich_physics())
    assert np.allclose(strengths, strengths[0])


def test_the_first_step_starts_afresh():
    assert steps_flown_m(np.array([0.0, 3.0]), np.array([0.0, 4.0])).tolist() == [np.inf, 5.0]


def test_normals_are_normal():
    values = normals(stream(3), 40_000)
    assert values.mean() == pytest.approx(0, abs=0.02) and values.std() == pytest.approx(1, abs=0.02)
