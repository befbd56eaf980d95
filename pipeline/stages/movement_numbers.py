"""How numbers of the movement report are written: to the precision they have, probabilities never as 0 or 1."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.wording import two_figures


def probability(value) -> str:
    """Two decimals, never 0 or 1."""
    return "<0.01" if value < 0.01 else ">0.99" if value > 0.99 else f"{value:.2f}"


def p_value(value) -> str:
    """Three decimals, never 0; a fourth where three would lift a value to 0.05."""
    return "<0.001" if value < 0.001 else f"{value:.4f}" if 0.0495 <= value < 0.05 else f"{value:.3f}"


def p_values(alone, adjusted) -> str:
    """"0.004, 0.031": of one test alone, and adjusted for all."""
    return f"{p_value(alone)}, {p_value(adjusted)}"


def time_apart(days) -> str:
    """"16" days, "7.9" days, or below a day "50 min" and "9.2 h", since two flights of one morning are not 0 days apart."""
    minutes = 1440 * days
    return two_figures(days) if days >= 1 else f"{two_figures(days * 24)} h" if minutes >= 90 else f"{minutes:.0f} min"


def day_range(first, last) -> str | None:
    """"2026-04-21 – 05-07"; one date when both are on it; None without dates."""
    if pd.isna(first):
        return None
    if f"{first:%Y-%m-%d}" == f"{last:%Y-%m-%d}":
        return f"{first:%Y-%m-%d}"
    return f"{first:%Y-%m-%d} – {last:%m-%d}" if first.year == last.year else f"{first:%Y-%m-%d} – {last:%Y-%m-%d}"


def ratio(value) -> str:
    """Error over range; infinite where the fixes scatter no more than their errors."""
    return "no scatter left" if np.isinf(value) else f"{value:.2f}"


def with_interval(value, low, high):
    """"410 (180 to 640)"; None when there is no value."""
    if pd.isna(value):
        return None
    return f"{two_figures(value)} ({two_figures(low)} to {two_figures(high)})"
