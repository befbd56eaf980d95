"""The page of the publication appendix: words, tables and figures without a notebook, numbered S1, S2, ... as in a supplement."""

from __future__ import annotations

import re
from html import escape
from typing import Sequence

from pipeline.report.display import Part
from pipeline.report.numbering import number_headings, number_parts
from pipeline.report.page import render_page
from pipeline.report.page_assets import appendix_style


def render_appendix(parts: Sequence[Part], *, title: str, campaign: str, subtitle: str = "", status: str = "draft", italic: Sequence[str] = ()) -> str:
    """The page as text. It stands alone: no links to the reports, no box of cautions, nothing of the machine that made it. italic : words set in italics wherever they stand in the body, such as Latin names.

    Raises ValueError as `render_page` does, and for a reference to a table or figure that is not in it.
    """
    numbered = number_parts("".join(part.report_html() for part in parts), before="S")
    body, contents = number_headings(_in_italics(numbered, italic))
    return render_page(title=title, campaign=campaign, subtitle=subtitle, status=status, links=(), contents=[entry for entry in contents if entry.level == 2], body=body, cautions="", closing="",
                       notebook_file="", with_maps=False, more_style=appendix_style())


def _in_italics(html: str, words: Sequence[str]) -> str:
    """The words between tags, never those within one, as Latin in italics."""
    if not words:
        return html
    wanted = re.compile("|".join(rf"\b{re.escape(escape(word))}\b" for word in sorted(words, key=len, reverse=True)))
    return re.sub(r"(?<=>)[^<]+", lambda text: wanted.sub(lambda found: f'<i lang="la">{found.group()}</i>', text.group()), html)
