"""One stage of a run: executed in its building folder, reported, moved into place; or its failure kept and told."""

from __future__ import annotations

import importlib
import shutil
import time
import traceback
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pipeline.messages import StageError
from pipeline.run.building import failure_files, move_into_place, start_building
from pipeline.run.closing import closing_section
from pipeline.run.plan import Stage, State
from pipeline.run.progress import Progress
from pipeline.run.provenance import Facts, now_utc, software_text
from pipeline.run.records import write_record, write_whole
from pipeline.stages.workspace import BUILDING_VARIABLE, INTO_VARIABLE, Workspace


@dataclass
class StageRunner:
    """What all stages of a run share.

    resume : the command that goes on after a failure. durations_s : of the stages done so far, filled as they end.
    """

    survey: Any
    folder: Path
    stages: list[Stage]
    facts: Facts
    progress: Progress
    resume: str
    durations_s: dict[str, float] = field(default_factory=dict)

    def run(self, stage: Stage, state: State, earlier_outputs) -> dict:
        """Run one stage and return its new record. StageError when it fails; nothing of its earlier success is lost then."""
        started = time.monotonic()
        building = start_building(self.folder, stage.name)
        try:
            if stage.notebook:
                self._run_notebook(stage, building, started)
            else:
                self._run_function(stage, building, started)
            outputs = move_into_place(self.folder, building, stage.name, earlier_outputs)
        finally:
            shutil.rmtree(building, ignore_errors=True)
        return write_record(self.folder, stage.name, state, outputs,
                            finished_utc=now_utc(), duration_s=self.durations_s[stage.name])

    def _run_notebook(self, stage: Stage, building: Path, started: float) -> None:
        import nbformat

        from pipeline.run.kernel import kernel_environment
        from pipeline.run.notebook import NotebookFailure, execute
        from pipeline.run.reports import report_html

        environment = kernel_environment(**{INTO_VARIABLE: str(self.folder), BUILDING_VARIABLE: str(building)})
        try:
            notebook = execute(stage.notebook, Path(self.survey.file).resolve(), environment=environment,
                               on_cell=lambda *reached: self.progress.cell(stage.label, *reached))
        except NotebookFailure as failure:
            raise self._kept_notebook_failure(stage, failure) from None
        except ValueError as fault:
            raise StageError(f"{stage.label} could not start: {fault}.") from None
        write_whole(building / "notebooks" / f"{stage.name}.ipynb", nbformat.writes(notebook) + "\n")
        closing = self._closing(stage, building, started)
        try:
            page = report_html(notebook, stage, self.stages, self.facts, closing)
        except Exception as fault:
            lines = traceback.format_exc()
            raise self._kept_traceback(stage, f"its report could not be made: {fault}", lines) from fault
        write_whole(building / f"{stage.name}.html", page)

    def _run_function(self, stage: Stage, building: Path, started: float) -> None:
        module, function = stage.function.split(":")
        workspace = Workspace(self.survey, self.folder, building, self._closing(stage, building, started), software_text(self.facts))
        try:
            getattr(importlib.import_module(module), function)(workspace)
        except Exception as fault:
            lines = traceback.format_exc()
            raise self._kept_traceback(stage, f"{type(fault).__name__}: {fault}", lines) from fault
        self.durations_s[stage.name] = time.monotonic() - started

    def _closing(self, stage: Stage, building: Path, started: float) -> str:
        from pipeline.run.reports import changed_rows

        self.durations_s[stage.name] = time.monotonic() - started
        changed = changed_rows(Workspace(self.survey, self.folder, building))
        return closing_section(self.facts, self.stages, stage, durations_s=self.durations_s, changed=changed)

    # Failures

    def _kept_notebook_failure(self, stage: Stage, failure) -> StageError:
        """Keep what was executed, as notebook and as report with a banner, and tell where."""
        import nbformat

        from pipeline.run.reports import partial_notebook, report_html

        page, notebook = failure_files(stage.name)[:2]
        marked = partial_notebook(failure, stage, self.resume)
        write_whole(self.folder / notebook, nbformat.writes(marked) + "\n")
        kept = [notebook]
        try:
            write_whole(self.folder / page, report_html(marked, stage, self.stages, self.facts, "", partial=True))
            kept.insert(0, page)
        except Exception as fault:  # the error that matters is the notebook's
            self.progress.say(f"(The partial report could not be made: {fault})")
        source = "".join(f"\n      {line}" for line in failure.source.strip().splitlines()[:6])
        return self._told(stage, f"{stage.label} stopped in {failure}{source}", kept)

    def _kept_traceback(self, stage: Stage, what: str, lines: str) -> StageError:
        file = failure_files(stage.name)[2]
        write_whole(self.folder / file, lines)
        return self._told(stage, f"{stage.label} stopped: {what}", [file])

    def _told(self, stage: Stage, what: str, kept: list[str]) -> StageError:
        self.progress.fails(stage.label)
        return StageError(f"{what}\nWhat was done is kept in {self.folder}: {', '.join(kept)}. "
                          f"Results of earlier runs are untouched.\nWhen it is mended, go on with: {self.resume}")
