"""Figures of where animals were: positions in order of time, tracks with their bands, ground used. One panel per animal."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Patch, PathPatch
from matplotlib.path import Path

from pipeline.figures.small_panels import number_marks, panels, small
from pipeline.figures.style import LIGHT, SHAPES, in_style


@in_style()
def path_panels(fixes: pd.DataFrame) -> Figure:
    """Positions in order of time, numbered, with the circle that holds the animal with probability 0.95; one panel per animal, all at one scale.

    Parameters
    ----------
    fixes : label (of the animal), number, easting_m, northing_m, error_radius_95_m; the first 9 animals are drawn.
    """
    labels, figure, axes = panels(fixes["label"])
    groups = [fixes[fixes["label"] == label] for label in labels]
    half = max((_half_width_m(group) for group in groups), default=100.0)
    marks = [_one_path(ax, label, group, half) for ax, label, group in zip(axes, labels, groups)]
    circle = Line2D([], [], color=LIGHT["fix"], linestyle="--", linewidth=0.9, label="holds the animal in 95 of 100 cases")
    figure.legend(handles=[_position_key(), circle], loc="outside upper left", ncols=2, fontsize=7.5)
    number_marks(figure, marks)
    return figure


def _half_width_m(group: pd.DataFrame) -> float:
    reach = [np.ptp(group[axis].to_numpy(float)) / 2 for axis in ("easting_m", "northing_m")]
    return 1.05 * (max(reach) + float(np.nanmax(group["error_radius_95_m"])))


def _one_path(ax, label: str, group: pd.DataFrame, half_m: float):
    """Draws one panel and gives what is to be numbered on it."""
    east, north = group["easting_m"].to_numpy(float), group["northing_m"].to_numpy(float)
    east, north = east - (east.min() + east.max()) / 2, north - (north.min() + north.max()) / 2
    for x, y, radius in zip(east, north, group["error_radius_95_m"]):
        ax.add_patch(Circle((x, y), radius, fill=False, linestyle="--", edgecolor=LIGHT["fix"], linewidth=0.7))
    ax.plot(east, north, color=LIGHT["silent"], linestyle=":", linewidth=0.9)
    ax.plot(east, north, linestyle="", marker=SHAPES["cross"].as_matplotlib(), color=LIGHT["fix"], markersize=5, markeredgewidth=1.3)
    ax.set(xlim=(-half_m, half_m), ylim=(-half_m, half_m), aspect="equal")
    small(ax, label, "m east", "m north")
    return ax, east, north, group["number"]


@in_style()
def track_panels(tracks: pd.DataFrame) -> Figure:
    """Track and its 95 % band, one panel per animal, each at its own scale; the positions along it are numbered, each with the circle of the track there.

    Parameters
    ----------
    tracks : label, flight_id (blank between positions), easting_m, northing_m, radius_95_m, in order of time; the first 9 animals are drawn.
    """
    labels, figure, axes = panels(tracks["label"])
    marks = [_one_track(ax, label, tracks[tracks["label"] == label]) for ax, label in zip(axes, labels)]
    keys = [_position_key(), Line2D([], [], color=LIGHT["fix"], linestyle="--", linewidth=0.9, label="95 % circle while a flight was there"),
            Patch(facecolor=LIGHT["ground-light"], edgecolor=LIGHT["heard"], linewidth=0.6, label="95 % band between flights")]
    figure.legend(handles=keys, loc="outside upper left", ncols=3, fontsize=7.5)
    number_marks(figure, marks)
    return figure


def _one_track(ax, label: str, group: pd.DataFrame):
    """Draws one panel and gives what is to be numbered on it."""
    east, north = (group[axis].to_numpy(float) for axis in ("easting_m", "northing_m"))
    middle = (east.min() + east.max()) / 2, (north.min() + north.max()) / 2
    east, north, radius = east - middle[0], north - middle[1], group["radius_95_m"].to_numpy(float)
    for ring in _band(east, north, radius):
        ax.fill(*ring, facecolor=LIGHT["ground-light"], edgecolor=LIGHT["heard"], linewidth=0.6)
    ax.plot(east, north, color=LIGHT["silent"], linestyle=":", linewidth=0.9)
    at = (group["flight_id"] != "").to_numpy(bool)
    for x, y, each in zip(east[at], north[at], radius[at]):
        ax.add_patch(Circle((x, y), each, fill=False, linestyle="--", edgecolor=LIGHT["fix"], linewidth=0.7))
    ax.plot(east[at], north[at], linestyle="", marker=SHAPES["cross"].as_matplotlib(), color=LIGHT["fix"], markersize=5, markeredgewidth=1.3)
    half = 1.05 * max(np.abs(east).max() + radius.max(), np.abs(north).max() + radius.max())
    ax.set(xlim=(-half, half), ylim=(-half, half), aspect="equal")
    small(ax, label, "m east", "m north")
    return ax, east[at], north[at], range(1, at.sum() + 1)


def _band(east, north, radius) -> list:
    """Outlines of the ground that the circles along a track cover, neighbours joined; each two rows, x and y. Holes are left out."""
    circles = [shapely.Point(x, y).buffer(r) for x, y, r in zip(east, north, radius)]
    whole = shapely.union_all([one.union(other).convex_hull for one, other in zip(circles, circles[1:])] or circles)
    return [np.array(part.exterior.coords).T for part in getattr(whole, "geoms", [whole])]


@in_style()
def range_panels(outlines: pd.DataFrame, fixes: pd.DataFrame) -> Figure:
    """Map of the ground each animal used: lines about half (shaded) and 95 % (dashed) of its places, over its positions; one panel per animal, all at one scale.

    Parameters
    ----------
    outlines : label, percent (50 | 95), ring, easting_m, northing_m; the first 9 animals are drawn.
    fixes : tag_id, easting_m, northing_m.
    """
    labels, figure, axes = panels(outlines["label"], height_in=2.4)
    spans = {label: group[["easting_m", "northing_m"]].agg(["min", "max"]) for label, group in outlines.groupby("label")}
    half = 0.55 * max(float((spans[label].loc["max"] - spans[label].loc["min"]).max()) for label in labels)
    for ax, label in zip(axes, labels):
        middle = spans[label].mean()
        for percent, style, face in ((95, "--", "none"), (50, "-", LIGHT["ground-light"])):
            own = outlines[(outlines["label"] == label) & (outlines["percent"] == percent)]
            rings = [Path((ring[["easting_m", "northing_m"]] - middle).to_numpy(float)) for _, ring in own.groupby("ring", sort=True)]
            # one path of all rings: a ring about a hole runs the other way round, and the hole stays open
            ax.add_patch(PathPatch(Path.make_compound_path(*rings), facecolor=face, edgecolor=LIGHT["fix"], linestyle=style, linewidth=1.1, zorder=0.5))
        places = (fixes.loc[fixes["tag_id"] == label, ["easting_m", "northing_m"]] - middle).to_numpy(float)
        ax.plot(*places.T, linestyle="", marker=SHAPES["cross"].as_matplotlib(), color=LIGHT["ink"], markersize=3, markeredgewidth=0.8)
        ax.set(xlim=(-half, half), ylim=(-half, half), aspect="equal")
        small(ax, label, "m east", "m north")
    marks = [Line2D([], [], color=LIGHT["fix"], linewidth=1.3, label="holds half of the places"), Line2D([], [], color=LIGHT["fix"], linestyle="--", linewidth=1.0, label="holds 95 %"),
             Line2D([], [], color=LIGHT["ink"], linestyle="", marker=SHAPES["cross"].as_matplotlib(), markersize=4, label="position")]
    figure.legend(handles=marks, loc="outside upper left", ncols=3, fontsize=7)
    return figure


def _position_key() -> Line2D:
    return Line2D([], [], color=LIGHT["fix"], linestyle="", marker=SHAPES["cross"].as_matplotlib(), markersize=5, label="position, numbered in order of time")
