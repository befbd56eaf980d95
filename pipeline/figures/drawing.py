"""A small drawing of lines, areas, marks and words, written as compact SVG and painted as PNG.

For figures that a report holds by the dozen: one costs a few milliseconds and a few kilobytes, where a matplotlib figure
with axes costs a third of a second and a hundred kilobytes. Both forms are made from the same list of strokes and words.
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass
from html import escape

import numpy as np
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path as StrokePath
from matplotlib.transforms import Affine2D
from PIL import Image

from pipeline.figures.style import LIGHT, SHAPES, any_letter, in_style

# Coordinates are written as whole tenths of a point: shorter than decimals, and finer than any screen or printer shows.
TENTHS = 10
DOTS_PER_INCH = 150
PNG_COLOURS = 128
_LIFTS = {"baseline": 0.0, "middle": 0.36, "top": 0.76}     # of the font size, from the wanted height down to the foot of the letters
_ANCHORS = {"start": 0.0, "middle": 0.5, "end": 1.0}
_NOT_XML = re.compile(r"[^\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]+")


@dataclass(frozen=True)
class Ink:
    """How strokes are drawn: roles of the palette for line and fill ("" for none), width and dashes in points, opacity 0 to 1."""

    line: str = ""
    fill: str = ""
    width_pt: float = 0.8
    dash_pt: tuple[float, ...] = ()
    opacity: float = 1.0

    def as_svg_style(self) -> str:
        """Declarations in tenths of a point; the page finds the palette colours in them."""
        said = [f"fill: {LIGHT[self.fill] if self.fill else 'none'}"]
        if self.line:
            said += [f"stroke: {LIGHT[self.line]}", f"stroke-width: {self.width_pt * TENTHS:.0f}"]
        if self.dash_pt:
            said.append("stroke-dasharray: " + " ".join(f"{length * TENTHS:.0f}" for length in self.dash_pt))
        if self.opacity < 1.0:
            said.append(f"opacity: {self.opacity:g}")
        return "; ".join(said)


@dataclass(frozen=True)
class _Stroke:
    points: np.ndarray      # (n, 2) whole tenths of a point, y down
    closed: bool


@dataclass(frozen=True)
class _Word:
    text: str
    x_pt: float
    y_pt: float
    size_pt: float
    anchor: str
    role: str
    upright: bool


class Drawing:
    """Strokes and words on a sheet of a size in points, x to the right, y down; what is added later lies on top."""

    def __init__(self, width_pt: float, height_pt: float):
        self.width_pt, self.height_pt = float(width_pt), float(height_pt)
        self._layers: list[tuple[Ink, list[_Stroke]]] = []
        self._words: list[_Word] = []

    def strokes(self, lines, ink: Ink, *, closed: bool = False) -> None:
        """Lines, each (n, 2) in points; closed ones may be filled, where one inside another is a hole if it runs the other way round."""
        made = [_Stroke(np.rint(np.asarray(line, float) * TENTHS).astype(int), closed) for line in lines if len(line)]
        if not made:
            return
        if self._layers and self._layers[-1][0] == ink and ink.opacity == 1.0:
            self._layers[-1][1].extend(made)
        else:
            self._layers.append((ink, made))

    def marks(self, shape: str, places, radius_pt: float, ink: Ink) -> None:
        """One of the shapes of the house at every place, (n, 2) in points."""
        house = SHAPES[shape]
        middles = np.asarray(places, float).reshape(-1, 1, 2)
        drawn = [middles + radius_pt * np.asarray(stroke) * (1.0, -1.0) for stroke in house.strokes]
        self.strokes([line for of_one_mark in zip(*drawn) for line in of_one_mark], ink, closed=house.closed)

    def words(self, text: str, x_pt: float, y_pt: float, *, size_pt: float, anchor: str = "start", height: str = "baseline", role: str = "ink", upright: bool = False) -> None:
        """A line of plain text. anchor : start, middle or end lies at x; height : baseline, middle or top of the letters at y. upright : turned to read upwards."""
        drop = _LIFTS[height] * size_pt
        x, y = (x_pt + drop, y_pt) if upright else (x_pt, y_pt + drop)
        self._words.append(_Word(" ".join(_NOT_XML.sub(" ", str(text)).split()), x, y, size_pt, anchor, role, upright))

    def as_svg(self) -> str:
        """SVG text without a background; letters stay text."""
        width, height = (round(side * TENTHS) for side in (self.width_pt, self.height_pt))
        parts = [f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width_pt:g}pt" height="{self.height_pt:g}pt" viewBox="0 0 {width} {height}">',
                 "<g style=\"font-family: 'DejaVu Sans', sans-serif\">"]
        parts += [f'<path style="{ink.as_svg_style()}" d="{"".join(_path_text(stroke) for stroke in made)}"/>' for ink, made in self._layers]
        parts += [_word_as_svg(word) for word in self._words]
        return "\n".join([*parts, "</g>", "</svg>", ""])

    def as_png(self, dots_per_inch: int = DOTS_PER_INCH) -> bytes:
        """The same on white as a PNG."""
        scale = dots_per_inch / 72.0
        width, height = round(self.width_pt * scale), round(self.height_pt * scale)
        with in_style(), any_letter():
            renderer = RendererAgg(width, height, dots_per_inch)
            onto_page = Affine2D().scale(scale / TENTHS, -scale / TENTHS).translate(0, height)
            for ink, made in self._layers:
                _paint(renderer, ink, made, onto_page, scale)
            for word in self._words:
                _write(renderer, word, scale)
            picture = Image.fromarray(np.asarray(renderer.buffer_rgba()), "RGBA")
        page = Image.new("RGBA", picture.size, "white")
        page.alpha_composite(picture)
        stream = io.BytesIO()
        _in_few_colours(page.convert("RGB")).save(stream, "PNG", compress_level=4, dpi=(dots_per_inch, dots_per_inch))
        return stream.getvalue()


def _in_few_colours(picture: Image.Image) -> Image.Image:
    """With a palette, which the few inks and their soft edges allow: a third of the bytes and half the time to write them. White stays white."""
    few = picture.quantize(PNG_COLOURS, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
    palette = np.array(few.getpalette()).reshape(-1, 3)
    palette[palette.min(axis=1) >= 254] = 255
    few.putpalette(palette.ravel().tolist())
    return few


def _path_text(stroke: _Stroke) -> str:
    """Path data with steps from point to point; a step of nothing is left out."""
    points = stroke.points.tolist()      # most strokes are marks of a few points, for which numpy would take five times as long
    said = " ".join([f"{to_x - from_x} {to_y - from_y}" for (from_x, from_y), (to_x, to_y) in zip(points, points[1:]) if from_x != to_x or from_y != to_y]).replace(" -", "-")
    x, y = points[0]
    return f"M{x} {y}" + (f"l{said}" if said else "") + ("z" if stroke.closed else "")


def _word_as_svg(word: _Word) -> str:
    x, y = round(word.x_pt * TENTHS), round(word.y_pt * TENTHS)
    turn = f' transform="rotate(-90 {x} {y})"' if word.upright else ""
    anchor = "" if word.anchor == "start" else f"; text-anchor: {word.anchor}"
    return f'<text x="{x}" y="{y}"{turn} style="font-size: {word.size_pt * TENTHS:.0f}px; fill: {LIGHT[word.role]}{anchor}">{escape(word.text)}</text>'


def _paint(renderer: RendererAgg, ink: Ink, made: list[_Stroke], onto_page: Affine2D, scale: float) -> None:
    pen = renderer.new_gc()
    pen.set_foreground(LIGHT[ink.line] if ink.line else LIGHT["ink"])
    pen.set_linewidth(ink.width_pt * scale if ink.line else 0.0)
    pen.set_joinstyle("miter")
    if ink.dash_pt:
        pen.set_dashes(0.0, [length * scale for length in ink.dash_pt])
    pen.set_alpha(ink.opacity)
    fill = tuple(int(LIGHT[ink.fill][start:start + 2], 16) / 255.0 for start in (1, 3, 5)) if ink.fill else None
    renderer.draw_path(pen, _one_path(made), onto_page, fill)
    pen.restore()


def _one_path(made: list[_Stroke]) -> StrokePath:
    """All strokes as one path; put together here, since a path object for each of hundreds of marks costs more than painting them."""
    lines = [np.vstack([stroke.points, stroke.points[:1]]) if stroke.closed else stroke.points for stroke in made]
    ends = np.cumsum([len(line) for line in lines])
    codes = np.full(ends[-1], StrokePath.LINETO, dtype=StrokePath.code_type)
    codes[np.r_[0, ends[:-1]]] = StrokePath.MOVETO
    codes[(ends - 1)[[stroke.closed for stroke in made]]] = StrokePath.CLOSEPOLY
    return StrokePath(np.concatenate(lines), codes)


def _write(renderer: RendererAgg, word: _Word, scale: float) -> None:
    font = FontProperties(family="DejaVu Sans", size=word.size_pt)
    share = _ANCHORS[word.anchor]
    shift = share * renderer.get_text_width_height_descent(word.text, font, False)[0] if share else 0.0
    pen = renderer.new_gc()
    pen.set_foreground(LIGHT[word.role])
    x, y = (word.x_pt * scale, word.y_pt * scale + shift) if word.upright else (word.x_pt * scale - shift, word.y_pt * scale)
    renderer.draw_text(pen, x, y, word.text, font, 90.0 if word.upright else 0.0)
    pen.restore()
