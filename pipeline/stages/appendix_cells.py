"""How the tables of the appendix write what is blank, spans of days, and the classes of animals."""

from __future__ import annotations

import pandas as pd


def as_words(values: pd.Series) -> pd.Series:
    """A column as words, blank where there is none; a column without any comes as numbers."""
    return values.astype("string").fillna("")


def span_of_days(first, last) -> str:
    """Two dates, or one where they are the same day; blank without."""
    days = [f"{pd.Timestamp(moment):%Y-%m-%d}" for moment in (first, last) if pd.notna(moment)]
    return " to ".join(dict.fromkeys(days))
