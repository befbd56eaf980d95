"""An executed notebook as one self-contained HTML report: numbered, checked, and free of any reference to the network."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from typing import Sequence

# nbformat's schema check would build a grammar for one unused text format at every start (0.8 s); it runs without it
sys.modules.setdefault("rfc3987_syntax", None)

from nbconvert.exporters.templateexporter import TemplateExporter  # noqa: E402
from nbformat import NotebookNode  # noqa: E402
from traitlets.config import Config  # noqa: E402

from pipeline.report.cautions import cautions_html  # noqa: E402
from pipeline.report.display import LAB_STYLE, PART_MIMETYPE  # noqa: E402
from pipeline.report.formulas import words_to_html  # noqa: E402
from pipeline.report.numbering import number_headings, number_parts  # noqa: E402
from pipeline.report.page import TEMPLATES, ReportLink, render_page  # noqa: E402

BANNER = (
    '<div class="failure" role="note"><p><strong>This report is incomplete.</strong> A step of the notebook failed; what came before it is shown, '
    "what should follow is missing. Do not pass this page on.</p></div>"
)


class ReportError(ValueError):
    """A report that must not be written: a failed cell, a picture without words, a reference to the network."""


class NotebookBody(TemplateExporter):
    """Turns the cells of a notebook into the body of a report. Not HTMLExporter: that parses the whole page a second time."""

    output_mimetype = "text/html"

    def __init__(self, **settings):
        super().__init__(template_name="notebook_body", extra_template_basedirs=[str(TEMPLATES)], **settings)
        self.register_filter("words_to_html", words_to_html)
        self.register_filter("without_lab_style", lambda text: text.replace(LAB_STYLE, ""))
        self.register_filter("refuse_picture", _refuse_picture)

    @property
    def default_config(self):
        kinds = [PART_MIMETYPE, "text/html", "text/markdown", "image/svg+xml", "image/png", "image/jpeg", "text/latex", "text/plain"]
        tags = {"enabled": True, "remove_cell_tags": {"remove-cell", "parameters", "injected-parameters"}, "remove_all_outputs_tags": {"remove-output"}}
        config = Config({"NbConvertBase": {"display_data_priority": kinds}, "TagRemovePreprocessor": tags})
        merged = super().default_config.copy()
        merged.merge(config)
        return merged

    def _file_extension_default(self):
        return ".html"

    def _init_resources(self, resources):
        prepared = super()._init_resources(resources)
        prepared["part_mimetype"] = PART_MIMETYPE
        return prepared


@dataclass(frozen=True)
class _Outcome:
    failed_cells: int
    has_map: bool


def export_report(
    notebook: NotebookNode,
    *,
    title: str,
    campaign: str,
    subtitle: str = "",
    status: str = "draft",
    links: Sequence[ReportLink | tuple] = (),
    closing_html: str = "",
    cautions: str | None = None,
    notebook_file: str = "",
    partial: bool = False,
) -> str:
    """The whole page as text.

    title : what the one h1 says. campaign : the line above it, also the running head in print. subtitle : dates, area.
    status : draft, checked, final or "" for none. links : (file, words, is this page) of the reports of the campaign.
    closing_html : trusted HTML after the cautions (what this run used). cautions : trusted HTML instead of the standard box.
    notebook_file : link to the executed notebook beside the page. partial : allow failed cells, under a banner.

    Raises ReportError for a failed cell (unless partial), a picture without alternative text, an unknown reference to a
    table or figure, or anything that would make a browser ask the network.
    """
    outcome = _outcome(notebook)
    if outcome.failed_cells and not partial:
        raise ReportError(f"{outcome.failed_cells} cell(s) of the notebook failed; export with partial=True to keep what is there")
    body, _ = NotebookBody().from_notebook_node(_without_title(notebook))
    if not outcome.has_map:
        body = re.sub(r'<button type="button" class="find-tag">(.*?)</button>', r"\1", body)
    body = number_parts(body)
    body, contents = number_headings(body)
    return render_page(
        title=title,
        campaign=campaign,
        subtitle=subtitle,
        status=status,
        links=[ReportLink(*link) for link in links],
        contents=contents,
        body=(BANNER if outcome.failed_cells else "") + body,
        cautions=cautions_html() if cautions is None else cautions,
        closing=closing_html,
        notebook_file=notebook_file,
        with_maps=outcome.has_map,
    )


def _outcome(notebook: NotebookNode) -> _Outcome:
    outputs = [(cell, output) for cell in notebook.cells for output in cell.get("outputs", [])]
    failed = {id(cell) for cell, output in outputs if output.get("output_type") == "error"}
    has_map = any('class="sheet"' in str(output.get("data", {}).get(PART_MIMETYPE, "")) for _, output in outputs)
    return _Outcome(len(failed), has_map)


def _without_title(notebook: NotebookNode) -> NotebookNode:
    """A copy whose first cell has lost its first-level heading, since the page shows the title; its words tell the purpose."""
    copied = NotebookNode({**notebook, "cells": [NotebookNode({**cell}) for cell in notebook.cells]})
    if copied.cells and copied.cells[0].cell_type == "markdown":
        copied.cells[0]["metadata"] = NotebookNode({**copied.cells[0].metadata, "purpose": True})
        copied.cells[0]["source"] = re.sub(r"\A\s*#(?!#)[^\n]*\n?", "", copied.cells[0].source)
    return copied


def _refuse_picture(_) -> str:
    raise ReportError("a picture without alternative text: show figures through Book.figure, which asks for it")
