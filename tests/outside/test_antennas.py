"""The antenna pattern of the signal model, a u + b u^2 + c s in dB, against textbook antennas. Row numbers are those of the project's list of check values.

Textbook patterns fall to nothing at their nulls, which three terms cannot follow. So two questions are kept apart: how well the form holds a main lobe that
it is fitted to down to half power, and what comes out when it is fitted all round, as it is on beacons. The differences written here were measured.
The radiation resistance of row 4.1 (73.13 ohm) has no counterpart in the project.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.optimize import brentq

from pipeline.calibration import pattern_at
from pipeline.radio import KnownTag, Listening, fit_signal_model, path_gain_db, sightlines, steps_along
from pipeline.simulate import matched_physics, simulate_strengths, stream

TERMS = ("ahead_db", "ahead_squared_db", "below_db")
HALF_DB = 10 * np.log10(2)
RANGE_M = 1000.0


def pattern_db(azimuth_deg, depression_deg, **coefficients):
    """The antenna's part of the path gain, from receivers all round a tag, their antennas to the north."""
    azimuth, depression = np.radians(np.broadcast_arrays(np.atleast_1d(azimuth_deg).astype(float), np.asarray(depression_deg, float)))
    level_m, nothing = RANGE_M * np.cos(depression), np.full(len(azimuth), np.nan)
    receivers = Listening(-level_m * np.sin(azimuth), -level_m * np.cos(azimuth), RANGE_M * np.sin(depression), np.zeros(len(azimuth)), nothing, nothing,
                          np.full(len(azimuth), np.inf))
    return path_gain_db(sightlines(receivers, 0.0, 0.0), exponent=0.0, **(dict.fromkeys(TERMS, 0.0) | coefficients))[:, 0]


def fitted(azimuth_deg, depression_deg, gain_db, terms=TERMS):
    """Coefficients of the named terms by least squares in dB, the level free."""
    columns = [pattern_db(azimuth_deg, depression_deg, **{term: 1.0}) for term in terms]
    level_and = np.linalg.lstsq(np.stack([np.ones(len(gain_db)), *columns], axis=1), gain_db, rcond=None)[0]
    return dict(zip(terms, level_and[1:]))


def half_power_width_deg(gain_db, widest_deg=89.0):
    """Twice the angle at which a gain, a function of the angle from its maximum, has lost half."""
    return 2 * brentq(lambda angle: float(np.squeeze(gain_db(angle))) - float(np.squeeze(gain_db(0.0))) + HALF_DB, 1.0, widest_deg)


def by_azimuth(coefficients):
    return lambda angle: pattern_db(angle, 0.0, **coefficients)


def by_depression(coefficients):
    return lambda angle: pattern_db(0.0, angle, **coefficients)


ONE_SIDED_DEG = np.arange(-89.75, 90.0, 0.5)


def cosine_lobe(power, down_db=HALF_DB):
    """The form fitted to a power pattern cos^n down to so many dB."""
    gain_db = 10 * power * np.log10(np.cos(np.radians(ONE_SIDED_DEG)))
    lobe = gain_db > -down_db
    return fitted(ONE_SIDED_DEG[lobe], 0.0, gain_db[lobe], ("ahead_db", "ahead_squared_db"))


@pytest.mark.parametrize("power, width_deg, off_deg", [(1, 120.0, 0.8), (2, 90.0, 0.2), (4, 65.53, 0.04), (10, 42.17, 0.01), (4.8188, 60.0, 0.03), (2.7492, 78.0, 0.08)])
def test_the_form_holds_the_half_power_width_of_a_cosine_lobe(power, width_deg, off_deg):
    """4.3: 2 acos(0.5^(1/n)) and its inverse; derived. Fitted down to half power it is off by 0.72 degrees for n 1 and by 0.003 for n 10."""
    assert half_power_width_deg(by_azimuth(cosine_lobe(power))) == pytest.approx(width_deg, abs=off_deg)


