"""Figures of the movement summaries: distances against error, when each animal was heard, pairs in one flight, growth of extents, survival."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from pipeline.figures.small_panels import panels, small
from pipeline.figures.style import LIGHT, SHAPES, TEXT_WIDTH_IN, in_style, new_figure, short_name

STATES = {                      # mark, filled, colour, words
    "fix": ("cross", False, "fix", "position"),
    "mortality": ("hexagon", True, "fetch", "heard, mortality rate"),
    "heard": ("triangle", True, "heard", "heard"),
    "not heard": ("square", False, "silent", "searched, not heard; the fuller, the better searched"),
    "not searched": ("", False, "silent", "gap: not searched"),
}

NET_STYLES = {                  # colour, line width, dashes, words
    "apart": (LIGHT["fix"], 2.8, "solid", "moved, and ended apart: distance, 95 % interval"),
    "in between": (LIGHT["fix"], 1.4, (0, (3, 1.2)), "moved in between, not shown to have ended apart"),
    "not shown": (LIGHT["silent"], 1.0, "solid", "movement not shown"),
}


@in_style()
def net_distances(animals: pd.DataFrame) -> Figure:
    """Distance from first to last fix with its 95 % interval, beside the movement that would have been found.

    Parameters
    ----------
    animals : label, distance_m, low_m, high_m, minimum_detectable_m, moved (apart | in between | not shown); one row per animal, drawn from the top. [m]
    """
    rows = animals.reset_index(drop=True)
    figure, ax = new_figure(height_in=1.1 + 0.19 * max(3, len(rows)))
    places = np.arange(len(rows))
    colours, widths = zip(*(NET_STYLES[moved][:2] for moved in rows["moved"])) if len(rows) else ((), ())
    ax.hlines(places, rows["low_m"], rows["high_m"], color=colours, linewidth=widths, linestyles=[NET_STYLES[moved][2] for moved in rows["moved"]])
    ax.scatter(rows["distance_m"], places, marker=SHAPES["cross"].as_matplotlib(), s=26, color=colours, linewidth=1.4, zorder=3)
    ax.scatter(rows["minimum_detectable_m"], places, marker="|", s=70, color=LIGHT["ink"], linewidth=1.1, zorder=2)
    ax.set_yticks(places, [short_name(label) for label in rows["label"]], fontsize=7.5)
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.set_xlim(left=0)
    ax.set_xlabel("distance from first to last position (m)")
    marks = [
        *(Line2D([], [], color=colour, linewidth=width, linestyle=dashes, marker=SHAPES["cross"].as_matplotlib(), label=words)
          for name, (colour, width, dashes, words) in NET_STYLES.items() if (rows["moved"] == name).any()),
        Line2D([], [], color=LIGHT["ink"], linestyle="", marker="|", markersize=8, label="would show in 8 of 10 cases"),
    ]
    figure.legend(handles=marks, loc="outside upper left", ncols=2, fontsize=7.5)
    return figure


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
    ax.set_xticks(range(len(flights)), [short_name(flight, 14) for flight in flights], fontsize=7, rotation=30 if len(flights) > 6 else 0)
    ax.set_yticks(range(len(labels)), [short_name(label) for label in labels], fontsize=6.5)
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
    ax.set_yticks(places, [short_name(label, 34) for label in rows["label"]], fontsize=7)
    figure.get_layout_engine().set(w_pad=0.12)        # letters of a browser may be wider than those measured here [in]
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.set_xlim(left=0)
    ax.set_xlabel("distance between the two (m)")
    return figure


@in_style()
def net_displacement(net: pd.DataFrame) -> Figure:
    """Distance from the first position over time with its 95 % interval, and the movement that would have been found; one panel per animal.

    Parameters
    ----------
    net : label, days, low_m, high_m, distance_m, minimum_detectable_m; the first 9 animals are drawn. [d, m]
    """
    labels, figure, axes = panels(net["label"], height_in=1.9)
    for ax, label in zip(axes, labels):
        group = net[net["label"] == label]
        days, sure = _side_by_side(group["days"].to_numpy(float), 0.03 * net["days"].max()), (group["low_m"] > 0).to_numpy(bool)
        ax.vlines(days, group["low_m"], group["high_m"], color=[LIGHT["fix"] if each else LIGHT["silent"] for each in sure], linewidth=[2.4 if each else 1.0 for each in sure])
        ax.plot(days, group["distance_m"], linestyle="", marker=SHAPES["cross"].as_matplotlib(), color=LIGHT["ink"], markersize=4)
        ax.plot(days, group["minimum_detectable_m"], color=LIGHT["beacon"], linestyle="", marker="_", markersize=9, markeredgewidth=1.3)
        ax.set_ylim(bottom=0)
        ax.set_xlim(-0.05 * net["days"].max(), 1.07 * net["days"].max())
        small(ax, label, "days since first", "m from first")
    marks = [Line2D([], [], color=LIGHT["fix"], linewidth=2.4, label="95 % interval, away from the first place"),
             Line2D([], [], color=LIGHT["silent"], linewidth=1.0, label="95 % interval reaches 0"),
             Line2D([], [], color=LIGHT["beacon"], linestyle="", marker="_", markersize=9, markeredgewidth=1.3, label="would show in 8 of 10 cases")]
    figure.legend(handles=marks, loc="outside upper left", ncols=3, fontsize=7.5)
    return figure


def _side_by_side(days, apart):
    """Where bars are drawn: those of one day beside each other, each one step to the right of the one before; other days stay where they are."""
    drawn, first = np.array(days, dtype=float), 0
    for place in range(1, len(drawn)):
        first = first if days[place] - days[first] < 0.5 else place
        drawn[place] += (place - first) * apart
    return drawn


@in_style()
def extent_growth(growth: pd.DataFrame) -> Figure:
    """Extent of fixes against their number with the middle 95 % of random orders and of errors, one panel per animal.

    Parameters
    ----------
    growth : label, fixes, extent_ha, low_ha, high_ha; the first 9 animals are drawn.
    """
    labels, figure, axes = panels(growth["label"], height_in=1.9)
    for ax, label in zip(axes, labels):
        group = growth[growth["label"] == label]
        ax.fill_between(group["fixes"].to_numpy(float), group["low_ha"].to_numpy(float), group["high_ha"].to_numpy(float), color=LIGHT["ground-light"], linewidth=0)
        ax.plot(group["fixes"].to_numpy(float), group["extent_ha"].to_numpy(float), color=LIGHT["fix"], linewidth=1.4)
        ax.set_ylim(bottom=0)
        small(ax, label, "positions", "extent (ha)")
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
