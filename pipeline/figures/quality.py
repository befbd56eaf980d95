"""Figures of the quality check: time strips, strengths, directions listened to, what was heard of whom in which flight."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator, NullLocator

from pipeline.figures.style import LIGHT, TEXT_WIDTH_IN, in_style, new_figure, short_name

GROUND_SEARCHED = LinearSegmentedColormap.from_list("one hue", [LIGHT["ground-light"], LIGHT["ground-deep"]])
STRIP_ROWS = (("tags_heard", "heard"), ("height_above_ground_m", "height\n(m)"), ("turn_deg_per_s", "turn\n(deg/s)"), ("noise_db", "noise\n(dB)"))
MOST_STRIPS = 12


@in_style()
def time_strips(strips: pd.DataFrame) -> Figure:
    """Four strips over time for each flight: tags heard, height, turning, noise; shaded where off effort.

    Parameters
    ----------
    strips : one row per record: flight_id, minute (since the flight began), on_effort, tags_heard, height_above_ground_m [m], turn_deg_per_s, noise_db; blank
        where not logged. The first 12 flights are drawn.
    """
    flights = list(dict.fromkeys(strips["flight_id"]))[:MOST_STRIPS]
    columns = 2 if len(flights) > 1 else 1
    blocks = -(-max(1, len(flights)) // columns)
    height_in = 2.45 * blocks
    figure = Figure(figsize=(TEXT_WIDTH_IN, height_in))
    # placed by hand: fitting this many axes automatically takes seconds
    outer = figure.add_gridspec(blocks, columns, left=0.115, right=0.985, top=1 - 0.28 / height_in, bottom=0.42 / height_in, hspace=0.42, wspace=0.36)
    for number, flight in enumerate(flights):
        inner = outer[number // columns, number % columns].subgridspec(len(STRIP_ROWS), 1, height_ratios=[1.4, 1, 1, 1], hspace=0.3)
        axes = inner.subplots(sharex=True)
        _one_strip(axes, flight, strips[strips["flight_id"] == flight])
    return figure


def _one_strip(axes, flight_id: str, rows: pd.DataFrame) -> None:
    minute = rows["minute"].to_numpy(float)
    for ax, (column, label) in zip(axes, STRIP_ROWS):
        values = rows[column].to_numpy(float)
        _shade_off_effort(ax, minute, rows["on_effort"].to_numpy(bool))
        if not np.isfinite(values).any():
            ax.text(0.5, 0.5, "not logged", transform=ax.transAxes, ha="center", va="center", color=LIGHT["soft"])
        elif column == "tags_heard":
            ax.fill_between(minute, 0, values, color=LIGHT["heard"], linewidth=0)
            ax.set_ylim(0, max(1.0, np.nanmax(values)))
        else:
            ax.plot(*_with_gaps(minute, values), color=LIGHT["ink"], linewidth=0.8)
        ax.set_ylabel(label, rotation=0, ha="right", va="center", fontsize=7)
        ax.yaxis.set_label_coords(-0.145, 0.5)
        ax.tick_params(labelsize=7)
        ax.yaxis.set_major_locator(MaxNLocator(nbins=2, integer=True, min_n_ticks=2) if np.isfinite(values).any() else NullLocator())
    axes[0].set_title(short_name(flight_id), fontsize=8.5)
    axes[-1].set_xlabel("minutes since the first record", fontsize=7.5)


def _shade_off_effort(ax, minute: np.ndarray, on: np.ndarray) -> None:
    change = np.diff(np.concatenate([[0], (~on).astype(int), [0]]))
    half = 0.5 * float(np.median(np.diff(minute))) if len(minute) > 1 else 0.05
    for first, last in zip(np.flatnonzero(change == 1), np.flatnonzero(change == -1) - 1):
        ax.axvspan(minute[first] - half, minute[last] + half, facecolor=LIGHT["rule"], edgecolor=LIGHT["silent"], hatch="////", linewidth=0.0, alpha=0.8)


def _with_gaps(minute: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The line broken where two records lie more than twice the usual interval apart."""
    if len(minute) < 3:
        return minute, values
    step = np.diff(minute)
    breaks = np.flatnonzero(step > 2.0 * np.median(step)) + 1
    return np.insert(minute, breaks, np.nan), np.insert(values, breaks, np.nan)


