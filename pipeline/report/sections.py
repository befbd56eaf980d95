"""Parts that hold other parts: a section with an address of its own, facts in two columns, a line of links, parts folded away.

All text given here is plain text and is escaped.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from html import escape
from typing import Sequence

from pipeline.report.display import Part, checked_name, file_links, heading_html, shown


@dataclass(frozen=True, repr=False)
class Section(Part):
    """A third-level heading with an address (`#name`) and the parts under it. Such headings are not listed in the contents of the page: there may be dozens.

    handed_out : in print it begins on a new sheet and ends with one, so that its sheets can be given away.
    """

    name: str
    heading: str
    parts: Sequence[Part] = field(default_factory=tuple)
    handed_out: bool = False

    def report_html(self) -> str:
        head = f'<div class="words"><h3 id="{checked_name(self.name)}-heading">{heading_html(self.heading)}</h3></div>'
        return f'<section class="{"own handed-out" if self.handed_out else "own"}" id="{checked_name(self.name)}">{head}{"".join(part.report_html() for part in self.parts)}</section>'


@dataclass(frozen=True, repr=False)
class Facts(Part):
    """What is known, under short names: (name, words) each; those without words are left out."""

    facts: Sequence[tuple[str, str]]

    def report_html(self) -> str:
        kept = [(name, words) for name, words in self.facts if str(words).strip()]
        return f'<dl class="facts">{"".join(f"<div><dt>{shown(name)}</dt><dd>{shown(words)}</dd></div>" for name, words in kept)}</dl>' if kept else ""


@dataclass(frozen=True, repr=False)
class Jumps(Part):
    """A line of links to sections of the same page: (name of the section, words of the link, words after it) each."""

    label: str
    links: Sequence[tuple[str, str, str]]

    def report_html(self) -> str:
        items = "".join(f'<li><a href="#{checked_name(name)}">{shown(words)}</a>{shown(" " + after) if after else ""}</li>' for name, words, after in self.links)
        return f'<nav class="jumps" aria-label="{escape(self.label)}"><ul>{items}</ul></nav>'


@dataclass(frozen=True, repr=False)
class Folded(Part):
    """Parts under a line that opens and shuts them. They are open in the file, so that paper and a browser without scripts show all; a script shuts them."""

    summary: str
    parts: Sequence[Part]

    def report_html(self) -> str:
        return f'<details class="folded" open><summary>{shown(self.summary)}</summary><div class="side-by-side">{"".join(part.report_html() for part in self.parts)}</div></details>'


@dataclass(frozen=True, repr=False)
class Files(Part):
    """Words and links to files beside the report."""

    words: str
    files: Sequence[str]

    def report_html(self) -> str:
        return f'<p class="notes">{shown(self.words)} {file_links(self.files)}</p>' if self.files else ""
