"""What a notebook shows: words, tables, figures, maps and messages, as HTML that the exporter can number and check.

Every object shows itself in JupyterLab (text/html) and in the exported report. A map differs between the two, because
a report carries one copy of the map code for all its maps; its report form travels under a mimetype of our own.

All text given here is plain text and is escaped. `see("table", "flights")` inside a text becomes a numbered link.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html import escape
from typing import Any, Callable, Mapping, Sequence

import pandas as pd

from pipeline.messages import SEVERITIES, Message
from pipeline.report.cells import cell_text, default_format, is_number_format

PART_MIMETYPE = "application/vnd.fixledger.part+html"
# Tables of no more rows than this stay whole on paper, in the appendix too.
FEW_ROWS = 8
# Longer heads of rows may be broken into lines; shorter ones stay whole.
LONG_NAME = 24
# Cells with more letters than this get room for several words a line.
MANY_WORDS = 40
NAME_RULE = re.compile(r"[a-z0-9]+([-_][a-z0-9]+)*")

# Private-use characters around "kind:name": they never come from data, because shown() takes them out of everything else.
_SEE_OPEN, _SEE_CLOSE = "\ue0f0", "\ue0f1"
_SEE = re.compile(_SEE_OPEN + "([a-z]+):([a-z0-9_-]+)" + _SEE_CLOSE)

# Letters from right to left draw the figures after them to their left ("tag, 120 m" would read "120 ,tag m"), and marks that turn the direction
# turn the rest of the sentence: each stands in an element of its own, which confines it and leaves the text itself as it is.
_RIGHT_TO_LEFT = "[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc\U00010800-\U00010fff\U0001e800-\U0001efff]"
_CONFINED = re.compile(f"{_RIGHT_TO_LEFT}+(?: +{_RIGHT_TO_LEFT}+)*|[\u202a-\u202e\u2066-\u2069]")

# In JupyterLab the parts stand alone, so a few rules come with each; the exporter takes exactly this text out again.
LAB_STYLE = (
    "<style>.fl-part{max-width:46rem;line-height:1.5}.fl-part .lead{font-size:1.1em}.fl-part td,.fl-part th{font-variant-numeric:tabular-nums}"
    ".fl-part td.figure-cell,.fl-part th.figure-cell{text-align:right}.fl-part th .unit{display:block;font-weight:400}"
    ".fl-part th button{font:inherit;background:none;border:0;padding:0;color:inherit}.fl-part svg{max-width:100%;height:auto}"
    ".fl-part .message{border-left:4px solid #2b6c99;padding-left:.7em;margin:.6em 0;list-style:none}</style>"
)


def see(kind: str, name: str) -> str:
    """A reference to a table, figure or map of the same report, to be put inside a text: see("table", "flights")."""
    if kind not in ("table", "figure", "map"):
        raise ValueError(f"a reference is to a table, figure or map, not to a {kind!r}")
    return f"{_SEE_OPEN}{kind}:{checked_name(name)}{_SEE_CLOSE}"


def shown(text: Any) -> str:
    """Plain text as HTML: escaped, with references made by `see` as links that the exporter numbers."""
    return _SEE.sub(r'<a class="see" data-for="\1:\2" href="#\1-\2">\1 \2</a>', in_its_direction(escape(str(text)))).replace(_SEE_OPEN, "").replace(_SEE_CLOSE, "")


def in_its_direction(html: str) -> str:
    """Escaped text with letters from right to left, and marks that turn the direction, confined to themselves."""
    return _CONFINED.sub(r"<bdi>\g<0></bdi>", html)


def with_its_unit(text: str) -> str:
    """The text with a space that does not break between a number and its unit: "240 m" stays on one line of a heading."""
    return re.sub(r"(?<=\d) (?=(?:m|km|ha|dB|min|s|degrees)\b|%)", "\u00a0", text)


def heading_html(text: str) -> str:
    """The text of a heading as HTML: numbers stay with their units, and a date stays whole, which a browser would break at its hyphens."""
    return re.sub(r"\b[0-9]{4}-[0-9]{2}-[0-9]{2}\b", r'<span class="whole">\g<0></span>', shown(with_its_unit(text)))


def checked_name(name: str) -> str:
    """The name, if it can serve as file name and element id: lower case letters, digits, single - or _ between."""
    if not NAME_RULE.fullmatch(name):
        raise ValueError(f"{name!r} cannot name a file: use lower case letters, digits, - and _")
    return name


def number_mark(kind: str, name: str) -> str:
    """The place where the exporter writes "Table 3"."""
    return f'<span class="number" data-for="{kind}:{name}">{kind.capitalize()}</span>'


class Part:
    """Something a report shows. `report_html` is its form in a report, `lab_html` its form in JupyterLab."""

    def report_html(self) -> str:
        raise NotImplementedError

    def lab_html(self) -> str:
        return f'{LAB_STYLE}<div class="fl-part">{self.report_html()}</div>'

    def _repr_mimebundle_(self, include=None, exclude=None) -> dict[str, str]:
        return {"text/html": self.lab_html(), PART_MIMETYPE: self.report_html(), "text/plain": repr(self)}

    def __repr__(self) -> str:
        return f"<{type(self).__name__.lower()}>"


@dataclass(frozen=True, repr=False)
class Words(Part):
    """A heading, which may be a finding made from results, and paragraphs. lead=True sets the opening answer larger."""

    heading: str | None
    paragraphs: Sequence[str] = ()
    level: int = 2
    lead: bool = False

    def report_html(self) -> str:
        if self.level not in (2, 3, 4):
            raise ValueError(f"a heading inside a report has level 2, 3 or 4, not {self.level}")
        head = f"<h{self.level}>{heading_html(self.heading)}</h{self.level}>" if self.heading else ""
        body = "".join(f"<p>{shown(paragraph)}</p>" for paragraph in self.paragraphs if str(paragraph).strip())
        return f'<div class="{"words lead" if self.lead else "words"}">{head}{body}</div>'


@dataclass(frozen=True)
class Column:
    """How one column is shown: its head, the unit under the head and the format of its cells (see `cells.cell_text`)."""

    head: str
    unit: str = ""
    format: str | Callable[[Any], str] | None = None


@dataclass(frozen=True, repr=False)
class Table(Part):
    """A numbered table with a caption; its first column heads the rows. Made by Book.table.

    beside : further files that its notes speak of, linked after its own.
    """

    name: str
    rows: pd.DataFrame
    caption: str
    columns: Mapping[str, Column]
    notes: str = ""
    file: str = ""
    rows_in_file: int | None = None
    tag_column: str = ""
    links: Mapping[str, Sequence[str]] = field(default_factory=dict)
    beside: Sequence[str] = ()

    def report_html(self) -> str:
        caption_id = f"table-{self.name}-caption"
        source = file_links([file for file in (self.file, *self.beside) if file])
        notes = f'<p class="notes">{" ".join(self._note_texts())}</p>' if self._note_texts() else ""
        size = "table few short" if len(self.rows) <= FEW_ROWS else "table short" if len(self.rows) <= 25 else "table"
        return (
            f'<figure class="{size}" id="table-{self.name}"><figcaption id="{caption_id}">{number_mark("table", self.name)} '
            f"{shown(self.caption)} {source}</figcaption>"
            f'<div class="table-scroll" role="region" tabindex="0" aria-labelledby="{caption_id}">'
            f'<table aria-labelledby="{caption_id}"><thead><tr>{self._heads()}</tr></thead><tbody>{self._body()}</tbody></table></div>{notes}</figure>'
        )

    def _note_texts(self) -> list[str]:
        texts = [shown(self.notes)] if self.notes else []
        if self.rows_in_file and self.rows_in_file > len(self.rows):
            texts.append(f"The first {len(self.rows):,d} of {self.rows_in_file:,d} rows; all are in the file.")
        if self.rows.empty:
            texts.append("No row.")
        return texts

    def _formats(self) -> dict[str, Any]:
        return {name: column.format or default_format(self.rows[name]) for name, column in self.columns.items()}

    def _heads(self) -> str:
        cells = []
        for name, chosen in self._formats().items():
            column = self.columns[name]
            unit = f'<span class="unit">{shown(column.unit)}</span>' if column.unit else ""
            kind = ' class="figure-cell"' if is_number_format(chosen) else ""
            cells.append(f'<th scope="col"{kind}><button type="button">{shown(column.head)}</button>{unit}</th>')
        return "".join(cells)

    def _body(self) -> str:
        formats = self._formats()
        values = [self.rows[name].tolist() for name in formats]
        lines = []
        for number, row in enumerate(zip(*values)):
            cells = []
            for position, (value, (name, chosen)) in enumerate(zip(row, formats.items())):
                plain = cell_text(value, chosen)
                text = shown(plain)
                if name == self.tag_column and text:
                    text = f'<button type="button" class="find-tag">{text}</button>'
                elif name in self.links and text:
                    text = f'<a href="#{checked_name(self.links[name][number])}">{text}</a>'
                kind = f' class="{_cell_kind(plain, chosen, position == 0)}"'.replace(' class=""', "")
                cells.append(f'<th scope="row"{kind}>{text}</th>' if position == 0 else f"<td{kind}>{text}</td>")
            lines.append(f"<tr>{''.join(cells)}</tr>")
        return "".join(lines)

    def __repr__(self) -> str:
        return f"<table {self.name}: {len(self.rows)} rows>"


def _cell_kind(plain: str, chosen, is_head: bool) -> str:
    """How a cell is set, as a class of the page; "" for the common kind."""
    if is_number_format(chosen):
        return "figure-cell"
    if chosen in ("time", "date"):
        return "time-cell"
    if is_head and len(plain) > LONG_NAME:
        return "long-name"
    if not is_head and len(plain) > MANY_WORDS:
        return "words-cell"
    return "whole-cell" if "-" in plain and len(plain) <= LONG_NAME else ""     # a browser would break "0421-b" at its hyphen


@dataclass(frozen=True, repr=False)
class Figure(Part):
    """A numbered figure. `picture_html` is an <svg role="img"> or an <img>, with its alternative text. Made by Book.figure."""

    name: str
    picture_html: str
    caption: str
    files: Sequence[str] = ()

    def report_html(self) -> str:
        return (
            f'<figure class="picture" id="figure-{self.name}"><div class="card" tabindex="0">{self.picture_html}</div>'
            f"<figcaption>{number_mark('figure', self.name)} {shown(self.caption)} {file_links(self.files)}</figcaption></figure>"
        )

    def __repr__(self) -> str:
        return f"<figure {self.name}>"


@dataclass(frozen=True, repr=False)
class Map(Part):
    """A numbered map: the part for reports (which share the map code) and a page of its own for JupyterLab. Made by Book.map."""

    name: str
    fragment_html: str
    alone_html: str
    caption: str
    files: Sequence[str] = ()

    def report_html(self) -> str:
        return (
            f'<figure class="map" id="map-{self.name}">{self.fragment_html}'
            f"<figcaption>{number_mark('map', self.name)} {shown(self.caption)} {file_links(self.files)}</figcaption></figure>"
        )

    def lab_html(self) -> str:
        return (
            f'<iframe title="Map {self.name}" srcdoc="{escape(self.alone_html)}" style="width:100%;height:640px;border:0" '
            f'loading="lazy"></iframe><p>{shown(self.caption)}</p>'
        )

    def __repr__(self) -> str:
        return f"<map {self.name}>"


@dataclass(frozen=True, repr=False)
class MessageList(Part):
    """Messages, the worst first. Of each rule at most `most_of_a_rule` are printed; the rest is counted and named."""

    messages: Sequence[Message]
    most_of_a_rule: int = 5
    file: str = ""
    empty_words: str = "Nothing was noticed."

    def report_html(self) -> str:
        if not self.messages:
            return f'<p class="words">{shown(self.empty_words)}</p>'
        shown_of_rule: dict[tuple[str, str], int] = {}
        left_out: dict[tuple[str, str], int] = {}
        items = []
        for message in sorted(self.messages, key=lambda message: SEVERITIES.index(message.severity)):
            rule = (message.severity, message.code)
            if shown_of_rule.get(rule, 0) >= self.most_of_a_rule:
                left_out[rule] = left_out.get(rule, 0) + 1
                continue
            shown_of_rule[rule] = shown_of_rule.get(rule, 0) + 1
            items.append(_message_item(message))
        rest = "".join(f"<li class=\"more\">{count} more of the kind {shown(code)}.</li>" for (_, code), count in left_out.items())
        where = f'<p class="notes">All of them: {file_links([self.file])}</p>' if self.file else ""
        return f'<ul class="messages" role="list">{"".join(items)}{rest}</ul>{where}'


@dataclass(frozen=True, repr=False)
class Together(Part):
    """Several parts shown one after another, for a notebook cell that shows more than one."""

    parts: Sequence[Part] = field(default_factory=tuple)

    def report_html(self) -> str:
        return "".join(part.report_html() for part in self.parts)

    def lab_html(self) -> str:
        return "".join(part.lab_html() for part in self.parts)


def file_links(files: Sequence[str]) -> str:
    """Links to files beside the report, shown by their names."""
    return " ".join(f'<a class="source" href="{escape(file)}" download>{escape(file.rsplit("/", 1)[-1])}</a>' for file in files)


def _sentence(text: str) -> str:
    said = text.strip().rstrip(".") + "."
    return said[0].upper() + said[1:]


def _measured(value: str) -> str:
    """A measured value, a number with its unit, with the true minus sign; text of a file, such as a code for "not heard", stays as it was written."""
    return "\u2212" + value[1:] if re.fullmatch(r"-[0-9][0-9.,]* [A-Za-z%]+", value) else value


def _message_item(message: Message) -> str:
    place = f'<span class="place">{shown(message.place)}</span> ' if message.place else ""
    value = f' <code>{shown(_measured(message.value))}</code>' if message.value else ""
    after = [message.consequence, message.remedy, f"Done: {message.done}" if message.done else ""]
    more = " ".join(shown(_sentence(text)) for text in after if text.strip())
    return (
        f'<li class="message {message.severity}"><strong>{message.severity.capitalize()}</strong> {place}'
        f'{shown(message.text)}{value}{f"<br><span class=more-words>{more}</span>" if more else ""}</li>'
    )
