"""One run at a time in a folder. The lock belongs to the process: it is gone with it, however that ends."""

from __future__ import annotations

import os
from contextlib import contextmanager
from pathlib import Path

from pipeline.messages import Message, SurveyError

FILE = "work/.running"


@contextmanager
def only_run_in(folder: Path):
    """Hold the folder for the duration of a run. SurveyError when another run holds it."""
    (folder / FILE).parent.mkdir(parents=True, exist_ok=True)
    with open(folder / FILE, "a+", encoding="utf-8") as file:
        if not _take(file):
            file.seek(0)
            raise SurveyError([Message(
                "stop", "folder-in-use", "Another run is writing here", file=str(folder), value=file.read().strip(),
                consequence="Two runs in one folder would mix their results",
                remedy="Wait until it is done, or name another folder with --into")])
        file.truncate(0)
        file.write(f"process {os.getpid()}\n")
        file.flush()
        yield


if os.name == "nt":
    import msvcrt

    def _take(file) -> bool:
        file.seek(1_000_000)  # a byte nobody writes: locked bytes could not be read for the message
        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _take(file) -> bool:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True
