"""Numbers out of cells of text: decimal commas, thousands separators, unit text, degrees-minutes-seconds."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from pipeline.intake.findings import Findings

_WITH_UNIT = re.compile(r"^([-+−]?[\d.,'\u00a0 ]*\d(?:[eE][-+]?\d+)?)\s*([A-Za-zµ°%/]+\.?)$")
_THOUSANDS = re.compile(r"^[-+]?\d{1,3}(?:[,'\u00a0 ]\d{3})+(?:\.\d+)?$")
_ANGLE = re.compile(
    r"^([NSEWnsew])?\s*([-+])?\s*(\d{1,3}(?:\.\d+)?)\s*[°d:\s]?\s*(?:(\d{1,2}(?:\.\d+)?)\s*['′m:\s]?\s*)?(?:(\d{1,2}(?:\.\d+)?)\s*(?:\"|″|''|s)?\s*)?([NSEWnsew])?$"
)
_FEET = 0.3048


def parse_numbers(text: pd.Series, *, decimal: str, file: str, column: str, lines: np.ndarray, findings: Findings,
                  consequence: str = "the value is missing in these rows") -> np.ndarray:
    """The cells of one column as numbers (float array); blank and unreadable cells are NaN, the unreadable ones are told.

    text : cells without blanks at their ends. decimal : "." or ",". lines : line of each cell in the file.
    Unit text such as "dBm" and thousands separators are removed and counted; "ft" is turned into metres.
    """
    values, unread = _plain_numbers(text, decimal)
    if not unread.any():
        return values
    cells = text[unread]
    mended = {cell: _mend(cell, decimal) for cell in dict.fromkeys(cells)}
    values[unread] = [mended[cell][0] for cell in cells]
    units = cells.map({cell: unit for cell, (_, unit) in mended.items()})
    for unit in dict.fromkeys(unit for unit in units if unit):
        count = int((units == unit).sum())
        what = f"Removed {unit!r} from {count} cells" if unit != "thousands" else f"Removed thousands separators from {count} cells"
        as_metres = " and turned feet into metres" if unit in ("ft", "feet") else ""
        findings.note("cell-unit", what + as_metres, file=file, value=column, done="values read without it")
        findings.changed(f"unit text in {column}", count, unit, "number" + as_metres)
    _tell_unreadable(text, unread & np.isnan(values), file, column, lines, findings, consequence)
    return values


def _plain_numbers(text: pd.Series, decimal: str):
    """Values of cells that are numbers as they stand, and a mask of the cells that are not."""
    plain = text
    if decimal == ",":
        plain = text.where(~text.str.contains(",", regex=False), text.str.replace(".", "", regex=False).str.replace(",", ".", regex=False))
    values = pd.to_numeric(plain, errors="coerce").to_numpy(dtype=float, na_value=np.nan).copy()
    values[np.isinf(values)] = np.nan
    return values, np.isnan(values) & (text != "").to_numpy() & ~text.str.casefold().isin(("nan", "na", "null", "none")).to_numpy()


def _mend(cell: str, decimal: str) -> tuple[float, str]:
    """Number in a cell with unit text or thousands separators, and what was removed; (NaN, "") when it is neither."""
    unit, number = "", cell.replace("−", "-")
    found = _WITH_UNIT.match(number)
    if found:
        number, unit = found.groups()
    if decimal == ",":
        number = number.replace(".", "").replace(",", ".")
    elif _THOUSANDS.match(number):
        number, unit = re.sub(r"[,'\u00a0 ]", "", number), unit or "thousands"
    try:
        value = float(number)
    except ValueError:
        return np.nan, ""
    if not np.isfinite(value):
        return np.nan, ""
    return value * _FEET if unit in ("ft", "feet") else value, unit


def _tell_unreadable(text, bad, file, column, lines, findings, consequence) -> None:
    if bad.any():
        first = int(np.argmax(bad))
        findings.look("cell-not-a-number", f"{column}: {text.iloc[first]!r} is not a number; {int(bad.sum())} cell{'s' if bad.sum() > 1 else ''} like it",
                      file=file, line=int(lines[first]), value=str(text.iloc[first]), consequence=consequence, remedy="mend the cells or name the code in the survey file",
                      done="read as missing")


def parse_angles(text: pd.Series, *, decimal: str, file: str, column: str, lines: np.ndarray, findings: Findings) -> np.ndarray:
    """Latitudes or longitudes in degrees; text such as 57°12'03.4"N is read when every such cell fits the pattern, and told."""
    values, unread = _plain_numbers(text, decimal)
    if not unread.any():
        return values
    cells = text[unread]
    read = {cell: _angle(cell, decimal) for cell in dict.fromkeys(cells)}
    values[unread] = [read[cell] for cell in cells]
    understood = unread & ~np.isnan(values)
    if understood.any():
        first = int(np.argmax(understood))
        findings.look("position-sexagesimal", f"{column}: {int(understood.sum())} cells with degrees, minutes and seconds, first {text.iloc[first]!r} = {values[first]:.5f}",
                      file=file, line=int(lines[first]), value=str(text.iloc[first]), remedy="check the first position", done="read as degrees")
        findings.changed(f"sexagesimal {column}", int(understood.sum()), str(text.iloc[first]), f"{values[first]:.6f}")
    _tell_unreadable(text, unread & np.isnan(values), file, column, lines, findings, "these records have no position")
    return values


def written_step_deg(text: pd.Series, *, decimal: str) -> float:
    """The finest step to which the angles of a column are written [deg], 0.0001 for 57.2046 and a 3600th for whole seconds; NaN when no cell can be read.

    Zeros at the end that a program left out are not seen in one cell and seldom missed by all of them.
    """
    steps = [step for step in map(lambda cell: _step_of(cell.replace(",", ".") if decimal == "," else cell), dict.fromkeys(text.head(5000))) if step]
    return min(steps, default=np.nan)


def _step_of(cell: str) -> float:
    """Step of one written angle, that of its last part; 0 for what is none."""
    found = _ANGLE.match(cell)
    if not found:
        return 0.0
    _, _, degrees, minutes, seconds, _ = found.groups()
    last, unit = next((part, unit) for part, unit in ((seconds, 3600), (minutes, 60), (degrees, 1)) if part)
    return 10.0 ** -len(last.partition(".")[2]) / unit


def _angle(cell: str, decimal: str) -> float:
    found = _ANGLE.match(cell.replace(",", ".") if decimal == "," else cell)
    if not found:
        return np.nan
    before, sign, degrees, minutes, seconds, after = found.groups()
    minutes, seconds = float(minutes or 0), float(seconds or 0)
    if minutes >= 60 or seconds >= 60:
        return np.nan
    size = float(degrees) + minutes / 60 + seconds / 3600
    hemisphere = (before or after or "").upper()
    return -size if sign == "-" or hemisphere in ("S", "W") else size
