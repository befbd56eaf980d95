"""Numbers and anchors of a report: Table 1, Figure 1, Map 1 in reading order, links to them, headings with ids."""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import unescape

_MARK = re.compile(r'<span class="number" data-for="([a-z]+):([a-z0-9_-]+)">[A-Za-z]+</span>')
_SEE = re.compile(r'<a class="see" data-for="([a-z]+:[a-z0-9_-]+)" href="(#[a-z0-9_-]+)">[^<]*</a>')
_HEADING = re.compile(r"<h([2-4])>(.*?)</h\1>", re.S)


@dataclass(frozen=True)
class ContentsEntry:
    """One line of the contents."""

    level: int
    id: str
    words: str


def number_parts(body: str, before: str = "") -> str:
    """The body with numbers at every caption and in every reference; raises ValueError where a reference leads nowhere.

    before : what stands before each number, such as the S of "Table S1" in a supplement.
    """
    counts: dict[str, int] = {}
    given: dict[str, str] = {}

    def number(mark: re.Match) -> str:
        kind, name = mark.groups()
        if f"{kind}:{name}" in given:
            raise ValueError(f"{kind} {name!r} appears twice in one report")
        counts[kind] = counts.get(kind, 0) + 1
        given[f"{kind}:{name}"] = f"{kind.capitalize()} {before}{counts[kind]}"
        return f'<span class="number">{given[f"{kind}:{name}"]}.</span>'

    def refer(reference: re.Match) -> str:
        target, anchor = reference.groups()
        if target not in given:
            raise ValueError(f"the text refers to {target.replace(':', ' ')}, which is not in this report")
        return f'<a class="see" href="{anchor}">{given[target]}</a>'

    return _SEE.sub(refer, _MARK.sub(number, body))


def number_headings(body: str) -> tuple[str, list[ContentsEntry]]:
    """The body with an id in every heading, and the contents: headings of level 2 and 3 in order."""
    used: dict[str, int] = {}
    contents: list[ContentsEntry] = []

    def anchor(heading: re.Match) -> str:
        level, inner = int(heading.group(1)), heading.group(2)
        words = unescape(re.sub(r"<[^>]+>", "", inner)).strip()
        stem = re.sub(r"[^\w]+", "-", words.lower()).strip("-")[:60].strip("-") or "section"
        used[stem] = used.get(stem, 0) + 1
        heading_id = "s-" + (stem if used[stem] == 1 else f"{stem}-{used[stem]}")
        if level < 4:
            contents.append(ContentsEntry(level, heading_id, words))
        return f'<h{level} id="{heading_id}">{inner}</h{level}>'

    return _HEADING.sub(anchor, body), contents
