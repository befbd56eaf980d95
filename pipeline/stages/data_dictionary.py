"""The data dictionary: what every table is and what every column of it means, for readers of the CSV files and of results.gpkg.

The meanings are kept in data_dictionary.txt beside this module; units follow from the endings of the names.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pandas as pd

FILE = Path(__file__).with_suffix(".txt")
COLUMNS = ["table", "column", "unit", "meaning"]
NOT_DESCRIBED = "not described"

# longest first: what a name ends in, and the unit that says
_ENDINGS = {
    "_m_per_root_day": "m per root of a day", "_m_per_day": "m per day", "_m_per_s": "m/s", "_deg_per_s": "deg/s", "_per_min": "per minute", "_per_decade": "per decade of distance",
    "_percent": "%", "_mhz": "MHz", "_utc": "UTC, ISO 8601", "_days": "days", "_min": "min", "_deg": "deg, clockwise from true north", "_km": "km", "_kb": "kB", "_ha": "ha", "_db": "dB",
    "_m2": "m²", "_s": "s", "_m": "m",
}
# angles that are no directions, and names without an ending
_UNITS = {
    "azimuth_coverage_deg": "deg", "bearing_spread_deg": "deg", "crossing_deg": "deg", "depression_deg": "deg", "relative_azimuth_deg": "deg", "pass_azimuth_grid_deg": "deg", "azimuth_bias_deg": "deg",
    "azimuth_bias_se_deg": "deg", "turn_rate_max_deg_per_s": "deg/s", "best_latitude": "deg, WGS 84", "best_longitude": "deg, WGS 84", "days": "days", "days_since_heard": "days",
    "beacon_min": "min", "minutes_flown": "min",
}


def unit_of(column: str) -> str:
    """The unit that a column's name says, "" where it has none."""
    if column in _UNITS:
        return _UNITS[column]
    return next((unit for ending, unit in _ENDINGS.items() if column.endswith(ending)), "")


@cache
def _entries() -> dict[str, dict[str, tuple[str, str]]]:
    """Section -> name -> (unit, meaning), as written; ValueError names a line that is none."""
    sections: dict[str, dict[str, tuple[str, str]]] = {}
    section = None
    for number, line in enumerate(FILE.read_text(encoding="utf-8").splitlines(), start=1):
        if not line.strip() or line.startswith("#"):
            continue
        if line.startswith("["):
            section = sections.setdefault(line.strip("[]"), {})
            continue
        name, *rest = line.split(" | ")
        if section is None or not 1 <= len(rest) <= 2 or name in section:
            raise ValueError(f"{FILE.name}, line {number}: not 'name | meaning' or 'name | unit | meaning', or a second time: {line!r}")
        section[name] = (rest[0] if len(rest) == 2 else unit_of(name.split(".")[-1]), rest[-1])
    return sections


def column_meaning(table: str, column: str) -> tuple[str, str]:
    """(unit, meaning) of a column of a table or layer; the meaning is NOT_DESCRIBED where the dictionary lacks it."""
    columns = _entries()["columns"]
    return columns.get(f"{table}.{column}") or columns.get(column) or (unit_of(column), NOT_DESCRIBED)


def table_meaning(table: str) -> str:
    """What one row of a table is, "" for a table that the dictionary lacks."""
    return _entries()["tables"].get(table, ("", ""))[1]


def layer_meaning(layer: str) -> str:
    """What a layer of results.gpkg holds, "" for one that the dictionary lacks."""
    return _entries()["layers"].get(layer, ("", ""))[1]


def dictionary_table(tables: dict[str, list[str]]) -> pd.DataFrame:
    """One row per table and column, in the order given; tables : name of a table or layer -> its columns."""
    rows = [(table, column, *column_meaning(table, column)) for table, columns in tables.items() for column in columns]
    return pd.DataFrame(rows, columns=COLUMNS)


def without_repeats(dictionary: pd.DataFrame) -> pd.DataFrame:
    """One row per column, unit and meaning, by name; tables : where it stands, as a list of names."""
    grouped = dictionary.groupby(["column", "unit", "meaning"], sort=True)["table"]
    return grouped.agg(lambda names: list(dict.fromkeys(names))).rename("tables").reset_index()
