"""Where labels go beside their marks, so that none lies on a mark or on another label."""

from __future__ import annotations

CHARACTER_WIDTH = 4.5    # of a 7-point sans-serif letter, in points, on the safe side
LINE_HEIGHT = 9.0


def place_labels(wanted, marks, size: tuple[float, float]) -> list[tuple[float, float] | None]:
    """Left end and middle height of each label, or None where there is no room for it. First come, first served.

    wanted : (text, (x, y) of its mark, clearance from the mark, anything) for each label; y counts down; all in points.
    marks : (x, y) of every mark that must stay free. size : width and height of the map.
    """
    boxes = [(x - 4.0, y - 4.0, x + 4.0, y + 4.0) for x, y in marks]
    places = []
    for text, (x, y), clearance, *_ in wanted:
        place = next((spot for spot in _spots(x, y, clearance, len(text) * CHARACTER_WIDTH) if _is_free(spot, boxes, size)), None)
        places.append(None if place is None else (place[0], (place[1] + place[3]) / 2))
        if place is not None:
            boxes.append(place)
    return places


def _spots(x: float, y: float, clearance: float, width: float):
    """Boxes beside a mark, the best first: right, left, above, below, then the corners."""
    half = LINE_HEIGHT / 2
    left = x - clearance - width
    lift = clearance + half
    beside = [(x + clearance, y), (left, y), (x - width / 2, y - lift), (x - width / 2, y + lift)]
    corners = [(x + 3, y - lift), (x + 3, y + lift), (left + 3, y - lift), (left + 3, y + lift)]
    for start, middle in beside + corners:
        yield (start, middle - half, start + width, middle + half)


def _is_free(box, taken, size) -> bool:
    left, top, right, bottom = box
    if left < 0 or top < 0 or right > size[0] or bottom > size[1]:
        return False
    return all(right <= other[0] or left >= other[2] or bottom <= other[1] or top >= other[3] for other in taken)
