import numpy as np

from pipeline.radio import path_gain_db, sightlines
from tests.radio_sample import listening

PLAIN = {"exponent": 2.5, "ahead_db": 0.0, "ahead_squared_db": 0.0, "below_db": 0.0}


def test_doubling_every_distance_lowers_the_strength_by_ten_n_log_two():
    near, far = (sightlines(listening([0.0], [0.0], height_m=80.0 * k), [300.0 * k], [0.0]) for k in (1, 2))
    np.testing.assert_allclose(path_gain_db(near, **PLAIN) - path_gain_db(far, **PLAIN), 25 * np.log10(2))


def test_slant_distance_counts_the_height():
    """Overhead at 60 m, recorded as 100 m: 20 log10(100/60) = 4.44 dB (exact)."""
    free = PLAIN | {"exponent": 2.0}
    low, high = (path_gain_db(sightlines(listening([0.0], [0.0], height_m=h), [0.0], [0.0]), **free) for h in (60.0, 100.0))
    np.testing.assert_allclose(low - high, 4.437, atol=1e-3)


def test_ahead_is_one_behind_minus_one_and_overhead_nothing():
    towards_east = listening([0.0], [0.0], height_m=0.001, azimuth_deg=90.0)
    np.testing.assert_allclose(sightlines(towards_east, [500.0, -500.0, 0.0], [0.0, 0.0, 500.0]).ahead, [[1.0, -1.0, 0.0]], atol=1e-5)
    above = sightlines(listening([0.0], [0.0], height_m=80.0, azimuth_deg=90.0), [0.0], [0.0])
    np.testing.assert_allclose([above.ahead, above.below], [[[0.0]], [[1.0]]], atol=1e-12)


def test_turning_the_antenna_with_the_tag_changes_nothing():
    for azimuth in (0.0, 37.0, 200.0, 359.0):
        place = 400.0 * np.sin(np.radians(azimuth)), 400.0 * np.cos(np.radians(azimuth))
        lines = sightlines(listening([0.0], [0.0], azimuth_deg=azimuth), [place[0]], [place[1]])
        np.testing.assert_allclose(lines.ahead, 400.0 / np.hypot(400.0, 80.0), atol=1e-9)


def test_an_unknown_azimuth_gives_no_direction_and_the_mean_over_azimuths():
    blind = sightlines(listening([0.0], [0.0]), [300.0], [200.0])
    turned = [sightlines(listening([0.0], [0.0], azimuth_deg=a), [300.0], [200.0]) for a in np.arange(0.0, 360.0, 5.0)]
    assert blind.ahead[0, 0] == 0.0
    np.testing.assert_allclose(blind.ahead_squared, np.mean([lines.ahead_squared for lines in turned], axis=0))


def test_a_tag_under_the_receiver_is_never_at_distance_zero():
    lines = sightlines(listening([0.0], [0.0], height_m=0.0), [0.0], [0.0])
    np.testing.assert_allclose(10 ** lines.log10_distance, 5.0)


def test_an_azimuth_that_is_off_by_a_constant_turns_the_pattern():
    straight = sightlines(listening([0.0], [0.0], azimuth_deg=30.0), [300.0], [200.0])
    turned = sightlines(listening([0.0], [0.0], azimuth_deg=42.0), [300.0], [200.0])
    pattern = {"exponent": 2.5, "ahead_db": 4.0, "ahead_squared_db": 1.5, "below_db": -2.0}
    np.testing.assert_allclose(path_gain_db(straight, azimuth_bias_deg=12.0, **pattern), path_gain_db(turned, **pattern))


def test_a_bias_of_the_azimuth_does_nothing_where_the_azimuth_is_unknown():
    blind = sightlines(listening([0.0], [0.0]), [300.0], [200.0])
    pattern = {"exponent": 2.5, "ahead_db": 4.0, "ahead_squared_db": 1.5, "below_db": -2.0}
    np.testing.assert_allclose(path_gain_db(blind, azimuth_bias_deg=90.0, **pattern), path_gain_db(blind, **pattern))
