"""A drawn figure inside a page: as SVG that takes its colours from the page, or as PNG when there is too much in it."""

from __future__ import annotations

import base64
import io
import re
from html import escape

from PIL import Image

from pipeline.figures.style import LIGHT

HEAVIEST_SVG_BYTES = 350_000


def picture_html(svg: str, png: bytes, alt: str, name: str) -> str:
    """The picture as an element with its alternative text; raises ValueError without one.

    svg, png : the same figure in both forms. name : made part of the ids inside the SVG, so that they stay unique in a page.
    """
    if not alt.strip():
        raise ValueError(f"picture {name!r} needs an alternative text that tells its finding")
    if len(svg.encode("utf-8")) > HEAVIEST_SVG_BYTES:
        return f'<img class="drawn" alt="{escape(alt.strip())}" src="{_light_copy(png)}">'
    return _svg_in_page(svg, alt.strip(), name)


def _light_copy(png: bytes) -> str:
    """The picture as a data URI in a format a third of the size; the PNG itself is saved beside the report."""
    stream = io.BytesIO()
    with Image.open(io.BytesIO(png)) as picture:
        picture.convert("RGB").save(stream, "WEBP", quality=84, method=4)
    return "data:image/webp;base64," + base64.b64encode(stream.getvalue()).decode("ascii")


def _svg_in_page(svg: str, alt: str, name: str) -> str:
    """The SVG without prolog and metadata, its ids made unique, its palette colours and fonts taken from the page."""
    body = svg[svg.index("<svg"):]
    body = re.sub(r"\s*<metadata>.*?</metadata>", "", body, flags=re.S)
    body = re.sub(r'(id="|href="#)([^"]+)"', rf'\g<1>{name}-\2"', body)
    body = re.sub(r"url\(#([^)]+)\)", rf"url(#{name}-\1)", body)
    body = re.sub(r" xmlns:(dc|cc|rdf)=\"[^\"]*\"", "", body)
    for role, colour in LIGHT.items():
        body = body.replace(f": {colour}", f": var(--{role}, {colour})")
    body = body.replace("'DejaVu Sans', sans-serif", "var(--text-font, 'DejaVu Sans', sans-serif)")
    head = re.match(r"<svg[^>]*>", body).group(0)
    width = re.search(r'width="([0-9.]+)pt"', head)
    fitted = re.sub(r' (width|height)="[0-9.]+pt"', "", head)
    size = f' style="width:{float(width.group(1)) * 96 / 72:.0f}px"' if width else ""
    # a raster inside keeps its light colours, so everything drawn over it must stay light too
    kind = "drawn still" if "<image" in body else "drawn"
    opened = fitted[:-1] + f'{size} class="{kind}" role="img" aria-label="{escape(alt)}">'
    return re.sub(r"\n\s*", "\n", opened + body[len(head):]).strip()
