"""Styles and scripts of a page, read from our own files and, for maps, from the installed XStatic-Leaflet package."""

from __future__ import annotations

import base64
import hashlib
import mimetypes
import re
from functools import cache
from pathlib import Path

from xstatic.pkg import leaflet

from pipeline.figures.style import DARK, LIGHT

ASSETS = Path(__file__).parent / "assets"
PAGE_STYLES = ("page.css", "parts.css", "print.css")
MAP_STYLES = ("map.css",)
MAP_SCRIPTS = ("map_words.js", "map_marks.js", "map_tools.js", "map_retrace.js", "map_sheet.js")


@cache
def page_style() -> str:
    """Colours and layout of every page, print included."""
    return colour_rules() + "".join(_own(name) for name in PAGE_STYLES)


@cache
def page_script() -> str:
    """What every page can do: sort tables, open pictures of maps."""
    return _own("page.js")


@cache
def map_style() -> str:
    """Leaflet's style sheet with its pictures inside, and ours for maps."""
    leaflet_css = _with_pictures_inside(_leaflet_file("leaflet.css"))
    return leaflet_css + "".join(_own(name) for name in MAP_STYLES)


@cache
def appendix_style() -> str:
    """Rules for the long tables of the appendix."""
    return _own("appendix.css")


@cache
def map_scripts() -> tuple[str, ...]:
    """Leaflet and our own map code, in the order they must run."""
    leaflet_js = re.sub(r"(?m)^//# sourceMappingURL=.*$", "", _leaflet_file("leaflet.js").read_text(encoding="utf-8"))
    return (leaflet_js.replace("</script", "<\\/script"), *(_own(name) for name in MAP_SCRIPTS))


def colour_rules() -> str:
    """The palettes as CSS variables: light, dark where the reader's screen is dark, light again in print and under pictures."""
    light = "".join(f"--{role}:{colour};" for role, colour in LIGHT.items())
    dark = "".join(f"--{role}:{colour};" for role, colour in DARK.items())
    return (
        f":root{{color-scheme:light dark;{light}}}"
        f"@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}"
        f".twin,.still{{color-scheme:light;color:{LIGHT['ink']};{light}}}"
        f"@media print{{:root{{color-scheme:light}}}}"
    )


def script_hash(script: str) -> str:
    """A script's entry in the content security policy."""
    return "'sha256-" + base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii") + "'"


def security_policy(scripts: list[str]) -> str:
    """A policy under which a page loads nothing and runs these scripts only."""
    allowed = " ".join(dict.fromkeys(script_hash(script) for script in scripts)) or "'none'"
    return f"default-src 'none'; img-src data:; style-src 'unsafe-inline'; font-src data:; script-src {allowed}; base-uri 'none'; form-action 'none'"


def _own(name: str) -> str:
    return (ASSETS / name).read_text(encoding="utf-8")


def _leaflet_file(name: str) -> Path:
    return Path(leaflet.BASE_DIR) / name


def _with_pictures_inside(style_sheet: Path) -> str:
    def inside(match: re.Match) -> str:
        target = match.group(1).strip("'\"")
        if target.startswith(("data:", "#")):
            return match.group(0)
        picture = style_sheet.parent / target
        kind = mimetypes.guess_type(picture.name)[0]
        return f"url(data:{kind};base64,{base64.b64encode(picture.read_bytes()).decode('ascii')})"

    return re.sub(r"url\(([^)]+)\)", inside, style_sheet.read_text(encoding="utf-8"))
