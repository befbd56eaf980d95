"""Hashes of everything a stage depends on, and a memory of them so that an unchanged file is not read twice."""

from __future__ import annotations

import hashlib
import json
import sys
import time
from importlib import metadata
from pathlib import Path

from pipeline.bootstrap import PROJECT, required_names
from pipeline.run.plan import Stage, State

# A file written so recently may be written again without its time changing: its hash is not remembered.
_SETTLED_NS = 2_000_000_000


class HashMemory:
    """SHA-256 of files, remembered by path, size and time of change in a JSON file."""

    def __init__(self, file: Path | None = None):
        self._file = file
        self._entries: dict[str, list] = {}
        self._changed = False
        try:
            self._entries = json.loads(file.read_text(encoding="utf-8")) if file else {}
        except (OSError, ValueError):  # absent or damaged: only speed is lost
            self._entries = {}

    def sha256(self, path: Path) -> str:
        """Hash of a file's content. OSError when it cannot be read."""
        status = path.stat()
        known = self._entries.get(str(path))
        if known and known[:2] == [status.st_size, status.st_mtime_ns]:
            return known[2]
        digest = file_sha256(path)
        if time.time_ns() - status.st_mtime_ns > _SETTLED_NS:
            self._entries[str(path)] = [status.st_size, status.st_mtime_ns, digest]
            self._changed = True
        return digest

    def save(self) -> None:
        """Write what is remembered; files that are gone are forgotten."""
        if not (self._file and self._changed):
            return
        kept = {path: entry for path, entry in sorted(self._entries.items()) if Path(path).exists()}
        self._file.parent.mkdir(parents=True, exist_ok=True)
        self._file.write_text(json.dumps(kept, indent=0), encoding="utf-8")
        self._changed = False


def file_sha256(path: Path) -> str:
    """Hash of a file's content, read anew."""
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def input_hashes(files: dict[str, Path], memory: HashMemory) -> dict[str, str]:
    """Hash of each input under the name the survey file gives it."""
    return {name: memory.sha256(path) for name, path in files.items()}


def code_hashes(memory: HashMemory, project: Path = PROJECT) -> dict[str, str]:
    """Hash of each file of the program: modules, templates, styles, scripts, and the lock."""
    files = [path for path in sorted((project / "pipeline").rglob("*"))
             if path.is_file() and "__pycache__" not in path.parts and not path.name.startswith(".")]
    hashes = {path.relative_to(project).as_posix(): memory.sha256(path) for path in files}
    return hashes | {"requirements.lock": memory.sha256(project / "requirements.lock")}


def package_versions(project: Path = PROJECT) -> dict[str, str]:
    """Versions of Python (major.minor) and of every package the project asks for."""
    versions = {"python": f"{sys.version_info[0]}.{sys.version_info[1]}"}
    for name in required_names(project):
        try:
            versions[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            versions[name] = "absent"
    return versions


def results_hash(outputs: dict[str, str]) -> str:
    """One hash for what later stages read of a stage: all its outputs but pages and executed notebooks."""
    read = {name: found for name, found in outputs.items() if not name.endswith((".html", ".ipynb"))}
    return hashlib.sha256(json.dumps(read, sort_keys=True).encode("utf-8")).hexdigest()


def state_of(stage: Stage, *, inputs: dict, code: dict, packages: dict, earlier: dict[str, dict | None],
             memory: HashMemory) -> State:
    """What a stage depends on now. earlier : record of each stage before it, None where there is none."""
    own = {f"notebooks/{stage.notebook.name}": memory.sha256(stage.notebook)} if stage.notebook else {}
    upstream = {name: results_hash(record["outputs"]) if record else "" for name, record in earlier.items()}
    return State(inputs, code | own, packages, upstream)
