"""What every test file may use: the project's folder, the field data, and one run of the demo campaign for all of them."""

import os
import sys
import time
from pathlib import Path

import pytest

from pipeline.messages import SurveyError

# Builds a grammar on import, 0.8 s of every process that reads a notebook; only one kind of link check needs it.
sys.modules.setdefault("rfc3987_syntax", None)

PROJECT = Path(__file__).resolve().parent.parent
LONGEST_RUN_S = 900.0


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
def demo_folder(tmp_path_factory, worker_id) -> Path:
    """What a run of the demo campaign leaves, made once for all tests; not to be written to.

    FIXLEDGER_DEMO_FOLDER may name a folder with an earlier run; only what has changed since is then run again.
    Tests on several processors share one folder: the first to ask runs the campaign, the others wait for it.
    """
    from pipeline.run import run_survey

    beside = tmp_path_factory.getbasetemp() if worker_id == "master" else tmp_path_factory.getbasetemp().parent
    folder = Path(os.environ.get("FIXLEDGER_DEMO_FOLDER") or beside / "demo" / "reports")
    until = time.monotonic() + LONGEST_RUN_S
    while True:
        try:
            run_survey(PROJECT / "data" / "demo" / "survey.yml", into=folder)
            return folder
        except SurveyError as error:
            if time.monotonic() > until or [message.code for message in error.messages] != ["folder-in-use"]:
                raise
            time.sleep(1.0)


@pytest.fixture(scope="module")
def running():
    """A running Chromium; the test is skipped where there is none."""
    from tests.browser import browser

    with browser() as chromium:
        yield chromium
