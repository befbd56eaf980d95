"""Tables as CSV files that any program reads and that come out the same, byte for byte, at every run."""

from __future__ import annotations

from pathlib import Path

import pandas as pd


def write_table_file(path: Path, table: pd.DataFrame) -> None:
    """Write UTF-8, LF, numbers at full precision, times as 2024-05-03T06:12:00Z, blanks for missing, true and false."""
    path.parent.mkdir(parents=True, exist_ok=True)
    plain = pd.DataFrame({name: _plain(table[name]) for name in table.columns}, index=table.index)
    path.write_bytes(plain.to_csv(index=False, lineterminator="\n").encode("utf-8"))


def _plain(values: pd.Series) -> pd.Series:
    if isinstance(values.dtype, pd.DatetimeTZDtype):
        return values.dt.tz_convert("UTC").map(_iso, na_action="ignore")
    if pd.api.types.is_bool_dtype(values):
        return values.map({True: "true", False: "false"})
    return values


def _iso(moment: pd.Timestamp) -> str:
    text = moment.strftime("%Y-%m-%dT%H:%M:%S")
    fraction = f".{moment.microsecond:06d}".rstrip("0") if moment.microsecond else ""
    return f"{text}{fraction}Z"
