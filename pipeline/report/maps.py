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
        '<button type="button" class="whole">Whole map</button>'
        '<details class="themes"><summary>Layers</summary><div class="theme-list"></div></details>'
        f'<button type="button" class="as-picture" aria-expanded="false" aria-controls="{name}-twin">As printed</button>'
        '</div>'
        f'<div class="sheet-map" style="aspect-ratio:{shape:.3f}">{frame}</div>'
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


def _waiting_note(sheet: MapSheet) -> str:
    words = "Find a tag to see where it was heard and where it was listened for in vain."
    return f'<p class="sheet-note">{words}</p>' if sheet.records_wait_for_a_tag() else ""
