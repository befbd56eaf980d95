"""The commands: run, check, new, demo, test, doctor, lab. Exit codes 0 done, 1 config or data, 2 usage, 3 notebook, 130 interrupted."""

from __future__ import annotations

import errno
import os
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path

import click

from pipeline.bootstrap import PROJECT
from pipeline.messages import FixledgerError, SurveyError

DEMO = PROJECT / "data" / "demo" / "survey.yml"
INTERRUPTED = 130
_NOTHING_CHOSEN = 5  # pytest, when no test is left by what was asked for
MOST_WORKERS = 4  # tests side by side; each may run a campaign of half a gigabyte


def main(arguments: list[str] | None = None) -> int:
    """Run a command and return its exit code; every foreseeable fault is a message, not a traceback."""
    try:
        return commands.main(args=arguments, prog_name="python3 -m pipeline", standalone_mode=False) or 0
    except click.UsageError as fault:
        fault.show()
        return fault.exit_code
    except click.Abort:
        return _interrupted()
    except KeyboardInterrupt:
        return _interrupted()
    except SurveyError as fault:
        _complain(f"{fault}\nWhen that is put right, type the same command again.")
        return fault.exit_code
    except FixledgerError as fault:
        _complain(str(fault))
        return fault.exit_code
    except OSError as fault:
        _complain(os_fault_text(fault))
        return 1


def _interrupted() -> int:
    _complain("Interrupted. Finished stages are kept; the same command goes on from there.")
    return INTERRUPTED


def _complain(text: str) -> None:
    sys.stdout.flush()
    click.echo(text, err=True)


def os_fault_text(fault: OSError) -> str:
    """A sentence for a fault of the disk or of permissions, with what to do."""
    what = fault.filename or "the folder for results"
    if fault.errno in (errno.ENOSPC, errno.EDQUOT):
        return f"The disk that holds {what} is full. Free some space or name another folder with --into, then type the command again."
    if fault.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return f"{what} cannot be read or written to ({fault.strerror}). Change its permissions or name another folder with --into."
    return f"{what}: {fault.strerror or fault}."


class _InOrder(click.Group):
    """Lists the commands in the order in which they are used."""

    def list_commands(self, context):
        return list(self.commands)


@click.group(cls=_InOrder, context_settings={"help_option_names": ["-h", "--help"]})
def commands():
    """From receiver logs to tested positions. Begin with: python3 -m pipeline demo"""


_SURVEY = click.argument("survey", type=click.Path(path_type=Path))
_PDF = click.option("--pdf", is_flag=True, help="Also write each page as pdf/NAME.pdf, for printing and sending; needs Chromium or Chrome.")


@commands.command()
@_SURVEY
@click.option("--into", type=click.Path(path_type=Path, file_okay=False), help="Folder for the results, else reports/<campaign>.")
@click.option("--dry-run", is_flag=True, help="Only say what would run, and why.")
@click.option("--from", "from_stage", metavar="STAGE", help="Run this stage and those after it, whatever their state.")
@click.option("--force", is_flag=True, help="Run every stage.")
@_PDF
def run(survey, into, dry_run, from_stage, force, pdf):
    """Run what is stale of a survey file and write its reports."""
    _run(survey, pdf=pdf, into=into, dry_run=dry_run, from_stage=from_stage, force=force)


def _run(survey: Path, *, pdf: bool, **options) -> Path:
    from pipeline.run.execute import run_survey
    from pipeline.run.progress import Progress

    _require_file(survey)
    try:
        result = run_survey(survey, progress=Progress(), **options)
    except ValueError as fault:
        if options.get("from_stage") and "there is no stage" in str(fault):
            raise click.BadParameter(str(fault), param_hint="--from") from None
        raise
    if options.get("dry_run"):
        click.echo(f"Nothing was run. To run it: python3 -m pipeline run {shlex.quote(str(survey))}")
        return result.folder
    look = sum(message.severity != "note" for message in result.messages)
    if look:
        click.echo(f"{look} message{'s' if look != 1 else ''} to look at, listed in the quality check and in tables/messages.csv.")
    _print(result.folder, pdf)
    ran = len(result.ran)
    click.echo(f"{ran} of {len(result.decisions)} stages executed. Open {result.folder / 'index.html'}")
    return result.folder


def _print(folder: Path, pdf: bool) -> None:
    """Make the PDFs that were asked for; those that no longer fit their page go in any case."""
    from pipeline.run.printing import find_browser, print_pages, remove_outdated

    if not pdf:
        told = remove_outdated(folder)
    else:
        printed = print_pages(folder, find_browser())
        told = [f"{words} in {folder / 'pdf'}." for words in (_counted_pdfs(len(printed.made), "made"), _counted_pdfs(len(printed.kept), "fitting as they are")) if words]
        told += printed.told
    for sentence in told:
        click.echo(sentence)


