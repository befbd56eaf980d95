"""Interactive maps as pieces of a page: the tools around a folium map, its script, and its printed twin.

A report holds one copy of the map code for all its maps. In JupyterLab each map is a whole page of its own in a frame.
"""

from __future__ import annotations

import re
from html import escape

from pipeline.figures.sheet import MapSheet
from pipeline.figures.sheet_folium import folium_map
from pipeline.figures.sheet_legend import legend_html
from pipeline.report.page_assets import map_scripts, map_style, page_script, page_style, security_policy

# folium asks for scripts of other hosts in the head of its page; only its body and its script are used here.
_REMOTE = re.compile(r"<(?:script|link|img|iframe)[^>]+(?:src|href)=[\"']?(?:https?:)?//[^>]*", re.IGNORECASE)


def map_html(sheet: MapSheet, name: str, twin_html: str) -> tuple[str, str]:
    """The map as a piece of a report, and as a whole page without any outside reference for a frame in JupyterLab.

    name : start of all element ids. twin_html : the printed twin as an element with its alternative text.
    """
    frame, script = _drawn_by_folium(sheet, name)
    fragment = f"{_around(sheet, name, frame, twin_html)}<script>{script}</script>"
    return fragment, _alone(fragment, script)


def _alone(fragment: str, script: str) -> str:
    shared = [page_script(), *map_scripts()]
    head = "".join(f"<script>{text}</script>" for text in shared)
    return (
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><meta http-equiv="Content-Security-Policy" content="{escape(security_policy([*shared, script]))}">'
        f"<title>Map</title><style>{page_style()}{map_style()}body{{padding:0;max-width:none}}</style>{head}</head><body>{fragment}</body></html>"
    )


def _drawn_by_folium(sheet: MapSheet, name: str) -> tuple[str, str]:
    chart = folium_map(sheet, name)
    root = chart.get_root()
    root.render()
    frame, script = root.html.render(), root.script.render()
    remote = _REMOTE.findall(frame)
    if remote:
        raise ValueError(f"map {name!r} refers to the network: {remote[0][:120]}")
    label = f'class="folium-map" role="group" aria-label="{escape(sheet.alt)}" aria-describedby="{name}-keys"'
    frame = re.sub(r"\s*\n\s*", "", frame).replace('class="folium-map"', label)
    # maps without JavaScript or whose script fails fall back on the twin, see page.css
    return frame, "(function(){\n" + re.sub(r"[ \t]*\n[ \t\n]*", "\n", script).strip() + "\n})();"


def _around(sheet: MapSheet, name: str, frame: str, twin_html: str) -> str:
    west, south, east, north = sheet.extent_m()
    shape = min(max((east - west) / (north - south), 1.15), 2.0)
    return (
        f'<div class="sheet" data-map="{name}"><div class="sheet-bar">{_find_field(sheet, name)}'
        '<button type="button" class="measure" aria-pressed="false">Measure</button>'
        '<button type="button" class="closer">Closer</button><button type="button" class="wider">Wider</button>'
        '<button type="button" class="whole">Whole map</button>'
        '<details class="themes"><summary>What is shown</summary><div class="theme-list"></div></details>'
        f'<button type="button" class="as-picture" aria-expanded="false" aria-controls="{name}-twin" title="Shows, below this map, the picture that stands in its place on paper">Show the printed map</button>'
        '</div>'
        f'<div class="sheet-map" style="aspect-ratio:{shape:.3f}">{frame}</div>{_retrace_control(sheet)}'
        '<div class="sheet-foot"><p class="said" role="status"></p><output class="pointer" aria-live="off"></output>'
        f'<span class="keys" id="{name}-keys">Arrow keys move the map, + and \u2212 change its scale.</span></div>'
        f'{_waiting_note(sheet)}{legend_html(sheet.legend())}<div class="twin" id="{name}-twin">{twin_html}</div></div>'
    )


def _find_field(sheet: MapSheet, name: str) -> str:
    tags = sheet.tags()
    if len(tags) < 2:
        return ""
    options = "".join(f'<option value="{escape(tag)}"></option>' for tag in tags)
    return (
        f'<label class="find">Find a tag <input type="text" list="{name}-tags" autocomplete="off" spellcheck="false" placeholder="type its name"></label>'
        f'<datalist id="{name}-tags">{options}</datalist>'
    )


# What the control is called, what it says before a tag is chosen and of a tag with nothing to show, and how its range and its way out are named.
_RETRACE_WORDS = {
    "flight": ("Retrace a flight", "Find a tag to retrace its flights: where the receiver was, what it heard, and the region as it stood at each moment.",
               "No flight of \u2026 can be retraced: that is kept for the positions of animals.", "Moment of the flight", "Leave the flight"),
    "dates": ("Positions by date", "Find an animal to go through its positions in order of time.",
              "\u2026 has fewer than two positions to go through.", "Position", "Show all"),
}


def _retrace_control(sheet: MapSheet) -> str:
    """Play and pause, a range and words for what is gone over; shown by the page's own code, and not in print."""
    if sheet.retrace is None:
        return ""
    title, hint, none, moment, leave = _RETRACE_WORDS[sheet.retrace.kind]
    choice = '<label>Flight <select></select></label>' if sheet.retrace.kind == "flight" else ""
    return (
        f'<div class="retrace" role="group" aria-label="{title}" data-none="{none}"><p class="retrace-hint">{hint}</p><div class="retrace-bar" hidden>{choice}'
        '<button type="button" class="retrace-play" aria-pressed="false">Play</button>'
        f'<label class="retrace-moment">{moment} <input type="range" min="0" max="0" step="1" value="0"></label>'
        f'<button type="button" class="retrace-leave" disabled>{leave}</button><output class="retrace-clock" aria-live="off"></output></div>'
        '<p class="retrace-said" role="status" aria-live="polite"></p></div>'
    )


def _waiting_note(sheet: MapSheet) -> str:
    words = "Find a tag to see where it was heard and where it was listened for and not heard."
    return f'<p class="sheet-note">{words}</p>' if sheet.records_wait_for_a_tag() else ""
