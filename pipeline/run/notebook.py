"""One notebook through papermill: parameters checked before, completion checked after, the same bytes every time."""

from __future__ import annotations

import ast
import logging
import re
import sys
from dataclasses import dataclass
from itertools import accumulate
from pathlib import Path
from typing import Any, Callable

# It builds a grammar on import, 0.8 s of every run; only one kind of link check, which nothing here needs, uses it.
sys.modules.setdefault("rfc3987_syntax", None)

LONGEST_CELL_S = 3600
_PLAIN_METADATA = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}, "language_info": {"name": "python"}}


@dataclass
class NotebookFailure(Exception):
    """A notebook that did not finish. notebook : what was executed of it. cell : its number among the code cells, or None."""

    notebook: Any
    cell: int | None
    heading: str
    source: str
    name: str
    text: str

    def __str__(self) -> str:
        where = f"cell {self.cell}" if self.cell else "its start"
        return f"{where}{f' ({self.heading})' if self.heading else ''}: {self.name}: {self.text}".rstrip(": ")


def execute(path: Path, config_path: Path, *, environment: dict[str, str],
            on_cell: Callable[[int, int, str], None] = lambda number, of, heading: None):
    """Execute a notebook with its one parameter and return it normalised (see `normalise`).

    path : the notebook; its folder is the kernel's working folder.
    config_path : value of the parameter.
    environment : the kernel's environment variables.
    on_cell : told the number, the count and the heading before each code cell.

    Raises NotebookFailure when a cell fails, ends the kernel, or does not finish within an hour.
    ValueError when the notebook's parameters are not exactly `config_path`.
    """
    import nbformat
    import papermill
    from nbclient.exceptions import CellControlSignal, CellTimeoutError, DeadKernelError

    from pipeline.run.kernel import kernel_with

    notebook = nbformat.read(path, as_version=4)
    require_one_parameter(notebook, path.name)
    notebook.metadata.update(_PLAIN_METADATA)  # papermill needs a language, and a foreign kernel's name would be in the way
    progress = _Progress(notebook, on_cell)
    logging.getLogger("papermill").setLevel(logging.CRITICAL)  # its lines would break into ours; failures are raised all the same
    try:
        papermill.execute_notebook(
            notebook, None, {"config_path": str(config_path)}, kernel_name="python3", progress_bar=False,
            kernel_manager_class=kernel_with(environment), resources={"metadata": {"path": str(path.parent)}},
            record_timing=False, request_save_on_cell_execute=False, execution_timeout=LONGEST_CELL_S,
            on_notebook_start=progress.starts, on_cell_start=progress.reaches)
    except papermill.PapermillExecutionError as fault:
        raise progress.failure(fault.ename, fault.evalue) from None
    except CellTimeoutError:
        raise progress.failure("Timeout", f"the cell was not done within {LONGEST_CELL_S // 60} minutes") from None
    except (DeadKernelError, CellControlSignal, RuntimeError) as fault:
        raise progress.failure("KernelDied", f"the kernel ended without a word, often for want of memory ({fault})") from None
    if not is_complete(progress.notebook):  # such as sys.exit(0) in a cell, which papermill takes for a success
        raise progress.failure("NotFinished", "the notebook ended before this cell was done")
    return normalise(progress.notebook)


def require_one_parameter(notebook, name: str) -> None:
    """ValueError unless the cell tagged `parameters` assigns text to `config_path` and nothing else."""
    tagged = [cell for cell in notebook.cells if "parameters" in cell.metadata.get("tags", [])]
    if len(tagged) != 1:
        raise ValueError(f"{name} has {len(tagged)} cells tagged 'parameters'; it needs one, with config_path in it")
    found = [target.id for line in ast.parse(tagged[0].source).body if isinstance(line, ast.Assign)
             for target in line.targets if isinstance(target, ast.Name)]
    if found != ["config_path"]:
        raise ValueError(f"the parameters cell of {name} sets {', '.join(found) or 'nothing'}; the one parameter is config_path")


def headings_of(notebook) -> list[str]:
    """For each cell the heading below the title under which it stands, or else the last line of its code; "start" for parameters."""
    headings, present = [], ""
    for cell in notebook.cells:
        if cell.cell_type == "markdown":
            present = next((line.lstrip("#").strip() for line in cell.source.splitlines() if line.startswith("##")), present)
        is_parameters = {"parameters", "injected-parameters"} & set(cell.metadata.get("tags", []))
        headings.append("start" if is_parameters else present or cell.source.strip().rpartition("\n")[2])
    return headings


def is_complete(notebook) -> bool:
    """True when papermill has marked every code cell as completed."""
    return all(cell.metadata.get("papermill", {}).get("status") == "completed"
               for cell in notebook.cells if cell.cell_type == "code")


class _Progress:
    """Follows a notebook under way: told by papermill's hooks which cell is next, so that a failure can name it."""

    def __init__(self, notebook, on_cell):
        self.notebook = notebook
        self._on_cell = on_cell
        self._number, self._heading, self._source = None, "", ""

    def starts(self, notebook):
        self.notebook = notebook  # papermill's own copy, with the parameter in it
        self._headings = headings_of(notebook)
        self._numbers = list(accumulate(cell.cell_type == "code" for cell in notebook.cells))

    def reaches(self, cell, cell_index):
        if cell.cell_type == "code":
            self._number, self._heading, self._source = self._numbers[cell_index], self._headings[cell_index], cell.source
            self._on_cell(self._number, self._numbers[-1], self._heading)

    def failure(self, name: str, text: str) -> NotebookFailure:
        return NotebookFailure(normalise(self.notebook), self._number, self._heading, self._source, name, text)


def normalise(notebook):
    """A copy without what differs between two runs of the same thing: times, ids, addresses, names of the kernel's files."""
    import nbformat

    copy = nbformat.from_dict(notebook)
    copy.metadata.pop("papermill", None)
    copy.metadata.update(_PLAIN_METADATA)
    for number, cell in enumerate(copy.cells):
        for timed in ("papermill", "execution"):
            cell.metadata.pop(timed, None)
        if not cell.metadata.get("tags", True):
            del cell.metadata["tags"]
        cell["id"] = f"cell-{number + 1}"
        for output in cell.get("outputs", []):
            _normalise_output(output)
    return copy


def _normalise_output(output) -> None:
    data = output.get("data", {})
    if "text/html" in data:
        data.pop("text/plain", None)  # what Python calls the object, often with its address
    if "text/plain" in data:
        data["text/plain"] = _without_addresses(data["text/plain"])
    if "text" in output:
        output["text"] = _without_addresses(output["text"])
    if "traceback" in output:
        output["traceback"] = [_without_addresses(line) for line in output["traceback"]]


def _without_addresses(text: str) -> str:
    text = re.sub(r"\S*ipykernel_\d+[/\\]\d+\.py", "<cell>", text)
    return re.sub(r"\b0x[0-9a-f]{6,}\b", "0x...", text)
