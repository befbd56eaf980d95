"""The first start on a bare Python: which interpreter is chosen and what is said when none can be had."""

import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from pipeline import bootstrap


@pytest.fixture
def small_project(tmp_path):
    """A project that needs nothing, in a folder with an accent and a space."""
    folder = tmp_path / "my project é"
    (folder / "pipeline").mkdir(parents=True)
    (folder / "requirements.in").write_text("# nothing\n")
    (folder / "requirements.lock").write_text("")
    return folder


@pytest.fixture
def base_python(monkeypatch):
    """As if this were a bare Python, outside every environment."""
    monkeypatch.setattr(sys, "prefix", sys.base_prefix)
    monkeypatch.setattr(sys, "exec_prefix", sys.base_exec_prefix)


@pytest.mark.parametrize("version", [(3, 10, 4), (3, 14, 0), (2, 7, 18)])
def test_a_python_that_is_too_old_or_too_new_is_told_off_in_one_line(version, monkeypatch):
    monkeypatch.setattr(bootstrap, "_starts", lambda name: False)
    with pytest.raises(SystemExit) as told:
        bootstrap.refuse_wrong_python(version)
    assert told.value.code == (f"Python 3.11 to 3.13 is needed and this is {'.'.join(map(str, version))}; "
                               "install one of these and type the command again with it.")


def test_a_fitting_python_on_the_machine_is_named(monkeypatch):
    monkeypatch.setattr(bootstrap, "_starts", lambda name: name == "python3.12")
    with pytest.raises(SystemExit, match="this machine has python3.12: begin the command with it"):
        bootstrap.refuse_wrong_python((3, 9, 1))


@pytest.mark.parametrize("version", [(3, 11, 0), (3, 12, 1), (3, 13, 9)])
def test_a_python_in_between_is_accepted(version):
    bootstrap.refuse_wrong_python(version)


def test_the_child_starts_with_the_settings_and_without_the_switch_that_slows_it():
    given = {"PATH": "/bin", "PYTHONDONTWRITEBYTECODE": "1", "OMP_NUM_THREADS": "8"}
    assert bootstrap.settled(given) == {"PATH": "/bin", "PYTHONNOUSERSITE": "1", "PYTHONHASHSEED": "0",
                                        "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    assert given["OMP_NUM_THREADS"] == "8"


def test_an_environment_that_lacks_something_says_what(tmp_path):
    (tmp_path / "requirements.in").write_text("pytest\nno-such-thing  # a comment\nclick\n")
    (tmp_path / "requirements.lock").write_text("pytest==1.0.0 \\\n    --hash=sha256:0\nno-such-thing==2.1.0\nclick==8.0.0\n")
    absent, = [text for text in bootstrap.unmet_requirements(tmp_path) if "no-such" in text]
    other, = [text for text in bootstrap.unmet_requirements(tmp_path) if "pytest" in text]
    assert absent == "no-such-thing (absent)" and other.endswith("; 1.0 or later below 2 is needed)")
    assert len(bootstrap.unmet_requirements(tmp_path)) == 2


def test_an_active_environment_that_has_all_is_used_and_one_that_lacks_something_is_not(small_project, monkeypatch, capsys):
    monkeypatch.setattr(sys, "prefix", "/some/environment")
    assert bootstrap._active_interpreter(small_project) == sys.executable
    (small_project / "requirements.in").write_text("no-such-thing\n")
    (small_project / "requirements.lock").write_text("no-such-thing==2.1.0\n")
    assert bootstrap._active_interpreter(small_project) is None
    assert capsys.readouterr().err == ("The active environment /some/environment lacks no-such-thing (absent); "
                                       "using the project's own .venv instead.\n")


def test_a_bare_python_is_not_an_environment_but_conda_base_is(small_project, base_python, monkeypatch, tmp_path):
    assert bootstrap._active_interpreter(small_project) is None
    (tmp_path / "conda" / "conda-meta").mkdir(parents=True)
    monkeypatch.setattr(sys, "prefix", str(tmp_path / "conda"))
    monkeypatch.setattr(sys, "base_prefix", str(tmp_path / "conda"))
    assert bootstrap._active_interpreter(small_project) == sys.executable


def test_without_ensurepip_the_package_to_install_is_named(small_project, monkeypatch):
    monkeypatch.setattr(bootstrap, "util", SimpleNamespace(find_spec=lambda name: None))
    with pytest.raises(SystemExit, match=r"apt install python3\.\d+-venv; then type the same command again"):
        bootstrap._own_interpreter(small_project, small_project / ".venv")


def test_an_environment_is_made_once_and_finds_the_project_from_any_folder(small_project, base_python, tmp_path, capfd):
    (small_project / "pipeline" / "__init__.py").write_text("WORD = 'found'\n")
    own = small_project / ".venv"
    interpreter = bootstrap._own_interpreter(small_project, own)
    assert "Making the environment in" in capfd.readouterr().out
    bare = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    found = subprocess.run([interpreter, "-c", "import pipeline; print(pipeline.WORD)"], cwd=tmp_path, env=bare, capture_output=True, text=True)
    assert found.stdout.strip() == "found", found.stderr
    assert bootstrap._own_interpreter(small_project, own) == interpreter
    assert capfd.readouterr().out == ""
    (small_project / "requirements.lock").write_text("# another lock\n")
    assert (own / ".made-from").read_text() != bootstrap.stamp(own, small_project)


def test_a_wrong_hash_installs_nothing_and_says_so(small_project, monkeypatch):
    own = small_project / ".venv"
    own.mkdir()
    monkeypatch.setattr(bootstrap.subprocess, "call", lambda command, env: 1)
    with pytest.raises(SystemExit, match="The installation did not finish, see the lines above; nothing was run."):
        bootstrap._install(own, small_project)
    assert not (own / ".made-from").exists()


def test_pip_is_told_to_check_every_hash_and_to_build_nothing(small_project, monkeypatch):
    seen = []
    monkeypatch.setattr(bootstrap.subprocess, "call", lambda command, env: seen.append(command) or 1)
    with pytest.raises(SystemExit):
        bootstrap._install(small_project / ".venv", small_project)
    assert {"--require-hashes", "--only-binary", ":all:"} <= set(seen[0])


def test_the_process_is_started_again_with_the_settings(project):
    environment = {name: value for name, value in os.environ.items() if name not in bootstrap.SETTINGS} | {"PYTHONDONTWRITEBYTECODE": "1"}
    code = ("import os, sys; from pipeline import bootstrap\n"
            "bootstrap.os.execve = lambda path, command, environment: print(command[1:], environment['PYTHONHASHSEED'])\n"
            "bootstrap._own_interpreter_from_inside = bootstrap._own_interpreter = lambda *where: sys.executable\n"
            "bootstrap.enter_environment(['run', 'a b.yml'])")
    done = subprocess.run([sys.executable, "-c", code], cwd=project, env=environment, capture_output=True, text=True)
    assert done.stdout.strip() == "['-m', 'pipeline', 'run', 'a b.yml'] 0", done.stderr
    assert Path(sys.executable).exists()
