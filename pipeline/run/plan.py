"""Which stages run, and why: from recorded hashes and present ones to a list of decisions. Nothing here touches a file."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from pathlib import Path

from pipeline.bootstrap import PROJECT
from pipeline.stages import NOTEBOOK_STAGES


@dataclass(frozen=True)
class Stage:
    """One step of a run: a notebook, or for the index and the appendix a function.

    name : of notebook, report and record, such as "2_localisation".
    title : of the report.
    notebook : path of the notebook, or None.
    function : "module:function", called with the workspace, where there is no notebook.
    """

    name: str
    title: str
    notebook: Path | None = None
    function: str = ""

    @property
    def label(self) -> str:
        """The name as read aloud: "2 localisation"."""
        return self.name.replace("_", " ")


_TITLES = ("Quality check", "Localisation", "Error calibration", "Movement summaries")

STAGES = (
    *(Stage(name, title, notebook=PROJECT / "notebooks" / f"{name}.ipynb") for name, title in zip(NOTEBOOK_STAGES, _TITLES)),
    Stage("index", "Index", function="pipeline.stages.index:build"),
    Stage("appendix", "Appendix", function="pipeline.stages.appendix:build"),
)


@dataclass(frozen=True)
class State:
    """What a stage depends on as it is now; each a mapping from a name to a hash or version.

    inputs : survey file, logs and registers. code : files of the program and the stage's notebook.
    packages : installed versions. upstream : results of the stages before this one.
    """

    inputs: dict[str, str]
    code: dict[str, str]
    packages: dict[str, str]
    upstream: dict[str, str]


@dataclass(frozen=True)
class Decision:
    """Whether a stage runs, in a sentence why, and whether that can still change when earlier stages have run."""

    stage: str
    runs: bool
    why: str
    certain: bool = True


def decide(stage: str, state: State, record: dict | None, present_outputs: dict[str, str | None], forced: str = "") -> Decision:
    """Whether one stage runs, all earlier ones being settled.

    record : what the stage's last success left (the fields of State, `outputs` and `finished_utc`), or None.
    present_outputs : hash, as it is on disk now, of each recorded output that no later stage has written since; None for a
        file that is gone.
    forced : why the stage runs whatever its state, or "".
    """
    if forced:
        return Decision(stage, True, forced)
    if record is None:
        return Decision(stage, True, "it has no finished results yet")
    reasons = [
        *_changes(record["inputs"], state.inputs, "{} changed", "{} is new", "{} is gone"),
        *_changes(record["code"], state.code, "{} changed", "{} is new", "{} is gone"),
        *_version_changes(record["packages"], state.packages),
        *_changes(record["upstream"], state.upstream, "{} gave other results", "{} is new", "{} is gone"),
        *_changes({name: record["outputs"][name] for name in present_outputs}, {name: found for name, found in present_outputs.items() if found},
                  "its result {} was changed afterwards", "", "its result {} is missing"),
    ]
    if reasons:
        return Decision(stage, True, _joined(reasons))
    return Decision(stage, False, f"nothing changed since {_readable(record['finished_utc'])}")


def make_plan(stages: list[str], states: dict[str, State], records: dict[str, dict | None],
              present_outputs: dict[str, dict[str, str | None]], forced: dict[str, str]) -> list[Decision]:
    """What a run would do, in order. A stage that runs only if an earlier one gives other results is marked not certain."""
    plan = []
    for stage in stages:
        decision = decide(stage, states[stage], records[stage], present_outputs[stage], forced.get(stage, ""))
        before = [earlier.stage for earlier in plan if earlier.runs]
        if not decision.runs and before:
            decision = Decision(stage, True, f"only if {_joined(before)} gives other results", certain=False)
        plan.append(decision)
    return plan


def forced_stages(stages: list[str], *, force: bool = False, from_stage: str | None = None) -> dict[str, str]:
    """Stages that run because they were asked for, each with the reason; `from_stage` is a name or the start of one.

    Raises ValueError with the nearest name when there is no such stage.
    """
    if force:
        return dict.fromkeys(stages, "asked for with --force")
    if from_stage is None:
        return {}
    first = stage_named(from_stage, stages)
    return dict.fromkeys(stages[stages.index(first):], f"asked for with --from {first}")


def stage_named(text: str, stages: list[str]) -> str:
    """The stage a user means by "2_localisation", "2", "localisation" or "loc". ValueError when none or several fit."""
    plain = text.strip().lower().replace(" ", "_").replace("-", "_").removesuffix(".ipynb")
    fitting = [name for name in stages if plain and (name.startswith(plain) or name.split("_", 1)[-1].startswith(plain))]
    if len(fitting) == 1:
        return fitting[0]
    words = {name.split("_", 1)[-1]: name for name in stages} | {name: name for name in stages}
    near = difflib.get_close_matches(plain, words, n=1, cutoff=0.5)
    hint = f"; did you mean {words[near[0]]}?" if near else ""
    raise ValueError(f"there is no stage {text!r}{hint} The stages are {', '.join(stages)}.")


def _changes(before: dict, now: dict, changed: str, added: str, removed: str) -> list[str]:
    reasons = [changed.format(name) for name in before if name in now and now[name] != before[name]]
    reasons += [added.format(name) for name in now if name not in before]
    return reasons + [removed.format(name) for name in before if name not in now]


def _version_changes(before: dict, now: dict) -> list[str]:
    return [f"{name} is {now.get(name, 'absent')} and was {before.get(name, 'absent')}"
            for name in sorted({*before, *now}) if now.get(name) != before.get(name)]


def _joined(reasons: list[str], most: int = 3) -> str:
    shown = reasons[:most]
    rest = len(reasons) - len(shown)
    return ", ".join(shown) + (f" and {rest} more" if rest else "")


def _readable(finished_utc: str) -> str:
    return finished_utc[:16].replace("T", " ") + " UTC"
