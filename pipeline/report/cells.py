"""How one value is written in a table: to the precision it has, in words a reader knows.

Formats: "text", "flag" (yes / no), "time" (2024-05-03 06:12), "date", "share" (0.62), a Python format such as ".1f" or ",d",
or a function from value to text. A blank is written as an en dash in figures and as nothing in text.
"""

from __future__ import annotations

from typing import Any, Callable

import pandas as pd

WORD_FORMATS = ("text", "flag", "time", "date")
BLANK_FIGURE = "\u2013"


def default_format(values: pd.Series) -> str:
    """A format fit for the kind of a column: whole numbers as they are, other numbers to three figures that count."""
    if pd.api.types.is_bool_dtype(values):
        return "flag"
    if isinstance(values.dtype, pd.DatetimeTZDtype) or pd.api.types.is_datetime64_any_dtype(values):
        return "time"
    if pd.api.types.is_integer_dtype(values):
        return "d"
    if pd.api.types.is_numeric_dtype(values):
        return ".3g"
    return "text"


def is_number_format(chosen: str | Callable) -> bool:
    """True for formats whose cells are figures: set to the right, sorted by value. A function counts as figures."""
    return callable(chosen) or chosen not in WORD_FORMATS


def cell_text(value: Any, chosen: str | Callable[[Any], str]) -> str:
    """One value as plain text in the chosen format."""
    if value is None or (pd.api.types.is_scalar(value) and pd.isna(value)):
        return BLANK_FIGURE if is_number_format(chosen) else ""
    if callable(chosen):
        return str(chosen(value))
    if chosen == "text":
        return str(value)
    if chosen == "flag":
        return "yes" if value else "no"
    if chosen == "time":
        return pd.Timestamp(value).strftime("%Y-%m-%d %H:%M")
    if chosen == "date":
        return pd.Timestamp(value).strftime("%Y-%m-%d")
    return _figure(value, ".2f" if chosen == "share" else chosen)


def _figure(value: Any, chosen: str) -> str:
    text = format(int(value) if chosen.endswith("d") else float(value), chosen)
    if "e" in text and chosen.endswith("g"):
        text = format(float(text), ".0f")
    if text.strip("-0.,") == "":
        text = text.lstrip("-")       # no "-0.0"
    return text.replace("-", "\u2212")
