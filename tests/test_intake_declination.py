"""Declination for places and times, and what is said about it. The model's own numbers are checked in tests/outside/test_geodesy.py."""

import numpy as np
import pandas as pd
import pytest

from intake_sample import codes, said
from pipeline.intake.declination import decimal_year, declination, declinations
from pipeline.intake.findings import Findings

GLEN = (57.2, -4.1)


def asked(place=GLEN, when="2027-04-25", stated=None):
    findings = Findings()
    return declinations([place[0]], [place[1]], [pd.Timestamp(when, tz="UTC")], stated, findings, file="bearings.csv"), findings


def test_the_middle_of_a_year_is_its_half():
    assert decimal_year(pd.Timestamp("2027-07-02T12:00Z")) == 2027.5 and decimal_year(pd.Timestamp("2028-01-01", tz="UTC")) == 2028


@pytest.mark.parametrize("year, model", [(2014.99, "2010"), (2019.9, "2015"), (2024.99, "2020"), (2025.0, "2025"), (2029.99, "2025")])
def test_the_model_in_force_is_taken(year, model):
    found = declination(*GLEN, year)
    assert found.model == f"World Magnetic Model {model}" and found.years_beyond == 0


def test_longitudes_on_both_sides_of_the_antimeridian_agree():
    east, west = (declination(-17, longitude, 2027.0).declination_deg for longitude in (179.9999, -179.9999))
    assert east == pytest.approx(west, abs=1e-3) and declination(-17, 180.0, 2027.0).declination_deg == declination(-17, -180.0, 2027.0).declination_deg


@pytest.mark.parametrize("when, beyond", [("2031-07-02", "1.5"), ("2008-07-01", "1.5")])
def test_a_date_outside_the_validity_is_told_and_the_model_carried_on(when, beyond):
    degrees, findings = asked(when=when)
    told = said(findings, "declination-outdated")
    assert np.isfinite(degrees).all() and f"lies {beyond} years outside the validity of the World Magnetic Model" in told.text
    assert told.done == "the model carried on" and "declination_deg" in told.remedy and told.severity == "look"


def test_a_date_no_model_reaches_blocks_the_run():
    degrees, findings = asked(when="2036-01-01")
    told = said(findings.blocking, "declination-unknown")
    assert np.isnan(degrees).all() and told.file == "bearings.csv" and "valid 2025 to 2030" in told.text and "declination_deg" in told.remedy
    assert asked(when="2036-01-01", stated=-1.0)[1].blocking == []


def test_a_date_within_the_validity_is_no_matter():
    assert codes(asked()[1]) == ["declination-added"]


def test_a_stated_declination_of_the_wrong_sign_is_told():
    # in 2027 compasses in Fairbanks, Alaska, point about 14 degrees east of north
    degrees, findings = asked(place=(64.84, -147.72), stated=-14.0)
    told = said(findings, "declination-unlikely")
    assert degrees.tolist() == [-14] and told.remedy == "It counts east positive: change its sign" and "declination_deg says 14 deg W" in told.text
    assert "declination-unlikely" not in codes(asked(place=(64.84, -147.72), stated=14.0)[1])


def test_where_no_compass_works_the_run_is_blocked_and_where_it_is_poor_it_is_told():
    # the north magnetic pole of the model lay near 85.8 N 138 E in 2025 (World Magnetic Model 2025, from memory)
    degrees, findings = asked(place=(85.8, 138.0))
    assert np.isnan(degrees).all() and "no compass works" in said(findings.blocking, "declination-pole").text.lower()
    degrees, findings = asked(place=(75.0, -95.0))
    assert np.isfinite(degrees).all() and said(findings, "declination-weak").severity == "look"


def test_a_small_range_is_told_with_its_side():
    findings = Findings()
    when = [pd.Timestamp("2027-04-25", tz="UTC")] * 2
    declinations([64.84, 64.84], [-147.72, -146.0], when, None, findings, added_to=" to 2 magnetic bearings")
    text = said(findings, "declination-added").text
    assert text.endswith(" deg E added to 2 magnetic bearings, World Magnetic Model 2025, 2027-04-25, 64.8400 N 146.0000 W") and " to " in text.split(" deg")[0]


def test_nothing_asked_is_nothing_told():
    findings = Findings()
    assert declinations([], [], [], None, findings).tolist() == [] and findings.messages == []
