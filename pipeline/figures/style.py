"""The one visual language: colours for light and dark, mark shapes, and how matplotlib draws with them.

Colour never speaks alone: every kind of mark has a shape of its own, and both are defined here once,
for the page, the interactive maps, their printed twins and the figures.
"""

from __future__ import annotations

import io
import math
import warnings
from contextlib import contextmanager
from dataclasses import dataclass

import matplotlib
import numpy as np
from matplotlib.figure import Figure
from matplotlib.path import Path as MarkPath

LIGHT = {
    "ink": "#22262e",
    "soft": "#595d66",          # second voice: captions, units, notes; 6.3 to 1 on paper
    "paper": "#fcfbf8",
    "panel": "#f3f1eb",
    "rule": "#d8d4ca",
    "heard": "#2b6c99",
    "silent": "#8b8a86",
    "track": "#6d6a63",
    "fix": "#7a4a8c",
    "beacon": "#c47a12",
    "fetch": "#8a2d55",
    "ground-light": "#dceaf2",
    "ground-deep": "#1d4e6f",
    "stop": "#8a2d55",
    "look": "#c47a12",
    "note": "#2b6c99",
}

DARK = {
    "ink": "#e8e6e0",
    "soft": "#a9aab0",
    "paper": "#16181d",
    "panel": "#1e2127",
    "rule": "#3a3e46",
    "heard": "#79b4de",
    "silent": "#8b8a86",
    "track": "#9a978f",
    "fix": "#c79bd8",
    "beacon": "#f0b352",
    "fetch": "#e48bb0",
    "ground-light": "#1d2c36",
    "ground-deep": "#8fc3e3",
    "stop": "#e48bb0",
    "look": "#f0b352",
    "note": "#79b4de",
}


@dataclass(frozen=True)
class Shape:
    """One mark, as closed or open strokes within a circle of radius 1; x to the right, y up."""

    strokes: tuple[tuple[tuple[float, float], ...], ...]
    closed: bool = True

    def as_matplotlib(self) -> MarkPath:
        """The shape as a matplotlib marker."""
        points, codes = [], []
        for stroke in self.strokes:
            points += list(stroke)
            codes += [MarkPath.MOVETO] + [MarkPath.LINETO] * (len(stroke) - 1)
            if self.closed:
                points.append(stroke[0])
                codes.append(MarkPath.CLOSEPOLY)
        return MarkPath(points, codes)

    def as_svg_path(self, centre_x: float, centre_y: float, radius: float) -> str:
        """The shape as the `d` of an SVG path, y down, in the units of the drawing."""
        end = "Z" if self.closed else ""
        return "".join(
            "M" + "L".join(f"{centre_x + radius * x:.2f} {centre_y - radius * y:.2f}" for x, y in stroke) + end
            for stroke in self.strokes
        )


def _ring(corners: int, first_deg: float) -> tuple[tuple[float, float], ...]:
    turns = [math.radians(first_deg + 360.0 * corner / corners) for corner in range(corners)]
    return tuple((round(math.cos(turn), 4), round(math.sin(turn), 4)) for turn in turns)


SHAPES = {
    "triangle": Shape((_ring(3, 90.0),)),
    "barred triangle": Shape((_ring(3, 90.0), ((-0.9, 1.0), (0.9, 1.0), (0.9, 1.3), (-0.9, 1.3)))),
    "square": Shape((_ring(4, 45.0),)),
    "diamond": Shape((_ring(4, 90.0),)),
    "hexagon": Shape((_ring(6, 90.0),)),
    "letter M": Shape((((-0.4, -0.42), (-0.4, 0.42), (0.0, -0.12), (0.4, 0.42), (0.4, -0.42)),), closed=False),
    "cross": Shape((((-0.75, -0.75), (0.75, 0.75)), ((-0.75, 0.75), (0.75, -0.75))), closed=False),
    "plus": Shape((((-1.0, 0.0), (1.0, 0.0)), ((0.0, -1.0), (0.0, 1.0))), closed=False),
}

def unit_circle(corners: int) -> np.ndarray:
    """(corners, 2) points of a circle of radius 1 round the origin."""
    turn = np.linspace(0.0, 2.0 * np.pi, corners, endpoint=False)
    return np.stack([np.sin(turn), np.cos(turn)], axis=1)