@pytest.mark.parametrize("power, width_deg, off_deg", [(1, 120.0, 1.3), (2, 90.0, 1.3), (4, 65.53, 0.4), (10, 42.17, 0.1)])
def test_a_lobe_fitted_down_to_ten_decibels_comes_out_a_degree_wider(power, width_deg, off_deg):
    """4.3 again: what the deeper part of a lobe costs."""
    found = half_power_width_deg(by_azimuth(cosine_lobe(power, down_db=10.0)))
    assert width_deg < found < width_deg + off_deg


def half_wave_db(across):
    """Gain of a half-wave dipole by the cosine of the angle to its axis, cos(pi/2 w) / sqrt(1 - w^2); Balanis, Antenna theory, chapter 4, from memory. [dB]"""
    return 20 * np.log10(np.cos(np.pi / 2 * across) / np.sqrt(1 - across**2))


def short_db(across):
    """Gain of a short dipole, sqrt(1 - w^2); Balanis, chapter 4, from memory. [dB]"""
    return 10 * np.log10(1 - across**2)


# Directions evenly over the lower half of the sphere: as many in every slice of height, azimuths by the golden angle.
SLICES = (np.arange(4000) + 0.5) / 4000
SPHERE_AZIMUTH_DEG, SPHERE_DEPRESSION_DEG = np.arange(4000) * 137.50776405 % 360.0, np.degrees(np.arcsin(SLICES))
ACROSS = np.sin(np.radians(SPHERE_AZIMUTH_DEG)) * np.sqrt(1 - SLICES**2)

# gain, half-power width and directivity as published; how far the fitted form is off: the width in degrees, the directivity as a share
DIPOLES = [(half_wave_db, 78.08, 1.641, 1.7, 0.05), (short_db, 90.0, 1.5, 3.7, 0.05)]


@pytest.mark.parametrize("dipole, width_deg, directivity, off_deg, off_share", DIPOLES)
def test_the_patterns_that_the_form_is_held_against_are_those_of_the_textbook(dipole, width_deg, directivity, off_deg, off_share):
    """4.1 and 4.2: half-wave 78.08 degrees and 1.641, short 90 degrees and 1.5. Balanis, chapter 4; value from memory, recomputed."""
    assert half_power_width_deg(lambda angle: dipole(np.sin(np.radians(angle)))) == pytest.approx(width_deg, abs=6e-3)
    assert 1 / np.mean(10 ** (dipole(ACROSS) / 10)) == pytest.approx(directivity, abs=1e-3)


@pytest.mark.parametrize("dipole, width_deg, directivity, off_deg, off_share", DIPOLES)
def test_the_form_holds_a_dipole_with_level_elements_and_one_that_stands_upright(dipole, width_deg, directivity, off_deg, off_share):
    """4.1 and 4.2, fitted down to half power: 1.5 (short: 3.6) degrees too wide, directivity 4 % too low."""
    lobe = dipole(ACROSS) > -HALF_DB
    level = fitted(SPHERE_AZIMUTH_DEG[lobe], SPHERE_DEPRESSION_DEG[lobe], dipole(ACROSS)[lobe])
    # A dipole is the same all round its axis: no front, and what is lost towards straight below is what the sides lose, none.
    assert level["ahead_db"] == pytest.approx(0.0, abs=0.02)
    assert level["below_db"] == pytest.approx(level["ahead_squared_db"], abs=0.02)
    assert half_power_width_deg(by_azimuth(level)) == pytest.approx(width_deg, abs=off_deg)
    gain_db = pattern_db(SPHERE_AZIMUTH_DEG, SPHERE_DEPRESSION_DEG, **level) - pattern_db(0.0, 0.0, **level)
    assert 1 / np.mean(10 ** (gain_db / 10)) == pytest.approx(directivity, rel=off_share)
    depression_deg = np.arange(0.0, 89.9, 0.25)
    gain_db = dipole(np.sin(np.radians(depression_deg)))
    upright = fitted(depression_deg[gain_db > -HALF_DB], depression_deg[gain_db > -HALF_DB], gain_db[gain_db > -HALF_DB], ("below_db",))
    assert upright["below_db"] < 0
    assert half_power_width_deg(by_depression(upright)) == pytest.approx(width_deg, abs=off_deg)


