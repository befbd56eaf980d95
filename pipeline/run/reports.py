"""Between a run and its reports: the one place that calls the exporter, and what the closing section takes from tables."""

from __future__ import annotations

import csv
from pathlib import Path

from pipeline.messages import Message
from pipeline.run.building import failure_files
from pipeline.run.notebook import NotebookFailure
from pipeline.run.plan import Stage
from pipeline.run.provenance import Facts

_PAPERMILL_MARK = "papermill-error-cell-tag"


def report_html(notebook, stage: Stage, stages: list[Stage], facts: Facts, closing_html: str, *, partial: bool = False) -> str:
    """The report of a stage as one self-contained page. ValueError when the page would break a rule of reports."""
    from pipeline.report.export import export_report

    links = [(f"{other.name}.html", other.title, other == stage) for other in stages]
    executed = failure_files(stage.name)[1] if partial else f"notebooks/{stage.name}.ipynb"
    return export_report(notebook, title=stage.title, campaign=facts.title, status=facts.status, links=links,
                         closing_html=closing_html, notebook_file=executed, partial=partial)


def partial_notebook(failure: NotebookFailure, stage: Stage, resume: str):
    """What was executed of a notebook, with words below its title that say where it stopped and how to go on."""
    import nbformat

    notebook = nbformat.from_dict(failure.notebook)
    notebook.cells = [cell for cell in notebook.cells if _PAPERMILL_MARK not in cell.metadata.get("tags", [])]
    where = f"code cell {failure.cell}" if failure.cell else "its start"
    words = [f"**Where it stopped:** {stage.label}, {where}"
             + (f", under “{failure.heading}”" if failure.heading else "") + f": `{failure.name}: {_one_line(failure.text)}`",
             f"When that is mended, go on with `{resume}`. Results of earlier runs are untouched."]
    banner = nbformat.v4.new_markdown_cell("\n\n".join(words))
    banner["id"] = "not-finished"
    notebook.cells.insert(1, banner)
    return notebook


def _one_line(text: str) -> str:
    return " ".join(text.replace("`", "'").split())[:300]


def changed_rows(workspace) -> list[tuple[str, int]] | None:
    """Rows changed, marked or left out on reading, by rule, from tables/changes.csv; None before the quality check has written it."""
    try:
        path = workspace.path_to_read("tables/changes.csv")
    except FileNotFoundError:
        return None
    counts: dict[str, int] = {}
    with open(path, encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            counts[row["rule"]] = counts.get(row["rule"], 0) + int(row["rows"])
    return list(counts.items())


def noticed(folder: Path) -> list[Message]:
    """The messages of all stages, from tables/messages.csv; empty when there is no such table."""
    path = folder / "tables" / "messages.csv"
    if not path.exists():
        return []
    with open(path, encoding="utf-8", newline="") as file:
        return [Message(**row | {"line": int(row["line"]) if row["line"] else None}) for row in csv.DictReader(file)]
