"""What a run used: the facts for run.json and for the closing section of every report."""

from __future__ import annotations

import json
import platform
import re
import subprocess
from dataclasses import asdict, dataclass, field
from datetime import datetime, timezone
from pathlib import Path

from pipeline.bootstrap import PROJECT
from pipeline.messages import Message
from pipeline.run.records import write_whole

FILE = "run.json"


@dataclass(frozen=True)
class Facts:
    """What is the same for every stage of a run.

    status : draft, checked or final, as the survey file says. config : every setting with its value, defaults filled in.
    config_text : the survey file as written.
    inputs : name -> {"sha256", "bytes"}. code : hash of each file of the program. revision : see `code_revision`.
    """

    campaign: str
    title: str
    status: str
    survey_file: str
    config: dict
    config_text: str
    inputs: dict[str, dict]
    code: dict[str, str]
    packages: dict[str, str]
    revision: dict
    seed: int | None
    started_utc: str
    platform: str = field(default_factory=lambda: f"{platform.system()} {platform.machine()}, Python {platform.python_version()}")


def gather(survey, *, inputs: dict[str, str], code: dict[str, str], packages: dict[str, str]) -> Facts:
    """The facts of a run that is about to start."""
    sizes = {name: path.stat().st_size for name, path in survey.input_files().items()}
    return Facts(
        campaign=survey.campaign, title=survey.title, status=getattr(survey, "status", "draft"), survey_file=Path(survey.file).name, config=resolved_config(survey),
        config_text=Path(survey.file).read_text(encoding="utf-8-sig"),
        inputs={name: {"sha256": found, "bytes": sizes[name]} for name, found in inputs.items()},
        code=code, packages=packages, revision=code_revision(), seed=getattr(survey, "seed", None), started_utc=now_utc())


def now_utc() -> str:
    """The present moment as ISO 8601 UTC, to the second."""
    return datetime.now(timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")


def resolved_config(survey) -> dict:
    """Every setting with its value. Paths stand relative to the survey file, as they do in it."""
    dump = getattr(survey, "model_dump", None)
    settings = dump(mode="json", exclude={"file", "folder"}) if dump else {"campaign": survey.campaign, "title": survey.title}
    return _relative(settings, str(Path(survey.file).parent))


def _relative(value, folder: str):
    if isinstance(value, dict):
        return {name: _relative(inner, folder) for name, inner in value.items()}
    if isinstance(value, list):
        return [_relative(inner, folder) for inner in value]
    if isinstance(value, str) and value.startswith(folder):
        return value[len(folder):].lstrip("/\\") or "."
    return value


def code_revision(project: Path = PROJECT) -> dict:
    """Commit of the program and whether files differ from it; {"commit": None, "clean": None} outside version control."""
    top = _git(project, "rev-parse", "--show-toplevel")
    if top is None or Path(top) != project:  # a copy inside someone else's repository has no revision of its own
        return {"commit": None, "clean": None}
    changed = _git(project, "status", "--porcelain")
    return {"commit": _git(project, "rev-parse", "HEAD"), "clean": None if changed is None else changed == ""}


def _git(project: Path, *arguments: str) -> str | None:
    try:
        done = subprocess.run(["git", "-C", str(project), *arguments], capture_output=True, text=True, timeout=20, check=True)
    except (OSError, subprocess.SubprocessError):
        return None
    return done.stdout.strip()


def revision_text(revision: dict) -> str:
    """A revision as words."""
    if not revision["commit"]:
        return "unknown (the program is not under version control here)"
    return revision["commit"][:12] + {True: ", no changes beside it", False: ", with uncommitted changes", None: ""}[revision["clean"]]


def software_text(facts: Facts, project: Path = PROJECT) -> str:
    """The program and what it computes with, as a methods section names them."""
    version = re.search(r'^version = "([^"]+)"', (project / "pyproject.toml").read_text(encoding="utf-8"), re.M)
    with_packages = ", ".join(f"{name} {facts.packages[name]}" for name in ("numpy", "scipy", "pandas", "shapely", "pyproj") if name in facts.packages)
    return f"Fixledger {version.group(1) if version else 'of unknown version'} (code revision: {revision_text(facts.revision)}), in Python {facts.packages.get('python', '')} with {with_packages}"


def write_run_file(folder: Path, facts: Facts, stages: list[dict], messages: list[Message]) -> Path:
    """Write run.json. stages : name, ran, why, duration_s, finished_utc and outputs of each."""
    content = {
        "campaign": facts.campaign, "title": facts.title, "survey_file": facts.survey_file,
        "started_utc": facts.started_utc, "finished_utc": now_utc(), "config": facts.config, "seeds": {"survey": facts.seed},
        "inputs": facts.inputs, "code": {**facts.revision, "files": facts.code}, "platform": facts.platform,
        "packages": facts.packages, "stages": stages, "messages": [asdict(message) for message in messages]}
    write_whole(folder / FILE, json.dumps(content, indent=1, ensure_ascii=False, default=str) + "\n")
    return folder / FILE
