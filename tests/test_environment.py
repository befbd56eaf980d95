"""The three files that say what the project needs agree with each other and with what is installed."""

import re
import tomllib

import pytest
import yaml
from packaging.requirements import Requirement

from pipeline.bootstrap import NEWEST, OLDEST, bounds, locked_versions, required_names
from pipeline.run import environment_file
from pipeline.run.environment_file import environment_text, main


def test_every_requirement_is_in_the_lock(project):
    names = required_names()
    assert names and [name for name in names if name not in locked_versions()] == []


def test_every_package_of_the_lock_has_a_hash_and_no_address(project):
    lock = (project / "requirements.lock").read_text()
    entries = re.split(r"\n(?=[a-zA-Z0-9])", lock.strip())
    assert [entry.splitlines()[0] for entry in entries if "--hash=sha256:" not in entry] == []
    for name in ("requirements.lock", "requirements.in", "environment.yml", "pyproject.toml"):
        assert not re.search(r"https?://|--index-url|--find-links", (project / name).read_text())


def test_environment_yml_is_in_step_with_requirements_and_lock(project):
    assert (project / "environment.yml").read_text() == environment_text(), "run: python -m pipeline.run.environment_file"


def test_environment_yml_holds_specs_that_conda_and_pip_read(project):
    content = yaml.safe_load((project / "environment.yml").read_text())
    assert list(content) == ["name", "channels", "dependencies"]
    *conda, pip = content["dependencies"]
    assert [spec for spec in conda if not re.fullmatch(r"[a-z0-9_.-]+( >=[0-9.]+,<[0-9.]+)?", spec)] == []
    assert pip["pip"][0] == "-e ."
    assert all(Requirement(spec).specifier for spec in pip["pip"][1:])
    named = {spec.split()[0].removesuffix("-base") for spec in conda} | {Requirement(spec).name for spec in pip["pip"][1:]}
    assert set(required_names()) <= named


def test_pyproject_asks_for_the_pythons_that_the_bootstrap_accepts(project):
    told = tomllib.loads((project / "pyproject.toml").read_text())["project"]
    assert told["requires-python"] == f">=3.{OLDEST[1]},<3.{NEWEST[1] + 1}"


@pytest.mark.parametrize("version, expected", [("2.4.6", ("2.4", "3")), ("0.20.0", ("0.20", "1")), ("26.0", ("26.0", "27")), ("7", ("7.0", "8"))])
def test_bounds_are_from_this_minor_below_the_next_major(version, expected):
    assert bounds(version) == expected


def test_the_check_tells_when_the_file_is_out_of_step(monkeypatch, tmp_path, capsys):
    monkeypatch.setattr(environment_file, "FILE", tmp_path / "environment.yml")
    assert main(["--check"]) == 1
    assert "out of step" in capsys.readouterr().err
    assert main([]) == 0 and main(["--check"]) == 0 and main(["--czech"]) == 2
