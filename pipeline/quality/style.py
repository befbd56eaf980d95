"""How a flight was flown, found from its track: loop, lines, mixed or unclear."""

from __future__ import annotations

import numpy as np

STYLES = ("loop", "lines", "mixed", "unclear")

STEPS_LEAST = 24
REVERSAL_DEG = 40.0     # swinging to and fro by less than this is no turn
WINDOW_DEG = 270.0      # a step is judged by the turning round it, this much in all
ROUND_SHARE = 0.6       # loop: so much of the turning goes the same way round
BACK_SHARE = 0.4        # lines: turning one way is undone by turning the other, but for this share
AXIAL_LINES = 0.5       # and the courses lie along one axis, there and back
CLEAR_SHARE = 0.7
MIXED_SHARE = 0.2


def flight_style(course_deg) -> str:
    """The style of one flight from the course of its steps, in order.

    A loop keeps turning the same way; lines undo each turn by the next. Every step is judged by the turning round it, 270 degrees in all, half before and
    half after: "loop" when at least 0.6 of it goes one way, "lines" when turns cancel to 0.4 or less and the courses of twice that window lie along one axis (length of
    the mean of exp(2 i course) at least 0.5). The kind of 0.7 of the steps is the flight's; with at least 0.2 of both it is "mixed"; else "unclear". A track that turns
    less than 135 degrees is "lines" when it holds an axis.

    Parameters
    ----------
    course_deg : array (n,), clockwise, blank where unknown; 24 known courses are needed. [deg]
    """
    course = np.asarray(course_deg, float)
    course = course[np.isfinite(course)]
    if len(course) < STEPS_LEAST:
        return "unclear"
    smooth = _smooth_course(course)
    kinds = _kind_of_steps(smooth)
    loop, lines = float(np.mean(kinds == "loop")), float(np.mean(kinds == "lines"))
    if loop >= CLEAR_SHARE:
        return "loop"
    if lines >= CLEAR_SHARE:
        return "lines"
    return "mixed" if loop + lines >= CLEAR_SHARE and min(loop, lines) >= MIXED_SHARE else "unclear"


def _kind_of_steps(course_deg: np.ndarray) -> np.ndarray:
    heading = _turns_only(np.degrees(np.unwrap(np.radians(course_deg))))
    turned = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(heading)))])
    if turned[-1] < WINDOW_DEG / 2:
        return np.full(len(heading), "lines" if _axial(course_deg) >= AXIAL_LINES else "unclear")
    width = min(WINDOW_DEG, turned[-1])
    begin = np.clip(turned - width / 2, 0.0, turned[-1] - width)
    grown = turned + 1e-9 * np.arange(len(turned))  # strictly growing, as interpolation needs
    one_way = np.abs(np.interp(begin + width, grown, heading) - np.interp(begin, grown, heading)) / width
    wider_first = np.searchsorted(turned, begin - width / 2, side="left")
    wider_last = np.searchsorted(turned, begin + 1.5 * width, side="right")
    axial = np.array([_axial(course_deg[a:b]) for a, b in zip(wider_first, wider_last)])
    return np.where(one_way >= ROUND_SHARE, "loop", np.where((one_way <= BACK_SHARE) & (axial >= AXIAL_LINES), "lines", "unclear"))


def _axial(course_deg: np.ndarray) -> float:
    """1 when all courses lie on one axis, there or back; 0 when they are spread evenly."""
    return float(abs(np.exp(2j * np.radians(course_deg)).mean()))


def _smooth_course(course_deg: np.ndarray) -> np.ndarray:
    """Running mean of three steps, as a direction."""
    direction = np.exp(1j * np.radians(course_deg))
    padded = np.concatenate([direction[:1], direction, direction[-1:]])
    return np.degrees(np.angle(padded[:-2] + padded[1:-1] + padded[2:]))


def _turns_only(heading_deg: np.ndarray) -> np.ndarray:
    """The unwrapped heading with a play of 40 degrees: it stays until the heading pulls it along, so that small swings leave no trace."""
    followed = np.empty_like(heading_deg)
    at = heading_deg[0]
    for i, heading in enumerate(heading_deg):
        at = min(max(at, heading - REVERSAL_DEG / 2), heading + REVERSAL_DEG / 2)
        followed[i] = at
    return followed
