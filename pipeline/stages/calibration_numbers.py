"""Numbers of the calibration report as they are read."""

from __future__ import annotations

import pandas as pd

from pipeline.wording import two_figures


def interval_m(row) -> str:
    """"79 (64 to 85)"; without the interval where there is none."""
    if pd.isna(row["median_m"]):
        return "–"
    given = f" ({two_figures(row['median_low_95_m'])} to {two_figures(row['median_high_95_m'])})" if pd.notna(row["median_low_95_m"]) else ""
    return f"{two_figures(row['median_m'])}{given}"


def signed(value: float) -> str:
    """Metres with a sign and a true minus: "+12", "−140"."""
    text = two_figures(abs(value)) if abs(value) >= 0.5 else "0"
    return text if text == "0" else f"{'+' if value > 0 else '−'}{text}"


def offset(east_m: float, north_m: float) -> str:
    """"−45, −72"."""
    return f"{signed(east_m)}, {signed(north_m)}"


def percent(share: float) -> str:
    """A share as whole per cent, never 0 or 100 unless it is."""
    return f"{100 * share:.0f} %" if share in (0.0, 1.0) or 0.005 <= share < 0.995 else "<1 %" if share < 0.5 else ">99 %"


def probability(value: float) -> str:
    """Two decimals, never 0.00 or 1.00."""
    return f"{min(max(value, 0.01), 0.99):.2f}"


def decibel(value: float) -> str:
    """A tenth of a decibel, true minus."""
    return f"{value:.1f}".replace("-", "−")


def significant(value: float) -> str:
    """Three figures that count, true minus."""
    return f"{value:.3g}".replace("-", "−")
