"""Numbers of the calibration report as they are read."""

from __future__ import annotations

import numpy as np
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
    """"−45, −3": both to whole metres, so that neither looks more exact than the other."""
    return f"{signed_whole(east_m)}, {signed_whole(north_m)}"


def signed_whole(value: float) -> str:
    """Whole metres with a sign and a true minus, two figures from 100 m on: "+12", "−3", "−140"."""
    return signed(float(np.round(value)))


def percent(share: float) -> str:
    """A share as whole per cent, never 0 or 100 unless it is."""
    return f"{100 * share:.0f} %" if share in (0.0, 1.0) or 0.005 <= share < 0.995 else "<1 %" if share < 0.5 else ">99 %"


def probability(value: float) -> str:
    """Two decimals; three where two would read 0 or 1 for what three can tell from it."""
    two, three = f"{value:.2f}", f"{value:.3f}"
    return three if two in ("0.00", "1.00") and three not in ("0.000", "1.000") else two


def decibel(value: float) -> str:
    """A tenth of a decibel, true minus."""
    return f"{value:.1f}".replace("-", "−")


def significant(value: float) -> str:
    """Three figures that count, true minus."""
    return f"{value:.3g}".replace("-", "−")


def share_with_interval(row) -> str:
    """"0.83 (0.46 to 0.99)"; an en dash where there is no share."""
    return f"{row.share:.2f} ({probability(row.low_95)} to {probability(row.high_95)})" if pd.notna(row.share) else "–"


def span(low: float, high: float, said=probability) -> str:
    """"0.88 to 0.92", or one number where both read the same; an en dash where there is none."""
    texts = [said(value) for value in (low, high)]
    return "–" if pd.isna(low) else texts[0] if texts[0] == texts[1] else " to ".join(texts)
