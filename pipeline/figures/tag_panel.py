"""One tag in one flight on one small picture: a map at the left, strength against time at the right."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry import LineString

from pipeline.figures.drawing import Drawing, Ink
from pipeline.figures.relief import round_step
from pipeline.figures.style import HEARD_RADII, SEARCH_DASH_PT, SILENT_RADIUS, unit_circle

# Of silent marks in a cell of a grid so wide one is drawn: the others would say nothing more. [points, for large marks]
_THIN_ON_MAP_PT, _THIN_IN_TIME_PT = 6.4, 5.0
# The map shows the region at no less than this share of its side, and no less ground than this. [share, m]
SMALLEST_REGION, SMALLEST_SIDE_M = 0.16, 500.0
# A circle to search, and the region with it, must be told apart: they get so large a share.
SMALLEST_SEARCH = 0.38

_FRAME, _GRID = Ink("rule", width_pt=0.7), Ink("rule", width_pt=0.45)
_TRACK, _SILENT = Ink("track", width_pt=0.55), Ink("silent", width_pt=0.5)
_HEARD = Ink("paper", "heard", width_pt=0.2)
_CURVE, _BAND = Ink("fix", width_pt=0.9), Ink("", "fix", opacity=0.15)
_REGION_FILL, _REGION_RIM, _REGION_HATCH = Ink("", "fix", opacity=0.45), Ink("fix", width_pt=0.6), Ink("fix", width_pt=0.35)
_REGION_DASH = Ink("fix", width_pt=0.9, dash_pt=(3.4, 2.2))
_FIX, _SECOND, _EARLIER = Ink("fix", width_pt=1.4), Ink("fix", width_pt=0.8), Ink("ink", width_pt=0.9)
_EARLIER_LINE = Ink("ink", width_pt=0.6, dash_pt=(0.8, 1.8))
_SEARCH = Ink("fetch", width_pt=1.1, dash_pt=SEARCH_DASH_PT)


@dataclass(frozen=True)
class PanelMap:
    """What lies on the map of one tag and flight, in survey-CRS metres.

    track : parts of the path, each (n, 2). heard : (n, 2), size_class : 0 (weakest) to 4 of each. silent : (n, 2).
    regions : probability -> polygons; empty where none is stated. best : (2,) of the best place, or None; stated : whether it is a position. places : (number, easting, northing) of second and later places.
    earlier : (2,) of the fix before this flight, or None. search : easting, northing and radius of the circle to search on foot, or None.
    """

    track: tuple[np.ndarray, ...]
    heard: np.ndarray
    size_class: np.ndarray
    silent: np.ndarray
    regions: dict = field(default_factory=dict)
    best: tuple[float, float] | None = None
    stated: bool = True
    places: tuple[tuple[int, float, float], ...] = ()
    earlier: tuple[float, float] | None = None
    search: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class PanelStrengths:
    """Strength against time: minute, strength_db (NaN = not heard), threshold_db, each (records,); expected_db the same or None; spread_db one sd."""

    minute: np.ndarray
    strength_db: np.ndarray
    threshold_db: np.ndarray
    expected_db: np.ndarray | None = None
    spread_db: float = 0.0


@dataclass(frozen=True)
class Layout:
    """Sizes in points: the whole width, the side of the square map, the letters; marks : their size as a share of those on large maps."""

    width_pt: float = 504.0
    map_pt: float = 182.0
    letters_pt: float = 8.0
    marks: float = 0.75


LARGE, SMALL = Layout(), Layout(332.0, 126.0, 7.4, 0.6)


@dataclass(frozen=True)
class _Frame:
    """A box on the sheet and the values at its edges; turns values into points."""

    left_pt: float
    top_pt: float
    right_pt: float
    bottom_pt: float
    low_x: float
    high_x: float
    low_y: float
    high_y: float

    def place(self, points) -> np.ndarray:
        """(n, 2) values as (n, 2) points of the sheet."""
        points = np.asarray(points, float).reshape(-1, 2)
        x = self.left_pt + (points[:, 0] - self.low_x) / (self.high_x - self.low_x) * (self.right_pt - self.left_pt)
        y = self.bottom_pt - (points[:, 1] - self.low_y) / (self.high_y - self.low_y) * (self.bottom_pt - self.top_pt)
        return np.stack([x, y], axis=1)

    def within(self, points) -> np.ndarray:
        """(n, 2) points of the sheet that lie in the box."""
        points = np.asarray(points, float).reshape(-1, 2)
        inside = (points[:, 0] >= self.left_pt) & (points[:, 0] <= self.right_pt) & (points[:, 1] >= self.top_pt) & (points[:, 1] <= self.bottom_pt)
        return points[inside]

    def cut(self, geometry):
        """The part of a geometry, in points, that lies in the box."""
        return shapely.clip_by_rect(geometry, self.left_pt, self.top_pt, self.right_pt, self.bottom_pt)

    def rim(self) -> np.ndarray:
        return np.array([[self.left_pt, self.top_pt], [self.right_pt, self.top_pt], [self.right_pt, self.bottom_pt], [self.left_pt, self.bottom_pt]])


def tag_panel(title: str, where: PanelMap, strengths: PanelStrengths, layout: Layout = LARGE) -> Drawing:
    """The picture of one tag and flight. title : plain text above it."""
    top = 1.9 * layout.letters_pt
    height = top + layout.map_pt + 2.6 * layout.letters_pt
    drawing = Drawing(layout.width_pt, height)
    drawing.words(title[:90], 1.0, 0.3 * layout.letters_pt, size_pt=layout.letters_pt, height="top")
    _draw_map(drawing, where, layout, top)
    _draw_strengths(drawing, strengths, layout, top)
    return drawing


def panel_key() -> Drawing:
    """What the marks of the panels mean."""
    box = np.array([[-7.0, -4.0], [7.0, -4.0], [7.0, 4.0], [-7.0, 4.0]])
    flat = np.array([[-8.0, 0.0], [8.0, 0.0]])
    rows = [
        ("flight track; a gap where not on effort", [(flat, _TRACK, False)]), ("heard; larger = stronger", "triangle"), ("listened, not heard; in time at the threshold", "square"),
        ("fix; thin where it is a best place only", "cross"), ("second place, numbered", "thin cross"), ("fix before this flight, dotted line to it", "plus"),
        ("50 % region", [(box, _REGION_FILL, True)]), ("80 % region", [*((line, _REGION_HATCH, False) for line in _hatching(shapely.Polygon(box))), (box, _REGION_RIM, True)]), ("95 % region", [(box, _REGION_DASH, True)]), ("circle to search on foot", [(6.0 * unit_circle(32), _SEARCH, True)]),
        ("strength expected at the fix", [(flat, _CURVE, False)]), ("and one standard deviation either way", [(box, _BAND, True)]),
    ]
    marks = {"triangle": ("triangle", 4.5, _HEARD), "square": ("square", SILENT_RADIUS, _SILENT), "cross": ("cross", 4.5, _FIX), "thin cross": ("cross", 4.0, _SECOND), "plus": ("plus", 4.0, _EARLIER)}
    in_column, drawing = math.ceil(len(rows) / 2), Drawing(LARGE.width_pt, 14.0 * math.ceil(len(rows) / 2) + 2.0)
    for number, (words, symbol) in enumerate(rows):
        x, y = 10.0 + LARGE.width_pt / 2.0 * (number // in_column), 8.0 + 14.0 * (number % in_column)
        if isinstance(symbol, str):
            shape, radius_pt, ink = marks[symbol]
            drawing.marks(shape, [(x, y)], radius_pt, ink)
        for line, ink, closed in [] if isinstance(symbol, str) else symbol:
            drawing.strokes([line + (x, y)], ink, closed=closed)
        drawing.words(words, x + 15.0, y, size_pt=LARGE.letters_pt, height="middle")
    return drawing


def map_extent_m(where: PanelMap) -> tuple[float, float, float, float]:
    """West, south, east, north of a square that holds the region and the circle to search whole and as much of the heard records as keeps the region legible.

    Without a region it holds the records listened to, heard or not.
    """
    stated = shapely.union_all(list(where.regions.values())) if where.regions else None
    points = [np.asarray(each, float).reshape(-1, 2) for each in ([where.best] if where.best else [], [place[1:] for place in where.places])]
    core = np.vstack([*points, *([np.asarray(stated.bounds).reshape(2, 2)] if stated is not None and not stated.is_empty else []), *([_circle(where.search)] if where.search else [])])
    wider = np.vstack([core, where.heard if len(core) else np.vstack([where.heard, where.silent]), [where.earlier] if where.earlier and len(core) else np.zeros((0, 2))])
    if not len(wider):
        return -SMALLEST_SIDE_M, -SMALLEST_SIDE_M, SMALLEST_SIDE_M, SMALLEST_SIDE_M
    core = core if len(core) else wider
    core_side, whole_side = float(np.ptp(core, axis=0).max()), float(np.ptp(wider, axis=0).max())
    side = max(min(1.12 * whole_side, max(core_side / (SMALLEST_SEARCH if where.search else SMALLEST_REGION), 2.0 * SMALLEST_SIDE_M)), 1.2 * core_side, SMALLEST_SIDE_M)
    # centred on everything, but moved as far as the core asks for
    middle = (wider.min(axis=0) + wider.max(axis=0)) / 2.0
    slack = side / 2.0 - 0.06 * side
    middle = np.minimum(np.maximum(middle, core.max(axis=0) - slack), core.min(axis=0) + slack)
    return (*(middle - side / 2.0), *(middle + side / 2.0))


def _draw_map(drawing: Drawing, where: PanelMap, layout: Layout, top: float) -> None:
    west, south, east, north = map_extent_m(where)
    frame = _Frame(1.0, top, 1.0 + layout.map_pt, top + layout.map_pt, west, east, south, north)
    drawing.strokes([frame.rim()], _FRAME, closed=True)
    drawing.strokes([line for part in where.track if len(part) > 1 for line in _lines(frame.cut(LineString(frame.place(part)).simplify(0.25)))], _TRACK)
    drawing.marks("square", _thinned(frame.within(frame.place(where.silent)), _THIN_ON_MAP_PT * layout.marks), SILENT_RADIUS * layout.marks, _SILENT)
    _draw_regions(drawing, where.regions, frame)
    if where.search:
        drawing.strokes([frame.place(_circle(where.search))], _SEARCH, closed=True)
    places = frame.place(where.heard)
    for size_class, radius in enumerate(HEARD_RADII):
        drawing.marks("triangle", frame.within(places[where.size_class == size_class]), radius * layout.marks, _HEARD)
    _draw_places(drawing, where, frame, layout)
    _draw_scale(drawing, frame, layout)


def _circle(search: tuple[float, float, float]) -> np.ndarray:
    return np.array(search[:2]) + search[2] * unit_circle(96)


def _draw_regions(drawing: Drawing, regions: dict, frame: _Frame) -> None:
    drawn = {level: frame.cut(shapely.transform(polygon, frame.place).simplify(0.3)) for level, polygon in regions.items() if not polygon.is_empty}
    inner = drawn.get(0.5)
    if inner is not None:
        drawing.strokes(_rings(inner), _REGION_FILL, closed=True)
    if 0.8 in drawn:
        ring = drawn[0.8] if inner is None else shapely.difference(shapely.make_valid(drawn[0.8]), shapely.make_valid(inner))
        drawing.strokes(_hatching(ring), _REGION_HATCH)
        drawing.strokes(_rings(drawn[0.8]), _REGION_RIM, closed=True)
    if 0.95 in drawn:
        drawing.strokes(_rings(drawn[0.95]), _REGION_DASH, closed=True)


def _draw_places(drawing: Drawing, where: PanelMap, frame: _Frame, layout: Layout) -> None:
    if where.earlier is not None:
        before = frame.place([where.earlier])
        if where.best is not None:
            drawing.strokes(_lines(frame.cut(LineString(np.vstack([before, frame.place([where.best])])))), _EARLIER_LINE)
        drawing.marks("plus", frame.within(before), 4.6 * layout.marks + 0.6, _EARLIER)
    for number, easting_m, northing_m in where.places:
        for x, y in frame.within(frame.place([(easting_m, northing_m)])):
            # the number stands on the far side from the first place, clear of the marks between the two
            away = np.sign(x - frame.place([where.best])[0, 0]) or 1.0 if where.best is not None else 1.0
            drawing.marks("cross", [(x, y)], 4.4 * layout.marks + 0.8, _SECOND)
            drawing.words(f"{number}", x + 1.1 * away * layout.letters_pt, y, size_pt=1.1 * layout.letters_pt, anchor="start" if away > 0 else "end", height="middle", role="fix")
    if where.best is not None:
        drawing.marks("cross", frame.within(frame.place([where.best])), 5.0 * layout.marks + 1.0, _FIX if where.stated else _SECOND)


def _draw_scale(drawing: Drawing, frame: _Frame, layout: Layout) -> None:
    """A bar below the map, with its length; the map has grid north at the top."""
    length_m = round_step((frame.high_x - frame.low_x) / 5.0)
    right = frame.left_pt + length_m / (frame.high_x - frame.low_x) * (frame.right_pt - frame.left_pt)
    y = frame.bottom_pt + 0.9 * layout.letters_pt
    drawing.strokes([[[frame.left_pt, y - 2.5], [frame.left_pt, y], [right, y], [right, y - 2.5]]], Ink("ink", width_pt=0.8))
    drawing.words(f"{length_m:,.0f} m" if length_m < 1000 else f"{length_m / 1000:g} km", right + 4.0, y, size_pt=layout.letters_pt, height="middle", role="soft")


def _draw_strengths(drawing: Drawing, strengths: PanelStrengths, layout: Layout, top: float) -> None:
    left, right = 1.0 + layout.map_pt + 5.2 * layout.letters_pt, layout.width_pt - 2.0
    frame = _Frame(left, top, right, top + layout.map_pt, 0.0, max(float(np.max(strengths.minute, initial=0.0)), 1.0), *_strength_span(strengths))
    _draw_axes(drawing, frame, layout)
    if not len(strengths.minute):
        return
    heard = np.isfinite(strengths.strength_db)
    if strengths.expected_db is not None:
        _draw_expected(drawing, strengths, frame)
    absences = frame.place(np.stack([strengths.minute, strengths.threshold_db], axis=1)[~heard & np.isfinite(strengths.threshold_db)])
    drawing.marks("square", _thinned(frame.within(absences), _THIN_IN_TIME_PT * layout.marks), SILENT_RADIUS * layout.marks, _SILENT)
    places = frame.place(np.stack([strengths.minute, np.where(heard, strengths.strength_db, frame.low_y)], axis=1))
    drawing.marks("triangle", frame.within(places[heard]), HEARD_RADII[1] * layout.marks, _HEARD)


def _draw_expected(drawing: Drawing, strengths: PanelStrengths, frame: _Frame) -> None:
    # what is expected far below the threshold is drawn at the foot of the panel: it was not to be heard
    low, high, middle = (frame.place(np.stack([strengths.minute, np.maximum(strengths.expected_db + shift, frame.low_y - 50.0)], axis=1))
                         for shift in (-strengths.spread_db, strengths.spread_db, 0.0))
    if len(middle) < 2:
        return
    band = frame.cut(shapely.make_valid(shapely.Polygon(np.vstack([low, high[::-1]])).simplify(0.35)))
    drawing.strokes(_rings(band), _BAND, closed=True)
    drawing.strokes(_lines(frame.cut(LineString(middle).simplify(0.3))), _CURVE)


def _draw_axes(drawing: Drawing, frame: _Frame, layout: Layout) -> None:
    step_x, step_y = round_step(frame.high_x / 5.0), round_step((frame.high_y - frame.low_y) / 4.0)
    across = np.arange(0.0, frame.high_x + 1e-9, step_x)
    up = np.arange(math.ceil(frame.low_y / step_y) * step_y, frame.high_y + 1e-9, step_y)
    lines_x, lines_y = (frame.place([(value, frame.low_y) for value in across])[:, 0], frame.place([(0.0, value) for value in up])[:, 1])
    drawing.strokes([[[x, frame.top_pt], [x, frame.bottom_pt]] for x in lines_x] + [[[frame.left_pt, y], [frame.right_pt, y]] for y in lines_y], _GRID)
    drawing.strokes([[[frame.left_pt, frame.top_pt], [frame.left_pt, frame.bottom_pt], [frame.right_pt, frame.bottom_pt]]], Ink("soft", width_pt=0.7))
    letters = {"size_pt": layout.letters_pt, "role": "soft"}
    for value, x in zip(across, lines_x):
        drawing.words(f"{value:g}", x, frame.bottom_pt + 0.4 * layout.letters_pt, anchor="middle", height="top", **letters)
    for value, y in zip(up, lines_y):
        drawing.words(f"{value:g}".replace("-", "−"), frame.left_pt - 3.0, y, anchor="end", height="middle", **letters)
    drawing.words("minutes since the flight began", frame.right_pt, frame.bottom_pt + 1.5 * layout.letters_pt, anchor="end", height="top", **letters)
    drawing.words("strength (dB)", frame.left_pt - 3.6 * layout.letters_pt, (frame.top_pt + frame.bottom_pt) / 2.0, anchor="middle", height="middle", upright=True, **letters)


def _strength_span(strengths: PanelStrengths) -> tuple[float, float]:
    """From a little below the lowest threshold to a little above what was heard or expected. [dB]"""
    known = np.concatenate([strengths.threshold_db, strengths.strength_db, strengths.threshold_db if strengths.expected_db is None else strengths.expected_db])
    known = known[np.isfinite(known)]
    if not len(known):
        return 0.0, 1.0
    floor = strengths.threshold_db[np.isfinite(strengths.threshold_db)]
    low = float(min(floor.min(initial=np.inf), np.nanmin(strengths.strength_db, initial=np.inf)))
    return (low if np.isfinite(low) else float(known.min())) - 8.0, float(known.max()) + 4.0


def _thinned(points: np.ndarray, apart_pt: float) -> np.ndarray:
    """Points of which no two lie in the same cell of a grid as wide as asked for; the first of each cell stays."""
    if not len(points):
        return points
    _, first = np.unique(np.floor(points / apart_pt).astype(int), axis=0, return_index=True)
    return points[np.sort(first)]


def _lines(geometry) -> list[np.ndarray]:
    """The lines of a geometry as arrays (n, 2)."""
    parts = shapely.get_parts(shapely.line_merge(geometry) if geometry.geom_type == "MultiLineString" else geometry)
    return [shapely.get_coordinates(part) for part in parts if part.geom_type in ("LineString", "LinearRing") and not part.is_empty]


def _rings(geometry) -> list[np.ndarray]:
    """Rims of the polygons of a geometry: outlines one way round, holes the other."""
    rings = []
    for part in shapely.get_parts(shapely.get_parts(geometry)):
        if part.geom_type == "Polygon" and not part.is_empty:
            right = shapely.geometry.polygon.orient(part)
            rings += [shapely.get_coordinates(ring)[:-1] for ring in (right.exterior, *right.interiors)]
    return rings


def _hatching(geometry, apart_pt: float = 3.6) -> list[np.ndarray]:
    """Lines from lower left to upper right over the polygons of a geometry."""
    if geometry.is_empty:
        return []
    left, top, right, bottom = geometry.bounds
    starts = np.arange(math.floor((left + top) / apart_pt) * apart_pt, right + bottom, apart_pt)
    across = shapely.multilinestrings([shapely.linestrings([(start - bottom, bottom), (start - top, top)]) for start in starts])
    return _lines(shapely.intersection(shapely.make_valid(geometry), across))
