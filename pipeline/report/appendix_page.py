"""The page of the publication appendix: words, tables and figures without a notebook, numbered S1, S2, ... as in a supplement."""

from __future__ import annotations

from typing import Sequence

from pipeline.report.display import Part
from pipeline.report.numbering import number_headings, number_parts
from pipeline.report.page import render_page
from pipeline.report.page_assets import appendix_style


def render_appendix(parts: Sequence[Part], *, title: str, campaign: str, subtitle: str = "", status: str = "draft") -> str:
    """The page as text. It stands alone: no links to the reports, no box of cautions, nothing of the machine that made it.

    Raises ValueError as `render_page` does, and for a reference to a table or figure that is not in it.
    """
    body, contents = number_headings(number_parts("".join(part.report_html() for part in parts), before="S"))
    return render_page(title=title, campaign=campaign, subtitle=subtitle, status=status, links=(), contents=[entry for entry in contents if entry.level == 2], body=body, cautions="", closing="",
                       notebook_file="", with_maps=False, more_style=appendix_style())
