"""Figures of the movement summaries: net distance against error, paths and tracks, when each animal was heard, pairs in one flight, growth of extents, survival."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, PathPatch
from matplotlib.path import Path

from pipeline.figures.style import LIGHT, SHAPES, TEXT_WIDTH_IN, in_style, new_figure

MOST_PANELS = 9
STATES = {                      # mark, filled, colour, words
    "fix": ("cross", False, "fix", "position"),
    "mortality": ("hexagon", True, "fetch", "heard, mortality rate"),
    "heard": ("triangle", True, "heard", "heard"),
    "not heard": ("square", False, "silent", "searched, not heard; the fuller, the better searched"),
    "not searched": ("", False, "silent", "gap: not searched"),
}


@in_style()
def net_distances(animals: pd.DataFrame) -> Figure:
    """Distance from first to last fix with its 95 % interval, beside the movement that would have been found.

    Parameters
    ----------
    animals : label, distance_m, low_m, high_m, minimum_detectable_m, moved (flag); one row per animal, drawn from the top. [m]
    """
    rows = animals.reset_index(drop=True)
    figure, ax = new_figure(height_in=1.1 + 0.19 * max(3, len(rows)))
    places = np.arange(len(rows))
    colours = [LIGHT["fix"] if moved else LIGHT["silent"] for moved in rows["moved"]]
    ax.hlines(places, rows["low_m"], rows["high_m"], color=colours, linewidth=[2.8 if moved else 1.0 for moved in rows["moved"]])
    ax.scatter(rows["distance_m"], places, marker=SHAPES["cross"].as_matplotlib(), s=26, color=colours, linewidth=1.4, zorder=3)
    ax.scatter(rows["minimum_detectable_m"], places, marker="|", s=70, color=LIGHT["ink"], linewidth=1.1, zorder=2)
    ax.set_yticks(places, rows["label"], fontsize=7)
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.set_xlim(left=0)
    ax.set_xlabel("distance from first to last position (m)")
    marks = [
        Line2D([], [], color=LIGHT["fix"], linewidth=2.8, marker=SHAPES["cross"].as_matplotlib(), label="moved: distance and 95 % interval"),
        Line2D([], [], color=LIGHT["silent"], linewidth=1.0, marker=SHAPES["cross"].as_matplotlib(), label="not shown to have moved"),
        Line2D([], [], color=LIGHT["ink"], linestyle="", marker="|", markersize=8, label="movement found in 8 of 10 cases"),
    ]
    figure.legend(handles=marks, loc="outside upper left", ncols=3, fontsize=7)
    return figure


@in_style()
def path_panels(fixes: pd.DataFrame) -> Figure:
    """Positions in order of time, numbered, with the circle that holds the animal with probability 0.95; one panel per animal, all at one scale.

    Parameters
    ----------
    fixes : label (of the animal), number, easting_m, northing_m, error_radius_95_m; the first 9 animals are drawn.
    """
    labels, figure, axes = _panels(fixes["label"])
    groups = [fixes[fixes["label"] == label] for label in labels]
    half = max((_half_width_m(group) for group in groups), default=100.0)
    for ax, label, group in zip(axes, labels, groups):
        _one_path(ax, label, group, half)
    return figure


def _half_width_m(group: pd.DataFrame) -> float:
    reach = [np.ptp(group[axis].to_numpy(float)) / 2 for axis in ("easting_m", "northing_m")]
    return 1.05 * (max(reach) + float(np.nanmax(group["error_radius_95_m"])))


def _one_path(ax, label: str, group: pd.DataFrame, half_m: float) -> None:
    east, north = group["easting_m"].to_numpy(float), group["northing_m"].to_numpy(float)
    middle = (east.min() + east.max()) / 2, (north.min() + north.max()) / 2
    east, north = east - middle[0], north - middle[1]
    for x, y, radius in zip(east, north, group["error_radius_95_m"]):
        ax.add_patch(Circle((x, y), radius, fill=False, linestyle="--", edgecolor=LIGHT["fix"], linewidth=0.7))
    ax.plot(east, north, color=LIGHT["silent"], linestyle=":", linewidth=0.9)
    ax.plot(east, north, linestyle="", marker=SHAPES["cross"].as_matplotlib(), color=LIGHT["fix"], markersize=5, markeredgewidth=1.3)
    for x, y, number in zip(east, north, group["number"]):
        ax.annotate(str(number), (x, y), xytext=(4, 3), textcoords="offset points", fontsize=7)
    ax.set(xlim=(-half_m, half_m), ylim=(-half_m, half_m), aspect="equal")
    _small(ax, label, "m east", "m north")


@in_style()
def timeline(states: pd.DataFrame) -> Figure:
    """What each flight gave for each animal: a position, a sound, silence (the fuller the mark, the better searched) or no search at all.

    Parameters
    ----------
    states : label, flight_id, state (fix | heard | not heard | not searched), fate, adequacy (0 to 1 or blank); in the order to be drawn.
    """
    labels, flights = list(dict.fromkeys(states["label"])), list(dict.fromkeys(states["flight_id"]))
    figure, ax = new_figure(width_in=min(TEXT_WIDTH_IN, 3.6 + 0.6 * len(flights)), height_in=1.3 + 0.165 * max(4, len(labels)))
    x = states["flight_id"].map({flight: place for place, flight in enumerate(flights)}).to_numpy(float)
    y = states["label"].map({label: place for place, label in enumerate(labels)}).to_numpy(float)
    shown = []
    for name, (shape, filled, colour, words) in STATES.items():
        chosen = states["fate"].eq("mortality").to_numpy(bool) if name == "mortality" else states["state"].eq(name).to_numpy(bool)
        beside = 0.22 if name == "mortality" else 0.0
        if not chosen.any():
            continue
        if not shape:
            shown.append(Line2D([], [], linestyle="", label=words))
            continue
        face = _shades(states.loc[chosen, "adequacy"]) if name == "not heard" else LIGHT[colour] if filled or shape == "cross" else "none"
        ax.scatter(x[chosen] + beside, y[chosen], marker=SHAPES[shape].as_matplotlib(), s=26, facecolor=face, edgecolor=LIGHT[colour], linewidth=1.0)
        shown.append(Line2D([], [], linestyle="", marker=SHAPES[shape].as_matplotlib(), markersize=5, label=words, color=LIGHT[colour],
                            markerfacecolor=LIGHT[colour] if filled else "none"))
    ax.set_xticks(range(len(flights)), flights, fontsize=7, rotation=30 if len(flights) > 6 else 0)
    ax.set_yticks(range(len(labels)), labels, fontsize=6.5)
    ax.set_xlim(-0.5, max(len(flights) - 0.5, 0.5))
    ax.set_ylim(len(labels) - 0.4, -0.6)
    ax.tick_params(length=0)
    ax.set_xlabel("flight, in order of time")
    figure.legend(handles=shown, loc="outside upper left", ncols=2, fontsize=7)
    return figure


def _shades(adequacy: pd.Series) -> list:
    """From empty to the colour of silence; empty where it is not known."""
    shares = pd.to_numeric(adequacy).astype(float).fillna(0.0).clip(0, 1)
    return [(0.545, 0.541, 0.525, share) for share in shares]


@in_style()
def pair_distances(pairs: pd.DataFrame) -> Figure:
    """Distance of two animals in one flight, with its 95 % interval; 50 and 100 m marked.

    Parameters
    ----------
    pairs : label, distance_m, low_m, high_m; drawn from the top. [m]
    """
    rows = pairs.reset_index(drop=True)
    figure, ax = new_figure(height_in=0.9 + 0.2 * max(3, len(rows)))
    places = np.arange(len(rows))
    for near in (50, 100):
        ax.axvline(near, color=LIGHT["beacon"], linestyle="--", linewidth=0.9)
        ax.annotate(f"{near} m", (near, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 2), textcoords="offset points", fontsize=7, ha="center", va="bottom")
    ax.hlines(places, rows["low_m"], rows["high_m"], color=LIGHT["fix"], linewidth=2.0)
    ax.plot(rows["distance_m"], places, linestyle="", marker=SHAPES["diamond"].as_matplotlib(), color=LIGHT["ink"], markersize=3.5)
    ax.set_yticks(places, rows["label"], fontsize=7)
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.set_xlim(left=0)
    ax.set_xlabel("distance between the two (m)")
    return figure


@in_style()
def track_panels(tracks: pd.DataFrame) -> Figure:
    """Track and its 95 % band, one panel per animal, each at its own scale; the positions along it are numbered.

    Parameters
    ----------
    tracks : label, flight_id (blank between positions), easting_m, northing_m, radius_95_m, in order of time; the first 9 animals are drawn.
    """
    labels, figure, axes = _panels(tracks["label"])
    for ax, label in zip(axes, labels):
        group = tracks[tracks["label"] == label]
        east, north = (group[axis].to_numpy(float) for axis in ("easting_m", "northing_m"))
        middle = (east.min() + east.max()) / 2, (north.min() + north.max()) / 2
        east, north, radius = east - middle[0], north - middle[1], group["radius_95_m"].to_numpy(float)
        for ring in _band(east, north, radius):
            ax.fill(*ring, facecolor=LIGHT["ground-light"], edgecolor=LIGHT["heard"], linewidth=0.6)
        ax.plot(east, north, color=LIGHT["silent"], linestyle=":", linewidth=0.9)
        at = (group["flight_id"] != "").to_numpy(bool)
        ax.plot(east[at], north[at], linestyle="", marker=SHAPES["cross"].as_matplotlib(), color=LIGHT["fix"], markersize=5, markeredgewidth=1.3)
        for number, (x, y) in enumerate(zip(east[at], north[at]), start=1):
            ax.annotate(str(number), (x, y), xytext=(4, 3), textcoords="offset points", fontsize=7)
        half = 1.05 * max(np.abs(east).max() + radius.max(), np.abs(north).max() + radius.max())
        ax.set(xlim=(-half, half), ylim=(-half, half), aspect="equal")
        _small(ax, label, "m east", "m north")
    return figure


def _band(east, north, radius) -> list:
    """Outlines of the ground that the circles along a track cover, neighbours joined; each two rows, x and y. Holes are left out."""
    circles = [shapely.Point(x, y).buffer(r) for x, y, r in zip(east, north, radius)]
    whole = shapely.union_all([one.union(other).convex_hull for one, other in zip(circles, circles[1:])] or circles)
    return [np.array(part.exterior.coords).T for part in getattr(whole, "geoms", [whole])]


@in_style()
def net_displacement(net: pd.DataFrame) -> Figure:
    """Distance from the first position over time with its 95 % interval, and the movement that would have been found; one panel per animal.

    Parameters
    ----------
    net : label, days, low_m, high_m, distance_m, minimum_detectable_m; the first 9 animals are drawn. [d, m]
    """
    labels, figure, axes = _panels(net["label"], height_in=1.9)
    for ax, label in zip(axes, labels):
        group = net[net["label"] == label]
        days, sure = group["days"].to_numpy(float), (group["low_m"] > 0).to_numpy(bool)
        ax.vlines(days, group["low_m"], group["high_m"], color=[LIGHT["fix"] if each else LIGHT["silent"] for each in sure], linewidth=[2.4 if each else 1.0 for each in sure])
        ax.plot(days, group["distance_m"], linestyle="", marker=SHAPES["cross"].as_matplotlib(), color=LIGHT["ink"], markersize=4)
        ax.plot(days, group["minimum_detectable_m"], color=LIGHT["beacon"], linestyle="", marker="_", markersize=9, markeredgewidth=1.3)
        ax.set_ylim(bottom=0)
        ax.set_xlim(-0.04 * net["days"].max(), 1.04 * net["days"].max())
        _small(ax, label, "days since first", "m from first")
    marks = [Line2D([], [], color=LIGHT["fix"], linewidth=2.4, label="95 % interval, away from the first place"),
             Line2D([], [], color=LIGHT["silent"], linewidth=1.0, label="95 % interval reaches 0"),
             Line2D([], [], color=LIGHT["beacon"], linestyle="", marker="_", markersize=9, markeredgewidth=1.3, label="movement found in 8 of 10 cases")]
    figure.legend(handles=marks, loc="outside upper left", ncols=3, fontsize=7)
    return figure


@in_style()
def extent_growth(growth: pd.DataFrame) -> Figure:
    """Extent of fixes against their number with the middle 95 % of random orders and of errors, one panel per animal.

    Parameters
    ----------
    growth : label, fixes, extent_ha, low_ha, high_ha; the first 9 animals are drawn.
    """
    labels, figure, axes = _panels(growth["label"], height_in=1.9)
    for ax, label in zip(axes, labels):
        group = growth[growth["label"] == label]
        ax.fill_between(group["fixes"].to_numpy(float), group["low_ha"].to_numpy(float), group["high_ha"].to_numpy(float), color=LIGHT["ground-light"], linewidth=0)
        ax.plot(group["fixes"].to_numpy(float), group["extent_ha"].to_numpy(float), color=LIGHT["fix"], linewidth=1.4)
        ax.set_ylim(bottom=0)
        _small(ax, label, "positions", "extent (ha)")
    return figure


@in_style()
def range_panels(outlines: pd.DataFrame, fixes: pd.DataFrame) -> Figure:
    """Map of the ground each animal used: lines about half (shaded) and 95 % (dashed) of its places, over its positions; one panel per animal, all at one scale.

    Parameters
    ----------
    outlines : label, percent (50 | 95), ring, easting_m, northing_m; the first 9 animals are drawn.
    fixes : tag_id, easting_m, northing_m.
    """
    labels, figure, axes = _panels(outlines["label"], height_in=2.5)
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
        _small(ax, label, "m east", "m north")
    marks = [Line2D([], [], color=LIGHT["fix"], linewidth=1.3, label="holds half of the places"), Line2D([], [], color=LIGHT["fix"], linestyle="--", linewidth=1.0, label="holds 95 %"),
             Line2D([], [], color=LIGHT["ink"], linestyle="", marker=SHAPES["cross"].as_matplotlib(), markersize=4, label="position")]
    figure.legend(handles=marks, loc="outside upper left", ncols=3, fontsize=7)
    return figure


@in_style()
def survival(curve: pd.DataFrame) -> Figure:
    """Survival of confirmed deaths with its 95 % interval, between the curves for lost tags all alive and all dead.

    Parameters
    ----------
    curve : days, survival, survival_low, survival_high, if_lost_alive, if_lost_dead, in order of time.
    """
    figure, ax = new_figure(height_in=2.6)
    days = np.concatenate([[0.0], curve["days"].to_numpy(float)])
    for column, style, colour, label in (("if_lost_alive", "--", "heard", "lost tags all alive"), ("survival", "-", "ink", "confirmed deaths; lost tags leave at their last sign of life"),
                                         ("if_lost_dead", ":", "fetch", "lost tags all dead")):
        ax.step(days, np.concatenate([[1.0], curve[column].to_numpy(float)]), where="post", linestyle=style, color=LIGHT[colour], linewidth=1.5, label=label)
    low, high = (np.concatenate([[1.0], curve[name].to_numpy(float)]) for name in ("survival_low", "survival_high"))
    ax.fill_between(days, low, high, step="post", color=LIGHT["ground-light"], linewidth=0, zorder=0, label="95 % interval of confirmed deaths")
    ax.set(ylim=(0, 1.03), xlim=(0, None), xlabel="days since the first tag was deployed", ylabel="share alive")
    figure.legend(loc="outside upper left", ncols=2, fontsize=7)
    return figure


def _panels(labels, height_in: float = 2.4):
    """The first 9 labels, a figure, and as many panels; the rest of the grid is off."""
    labels = list(dict.fromkeys(labels))[:MOST_PANELS]
    columns = min(3, max(1, len(labels)))
    rows = -(-max(1, len(labels)) // columns)
    figure, axes = new_figure(rows, columns, width_in=TEXT_WIDTH_IN * columns / 3 if columns < 3 else TEXT_WIDTH_IN, height_in=0.3 + height_in * rows, squeeze=False)
    for ax in axes.ravel()[len(labels):]:
        ax.set_axis_off()
    return labels, figure, axes.ravel()[:len(labels)]


def _small(ax, title: str, across: str, up: str) -> None:
    ax.set_title(title, fontsize=8.5)
    ax.tick_params(labelsize=6.5)
    ax.locator_params(nbins=4)
    ax.set_xlabel(across, fontsize=7)
    ax.set_ylabel(up, fontsize=7)
