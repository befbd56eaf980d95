"""The index of a campaign: the supervisor's page, with the answers first and the four reports behind them."""

from __future__ import annotations

import base64
import io
from pathlib import Path
from typing import Mapping, Sequence

from markupsafe import Markup
from PIL import Image

from pipeline.messages import SEVERITIES
from pipeline.report.cautions import cautions_html
from pipeline.report.display import Map, Table
from pipeline.report.numbering import ContentsEntry, number_parts
from pipeline.report.page import STATUSES, render_page, template_environment

MOST_NEXT_STEPS = 5
PERMITS = ("wildlife", "ethics", "aviation", "landowner")
SIGNATURE = ("Read by (name)", "Date", "Signature")
_TRAFFIC_WORDS = {"stop": ("stop: something was left out", "stops (files, flights or tags left out)"), "look": ("to look at", "to look at"), "note": ("note", "notes")}
_COUNT_WORDS = {1: "one", 2: "two", 3: "three", 4: "four", 5: "five", 6: "six"}
_THUMBNAIL_PX = (640, 400)


def render_index(
    *,
    title: str,
    campaign: str,
    subtitle: str = "",
    status: str = "draft",
    opening: Sequence[str | tuple[str, str]] = (),
    answers: Sequence[tuple[str, Sequence[str]]] = (),
    next_steps: Sequence[str] = (),
    signing: Sequence[tuple[str, Sequence[str]]] = (),
    animals: Table | None = None,
    message_counts: Mapping[str, int] | None = None,
    messages_file: str = "",
    reports: Sequence[tuple[str, str, str, Path | None]] = (),
    overview: Map | None = None,
    permits: Mapping[str, str] | None = None,
    sensitive: bool = False,
    closing_html: str = "",
    appendix: tuple[str, str] | None = None,
) -> str:
    """The page as text. Everything but closing_html is plain text and is escaped.

    opening : what this campaign found, as paragraphs or as (label, words) of short lines. answers : (question, paragraphs).
    next_steps : at most five lines, the most urgent first; more raise ValueError. signing : (label, lines) of what to know before signing. animals : the table of
    every animal. message_counts : severity to number.
    reports : (file, title, its answer in one sentence, PNG for the small picture or None). overview : a Map of Book.map.
    permits : name to free text; those of PERMITS that are missing are printed as "not recorded".
    appendix : (file, what it is in a sentence) of the publication appendix.
    """
    if len(next_steps) > MOST_NEXT_STEPS:
        raise ValueError(f"the index has room for {MOST_NEXT_STEPS} next steps, got {len(next_steps)}")
    environment = template_environment()
    environment.filters["length_in_words"] = lambda items: _COUNT_WORDS.get(len(items), str(len(items)))
    counts = {severity: int((message_counts or {}).get(severity, 0)) for severity in SEVERITIES}
    body = environment.get_template("index_body.html.j2").render(
        opening=[("", line) if isinstance(line, str) else tuple(line) for line in opening],
        signing=signing,
        signature=SIGNATURE,
        animals_html=Markup(animals.report_html()) if animals else "",
        map_html=Markup(overview.report_html()) if overview else "",
        next_steps=next_steps,
        answers=[{"question": question, "paragraphs": [paragraphs] if isinstance(paragraphs, str) else paragraphs} for question, paragraphs in answers],
        reports=[{"file": file, "title": name, "sentence": sentence, "picture": _thumbnail(picture)} for file, name, sentence, picture in reports],
        traffic=[{"severity": severity, "count": count, "words": _TRAFFIC_WORDS[severity][count != 1]} for severity, count in counts.items()],
        traffic_words=_traffic_sentence(counts),
        messages_file=messages_file,
        permits=_permit_lines(permits or {}),
        status_words=STATUSES.get(status, ""),
        appendix=appendix,
        sensitive_words="This campaign is marked sensitive: exact positions are inside." if sensitive else "",
    )
    return render_page(
        title=title, campaign=campaign, subtitle=subtitle, status=status, links=(), contents=_contents(answers, next_steps, reports, animals),
        body=number_parts(body).replace('<span class="number">Map 1.</span>', ""),
        cautions=cautions_html(), closing=closing_html, notebook_file="", with_maps=overview is not None,
    )


def _contents(answers, next_steps, reports, animals) -> list[ContentsEntry]:
    entries = [(next_steps, "next", "What to do next"), (True, "signing", "Before you sign"), (animals, "animals", "Every animal"), (answers, "questions", "Questions and answers"),
               (reports, "reports", "The reports"), (True, "noticed", "What the software noticed")]
    return [ContentsEntry(2, anchor, words) for there, anchor, words in entries if there]


def _permit_lines(permits: Mapping[str, str]) -> list[dict[str, str]]:
    names = [*PERMITS, *(name for name in permits if name not in PERMITS)]
    return [{"name": name.capitalize(), "words": str(permits.get(name) or "").strip() or "not recorded"} for name in names]


def _traffic_sentence(counts: Mapping[str, int]) -> str:
    if not any(counts.values()):
        return "Nothing was noticed in the files or in the results."
    return "A stop means that a file, flight or tag was left out, and that there is none is no permission; a look means that it was kept and marked; a note means that it was mended or is harmless."


def _thumbnail(picture: Path | None) -> str:
    """A PNG made small, as a data URI; nothing when there is none."""
    if picture is None or not Path(picture).exists():
        return ""
    with Image.open(picture) as opened:
        small = opened.convert("RGB")
    width, height = small.size
    # a tall picture, such as a map with its legend below, shows its upper part
    small = small.crop((0, 0, width, min(height, round(width * _THUMBNAIL_PX[1] / _THUMBNAIL_PX[0]))))
    small.thumbnail(_THUMBNAIL_PX, Image.Resampling.LANCZOS)
    stream = io.BytesIO()
    small.save(stream, "WEBP", quality=72, method=4)
    return "data:image/webp;base64," + base64.b64encode(stream.getvalue()).decode("ascii")