def _counted_pdfs(count: int, what: str) -> str:
    return f"{count} PDF{'s' if count != 1 else ''} {what}" if count else ""


def _require_file(survey: Path) -> None:
    if survey.is_file():
        return
    inside = survey / "survey.yml"
    if inside.is_file():
        raise click.UsageError(f"{survey} is a folder; name the file in it: {shlex.quote(str(inside))}")
    raise click.UsageError(f"there is no file {survey}. To make a campaign folder with one: python3 -m pipeline new FOLDER")


@commands.command()
@_SURVEY
def check(survey):
    """Check a survey file and every table it names; nothing is run."""
    _require_file(survey)
    from pipeline.stages.check import check_survey

    messages, summary = check_survey(survey)
    for message in messages:
        click.echo(message.as_line())
    click.echo(summary)
    click.echo(f"Nothing stands in the way of a run. Next: python3 -m pipeline run {shlex.quote(str(survey))}")


@commands.command(short_help="Make a campaign folder to fill in.")
@click.argument("folder", type=click.Path(path_type=Path))
def new(folder):
    """Make a campaign folder: a commented survey.yml and empty registers."""
    from pipeline.stages.new import make_folder

    made = make_folder(folder)
    survey = shlex.quote(str(Path(folder) / "survey.yml"))
    click.echo(f"Made {made if made else folder}.\n"
               f"Put the logs into its folder flights, fill in survey.yml, then: python3 -m pipeline check {survey}")


@commands.command(short_help="Run the invented demo campaign.")
@click.option("--into", type=click.Path(path_type=Path, file_okay=False), help="Folder for the results, else reports/demo.")
@_PDF
def demo(into, pdf):
    """Run the invented demo campaign and print the path of its index page."""
    folder = _run(DEMO, pdf=pdf, into=into)
    click.echo(str(folder / "index.html"))


@commands.command(short_help="Run the tests and every notebook.", context_settings={"ignore_unknown_options": True, "help_option_names": []})
@click.argument("arguments", nargs=-1, type=click.UNPROCESSED)
def test(arguments):
    """Run the tests and every notebook; arguments go to pytest."""
    from pipeline.run.kernel import kernel_environment
    from pipeline.stages.workspace import INTO_VARIABLE

    with tempfile.TemporaryDirectory(prefix="fixledger-notebooks-") as folder:
        environment = kernel_environment(**{INTO_VARIABLE: folder})  # notebooks under test leave reports/ alone
        codes = [subprocess.call([sys.executable, "-m", "pytest", *call], cwd=PROJECT, env=environment) for call in pytest_calls(list(arguments))]
    return next((code for code in codes if code not in (0, _NOTHING_CHOSEN)), min(codes))


def pytest_calls(given: list[str]) -> list[list[str]]:
    """What pytest is called with, one call after the other: the notebooks, which share a folder, then the tests, a file at a time on each processor; or the paths given."""
    names_paths = any((PROJECT / text.split("::")[0]).exists() for text in given if not text.startswith("-"))
    every_call = ["--nbval-lax", "--nbval-current-env", "-p", "no:cacheprovider"]
    if names_paths:
        return [[*every_call, *given]]
    side_by_side = ["--numprocesses", str(min(os.cpu_count() or 1, MOST_WORKERS)), "--dist", "loadfile"]
    return [[*every_call, *given, "notebooks"], [*every_call, *side_by_side, *given, "tests"]]


@commands.command(short_help="Look at what the environment has and lacks.")
def doctor():
    """Look at the environment: what is there, what is missing, what to do."""
    from pipeline.run.doctor import examine

    findings = examine()
    for finding in findings:
        click.echo(finding.as_line())
    stops = sum(finding.state == "stop" for finding in findings)
    if stops:
        click.echo(f"{stops} thing{'s' if stops > 1 else ''} must be put right first.")
        return 1
    click.echo("All that is needed is here. Next: python3 -m pipeline demo")
    return 0


@commands.command(short_help="Open JupyterLab on the notebooks.", context_settings={"ignore_unknown_options": True})
@click.argument("arguments", nargs=-1, type=click.UNPROCESSED)
def lab(arguments):
    """Open JupyterLab on the notebooks; arguments go to JupyterLab."""
    from pipeline.run.kernel import kernel_environment

    as_root = ["--allow-root"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    command = [sys.executable, "-m", "jupyterlab", *as_root, *arguments, str(PROJECT / "notebooks")]
    return subprocess.call(command, cwd=PROJECT / "notebooks", env=kernel_environment())
