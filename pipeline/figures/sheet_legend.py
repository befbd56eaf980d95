"""The legend of a map, in shapes and words: as matplotlib handles for the twin and as small SVG drawings for the page."""

from __future__ import annotations

from html import escape

from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from pipeline.figures.style import LIGHT, SEARCH_DASH_PT, SHAPES

# symbol -> (shape, radius, filled, colour role, width of the edge)
_MARKS = {
    "heard": ("triangle", 5.5, True, "heard", 0.0),
    "saturated": ("barred triangle", 5.0, True, "heard", 0.0),
    "silent": ("square", 4.2, False, "silent", 1.0),
    "fix": ("cross", 5.5, False, "fix", 2.2),
    "second": ("cross", 5.0, False, "fix", 1.0),
    "beacon": ("diamond", 5.5, True, "beacon", 0.0),
    "fetch": ("hexagon", 7.0, True, "fetch", 0.0),
    "found": ("hexagon", 7.0, False, "fetch", 1.6),
}


def twin_legend(figure: Figure, entries: list[tuple[str, str]], height_share: float) -> None:
    """Write the legend under the map, three entries a row, within the lowest `height_share` of the figure."""
    if entries:
        handles = [_handle(symbol) for symbol, _ in entries]
        figure.legend(handles, [words for _, words in entries], loc="upper left", bbox_to_anchor=(0.04, height_share), ncols=3, fontsize=7.2,
                      handlelength=1.8, columnspacing=1.4, handletextpad=0.6, borderaxespad=0.0, labelspacing=0.55)


def legend_svg(symbol: str) -> str:
    """One symbol as inline SVG, 26 by 18 px, coloured by the page; hidden from screen readers, the words say it."""
    return f'<svg class="key" width="26" height="18" viewBox="0 0 26 18" aria-hidden="true" focusable="false">{_drawing(symbol)}</svg>'


def legend_html(entries: list[tuple[str, str]]) -> str:
    """The legend as a list of symbols with words."""
    items = "".join(f"<li>{legend_svg(symbol)}<span>{escape(words)}</span></li>" for symbol, words in entries)
    return f'<ul class="legend" role="list" aria-label="Legend">{items}</ul>' if items else ""


def _handle(symbol: str):
    if symbol in _MARKS:
        shape, radius, filled, role, edge = _MARKS[symbol]
        return Line2D([], [], linestyle="-" if symbol == "beacon" else "none", color=LIGHT[role], linewidth=1.0, marker=SHAPES[shape].as_matplotlib(), markersize=radius * 1.55,
                      markerfacecolor=LIGHT[role] if filled else "none", markeredgecolor=LIGHT[role], markeredgewidth=edge * 0.7)
    fix = LIGHT["fix"]
    return {
        "searched": Patch(facecolor=LIGHT["heard"], alpha=0.5, edgecolor=LIGHT["ground-deep"]),
        "area": Line2D([], [], color=LIGHT["ink"], linewidth=1.1, linestyle=(0, (6, 2, 1.5, 2))),
        "track": Line2D([], [], color=LIGHT["track"], linewidth=1.0),
        "search circle": Line2D([], [], color=LIGHT["fetch"], linewidth=1.1, linestyle=(0, SEARCH_DASH_PT)),
        "region 50": Patch(facecolor=fix, alpha=0.5, edgecolor=fix),
        "region 80": Patch(facecolor="none", hatch="////////", edgecolor=fix, linewidth=0.6),
        "region 95": Patch(facecolor="none", edgecolor=fix, linestyle=(0, (3, 1.5)), linewidth=1.0),
    }[symbol]


def _drawing(symbol: str) -> str:
    if symbol in _MARKS:
        shape, radius, filled, role, edge = _MARKS[symbol]
        path = SHAPES[shape].as_svg_path(13, 9.5 if shape.endswith("triangle") else 9, radius)
        paint = f'fill="var(--{role})"' if filled else f'fill="none" stroke="var(--{role})" stroke-width="{edge}"'
        line = '<path d="M2 15L13 9" stroke="var(--beacon)" stroke-width="1.4"/>' if symbol == "beacon" else ""
        letter_path = SHAPES["letter M"].as_svg_path(13, 9, radius)
        letter = f'<path d="{letter_path}" fill="none" stroke="var(--paper)" stroke-width="1.3"/>' if symbol == "fetch" else ""
        return f'{line}<path d="{path}" {paint}/>{letter}'
    box = "M3 2.5H23V15.5H3Z"
    return {
        "searched": '<path d="M2 2H10V16H2Z" fill="var(--ground-light)"/><path d="M10 2H17V16H10Z" fill="var(--heard)" opacity=".55"/>'
                    '<path d="M17 2H24V16H17Z" fill="var(--ground-deep)"/>',
        "area": '<path d="M1 9H25" stroke="var(--ink)" stroke-width="1.6" stroke-dasharray="9 3 2 3"/>',
        "track": '<path d="M1 11Q8 4 13 9M17 11L25 6" fill="none" stroke="var(--track)" stroke-width="1.5"/>',
        "receiver": '<circle cx="13" cy="9" r="6" fill="var(--paper)" stroke="var(--ink)" stroke-width="1.8"/><circle cx="13" cy="9" r="1.8" fill="var(--ink)"/>',
        "search circle": '<circle cx="13" cy="9" r="7.4" fill="none" stroke="var(--fetch)" stroke-width="1.6" stroke-dasharray="6 2 1.5 2"/>',
        "region 50": f'<path d="{box}" fill="var(--fix)" fill-opacity=".5"/>',
        "region 80": f'<path d="{box}M3 8L9 2.5M3 14L15.5 2.5M8 15.5L22 2.5M14.5 15.5L23 8M20.5 15.5L23 13" fill="none" stroke="var(--fix)" stroke-width=".9"/>',
        "region 95": f'<path d="{box}" fill="none" stroke="var(--fix)" stroke-width="1.5" stroke-dasharray="4 2.5"/>',
    }[symbol]