@dataclass(frozen=True)
class TwoUprightElements:
    """Array factor of two upright elements 0.10 wavelengths apart, with the ratio and phase of their currents that give 9.4 dB front to back and 129 degrees.

    Both figures lie in the ranges of row 4.8 (9.3 to 9.6 dB, 120 to 138 degrees across the elements; NEC-2, derived).
    """

    ratio: float = 0.750
    phase: float = -2.719
    spacing: float = 0.10

    def gain_db(self, relative_azimuth_deg, depression_deg):
        ahead = np.cos(np.radians(relative_azimuth_deg)) * np.cos(np.radians(depression_deg))
        turn = 2 * np.pi * self.spacing
        return 20 * np.log10(np.abs(1 + self.ratio * np.exp(1j * (turn * ahead + self.phase))) / np.abs(1 + self.ratio * np.exp(1j * (turn + self.phase))))


ANTENNA = TwoUprightElements()
ALL_ROUND_DEG = np.arange(-180.0, 180.0, 1.0)


def test_an_antenna_of_two_elements_fitted_all_round_keeps_front_back_and_side_within_two_decibels():
    """4.8: front to back 9.3 to 9.6 dB, width 120 to 138 degrees. Least squares in dB follow the dips of this pattern (11 dB deep, at 132 degrees)
    by lowering the back: 11.5 for 9.4 dB to the back, 7.5 for 6.2 dB to the side, and a width of 99 for 129 degrees."""
    true_db = ANTENNA.gain_db(np.array([0.0, 90.0, 180.0]), 0.0)
    assert 9.3 <= -true_db[2] <= 9.6
    assert 120 <= half_power_width_deg(lambda angle: ANTENNA.gain_db(angle, 0.0)) <= 138
    form = fitted(ALL_ROUND_DEG, 0.0, ANTENNA.gain_db(ALL_ROUND_DEG, 0.0), ("ahead_db", "ahead_squared_db"))
    ahead, side, behind = pattern_db([0.0, 90.0, 180.0], 0.0, **form)
    assert ahead - behind == pytest.approx(-true_db[2], abs=2.2)
    assert ahead - side == pytest.approx(-true_db[1], abs=1.4)
    left_db = ANTENNA.gain_db(ALL_ROUND_DEG, 0.0) - pattern_db(ALL_ROUND_DEG, 0.0, **form)
    assert left_db.std() < 0.9
    assert half_power_width_deg(by_azimuth(form)) == pytest.approx(99.0, abs=1.0)


def beacon(number):
    """Lines flown over a beacon with the antenna turning, records about the two-element antenna."""
    place = stream(5, number).uniform(-400, 400, 2)
    along = np.linspace(-500, 500, 25)
    east, north = np.concatenate([along, -along, along, -along]), np.repeat([-450.0, -150.0, 150.0, 450.0], 25)
    azimuth, height = np.arange(100) * 137.508 % 360, np.full(100, 60.0)
    physics = matched_physics(antenna=ANTENNA, shadowing=((2.0, 120.0),), noise_sd_db=1.0, miss_share=0.0, threshold_db=-300.0)
    strength = simulate_strengths(easting_m=east, northing_m=north, height_above_ground_m=height, azimuth_grid_deg=azimuth, tag_easting_m=place[0],
                                  tag_northing_m=place[1], tag_power_db=-44.0, physics=physics, generator=stream(6, number))
    nothing = np.full(100, np.nan)
    return KnownTag(f"B{number}", f"B{number}", "collar", *place, 0.0, (Listening(east, north, height, azimuth, strength, nothing, steps_along(east, north)),))


def test_the_fit_on_beacons_finds_what_least_squares_find_all_round():
    """4.8 through the fit that the reports use: within half a decibel of the test before, so that its differences to the antenna are those of the form."""
    form = fitted(ALL_ROUND_DEG, 0.0, ANTENNA.gain_db(ALL_ROUND_DEG, 0.0), ("ahead_db", "ahead_squared_db"))
    model = fit_signal_model([beacon(number) for number in range(4)]).model
    angles = np.array([0.0, 90.0, 180.0])
    on_beacons, all_round = pattern_at(model, angles), pattern_db(angles, 0.0, **form)
    np.testing.assert_allclose(on_beacons - on_beacons[0], all_round - all_round[0], atol=0.5)
