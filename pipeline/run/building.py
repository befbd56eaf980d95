"""A stage's files come into being in a folder beside the results and move into place only when all of them are there."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from pipeline.run.fingerprint import file_sha256
from pipeline.run.records import outputs_of_others, record_file

PREFIX = ".building-"


def start_building(folder: Path, stage: str) -> Path:
    """An empty folder in which a stage may write."""
    building = folder / f"{PREFIX}{stage}"
    shutil.rmtree(building, ignore_errors=True)
    building.mkdir(parents=True)
    return building


def clear_leftovers(folder: Path) -> None:
    """Remove what a killed run left half-built."""
    for leftover in folder.glob(f"{PREFIX}*"):
        shutil.rmtree(leftover, ignore_errors=True)


def move_into_place(folder: Path, building: Path, stage: str, earlier_outputs) -> dict[str, str]:
    """Move a finished stage's files into the results and return their hashes, by path relative to the results.

    The stage's record goes first, so that a run killed in between does the stage again; files of its earlier
    success that it no longer makes are removed, unless another stage makes them now, and so are those of a failure.
    """
    record_file(folder, stage).unlink(missing_ok=True)
    made = sorted(path.relative_to(building).as_posix() for path in building.rglob("*") if path.is_file())
    hashes = {name: file_sha256(building / name) for name in made}
    for name in sorted(set(earlier_outputs) - set(made) - outputs_of_others(folder, stage)):
        (folder / name).unlink(missing_ok=True)
    for name in made:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        os.replace(building / name, folder / name)
    for name in failure_files(stage):
        (folder / name).unlink(missing_ok=True)
    shutil.rmtree(building, ignore_errors=True)
    return hashes


def failure_files(stage: str) -> tuple[str, str, str]:
    """Where a failed stage's partial report, notebook and traceback are kept, relative to the results."""
    return f"{stage}.failed.html", f"notebooks/{stage}.failed.ipynb", f"{stage}.failed.txt"
