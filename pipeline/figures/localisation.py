"""Figures of the localisation report: stated radii, strengths along the flight with what the model expects, ground searched over time."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from pipeline.figures.style import LIGHT, SHAPES, in_style, new_figure, short_name

TRIANGLE, SQUARE, CROSS, DIAMOND = (SHAPES[name].as_matplotlib() for name in ("triangle", "square", "cross", "diamond"))
COLUMNS = 3


@in_style()
def ranked_radii(radii: pd.DataFrame) -> Figure:
    """50 % and 95 % radii of all fixes with a position, the best first.

    radii : error_radius_50_m, error_radius_95_m. [m]
    """
    ordered = radii.sort_values("error_radius_95_m", kind="stable").reset_index(drop=True)
    figure, ax = new_figure(height_in=2.8)
    rank = np.arange(1, len(ordered) + 1)
    ax.vlines(rank, ordered["error_radius_50_m"], ordered["error_radius_95_m"], color=LIGHT["fix"], linewidth=1.0)
    ax.plot(rank, ordered["error_radius_95_m"], linestyle="", marker="_", color=LIGHT["fix"], markersize=6, label="95 % radius")
    ax.plot(rank, ordered["error_radius_50_m"], linestyle="", marker=CROSS, color=LIGHT["fix"], markersize=3.5, label="50 % radius")
    ax.set(xlabel="fixes with a position, the smallest 95 % radius first", ylabel="radius (m)", ylim=(0, None))
    ax.legend(loc="upper left")
    return figure


@in_style()
def strength_panels(panels: list[dict]) -> Figure:
    """Strength against minutes flown, one panel a tag and flight: heard, not heard (at the threshold), and what a tag at the stated place would show.

    panels : title, minute, strength_db (NaN = not heard), threshold_db, expected_db, spread_db (one sd); arrays of shape (records,).
    """
    rows = max(1, int(np.ceil(len(panels) / COLUMNS)))
    figure, axes = new_figure(rows, COLUMNS, height_in=1.75 * rows + 0.5, sharey=True)
    grid = np.atleast_1d(axes).ravel()
    for ax, panel in zip(grid, panels):
        minute, strength = np.asarray(panel["minute"], float), np.asarray(panel["strength_db"], float)
        heard = np.isfinite(strength)
        ax.fill_between(minute, panel["expected_db"] - panel["spread_db"], panel["expected_db"] + panel["spread_db"], color=LIGHT["fix"], alpha=0.15, linewidth=0)
        ax.plot(minute, panel["expected_db"], color=LIGHT["fix"], linewidth=1.0)
        ax.plot(minute[~heard], panel["threshold_db"][~heard], linestyle="", marker=SQUARE, color=LIGHT["silent"], markerfacecolor="none", markersize=2.2, markeredgewidth=0.5)
        ax.plot(minute[heard], strength[heard], linestyle="", marker=TRIANGLE, color=LIGHT["heard"], markersize=3.5)
        ax.set_title(panel["title"], fontsize=8)
        ax.tick_params(labelsize=7)
    for ax in grid[len(panels):]:
        ax.set_visible(False)
    low = min((float(np.nanmin(panel["threshold_db"])) for panel in panels), default=0.0)
    high = max((float(np.nanmax(panel["strength_db"])) for panel in panels), default=1.0)
    grid[0].set_ylim(low - 8, high + 6)
    figure.supxlabel("minutes since the flight began", fontsize=8)
    figure.supylabel("strength (dB)", fontsize=8)
    return figure


@in_style()
def searched_over_time(cumulative: pd.DataFrame, area_ha: float) -> Figure:
    """Ground searched to 0.5 and 0.9 (cautious) against minutes listened, one line a tag type.

    cumulative : tag_type, minutes, area_50_ha, area_90_ha. area_ha : of the ground asked about.
    """
    figure, ax = new_figure(height_in=2.6)
    for number, (tag_type, rows) in enumerate(cumulative.groupby("tag_type", sort=True)):
        colour, kind = LIGHT["heard" if number == 0 else "beacon"], tag_type or "all tags"
        ax.plot(rows["minutes"], rows["area_90_ha"], color=colour, linewidth=1.4, marker=(TRIANGLE, DIAMOND)[number % 2], markersize=3, label=f"{short_name(kind)}, 0.9 or more")
        ax.plot(rows["minutes"], rows["area_50_ha"], color=colour, linewidth=1.0, linestyle="--", label=f"{short_name(kind)}, 0.5 or more")
    ax.axhline(area_ha, color=LIGHT["ink"], linewidth=0.8, linestyle=":")
    ax.set(xlabel="minutes listened", ylabel="ground searched (ha)", ylim=(0, 1.08 * area_ha))
    ax.legend(loc="lower right")
    return figure
