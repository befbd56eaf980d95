"""The page around a report or the index: head, masthead, contents, footer, security policy, and the checks before it leaves."""

from __future__ import annotations

import re
from pathlib import Path
from typing import NamedTuple, Sequence

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from pipeline.report.cautions import STATUSES
from pipeline.report.display import in_its_direction
from pipeline.report.page_assets import map_scripts, map_style, page_script, page_style, security_policy

TEMPLATES = Path(__file__).parent / "templates"

_SCRIPT = re.compile(r"<script>(.*?)</script>", re.S)
_TAG = re.compile(r"<[a-zA-Z][^>]*>")
_STYLE = re.compile(r"<style[^>]*>(.*?)</style>", re.S)
_ASKS = re.compile(r"""\b(?:src|srcset|data|poster|action|formaction|background)\s*=\s*["']?\s*(?:[a-z]+:)?//|url\(\s*["']?\s*(?:[a-z]+:)?//""", re.I)
_LINKS = re.compile(r"""^<(?!a\b)[a-z]+\b[^>]*\bhref\s*=\s*["']?\s*(?:[a-z]+:)?//""", re.I)
_IMPORTS = re.compile(r"@import|url\(\s*[\"']?\s*(?:[a-z]+:)?//", re.I)
_PICTURE = re.compile(r"<(?:img|svg)\b[^>]*>", re.I)


class ReportLink(NamedTuple):
    """A report of the same campaign: its file beside this one, its words, and whether it is this page."""

    file: str
    words: str
    here: bool = False


def template_environment() -> Environment:
    """Templates that escape every value not marked as HTML. The filter `directed` confines letters from right to left to themselves."""
    environment = Environment(loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=False, keep_trailing_newline=True)
    environment.filters["directed"] = lambda text: Markup(in_its_direction(str(escape(text))))
    return environment


def render_page(
    *,
    title: str,
    campaign: str,
    subtitle: str,
    status: str,
    links: Sequence[ReportLink],
    contents: Sequence,
    body: str,
    cautions: str,
    closing: str,
    notebook_file: str,
    with_maps: bool,
    more_style: str = "",
) -> str:
    """The page as text. more_style : rules of this kind of page only. body, cautions and closing are trusted HTML; all else is plain text and is escaped.

    Raises ValueError for a picture without words for those who cannot see it, and for any reference to the network.
    """
    if status and status not in STATUSES:
        raise ValueError(f"the status of a report is one of {', '.join(STATUSES)}, not {status!r}")
    shared = [page_script(), *(map_scripts() if with_maps else ())]
    for part in (body, cautions, closing):
        refuse_network(part)
        refuse_silent_pictures(part)
    policy = security_policy(shared + _SCRIPT.findall(body))
    style = page_style() + (map_style() if with_maps else "") + more_style + running_heads(title, campaign)
    page = template_environment().get_template("page.html.j2").render(
        title=title,
        campaign=campaign,
        subtitle=subtitle,
        status=status,
        status_words=STATUSES.get(status, ""),
        links=links,
        contents=contents if len(contents) > 1 else (),
        body=Markup(body),
        cautions=Markup(cautions),
        closing=Markup(closing),
        notebook_file=notebook_file,
        policy=policy,
        style=Markup(style),
        scripts=[Markup(script) for script in shared],
    )
    return page


def refuse_network(part: str) -> None:
    """Raise ValueError if a browser would ask the network for anything in this HTML. Plain links to click are no request."""
    still = _SCRIPT.sub("", part)
    found = [tag for tag in _TAG.findall(still) if _ASKS.search(tag) or _LINKS.search(tag)]
    found += [style for style in _STYLE.findall(still) if _IMPORTS.search(style)]
    if found:
        raise ValueError(f"the report refers to the network: {found[0][:120]}")


def refuse_silent_pictures(part: str) -> None:
    """Raise ValueError for an img without alt, or an svg that neither has a label nor is marked as decoration."""
    for picture in _PICTURE.findall(_SCRIPT.sub("", part)):
        spoken = re.search(r'\b(?:alt|aria-label)="[^"]*\S[^"]*"', picture)
        if not spoken and 'aria-hidden="true"' not in picture:
            raise ValueError(f"a picture has no alternative text: {picture[:120]}")


def running_heads(title: str, campaign: str) -> str:
    """Print rules that put campaign and title at the top of every sheet, and the page number at its foot."""
    return (
        f'@page{{@top-left{{content:"{_in_css(campaign)}"}}@top-right{{content:"{_in_css(title)}"}}'
        '@bottom-right{content:"Page " counter(page) " of " counter(pages)}}'
    )


def _in_css(text: str) -> str:
    """Plain text inside a CSS string: everything but letters, digits and spaces as an escape."""
    return re.sub(r"[^\w ]", lambda match: f"\\{ord(match.group(0)):x} ", text)