# Heard marks come in five sizes, radius in CSS pixels (and points in print): larger = stronger.
HEARD_RADII = (3.6, 4.6, 5.8, 7.2, 8.8)
SILENT_RADIUS = 2.6
# The circle to search on foot: dashes and dots, and another colour than the dashed 95 % region, so that either tells them apart. [points]
SEARCH_DASH_PT = (5.5, 1.8, 1.1, 1.8)

MATPLOTLIB = {
    "svg.hashsalt": "fixledger",
    "svg.fonttype": "none",      # text stays text: it can be searched, read aloud and edited
    "pdf.fonttype": 42,
    "text.parse_math": False,    # a name with two dollar signs is a name, not a formula
    "font.family": ["DejaVu Sans", "sans-serif"],
    "font.size": 8.5,
    "axes.titlesize": 9.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": 8.5,
    "axes.labelcolor": LIGHT["ink"],
    "axes.edgecolor": LIGHT["soft"],
    "axes.facecolor": "none",
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.prop_cycle": matplotlib.cycler(color=[LIGHT["heard"], LIGHT["beacon"], LIGHT["fix"], LIGHT["silent"], LIGHT["fetch"]]),
    "grid.color": LIGHT["rule"],
    "grid.linewidth": 0.5,
    "text.color": LIGHT["ink"],
    "xtick.color": LIGHT["soft"],
    "ytick.color": LIGHT["soft"],
    "xtick.labelcolor": LIGHT["ink"],
    "ytick.labelcolor": LIGHT["ink"],
    "xtick.labelsize": 8.0,
    "ytick.labelsize": 8.0,
    "xtick.major.size": 3.0,
    "ytick.major.size": 3.0,
    "xtick.major.width": 0.7,
    "ytick.major.width": 0.7,
    "lines.linewidth": 1.4,
    "lines.markersize": 4.0,
    "patch.linewidth": 0.8,
    "hatch.linewidth": 0.5,
    "legend.frameon": False,
    "legend.fontsize": 8.0,
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
    "figure.dpi": 100.0,
    "savefig.dpi": 200.0,
    "axes.unicode_minus": True,
}

TEXT_WIDTH_IN = 7.0


def short_name(name: str, most: int = 26) -> str:
    """A name as a figure has room for: of one longer than `most` letters the middle is left out, so that both ends can be recognised."""
    name = " ".join(str(name).split())
    return name if len(name) <= most else f"{name[: most - most // 2 - 1]}\u2026{name[-(most // 2):]}"


def in_style():
    """The house style for drawing: a context manager and a decorator (`@in_style()` over a function that draws)."""
    return matplotlib.rc_context(MATPLOTLIB)


def new_figure(rows: int = 1, columns: int = 1, *, width_in: float = TEXT_WIDTH_IN, height_in: float = 3.0, **grid):
    """A figure in the house style and its axes (one, or an array as matplotlib's subplots gives).

    Further keywords go to `Figure.subplots`. Draw on it inside `in_style()`, so that lines and texts get the style too.
    """
    with in_style():
        figure = Figure(figsize=(width_in, height_in), layout="constrained")
        axes = figure.subplots(rows, columns, **grid)
    return figure, axes


def settle(figure: Figure) -> None:
    """Fix the layout of a figure, so that every save of it gives the same bytes."""
    if figure.get_layout_engine() is None:
        return
    with in_style(), any_letter():
        figure.draw_without_rendering()
        figure.set_layout_engine("none")


def figure_as_svg(figure: Figure) -> str:
    """The figure as SVG text without a background, the same bytes at every call and on every day."""
    return _saved(figure, "svg", {"Date": None, "Creator": None}, transparent=True).decode("utf-8")


def figure_as_png(figure: Figure) -> bytes:
    """The figure as PNG on white, 200 dots per inch, without date or program name."""
    return _saved(figure, "png", {"Software": None})


@contextmanager
def any_letter():
    """Names may hold letters that the drawing font lacks: the SVG keeps them as text, so nobody needs a warning."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


def _saved(figure: Figure, kind: str, metadata: dict, *, transparent: bool = False) -> bytes:
    target = io.BytesIO()
    with in_style(), any_letter():
        figure.savefig(target, format=kind, metadata=metadata, facecolor="none" if transparent else "white")
    return target.getvalue()
