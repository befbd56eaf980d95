"""What a run says while it works: one live line per stage on a terminal, plain lines in a pipe."""

from __future__ import annotations

import shutil
import sys
import time
from typing import TextIO

_NAME_WIDTH = 22


class Progress:
    """Writes to a stream; the moments it is told of follow each other in this order: starts, cell (often), ends or fails."""

    def __init__(self, stream: TextIO | None = None):
        self._stream = stream or sys.stdout
        self._live = self._stream.isatty()
        self._why = ""
        self._started = 0.0
        self._shown = ""

    def say(self, text: str = "") -> None:
        """A line that stays."""
        self._keep(text)

    def skipped(self, label: str, why: str) -> None:
        """A stage that is not run."""
        self._keep(f"{label:<{_NAME_WIDTH}}skipped: {why}")

    def planned(self, label: str, why: str) -> None:
        """A stage that would be run."""
        self._keep(f"{label:<{_NAME_WIDTH}}would run: {why}")

    def starts(self, label: str, why: str) -> None:
        """A stage that is run, and why."""
        self._started, self._why, self._shown = time.monotonic(), why, ""
        self._show(f"{label:<{_NAME_WIDTH}}runs: {why}")

    def cell(self, label: str, number: int, of: int, heading: str) -> None:
        """The cell that is next; on a pipe one line per heading."""
        if not self._live and heading == self._shown:
            return
        self._shown = heading
        self._show(f"{label:<{_NAME_WIDTH}}cell {number} of {of}: {heading}")

    def ends(self, label: str) -> None:
        """The stage is done and its files are in place."""
        why = f" ({self._why})" if self._live else ""
        self._keep(f"{label:<{_NAME_WIDTH}}done in {time.monotonic() - self._started:.1f} s{why}")

    def fails(self, label: str) -> None:
        """The stage stopped; what went wrong is said elsewhere."""
        self._keep(f"{label:<{_NAME_WIDTH}}failed after {time.monotonic() - self._started:.1f} s")

    def _show(self, text: str) -> None:
        if self._live:
            width = shutil.get_terminal_size().columns - 1
            self._stream.write(f"\r\x1b[K{text[:width]}")
            self._stream.flush()
        else:
            self._keep(text)

    def _keep(self, text: str) -> None:
        self._stream.write(f"\r\x1b[K{text}\n" if self._live else f"{text}\n")
        self._stream.flush()


class Silent(Progress):
    """Says nothing."""

    def __init__(self):
        super().__init__(sys.stdout)

    def _show(self, text: str) -> None:
        pass

    _keep = _show
