"""How a flight was flown, found from its track: loop, lines, mixed or unclear."""

from __future__ import annotations

import numpy as np

from pipeline.quality.pace import wrap_180

STYLES = ("loop", "lines", "mixed", "unclear")

PARTS = 8                  # a flight is judged in this many stretches of equal numbers of steps
STEPS_LEAST = 24
AXIAL_LINES = 0.75         # courses of a stretch lie on one axis, there and back
ONE_WAY_TURN = 0.7         # share of the turning that goes the same way round
TURN_LEAST_DEG = 25.0      # of a stretch, to be called part of a loop
CLEAR_SHARE = 0.75
MIXED_SHARE = 0.25


def flight_style(course_deg) -> str:
    """The style of one flight from the course of its steps, in order.

    Each of eight stretches is "lines" when its courses lie along one axis (length of the mean of exp(2 i course) at least 0.75, as for legs
    flown there and back), and "loop" when it turns at least 25 degrees, 0.7 of it the same way round. Three quarters of the stretches decide;
    with a quarter or more of each it is "mixed". A course that neither holds an axis nor goes round is "unclear".

    Parameters
    ----------
    course_deg : array (n,), clockwise, blank where unknown; 24 known courses are needed. [deg]
    """
    course = np.asarray(course_deg, float)
    course = course[np.isfinite(course)]
    if len(course) < STEPS_LEAST:
        return "unclear"
    smooth = _smooth_course(course)
    kinds = [_kind_of_stretch(part) for part in np.array_split(smooth, PARTS)]
    lines, loop = kinds.count("lines") / PARTS, kinds.count("loop") / PARTS
    if loop >= CLEAR_SHARE:
        return "loop"
    if lines >= CLEAR_SHARE:
        return "lines" if not _goes_round_evenly(smooth) else "loop"
    if lines + loop >= CLEAR_SHARE and min(lines, loop) >= MIXED_SHARE:
        return "mixed"
    return "unclear"


def _smooth_course(course_deg: np.ndarray) -> np.ndarray:
    """Running mean of three steps, as a direction."""
    direction = np.exp(1j * np.radians(course_deg))
    padded = np.concatenate([direction[:1], direction, direction[-1:]])
    return np.degrees(np.angle(padded[:-2] + padded[1:-1] + padded[2:])) % 360.0


def _kind_of_stretch(course_deg: np.ndarray) -> str:
    turning = wrap_180(np.diff(course_deg))
    total = np.abs(turning).sum()
    one_way = abs(turning.sum()) / total if total > 0 else 0.0
    axial = abs(np.exp(2j * np.radians(course_deg)).mean())
    if axial >= AXIAL_LINES and not (one_way >= 0.95 and TURN_LEAST_DEG <= total <= 120.0 and _steady(turning)):
        return "lines"
    if one_way >= ONE_WAY_TURN and total >= TURN_LEAST_DEG:
        return "loop"
    return "unclear"


def _steady(turning_deg: np.ndarray) -> bool:
    """Turning spread over the stretch, not done in one corner."""
    total = np.abs(turning_deg).sum()
    return bool(total > 0 and np.sort(np.abs(turning_deg))[-3:].sum() / total < 0.5)


def _goes_round_evenly(course_deg: np.ndarray) -> bool:
    """A wide loop looks straight piece by piece: told by going round once or twice, one way, through all directions alike."""
    turning = wrap_180(np.diff(course_deg))
    total = np.abs(turning).sum()
    if total == 0 or abs(turning.sum()) / total < ONE_WAY_TURN or abs(turning.sum()) < 270.0:
        return False
    return bool(abs(np.exp(2j * np.radians(course_deg)).mean()) < 0.4)
