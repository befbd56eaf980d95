"""Figures of the error calibration: errors, coverage, stated radius against error, strengths against the model, antenna, correlation."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedLocator, NullFormatter, NullLocator

from pipeline.figures.style import LIGHT, SHAPES, in_style, new_figure, short_name

TRIANGLE, SQUARE, DIAMOND, CROSS = (SHAPES[name].as_matplotlib() for name in ("triangle", "square", "diamond", "cross"))
_ROUND_NUMBERS = [value * 10**power for power in range(-1, 5) for value in (1, 2, 5)]


@in_style()
def error_distribution(error_m, strongest_m) -> Figure:
    """Share of beacon fixes with an error up to each distance, the habit of the strongest record beside it.

    error_m, strongest_m : errors of the same fixes, shape (fixes,). [m]
    """
    figure, ax = new_figure(height_in=3.0)
    ax.set_xscale("log")
    drawn = ((np.asarray(strongest_m, float), "silent", "--", "square", "strongest record"), (np.asarray(error_m, float), "fix", "-", "cross", "best position"))
    medians = [float(np.nanmedian(values)) if np.isfinite(values).any() else np.nan for values, *_ in drawn]
    for (values, colour, line, shape, words), middle in zip(drawn, medians):
        ordered = np.sort(values[np.isfinite(values)])
        if not len(ordered):
            continue
        ax.step(np.maximum(ordered, 1.0), np.arange(1, len(ordered) + 1) / len(ordered), where="post", color=LIGHT[colour], linestyle=line, label=words)
        ax.plot([max(middle, 1.0)], [0.5], marker=SHAPES[shape].as_matplotlib(), color=LIGHT[colour], markersize=8, markerfacecolor="none", markeredgewidth=1.6)
        smaller = middle == min(medians)
        ax.annotate(f"{float(f'{middle:.2g}'):.0f} m", (max(middle, 1.0), 0.5), xytext=(-8, 5) if smaller else (8, -11), textcoords="offset points", ha="right" if smaller else "left", fontsize=8)
    ax.set_ylim(0, 1.02)
    ax.set_xlabel("error (m, logarithmic)")
    ax.set_ylabel("share of beacon fixes")
    _round_ticks(ax.xaxis)
    if ax.lines:
        ax.legend(loc="lower right")
    return figure


@in_style()
def coverage_plot(coverage: pd.DataFrame) -> Figure:
    """Stated probability of the regions against how often they held the truth, with exact 95 % intervals.

    coverage : rows of one way of counting: calibration (before | after), nominal, share, low_95, high_95.
    """
    figure, ax = new_figure(width_in=4.6, height_in=3.6)
    ax.plot([0, 1], [0, 1], color=LIGHT["ink"], linewidth=0.8, linestyle=":")
    for when, colour, marker, beside, words in (("before", "silent", SQUARE, -0.011, "as computed"), ("after", "fix", DIAMOND, 0.011, "widened")):
        rows = coverage[coverage["calibration"] == when]
        at, share = rows["nominal"] + beside, rows["share"]
        ax.vlines(at, rows["low_95"], rows["high_95"], color=LIGHT[colour], linewidth=1.6 if when == "after" else 1.0)
        ax.plot(at, share, linestyle="", marker=marker, color=LIGHT[colour], markerfacecolor="none" if when == "before" else LIGHT[colour], markersize=7, label=words)
    ax.set(xlim=(0.4, 1.02), ylim=(0, 1.03), xlabel="stated probability of the region", ylabel="share that held the truth")
    ax.set_xticks([0.5, 0.8, 0.95])
    ax.legend(loc="lower right")
    return figure


@in_style()
def radius_against_error(fixes: pd.DataFrame) -> Figure:
    """Stated 95 % radius against the error of each beacon fix; above the line the radius was too short.

    fixes : error_radius_95_m, error_m, flight_style. [m]
    """
    figure, ax = new_figure(width_in=4.9, height_in=3.8)
    low = 0.8 * max(1.0, float(np.nanmin([fixes["error_m"].min(), fixes["error_radius_95_m"].min()])))
    high = 1.25 * float(np.nanmax([fixes["error_m"].max(), fixes["error_radius_95_m"].max(), 2.0 * low]))
    ax.plot([low, high], [low, high], color=LIGHT["ink"], linewidth=0.8, linestyle=":")
    ax.annotate("error = radius", (0.62 * high, 0.62 * high), xytext=(-4, 6), textcoords="offset points", ha="right", fontsize=7.5, color=LIGHT["soft"])
    for (style, rows), shape in zip(fixes.groupby("flight_style", sort=True), ("diamond", "square", "triangle", "cross")):
        outside = (rows["error_m"] > rows["error_radius_95_m"]).to_numpy(bool)
        faces = [LIGHT["fetch"] if out else "none" for out in outside] if shape != "cross" else [LIGHT["fix"]] * len(rows)
        ax.scatter(rows["error_radius_95_m"], rows["error_m"].clip(lower=low), marker=SHAPES[shape].as_matplotlib(), s=26, facecolor=faces,
                   edgecolor=[LIGHT["fetch"] if out else LIGHT["fix"] for out in outside] if shape != "cross" else None, linewidth=1.0)
    ax.set(xscale="log", yscale="log", xlim=(low, high), ylim=(low, high), xlabel="stated 95 % radius (m, logarithmic)", ylabel="error (m, logarithmic)")
    _round_ticks(ax.xaxis)
    _round_ticks(ax.yaxis)
    marks = [Line2D([], [], linestyle="", marker=SHAPES[shape].as_matplotlib(), color=LIGHT["fix"], markerfacecolor="none", label=style)
             for style, shape in zip(sorted(fixes["flight_style"].unique()), ("diamond", "square", "triangle", "cross"))]
    marks.append(Line2D([], [], linestyle="", marker=SQUARE, color=LIGHT["fetch"], label="filled: beyond the radius"))
    figure.legend(handles=marks, loc="outside upper left", ncols=4, fontsize=7)
    return figure


@in_style()
def strengths_against_model(residuals: pd.DataFrame) -> Figure:
    """Observed against expected strength, and what is left by distance, relative azimuth and time.

    residuals : heard records of beacons: strength_db, expected_when_heard_db, residual_db, distance_m, relative_azimuth_deg, flight_id, minute.
    """
    figure, axes = new_figure(2, 2, height_in=5.4)
    (scatter, distance), (azimuth, time) = axes
    low, high = (float(limit(residuals[["strength_db", "expected_when_heard_db"]].to_numpy(float))) for limit in (np.min, np.max))
    scatter.plot([low, high], [low, high], color=LIGHT["ink"], linewidth=0.8, linestyle=":")
    _cloud(scatter, residuals["expected_when_heard_db"], residuals["strength_db"])
    scatter.set(xlabel="expected strength when heard (dB)", ylabel="observed strength (dB)", title="observed and expected")
    _residual_panel(distance, residuals["distance_m"], residuals["residual_db"], np.geomspace(residuals["distance_m"].min(), residuals["distance_m"].max() * 1.001, 11))
    distance.set(xscale="log", xlabel="distance (m, logarithmic)", title="by distance")
    _round_ticks(distance.xaxis)
    known = residuals[residuals["relative_azimuth_deg"].notna()]
    if len(known):
        _residual_panel(azimuth, known["relative_azimuth_deg"], known["residual_db"], np.arange(-180.0, 181.0, 30.0))
        azimuth.set(xlabel="azimuth relative to the antenna (deg, 0 = ahead)", xticks=range(-180, 181, 90))
    else:
        azimuth.text(0.5, 0.5, "azimuth not logged", transform=azimuth.transAxes, ha="center", va="center", color=LIGHT["soft"])
        azimuth.set(xticks=[], yticks=[])
    azimuth.set_title("by relative azimuth")
    _by_time(time, residuals)
    return figure


def _by_time(ax, residuals: pd.DataFrame) -> None:
    """Flights one after the other, with a rule between them."""
    flights = list(dict.fromkeys(residuals.sort_values("time_utc", kind="stable")["flight_id"]))
    length = residuals.groupby("flight_id")["minute"].max()
    start, begin = {}, 0.0
    for flight in flights:
        start[flight], begin = begin, begin + float(length[flight]) + 2.0
    at = residuals["minute"].to_numpy(float) + residuals["flight_id"].map(start).to_numpy(float)
    _cloud(ax, at, residuals["residual_db"])
    for number, flight in enumerate(flights):
        own = (residuals["flight_id"] == flight).to_numpy(bool)
        edges = np.linspace(start[flight], start[flight] + float(length[flight]) + 0.01, 6)
        _binned(ax, at[own], residuals["residual_db"].to_numpy(float)[own], edges)
        if number:
            ax.axvline(start[flight] - 1.0, color=LIGHT["silent"], linewidth=0.6)
    if len(flights) <= 8:
        ax.set_xticks([start[flight] + 0.5 * float(length[flight]) for flight in flights], [short_name(flight, 14) for flight in flights], fontsize=6.5)
    ax.axhline(0.0, color=LIGHT["ink"], linewidth=0.8, linestyle=":")
    ax.set(ylabel="observed less expected (dB)", title="by time", xlabel="flights, one after the other" if len(flights) <= 8 else "minutes, flights one after the other")
    ax.grid(False, axis="x")


def _residual_panel(ax, x, residual_db, edges: np.ndarray) -> None:
    _cloud(ax, x, residual_db)
    ax.axhline(0.0, color=LIGHT["ink"], linewidth=0.8, linestyle=":")
    _binned(ax, np.asarray(x, float), np.asarray(residual_db, float), edges)
    ax.set_ylabel("observed less expected (dB)")


def _cloud(ax, x, y) -> None:
    # one picture for thousands of marks keeps the SVG light
    ax.plot(x, y, linestyle="", marker=TRIANGLE, markersize=2.2, color=LIGHT["heard"], alpha=0.28, markeredgewidth=0, rasterized=True)


def _binned(ax, x: np.ndarray, y: np.ndarray, edges: np.ndarray) -> None:
    """Median and quartiles in each bin that has at least 8 records."""
    for low, high in zip(edges[:-1], edges[1:]):
        chosen = y[(x >= low) & (x < high)]
        if len(chosen) < 8:
            continue
        middle = float(np.median(x[(x >= low) & (x < high)]))
        quartiles = np.quantile(chosen, [0.25, 0.5, 0.75])
        ax.vlines(middle, quartiles[0], quartiles[2], color=LIGHT["ink"], linewidth=1.3)
        ax.plot([middle], [quartiles[1]], marker=DIAMOND, color=LIGHT["ink"], markersize=4.5)


@in_style()
def antenna_pattern(azimuth_deg, pattern_db, curve_deg, curve_db) -> Figure:
    """The antenna's part of the strength by azimuth relative to the antenna: heard records, medians, and the fitted pattern.

    azimuth_deg, pattern_db : of heard records, shape (records,). [degrees, 0 = ahead], [dB]
    curve_deg, curve_db : the model's pattern, shape (points,).
    """
    figure, ax = new_figure(height_in=3.1)
    _cloud(ax, azimuth_deg, pattern_db)
    _binned(ax, np.asarray(azimuth_deg, float), np.asarray(pattern_db, float), np.arange(-180.0, 181.0, 20.0))
    ax.plot(curve_deg, curve_db, color=LIGHT["fix"], linewidth=2.0)
    ax.set(xlim=(-180, 180), xticks=range(-180, 181, 45), xlabel="azimuth relative to the antenna (deg, 0 = ahead)", ylabel="antenna's part (dB)")
    values = np.asarray(pattern_db, float)
    ax.set_ylim(*np.quantile(values, [0.005, 0.995]) + np.array([-2.0, 2.0]))
    marks = [Line2D([], [], linestyle="", marker=TRIANGLE, color=LIGHT["heard"], label="heard record"),
             Line2D([], [], color=LIGHT["ink"], marker=DIAMOND, label="median and quartiles"), Line2D([], [], color=LIGHT["fix"], linewidth=2.0, label="fitted pattern")]
    figure.legend(handles=marks, loc="outside upper left", ncols=3, fontsize=7)
    return figure


@in_style()
def correlation_along_track(correlation: pd.DataFrame) -> Figure:
    """How alike two residuals are by the metres flown between them, beside what the model shows on the same flights.

    correlation : lag_from_m, lag_to_m, correlation, model_correlation, model_low_95, model_high_95.
    """
    figure, ax = new_figure(height_in=2.8)
    lag = 0.5 * (correlation["lag_from_m"] + correlation["lag_to_m"])
    ax.fill_between(lag, correlation["model_low_95"], correlation["model_high_95"], color=LIGHT["rule"], linewidth=0, label="model, 95 % of its flights")
    ax.plot(lag, correlation["model_correlation"], color=LIGHT["fix"], label="model, mean")
    ax.plot(lag, correlation["correlation"], linestyle="", marker=DIAMOND, color=LIGHT["ink"], markersize=6, label="beacons")
    ax.axhline(0.0, color=LIGHT["ink"], linewidth=0.8, linestyle=":")
    ax.set(xlabel="metres flown between two records", ylabel="correlation")
    ax.set_xlim(left=0)
    ax.legend(loc="upper right")
    return figure


def _round_ticks(axis) -> None:
    """1, 2, 5 along a logarithmic axis, as plain numbers."""
    axis.set_major_locator(FixedLocator(_ROUND_NUMBERS))
    axis.set_major_formatter(lambda value, _: f"{value:g}")
    axis.set_minor_locator(NullLocator())
    axis.set_minor_formatter(NullFormatter())