@in_style()
def strength_histogram(strength_db, threshold_db, ceiling_db: float = np.nan) -> Figure:
    """How strong the heard records were, the thresholds they had to beat, and the receiver's ceiling where it shows.

    Parameters
    ----------
    strength_db : array, heard records. [dB]
    threshold_db : array, thresholds of all records listened to; blank where the log has none. [dB]
    ceiling_db : blank when none was found. [dB]
    """
    figure, ax = new_figure(height_in=2.8)
    heard = np.asarray(strength_db, float)
    heard = heard[np.isfinite(heard)]
    limits = np.asarray(threshold_db, float)
    limits = limits[np.isfinite(limits)]
    if heard.size:
        bins = np.arange(np.floor(heard.min()), np.ceil(heard.max()) + 1.5, 1.0) - 0.5
        ax.hist(heard, bins=bins, color=LIGHT["heard"], edgecolor=LIGHT["paper"], linewidth=0.3)
    if limits.size:
        low, middle, high = np.quantile(limits, [0.05, 0.5, 0.95])
        ax.axvspan(low, high, color=LIGHT["rule"], alpha=0.7, linewidth=0, zorder=0)
        ax.axvline(middle, color=LIGHT["ink"], linestyle="--", linewidth=1.0)
        ax.annotate("threshold", (middle, 0.97), xycoords=("data", "axes fraction"), xytext=(-4, 0), textcoords="offset points", ha="right", va="top")
    if np.isfinite(ceiling_db):
        ax.axvline(ceiling_db, color=LIGHT["beacon"], linewidth=1.4)
        ax.annotate("ceiling", (ceiling_db, 0.97), xycoords=("data", "axes fraction"), xytext=(-4, 0), textcoords="offset points", ha="right", va="top")
    ax.margins(x=0.1)
    ax.set_xlabel("strength of heard records (dB, the receiver's scale)")
    ax.set_ylabel("records per dB")
    return figure


@in_style()
def azimuth_roses(listening: pd.DataFrame) -> Figure:
    """Minutes of listening towards each 10-degree sector, one rose per flight, true north up, one scale for all.

    Parameters
    ----------
    listening : one row per record on effort: flight_id, antenna_azimuth_deg, listening_s. The first 12 flights are drawn.
    """
    flights = list(dict.fromkeys(listening["flight_id"]))[:MOST_STRIPS]
    columns = min(4, max(1, len(flights)))
    rows = -(-max(1, len(flights)) // columns)
    figure, axes = new_figure(rows, columns, height_in=2.1 * rows, squeeze=False, subplot_kw={"projection": "polar"})
    minutes = [_sector_minutes(listening[listening["flight_id"] == flight]) for flight in flights]
    top = max((float(values.max()) for values in minutes), default=1.0) or 1.0
    for ax, flight, values in zip(axes.ravel(), flights, minutes):
        ax.set_theta_zero_location("N")
        ax.set_theta_direction(-1)
        ax.bar(np.radians(np.arange(36) * 10.0 + 5.0), values, width=np.radians(9.0), color=LIGHT["heard"], linewidth=0)
        ax.set_ylim(0, top)
        ax.set_xticks(np.radians([0, 90, 180, 270]), ["N", "E", "S", "W"], fontsize=7)
        ax.set_yticks([top], [f"{top:.1f} min"], fontsize=6.5)
        ax.tick_params(pad=-2)
        covered = 10 * int((values > 0).sum())
        ax.set_title(f"{short_name(flight)}\n{covered} of 360 deg" if values.any() else f"{short_name(flight)}\nno azimuth", fontsize=7.5, loc="center")
    for ax in axes.ravel()[len(flights):]:
        ax.set_axis_off()
    return figure


def _sector_minutes(rows: pd.DataFrame) -> np.ndarray:
    known = rows[rows["antenna_azimuth_deg"].notna()]
    sector = (known["antenna_azimuth_deg"].to_numpy(float) % 360.0 // 10).astype(int)
    return np.bincount(sector, weights=known["listening_s"].to_numpy(float) / 60.0, minlength=36)[:36]


@in_style()
def heard_matrix_figure(matrix: pd.DataFrame) -> Figure:
    """Share of records in which each tag was heard, flight by flight; a dash where the tag was not listened to.

    Parameters
    ----------
    matrix : tag_id, flight_id, records_listened, records_heard, heard_percent; tags and flights in the order to be drawn.
    """
    tags, flights = list(dict.fromkeys(matrix["tag_id"])), list(dict.fromkeys(matrix["flight_id"]))
    wide = matrix.pivot(index="tag_id", columns="flight_id", values="heard_percent").reindex(index=tags, columns=flights).to_numpy(float)
    figure, ax = new_figure(width_in=min(TEXT_WIDTH_IN, 2.2 + 0.75 * len(flights)), height_in=1.0 + 0.155 * max(4, len(tags)))
    ax.imshow(np.ma.masked_invalid(wide), cmap=GROUND_SEARCHED, vmin=0, vmax=100, aspect="auto", interpolation="nearest")
    for row in range(len(tags)):
        for column in range(len(flights)):
            value = wide[row, column]
            text = "–" if np.isnan(value) else "0" if value == 0 else "<1" if value < 1 else f"{value:.0f}"
            ax.text(column, row, text, ha="center", va="center", fontsize=6.2, color=LIGHT["paper"] if value > 45 else LIGHT["ink"])
    ax.set_xticks(range(len(flights)), [short_name(flight, 14) for flight in flights], fontsize=7, rotation=30 if len(flights) > 6 else 0)
    ax.set_yticks(range(len(tags)), [short_name(tag) for tag in tags], fontsize=6.2)
    ax.tick_params(length=0)
    ax.grid(False)
    # of few flights the figure is narrower than these words
    ax.set_xlabel("flight: records in which\nthe tag was heard (%)" if len(flights) < 4 else "flight: records in which the tag was heard (%)")
    return figure
