"""What the last success of each stage left: hashes of what it depended on and of what it wrote."""

from __future__ import annotations

import json
import os
from dataclasses import asdict
from pathlib import Path

from pipeline.run.fingerprint import HashMemory
from pipeline.run.plan import State

RECORDS = "work/records"


def record_file(folder: Path, stage: str) -> Path:
    """Path of a stage's record."""
    return folder / RECORDS / f"{stage}.json"


def read_record(folder: Path, stage: str) -> dict | None:
    """The record of a stage's last success, None when there is none that can be read."""
    try:
        record = json.loads(record_file(folder, stage).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    wanted = {"inputs", "code", "packages", "upstream", "outputs", "finished_utc", "duration_s"}
    return record if wanted <= set(record) else None


def outputs_of_others(folder: Path, stage: str) -> set[str]:
    """Names of the files that the last successes of the other stages wrote. After a change of version a file may have gone from one stage to another."""
    others = [path.stem for path in (folder / RECORDS).glob("*.json") if path.stem != stage]
    return {name for other in others for name in (read_record(folder, other) or {"outputs": ()})["outputs"]}


def write_record(folder: Path, stage: str, state: State, outputs: dict[str, str], *, finished_utc: str, duration_s: float) -> dict:
    """Write a stage's record, whole or not at all: the last act of its success."""
    record = {"stage": stage, "finished_utc": finished_utc, "duration_s": round(duration_s, 2), **asdict(state), "outputs": outputs}
    write_whole(record_file(folder, stage), json.dumps(record, indent=1, ensure_ascii=False) + "\n")
    return record


def present_outputs(folder: Path, record: dict | None, memory: HashMemory, later: list[dict | None] = ()) -> dict[str, str | None]:
    """Hash of each output a record names as it is on disk now, None for one that is gone.

    later : records of the stages after this one; a file that one of them has written anew is no longer this stage's.
    """
    taken_over = {name for other in later if other for name in other["outputs"]}
    names = [name for name in (record["outputs"] if record else {}) if name not in taken_over]
    return {name: memory.sha256(folder / name) if (folder / name).is_file() else None for name in names}


def write_whole(path: Path, text: str) -> None:
    """Write a text file so that a reader finds the old content or the new, never a part."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}.part")
    beside.write_text(text, encoding="utf-8", newline="\n")
    os.replace(beside, path)
