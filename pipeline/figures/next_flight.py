"""Where a next flight would tell most: blocks of the first candidates over the ground searched so far."""

from __future__ import annotations

import numpy as np
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure

from pipeline.figures.style import LIGHT, SHAPES, in_style, new_figure, short_name

_EDGES = ("-", "--", ":")


@in_style()
def next_flight_map(values, west_m: float, north_m: float, cell_m: float, blocks: list[tuple[str, np.ndarray]], take_offs_m, tags: list[tuple[str, np.ndarray]]) -> Figure:
    """Blocks as outlines, the first one solid, over the probability that a tag lying there was heard so far (darker = better searched).

    values : array (rows, columns), north up, NaN outside. blocks : (words, corners (n, 2)), the best first. take_offs_m : array (n, 2).
    tags : (tag_id, draws of its region (n, 2)). All in the survey CRS. [m]
    """
    figure, ax = new_figure(height_in=4.6)
    rows, columns = values.shape
    colours = LinearSegmentedColormap.from_list("ground", [LIGHT["paper"], LIGHT["ground-deep"]])
    drawn = ax.imshow(values, extent=(west_m, west_m + columns * cell_m, north_m - rows * cell_m, north_m), cmap=colours, vmin=0, vmax=1, alpha=0.6, interpolation="nearest")
    figure.colorbar(drawn, ax=ax, shrink=0.7, label="searched so far, cautious (0 to 1)")
    for number, (words, corners) in enumerate(blocks):
        ax.plot(*np.asarray(corners).T, color=LIGHT["beacon"], linestyle=_EDGES[number % 3], linewidth=1.8, label=f"{number + 1}: {words}")
    for number, (tag_id, places) in enumerate(tags):
        ax.plot(*np.asarray(places)[:150].T, linestyle="", marker=".", markersize=2.0, color=LIGHT["fix"], label="where a tag to narrow down may be" if number == 0 else None)
        # on a card of its own, so that the points among which it stands do not run through it
        ax.annotate(short_name(tag_id), np.median(places, axis=0), ha="center", va="center", fontsize=8, fontweight="bold", color=LIGHT["ink"], zorder=9,
                    bbox={"boxstyle": "round,pad=0.2", "facecolor": LIGHT["paper"], "edgecolor": LIGHT["fix"], "linewidth": 0.6})
    if len(take_offs_m):
        ax.plot(*np.asarray(take_offs_m).T, linestyle="", marker=SHAPES["triangle"].as_matplotlib(), color=LIGHT["ink"], markersize=5, label="take-off")
    ax.set(xlabel="easting (m)", ylabel="northing (m)", aspect="equal")
    figure.legend(loc="outside lower center", ncols=2)
    return figure
