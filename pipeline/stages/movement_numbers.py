"""How numbers of the movement report are written: to the precision they have, probabilities never as 0 or 1."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.wording import two_figures


def probability(value) -> str:
    """Two decimals, never 0 or 1."""
    return "<0.01" if value < 0.01 else ">0.99" if value > 0.99 else f"{value:.2f}"


def p_value(value) -> str:
    """Three decimals, never 0."""
    return "<0.001" if value < 0.001 else f"{value:.3f}"


def ratio(value) -> str:
    """Error over range; infinite where the fixes scatter no more than their errors."""
    return "no scatter left" if np.isinf(value) else f"{value:.2f}"



def with_interval(value, low, high):
    """"410 (180 to 640)"; None when there is no value."""
    if pd.isna(value):
        return None
    return f"{two_figures(value)} ({two_figures(low)} to {two_figures(high)})"
