"""Numbers out of cells."""

import numpy as np
import pandas as pd
import pytest

from intake_sample import codes, said
from pipeline.intake.findings import Findings
from pipeline.intake.numbers import parse_angles, parse_numbers, written_step_deg


def numbers(cells, *, decimal=".", reader=parse_numbers):
    findings = Findings()
    values = reader(pd.Series(cells, dtype="str"), decimal=decimal, file="log.csv", column="level", lines=np.arange(len(cells)) + 2, findings=findings)
    return list(values), findings


def test_plain_cells_are_numbers_and_blank_cells_are_missing():
    values, findings = numbers(["-90.5", "", "1e2", "NaN"])
    assert values[0] == -90.5 and np.isnan(values[1]) and values[2] == 100 and np.isnan(values[3]) and findings.messages == []


def test_unit_text_is_removed_and_counted():
    values, findings = numbers(["-90 dBm", "-91dBm", "-92"])
    assert values == [-90, -91, -92] and said(findings, "cell-unit").text == "Removed 'dBm' from 2 cells"
    assert findings.change_table()["rows"].tolist() == [2]


def test_feet_in_cells_become_metres():
    values, findings = numbers(["100 ft"])
    assert values == [pytest.approx(30.48)] and said(findings, "cell-unit").text == "Removed 'ft' from 1 cells and turned feet into metres"


def test_decimal_commas_are_read():
    assert numbers(["48,123", "-7", "1.234,5"], decimal=",")[0] == [48.123, -7, 1234.5]


def test_thousands_separators_are_removed():
    assert numbers(["1,234.5", "12'345"])[0] == [1234.5, 12345]


def test_an_unreadable_cell_is_told_with_line_and_value():
    values, findings = numbers(["1", "x7", "2"])
    message = said(findings, "cell-not-a-number")
    assert np.isnan(values[1]) and (message.line, message.value) == (3, "x7") and message.text == "level: 'x7' is not a number; 1 cell like it"


def test_infinity_is_no_measurement():
    assert np.isnan(numbers(["inf"])[0][0])


@pytest.mark.parametrize("cell, degrees", [("57°12'03.6\"N", 57.201), ("4 06 0 W", -4.1), ("S 41°18.0'", -41.3), ("57.2 N", 57.2), ("4.1W", -4.1), ("-4 6.0", -4.1)])
def test_degrees_minutes_and_seconds_are_read(cell, degrees):
    values, findings = numbers([cell], reader=parse_angles)
    assert values == [pytest.approx(degrees)] and codes(findings) == ["position-sexagesimal"]


def test_seventy_minutes_are_no_angle():
    values, findings = numbers(["57 70 00"], reader=parse_angles)
    assert np.isnan(values[0]) and codes(findings) == ["cell-not-a-number"]


@pytest.mark.parametrize("cells, decimal, step", [
    (["57.2", "57.2046", "57"], ".", 1e-4), (["57,2046"], ",", 1e-4), (["57"], ".", 1.0), (["57 12 03 N"], ".", 1 / 3600), (["57\u00b012'03.4\"N"], ".", 0.1 / 3600), (["57 12.25 N"], ".", 0.01 / 60),
])
def test_the_finest_step_to_which_angles_are_written(cells, decimal, step):
    assert written_step_deg(pd.Series(cells), decimal=decimal) == pytest.approx(step)


def test_no_readable_angle_has_no_step():
    assert np.isnan(written_step_deg(pd.Series(["", "north"]), decimal="."))
