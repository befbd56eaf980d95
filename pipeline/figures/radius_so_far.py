"""How the radius of a fix came down as a flight went on: the printed twin of going over the flight on the map."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pipeline.figures.drawing import Drawing, Ink
from pipeline.figures.style import short_name

_WIDTH_PT, _HEIGHT_PT, _LETTERS_PT = 332.0, 108.0, 7.4
_LEFT_PT, _RIGHT_PT, _TOP_PT, _FOOT_PT = 42.0, 62.0, 6.0, 24.0
_GRID, _FRAME = Ink("rule", width_pt=0.5), Ink("soft", width_pt=0.7)
_FIRST, _OTHER = Ink("fix", width_pt=1.7), Ink("track", width_pt=0.6)
# Of a region that the edge of the ground looked at cuts off, the radius is larger than drawn.
_FIRST_CUT, _OTHER_CUT = Ink("fix", width_pt=1.7, dash_pt=(1.5, 2.2)), Ink("track", width_pt=0.6, dash_pt=(1.5, 2.2))
_ROUND_M = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000, 50000)


@dataclass(frozen=True)
class RadiusSoFar:
    """One flight. minute, radius_m : of every moment, shape (moments,), in order of time; cut : whether the edge of the ground looked at cuts the region. [min, m]"""

    flight_id: str
    minute: np.ndarray
    radius_m: np.ndarray
    cut: np.ndarray


def radius_so_far(flights: list[RadiusSoFar]) -> Drawing:
    """The 95 % radius against minutes flown, on a logarithmic scale; each step lasts until the next moment. The first flight is drawn strongly, the others thinly."""
    drawing = Drawing(_WIDTH_PT, _HEIGHT_PT)
    last = max(float(flight.minute[-1]) for flight in flights)
    radii = np.concatenate([flight.radius_m for flight in flights])
    low, high = 0.8 * float(radii.min()), 1.25 * float(radii.max())
    right, foot = _WIDTH_PT - _RIGHT_PT, _HEIGHT_PT - _FOOT_PT

    def across(minute) -> np.ndarray:
        return _LEFT_PT + np.asarray(minute, float) / max(last, 1.0) * (right - _LEFT_PT)

    def up(radius_m) -> np.ndarray:
        return foot - (np.log(np.asarray(radius_m, float)) - math.log(low)) / (math.log(high) - math.log(low)) * (foot - _TOP_PT)

    _draw_axes(drawing, across, up, last, low, high, right, foot)
    for flight in reversed(flights):        # the first lies on top
        for piece, cut in _steps(across(flight.minute), up(flight.radius_m), flight.cut):
            drawing.strokes([piece], (_FIRST_CUT if cut else _FIRST) if flight is flights[0] else (_OTHER_CUT if cut else _OTHER))
    first = flights[0]
    drawing.words(short_name(first.flight_id, 12), float(across(first.minute[-1])) + 6.0, float(up(first.radius_m[-1])), size_pt=_LETTERS_PT, height="middle", role="fix")
    return drawing


def _steps(x: np.ndarray, y: np.ndarray, cut: np.ndarray):
    """The line in pieces that are cut off by the edge or not: level until the next moment, then down or up to it."""
    for at in range(len(x) - 1):
        yield np.array([[x[at], y[at]], [x[at + 1], y[at]], [x[at + 1], y[at + 1]]]), bool(cut[at])
    # the last moment lasts no time; a short level end shows where it stands
    yield np.array([[x[-1] - 3.0 if len(x) == 1 else x[-1], y[-1]], [x[-1] + 3.0, y[-1]]]), bool(cut[-1])


def _draw_axes(drawing: Drawing, across, up, last: float, low: float, high: float, right: float, foot: float) -> None:
    letters = {"size_pt": _LETTERS_PT, "role": "soft"}
    rounds = [value for value in _ROUND_M if low <= value <= high]
    heights = up(rounds) if rounds else np.zeros(0)
    drawing.strokes([[[_LEFT_PT, height], [right, height]] for height in heights], _GRID)
    drawing.strokes([[[_LEFT_PT, _TOP_PT], [_LEFT_PT, foot], [right, foot]]], _FRAME)
    written = math.inf
    for value, height in zip(rounds, heights):
        if written - height > 1.3 * _LETTERS_PT:
            drawing.words(f"{value:,d}", _LEFT_PT - 3.0, float(height), anchor="end", height="middle", **letters)
            written = height
    step = next(each for each in (1, 2, 5, 10, 20, 50, 100) if max(last, 1.0) / each <= 8 or each == 100)
    for minute in np.arange(0.0, last + 1e-9, step):
        drawing.words(f"{minute:g}", float(across(minute)), foot + 3.0, anchor="middle", height="top", **letters)
    drawing.words("minutes since the flight began", right, foot + 2.0 + 1.3 * _LETTERS_PT, anchor="end", height="top", **letters)
    drawing.words("95 % radius (m)", 4.0, (_TOP_PT + foot) / 2.0, anchor="middle", height="middle", upright=True, **letters)
