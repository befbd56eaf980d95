"""All stages of a survey in order, into one folder: those that are stale, each with the reason."""

from __future__ import annotations

import shlex
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Callable

from pipeline.messages import Message, SurveyError
from pipeline.run.building import clear_leftovers
from pipeline.run.fingerprint import HashMemory, code_hashes, file_sha256, input_hashes, package_versions, state_of
from pipeline.run.lock import only_run_in
from pipeline.run.plan import STAGES, Decision, Stage, decide, forced_stages, make_plan
from pipeline.run.progress import Progress, Silent
from pipeline.run.provenance import gather, write_run_file
from pipeline.run.records import present_outputs, read_record
from pipeline.run.reports import noticed
from pipeline.run.stage import StageRunner
from pipeline.stages.workspace import default_folder


@dataclass(frozen=True)
class RunResult:
    """What a run did. decisions : one per stage, in order. messages : what was noticed, when anything ran."""

    folder: Path
    decisions: list[Decision]
    messages: list[Message] = field(default_factory=list)

    @property
    def ran(self) -> list[str]:
        """Names of the stages that were executed."""
        return [decision.stage for decision in self.decisions if decision.runs]


def run_survey(survey_path, *, into=None, from_stage: str | None = None, force: bool = False, dry_run: bool = False,
               progress: Progress | None = None) -> RunResult:
    """Run what is stale of a survey file.

    into : folder for the results, else reports/<campaign> of the project.
    from_stage : this stage and those after it run whatever their state; force : all of them do.
    dry_run : only say what would run.

    Raises SurveyError with every fault of config and data before anything starts, StageError when a stage fails,
    ValueError for an unknown stage, OSError when the folder cannot be written to.
    """
    from pipeline.survey import load_survey

    survey = load_survey(survey_path)
    folder = Path(into) if into else default_folder(survey)
    resume = f"python3 -m pipeline run {shlex.quote(str(survey_path))}" + (f" --into {shlex.quote(str(into))}" if into else "")
    forced = forced_stages([stage.name for stage in STAGES], force=force, from_stage=from_stage)
    if progress:
        progress.say(f"{survey.title}\nResults go to {folder}")
    return run_stages(survey, folder.resolve(), STAGES, forced=forced, dry_run=dry_run, progress=progress, resume=resume,
                      check=lambda: _checked(survey_path))


def run_stages(survey: Any, folder: Path, stages, *, forced: dict[str, str] | None = None, dry_run: bool = False,
               progress: Progress | None = None, resume: str = "", check: Callable[[], list[Message]] = list) -> RunResult:
    """Run what is stale of some stages, see `run_survey`; check is called once, before the first stage that runs."""
    run = _Run(survey, folder, list(stages), forced or {}, progress or Silent(), resume, check)
    run.refuse_folder_with_inputs()
    if dry_run:
        return run.only_planned()
    with only_run_in(folder):
        clear_leftovers(folder)
        return run.carried_out()


def _checked(survey_path) -> list[Message]:
    """What the full check of config and tables noticed; SurveyError when the run cannot start."""
    from pipeline.stages.check import check_survey

    return check_survey(survey_path)[0]


class _Run:
    """One run under way."""

    def __init__(self, survey, folder, stages, forced, progress, resume, check):
        self.survey, self.folder, self.stages, self.forced = survey, folder, stages, forced
        self.progress, self.resume, self.check = progress, resume, check
        self.memory = HashMemory(folder / "work" / "fingerprints.json")
        self.inputs = input_hashes(survey.input_files(), self.memory)
        self.code = code_hashes(self.memory)
        self.packages = package_versions()
        self.records = {stage.name: read_record(folder, stage.name) for stage in stages}
        self.messages: list[Message] = []
        self.runner: StageRunner | None = None

    def refuse_folder_with_inputs(self) -> None:
        """The inputs are never written to, so results may not go where they lie."""
        inside = [name for name, path in self.survey.input_files().items() if path.resolve().is_relative_to(self.folder)]
        if inside:
            raise SurveyError([Message(
                "stop", "results-over-inputs", f"The folder for results holds inputs ({', '.join(inside[:3])})", file=str(self.folder),
                consequence="Results could be written over them", remedy="Name another folder with --into")])

    def only_planned(self) -> RunResult:
        """Say what would run; nothing is written."""
        names = [stage.name for stage in self.stages]
        states = {stage.name: self._state(stage) for stage in self.stages}
        present = {stage.name: self._present_outputs(stage) for stage in self.stages}
        plan = make_plan(names, states, self.records, present, self.forced)
        for stage, decision in zip(self.stages, plan):
            say = self.progress.planned if decision.runs else self.progress.skipped
            say(stage.label, decision.why)
        return RunResult(self.folder, plan)

    def carried_out(self) -> RunResult:
        """Run what is stale, stage after stage."""
        decisions = []
        for stage in self.stages:
            decision = self._decision(stage)
            decisions.append(decision)
            if decision.runs:
                self._run_one(stage, decision)
            else:
                self.progress.skipped(stage.label, decision.why)
        if self.runner:
            self._require_untouched_inputs()
            self.messages = noticed(self.folder) or self.messages
            write_run_file(self.folder, self.runner.facts, [self._told(decision) for decision in decisions], self.messages)
        self.memory.save()
        return RunResult(self.folder, decisions, self.messages)

    def _decision(self, stage: Stage) -> Decision:
        return decide(stage.name, self._state(stage), self.records[stage.name], self._present_outputs(stage),
                      self.forced.get(stage.name, ""))

    def _present_outputs(self, stage: Stage) -> dict[str, str | None]:
        later = [self.records[other.name] for other in self.stages[self.stages.index(stage) + 1:]]
        return present_outputs(self.folder, self.records[stage.name], self.memory, later)

    def _run_one(self, stage: Stage, decision: Decision) -> None:
        if self.runner is None:
            self.messages = self.check()
            facts = gather(self.survey, inputs=self.inputs, code=self.code, packages=self.packages)
            self.runner = StageRunner(self.survey, self.folder, self.stages, facts, self.progress, self.resume)
        self.runner.durations_s = {name: self.records[name]["duration_s"] for name in self._names_before(stage)}
        self.progress.starts(stage.label, decision.why)
        earlier = self.records[stage.name]
        self.records[stage.name] = self.runner.run(stage, self._state(stage), earlier["outputs"] if earlier else {})
        self.progress.ends(stage.label)

    def _state(self, stage: Stage):
        earlier = {name: self.records[name] for name in self._names_before(stage)}
        return state_of(stage, inputs=self.inputs, code=self.code, packages=self.packages, earlier=earlier, memory=self.memory)

    def _names_before(self, stage: Stage) -> list[str]:
        return [other.name for other in self.stages[: self.stages.index(stage)]]

    def _told(self, decision: Decision) -> dict:
        record = self.records[decision.stage]
        return {"name": decision.stage, "ran": decision.runs, "why": decision.why,
                **{name: record[name] for name in ("duration_s", "finished_utc", "outputs")}}

    def _require_untouched_inputs(self) -> None:
        """Read every input again: one that changed while the run was going on makes results of two versions."""
        changed = [name for name, path in self.survey.input_files().items() if file_sha256(path) != self.inputs.get(name)]
        if changed:
            raise SurveyError([Message(
                "stop", "input-changed", "The file changed while the run was going on", file=name,
                consequence="The results mix two versions of it", remedy=f"Run again: {self.resume}") for name in changed])
