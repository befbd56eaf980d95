"""Tables as CSV files that lose nothing and are the same bytes every time."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.columns import conform


def csv_text(table: pd.DataFrame) -> str:
    """The table as CSV text: comma, LF, a header, no index.

    Numbers are the shortest text that reads back to the same double; times are ISO 8601 UTC with Z and no more
    decimals than they have; flags are true/false; a missing value is blank. A time without zone is taken as UTC.
    """
    columns = [_column_texts(table[name]) for name in table.columns]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([str(name) for name in table.columns])
    writer.writerows(zip(*columns))
    return text.getvalue()


def write_csv_table(path, table: pd.DataFrame) -> Path:
    """Write `csv_text(table)` as UTF-8; the folder is made when absent."""
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(csv_text(table).encode("utf-8"))
    return path


def read_csv_table(path, columns: dict[str, str] | None = None) -> pd.DataFrame:
    """Read a table that `write_csv_table` wrote.

    columns : name -> kind, as in pipeline.columns; the result then has exactly these columns and kinds. Without it
        every column ending in `_utc` is read as time, every one ending in `_id` as text, and the rest by its looks.
    """
    texts = pd.read_csv(path, dtype="string", keep_default_na=False, na_values=[""], encoding="utf-8")
    kinds = columns or {name: _kind_by_looks(name, texts[name]) for name in texts.columns}
    # A plain dict keeps the row count where only absent columns are asked for.
    typed = pd.DataFrame(index=texts.index)
    for name, kind in kinds.items():
        if name in texts.columns:
            typed[name] = _typed(texts[name], kind)
    return conform(typed, kinds)


def _column_texts(values: pd.Series) -> list[str]:
    if isinstance(values.dtype, pd.DatetimeTZDtype) or values.dtype.kind == "M":
        return [_time_text(value) for value in values]
    missing = values.isna().to_numpy()
    return ["" if is_missing else _text(value) for value, is_missing in zip(values.tolist(), missing)]


def _time_text(value) -> str:
    if pd.isna(value):
        return ""
    utc = value.tz_convert("UTC").tz_localize(None) if value.tzinfo else value
    text = utc.isoformat()
    return (text.rstrip("0") if "." in text else text) + "Z"


def _text(value) -> str:
    if isinstance(value, (bool, np.bool_)):
        return "true" if value else "false"
    if isinstance(value, (float, np.floating)):
        return repr(float(value))
    return str(value)


def _typed(texts: pd.Series, kind: str) -> pd.Series:
    if kind == "flag":
        return texts.map({"true": True, "false": False}).fillna(False).astype(bool)
    if kind == "float":  # Python's own parser: the one that is exact for every double
        return pd.Series([np.nan if pd.isna(text) else float(text) for text in texts], index=texts.index, dtype="float64")
    if kind == "int":
        return pd.Series([pd.NA if pd.isna(text) else int(text) for text in texts], index=texts.index, dtype="Int64")
    if kind == "time":
        return pd.to_datetime(texts, utc=True, format="ISO8601").astype("datetime64[us, UTC]")
    return texts


def _kind_by_looks(name: str, texts: pd.Series) -> str:
    if name.endswith("_utc"):
        return "time"
    present = texts.dropna()
    if name.endswith("_id") or present.empty:
        return "text"
    if present.isin(["true", "false"]).all() and len(present) == len(texts):
        return "flag"
    for kind, parse in (("int", int), ("float", float)):
        try:
            present.map(parse)
            return kind
        except ValueError:
            continue
    return "text"
