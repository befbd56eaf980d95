"""What is typed and what comes back: exit codes, sentences, what to type next."""

import errno
import io
import sys
from types import SimpleNamespace

import pytest

from pipeline.messages import Message, StageError, SurveyError
from pipeline.run import commands, execute
from pipeline.run.commands import main, os_fault_text, pytest_calls
from pipeline.run.doctor import disk_finding, python_finding, write_finding
from pipeline.run.execute import RunResult
from pipeline.run.plan import Decision
from pipeline.run.progress import Progress

LOOK = Message("look", "clock-lag", "Flight 4 ran 5 s ahead", file="f4.csv", remedy="Set clock_lag_s")


@pytest.fixture
def survey(tmp_path):
    path = tmp_path / "my survey.yml"
    path.write_text("campaign: hills\n")
    return path


@pytest.fixture
def ending(monkeypatch, tmp_path):
    """Makes every run end in a given way and notes its options."""
    seen = {}

    def set_to(outcome):
        def run_survey(path, **options):
            seen.update(options, path=path)
            if isinstance(outcome, BaseException):
                raise outcome
            return outcome

        monkeypatch.setattr(execute, "run_survey", run_survey)
        return seen

    return set_to


def finished(tmp_path, runs=True):
    return RunResult(tmp_path / "out", [Decision("1_quality_check", runs, "why"), Decision("index", False, "why")], [LOOK])


def test_a_run_that_is_done_ends_with_zero_and_the_page_to_open(survey, ending, tmp_path, capsys):
    seen = ending(finished(tmp_path))
    assert main(["run", str(survey), "--into", str(tmp_path / "x"), "--from", "2", "--force"]) == 0
    assert (seen["into"], seen["from_stage"], seen["force"], seen["dry_run"]) == (tmp_path / "x", "2", True, False)
    assert capsys.readouterr().out.splitlines() == [
        "1 message to look at, listed in the quality check and in tables/messages.csv.",
        f"1 of 2 stages executed. Open {tmp_path / 'out' / 'index.html'}"]


def test_a_dry_run_ends_with_the_command_that_runs(survey, ending, tmp_path, capsys):
    ending(finished(tmp_path))
    assert main(["run", str(survey), "--dry-run"]) == 0
    assert capsys.readouterr().out == f"Nothing was run. To run it: python3 -m pipeline run '{survey}'\n"


@pytest.mark.parametrize("outcome, code, words", [
    (SurveyError([LOOK, LOOK]), 1, "2 problems\n  - look  f4.csv: Flight 4 ran 5 s ahead. Set clock_lag_s.\n  - look"),
    (StageError("2 localisation stopped"), 3, "2 localisation stopped"),
    (KeyboardInterrupt(), 130, "Interrupted. Finished stages are kept; the same command goes on from there."),
    (OSError(errno.ENOSPC, "No space left on device", "/out/x"), 1, "The disk that holds /out/x is full."),
    (ValueError("there is no stage 'x'; did you mean index?"), 2, "there is no stage 'x'; did you mean index?"),
])
def test_every_ending_has_its_exit_code_and_no_traceback(survey, ending, capsys, outcome, code, words):
    ending(outcome)
    assert main(["run", str(survey), "--from", "x"]) == code
    said = capsys.readouterr().err
    assert words in said and "Traceback" not in said


@pytest.mark.parametrize("arguments", [["run"], ["nonsense"], ["run", "a.yml", "--no-such-option"], ["run", "absent.yml"]])
def test_wrong_usage_is_two(arguments, capsys):
    assert main(arguments) == 2


def test_a_folder_instead_of_the_survey_file_is_answered_with_the_file_in_it(tmp_path, capsys):
    (tmp_path / "survey.yml").write_text("")
    assert main(["check", str(tmp_path)]) == 2
    assert f"is a folder; name the file in it: {tmp_path / 'survey.yml'}" in capsys.readouterr().err


def test_help_is_no_error(capsys):
    assert main(["--help"]) == 0
    listed = capsys.readouterr().out
    assert all(name in listed for name in ("run", "check", "new", "demo", "test", "doctor", "lab")) and "..." not in listed.split("Commands:")[1]


