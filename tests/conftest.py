"""What every test file may use: the project's folder, the field data, and one run of the demo campaign for all of them."""

import os
import sys
from pathlib import Path

import pytest

# Builds a grammar on import, 0.8 s of every process that reads a notebook; only one kind of link check needs it.
sys.modules.setdefault("rfc3987_syntax", None)

PROJECT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def project() -> Path:
    """The project's folder."""
    return PROJECT


@pytest.fixture(scope="session")
def field_data() -> Path:
    """Folder of the real measurements; the test is skipped where they are not at hand."""
    folder = Path(os.environ.get("FIXLEDGER_FIELD_DATA", PROJECT.parent / "shared" / "field-data"))
    if not folder.is_dir():
        pytest.skip("the field data are not on this machine (FIXLEDGER_FIELD_DATA names their folder)")
    return folder


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory) -> Path:
    """What a run of the demo campaign leaves, made once for all tests; not to be written to.

    FIXLEDGER_DEMO_FOLDER may name a folder with an earlier run; only what has changed since is then run again.
    """
    from pipeline.run import run_survey

    folder = Path(os.environ.get("FIXLEDGER_DEMO_FOLDER") or tmp_path_factory.mktemp("demo") / "reports")
    run_survey(PROJECT / "data" / "demo" / "survey.yml", into=folder)
    return folder


@pytest.fixture(scope="module")
def running():
    """A running Chromium; the test is skipped where there is none."""
    from tests.browser import browser

    with browser() as chromium:
        yield chromium
