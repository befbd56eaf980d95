"""Strengths and their absence."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from intake_sample import codes, said
from pipeline.intake.findings import Findings
from pipeline.intake.log_format import LogFormat
from pipeline.intake.strengths import look_at_scales, read_strengths


def strengths(cells, *, decimal=".", **log_format):
    findings = Findings()
    read = read_strengths(pd.Series(cells, dtype="str"), log_format=replace(LogFormat(), **log_format), decimal=decimal, file="log.csv", column="Level",
                          lines=np.arange(len(cells)) + 2, findings=findings)
    return read, findings


HEARD = [f"{-120 + i}" for i in range(40)]


def test_blank_is_listened_and_not_heard():
    read, findings = strengths(["-90", "", "nan"], not_heard="blank")
    assert list(np.isnan(read.strength_db)) == [False, True, True] and read.listened.all() and findings.messages == []


@pytest.mark.parametrize("codes_declared, cells", [(("0",), ["0", "0.0", "-90"]), (("-150", "--"), ["-150", "--", "-90"]), (("255",), ["255", "255.00", "-90"])])
def test_declared_codes_are_not_heard(codes_declared, cells):
    read, findings = strengths(cells, not_heard=codes_declared)
    assert list(np.isnan(read.strength_db)) == [True, True, False] and findings.blocking == []
    assert findings.change_table()["rows"].tolist() == [2]


@pytest.mark.parametrize("code", ["0", "-150", "255", "-999"])
def test_a_value_that_looks_like_a_code_stops_the_run(code):
    _, findings = strengths([code] * 61 + HEARD[:39])
    message = said(findings.blocking, "strength-code")
    assert message.text == f"Value {code} occurs 61% in 'Level'; is it 'not heard'?"
    assert message.remedy.endswith(f"not_heard: [{code}], or heard_codes: [{code}] if it is a real strength") and message.line == 2


def test_a_word_nobody_declared_stops_the_run():
    _, findings = strengths(["--"] * 30 + HEARD)
    assert said(findings.blocking, "strength-code").text == "Value -- occurs 43% in 'Level'; is it 'not heard'?"


def test_a_code_is_taken_as_strength_by_the_users_word():
    read, findings = strengths(["0"] * 30 + HEARD, heard_codes=(0.0,))
    assert not np.isnan(read.strength_db).any() and findings.messages == []


def test_a_pile_at_the_top_next_to_other_values_is_no_code():
    assert strengths(["-81"] * 30 + HEARD)[1].blocking == []


def test_blank_beside_codes_is_told():
    read, findings = strengths(["-150", "", "-90"], not_heard=("-150",))
    assert said(findings, "strength-blank").text == "1 blank strengths, but not_heard lists only codes" and read.listened.all()
    assert strengths(["-150", "", "-90"], not_heard=("-150", "blank"))[1].messages == []


def test_blank_in_a_wide_log_with_codes_is_not_listened():
    read, _ = strengths(["-150", "", "-90"], not_heard=("-150",), layout="wide")
    assert list(read.listened) == [True, False, True]


def test_rows_nobody_listened_in_are_marked():
    assert list(strengths(["off", "-90"], not_listened=("off",))[0].listened) == [False, True]


def rows(**flights):
    return pd.concat([pd.DataFrame({"flight_id": name, "strength_db": values}) for name, values in flights.items()], ignore_index=True)


def test_two_scales_stop_the_run():
    findings = Findings()
    look_at_scales(rows(a=np.linspace(-120, -70, 30), b=np.linspace(10, 60, 30)), findings)
    assert said(findings.blocking, "strength-scale").text == "Scale differs between flights: −120 to −70 dB in a, 10 to 60 dB in b"


def test_flights_on_one_scale_pass():
    findings = Findings()
    look_at_scales(rows(a=np.linspace(-120, -70, 30), b=np.linspace(-118, -100, 30)), findings)
    assert findings.messages == []


def test_saturation_is_told_with_its_share():
    findings = Findings()
    look_at_scales(rows(a=np.r_[np.linspace(-120, -60, 86).round(1), np.full(14, -60.0)]), findings)
    assert said(findings, "strength-saturated").text == "15% at maximum (−60 dB)"


def test_codes_with_a_decimal_comma():
    read, _ = strengths(["-150,0", "-90,5"], decimal=",", not_heard=("-150",))
    assert np.isnan(read.strength_db[0]) and read.strength_db[1] == -90.5
    assert codes(Findings()) == []
