"""What the environment has and lacks, each with what to do."""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

from pipeline.bootstrap import NEWEST, OLDEST, PROJECT, locked_versions, required_names, unmet_requirements

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome", "msedge")
BROWSER_VARIABLE = "FIXLEDGER_BROWSER"
_ENOUGH_GB = 1.0


@dataclass(frozen=True)
class Finding:
    """state : "good", "look" (works, with a limit) or "stop" (does not work). remedy : what to do, "" when nothing."""

    state: str
    what: str
    remedy: str = ""

    def as_line(self) -> str:
        """The finding as one line."""
        return f"{self.state:<5} {self.what}" + (f". {self.remedy}" if self.remedy else "")


def examine() -> list[Finding]:
    """Everything that is looked at, in order."""
    return [python_finding(), *package_findings(), kernel_finding(), write_finding(), disk_finding(), font_finding(), browser_finding()]


def python_finding(version=sys.version_info[:3]) -> Finding:
    """The version of Python and where it lives."""
    text = f"Python {'.'.join(map(str, version))} in {sys.prefix}"
    if OLDEST <= tuple(version[:2]) <= NEWEST:
        return Finding("good", text)
    return Finding("stop", text, f"Python 3.{OLDEST[1]} to 3.{NEWEST[1]} is needed")


def package_findings() -> list[Finding]:
    """Packages against the bounds, and against the lock."""
    unmet = unmet_requirements()
    if unmet:
        remedy = "Leave this environment and type the command again: the project's own .venv is then used"
        return [Finding("stop", f"package {text}", remedy) for text in unmet]
    locked = locked_versions()
    other = [f"{name} {metadata.version(name)} (lock: {locked[name]})" for name in required_names() if metadata.version(name) != locked[name]]
    if other:
        return [Finding("look", f"{len(other)} packages differ from the lock: {', '.join(other[:4])}",
                        "Results may differ in the last digits from those of the lock")]
    return [Finding("good", f"{len(required_names())} packages are as in the lock")]


def kernel_finding() -> Finding:
    """Start a kernel as a run does, in the notebooks' folder, and see that it is this Python and finds the project."""
    import nbformat
    from nbclient import NotebookClient

    from pipeline.run.kernel import KernelHere

    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("import sys, pipeline; print(sys.executable)")])
    try:
        client = NotebookClient(notebook, timeout=60, kernel_name="python3", kernel_manager_class=KernelHere,
                                resources={"metadata": {"path": str(PROJECT / "notebooks")}})
        found = "".join(client.execute().cells[0].outputs[0]["text"]).strip()
    except Exception as fault:  # whatever it is, it is what the user must hear of
        return Finding("stop", f"no kernel could be started ({type(fault).__name__}: {fault})", "Delete .venv and type the command again")
    if Path(found) != Path(sys.executable):
        return Finding("stop", f"the kernel is {found}, not {sys.executable}", "Delete .venv and type the command again")
    return Finding("good", "notebooks run in this Python and find the project")


def write_finding(folder: Path = PROJECT / "reports") -> Finding:
    """Whether results can be written."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return Finding("good", f"{folder} can be written to")
    except OSError as fault:
        return Finding("stop", f"{folder} cannot be written to ({fault.strerror})", "Run with --into and a folder of your own")


def disk_finding(folder: Path = PROJECT) -> Finding:
    """Free space where results go."""
    free_gb = shutil.disk_usage(folder).free / 1e9
    if free_gb < _ENOUGH_GB:
        return Finding("look", f"{free_gb:.1f} GB free", "A campaign takes up to 0.1 GB; make room before a long season")
    return Finding("good", f"{free_gb:.0f} GB free")


def font_finding() -> Finding:
    """The font of figures: one that comes with the packages, so that figures are the same everywhere."""
    from matplotlib import font_manager

    try:
        path = font_manager.findfont("DejaVu Sans", fallback_to_default=False)
    except ValueError:
        return Finding("stop", "the font of the figures (DejaVu Sans) is missing", "Delete .venv and type the command again")
    return Finding("good", f"figures use {Path(path).stem}")


def find_browser() -> str | None:
    """Path of a Chromium or Chrome on this machine, None where there is none; FIXLEDGER_BROWSER may name one that is not on the path."""
    named = [os.environ[BROWSER_VARIABLE]] if os.environ.get(BROWSER_VARIABLE) else []
    return next((found for name in (*named, *BROWSERS) if (found := shutil.which(name))), None)


def browser_finding() -> Finding:
    """A browser for --pdf and for the tests of the reports; a run without --pdf needs none."""
    found = find_browser()
    if found:
        return Finding("good", f"browser for --pdf and for the tests of the reports: {found}")
    remedy = f"Reports are made without it; for --pdf install Chromium or Chrome, or name one in {BROWSER_VARIABLE}" + ("; on Debian: apt install chromium" if os.name == "posix" else "")
    return Finding("look", "no Chromium for --pdf and for the tests of the reports", remedy)
