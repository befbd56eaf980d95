"""Grids of small panels, one per animal, and numbers beside marks that may lie on top of each other."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from matplotlib.figure import Figure

from pipeline.figures.label_places import CHARACTER_WIDTH, place_labels
from pipeline.figures.style import LIGHT, TEXT_WIDTH_IN, new_figure, settle, short_name

MOST_PANELS = 9
MARK_POINTS = 6.5          # marks nearer than this cover each other and share a label
FARTHER_POINTS = (5.0, 10.0, 16.0, 24.0, 34.0, 46.0)     # from a mark to its label; all but the first and the last number stay at the nearest
LONGEST_LABEL = 12         # letters


def panels(labels, height_in: float = 2.1):
    """The first 9 labels, a figure, and as many panels; the rest of the grid is off."""
    labels = list(dict.fromkeys(labels))[:MOST_PANELS]
    columns = min(3, max(1, len(labels)))
    rows = -(-max(1, len(labels)) // columns)
    figure, axes = new_figure(rows, columns, width_in=TEXT_WIDTH_IN * columns / 3 if columns < 3 else TEXT_WIDTH_IN, height_in=0.3 + height_in * rows, squeeze=False)
    for ax in axes.ravel()[len(labels):]:
        ax.set_axis_off()
    return labels, figure, axes.ravel()[:len(labels)]


def small(ax, title: str, across: str, up: str) -> None:
    """Title and axes of one panel; what the axes are is said at the left and below the lowest panel of a column only."""
    place = ax.get_subplotspec()
    rows, columns = place.get_gridspec().get_geometry()
    used = sum(other.axison for other in ax.figure.axes)
    lowest = place.num1 + columns >= used or place.rowspan.stop == rows
    ax.set_title(short_name(title), fontsize=8.5)
    ax.tick_params(labelsize=7)
    ax.locator_params(nbins=4)
    ax.set_xlabel(across if lowest else "", fontsize=7.5)
    ax.set_ylabel(up if place.is_first_col() else "", fontsize=7.5)


def number_marks(figure: Figure, panels_of_marks) -> None:
    """Numbers beside marks, none on another: marks that cover each other share a label, "2–4" or "1, 5". Where there is no room a number is left out; the first and the last may stand farther off, with a line to their marks.

    The layout of the figure is fixed here, since the room for a label hangs on the size of its panel.

    panels_of_marks : (ax, eastings, northings, numbers) of each panel, in the units of its axes.
    """
    settle(figure)
    for ax, east, north, numbers in panels_of_marks:
        _number_one(ax, np.column_stack([east, north]), list(numbers))


def joined_numbers(numbers) -> str:
    """Runs of numbers as "2–4", the rest one by one: [1, 2, 3, 5] is "1–3, 5"; two neighbours are "1, 2". Of many only the first and the last: "1 … 36"."""
    ordered = sorted(numbers)
    starts = [0, *[place for place, (one, other) in enumerate(pairwise(ordered), start=1) if other != one + 1], len(ordered)]
    runs = [ordered[start:end] for start, end in pairwise(starts)]
    said = ", ".join(f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(str(each) for each in run) for run in runs)
    return said if len(said) <= LONGEST_LABEL else f"{ordered[0]} … {ordered[-1]}"


def _number_one(ax, places, numbers) -> None:
    to_points = 72.0 / ax.figure.dpi
    box = ax.get_window_extent()
    size = box.width * to_points, box.height * to_points
    spots = (ax.transData.transform(places) - [box.x0, box.y0]) * to_points
    spots[:, 1] = size[1] - spots[:, 1]                      # labels are placed with y counted down
    ends, taken = {0, len(numbers) - 1}, [tuple(spot) for spot in spots]
    for group in sorted(_covering_each_other(spots), key=lambda group: not ends & set(group)):
        text, mark = joined_numbers([numbers[place] for place in group]), spots[group].mean(axis=0)
        found = _room(text, mark, FARTHER_POINTS if ends & set(group) else FARTHER_POINTS[:1], taken, size)
        if found is not None:
            _write(ax, text, mark, found, size)
            taken += [(found[0] + across, found[1]) for across in np.arange(4.0, len(text) * CHARACTER_WIDTH + 4.0, 4.0)]


def _room(text, mark, clearances, taken, size):
    """Left end, middle height and clearance of a label beside its mark, the nearest first; None where there is no room."""
    for clearance in clearances:
        found = place_labels([(text, tuple(mark), clearance)], taken, size)[0]
        if found is not None:
            return *found, clearance
    return None


def _write(ax, text, mark, found, size) -> None:
    """A label, and a line to its mark where it stands away from it."""
    left, middle, clearance = found
    ax.annotate(text, (left / size[0], 1 - middle / size[1]), xycoords="axes fraction", fontsize=7, ha="left", va="center")
    if clearance > FARTHER_POINTS[0]:
        near = min(max(mark[0], left), left + len(text) * CHARACTER_WIDTH)
        ax.plot([mark[0] / size[0], near / size[0]], [1 - mark[1] / size[1], 1 - middle / size[1]], transform=ax.transAxes, color=LIGHT["soft"], linewidth=0.5)


def _covering_each_other(spots) -> list[list[int]]:
    """Indices of marks in groups: each within MARK_POINTS of another of its group."""
    groups: list[list[int]] = []
    for place, spot in enumerate(spots):
        near = [group for group in groups if min(np.hypot(*(spots[group] - spot).T)) < MARK_POINTS]
        groups = [group for group in groups if group not in near] + [sorted([place, *[each for group in near for each in group]])]
    return sorted(groups)