def test_check_lists_every_message_and_ends_with_the_next_command(survey, monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "pipeline.stages.check", SimpleNamespace(check_survey=lambda path: ([LOOK], "6 flights, 28 animals")))
    assert main(["check", str(survey)]) == 0
    assert capsys.readouterr().out.splitlines() == [
        LOOK.as_line(), "6 flights, 28 animals", f"Nothing stands in the way of a run. Next: python3 -m pipeline run '{survey}'"]


def test_new_tells_what_to_do_with_the_folder(tmp_path, monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "pipeline.stages.new", SimpleNamespace(make_folder=lambda folder: folder))
    assert main(["new", str(tmp_path / "spring")]) == 0
    assert capsys.readouterr().out.endswith(f"python3 -m pipeline check {tmp_path / 'spring' / 'survey.yml'}\n")


def test_demo_prints_the_path_of_the_index_page_last(ending, tmp_path, capsys):
    seen = ending(finished(tmp_path))
    assert main(["demo"]) == 0
    assert seen["path"] == commands.DEMO and capsys.readouterr().out.splitlines()[-1] == str(tmp_path / "out" / "index.html")


def test_the_exit_code_of_pytest_and_of_jupyterlab_is_passed_on(monkeypatch):
    calls = []
    monkeypatch.setattr(commands.subprocess, "call", lambda command, **options: calls.append((command, options)) or 5)
    assert main(["test", "-k", "nothing"]) == 5 and main(["lab", "--no-browser"]) == 5
    *tested, (opened, _) = calls
    assert [command[-3:] for command, _ in tested] == [["-k", "nothing", "notebooks"], ["-k", "nothing", "tests"]] and all("--nbval-lax" in command for command, _ in tested)
    assert all("FIXLEDGER_INTO" in options["env"] for _, options in tested) and "--no-browser" in opened


@pytest.mark.parametrize("codes, passed_on", [((0, 0), 0), ((5, 0), 0), ((0, 5), 0), ((1, 0), 1), ((0, 1), 1), ((5, 2), 2)])
def test_a_fault_in_notebooks_or_tests_is_passed_on_and_nothing_chosen_in_one_of_them_is_none(monkeypatch, codes, passed_on):
    left = list(codes)
    monkeypatch.setattr(commands.subprocess, "call", lambda command, **options: left.pop(0))
    assert main(["test"]) == passed_on and left == []


def test_pytest_gets_notebooks_and_then_tests_side_by_side_unless_paths_are_given():
    notebooks, tests = pytest_calls([])
    assert (notebooks[-1], tests[-1]) == ("notebooks", "tests") and "--numprocesses" in tests and "--numprocesses" not in notebooks
    (paths,) = pytest_calls(["tests/test_run.py::test_x", "-q"])
    assert paths[-2:] == ["tests/test_run.py::test_x", "-q"] and "--numprocesses" not in paths


def test_a_folder_without_permission_is_a_sentence():
    fault = PermissionError(errno.EACCES, "Permission denied", "/out")
    assert os_fault_text(fault) == ("/out cannot be read or written to (Permission denied). Change its permissions or name another "
                                    "folder with --into.")


def test_on_a_terminal_a_stage_has_one_line_that_is_rewritten():
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    screen = Terminal()
    progress = Progress(screen)
    progress.starts("1 quality check", "f1.csv changed")
    progress.cell("1 quality check", 2, 9, "Flights")
    progress.ends("1 quality check")
    assert screen.getvalue().count("\n") == 1
    last = screen.getvalue().split("\r\x1b[K")[-1]
    assert last.startswith("1 quality check       done in 0.0 s (f1.csv changed)")


def test_doctor_tells_what_to_do(tmp_path, monkeypatch):
    assert python_finding((3, 10, 1)).as_line().startswith("stop  Python 3.10.1 in ")
    assert write_finding(tmp_path / "reports").state == "good"
    (tmp_path / "file").write_text("")
    assert write_finding(tmp_path / "file").state == "stop"
    assert disk_finding(tmp_path).state in ("good", "look")
