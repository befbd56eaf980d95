"""What the software noticed: one kind of message for terminal, report and CSV, and the errors that carry them.

    FixledgerError            anything a user can meet, with an exit code
      SurveyError             the survey file or a data file is at fault: exit 1, every fault listed
      StageError              a notebook failed: exit 3, with the command that resumes
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from typing import Iterable

import pandas as pd

SEVERITIES = ("stop", "look", "note")


@dataclass(frozen=True)
class Message:
    """One thing noticed, with where it is, why it matters, what to do and what was done.

    severity : "stop" (nothing is run, or the named file, flight or tag is left out), "look" (kept, and marked)
        or "note" (mended or harmless).
    code : short lower-case name of the rule, hyphenated, stable across versions.
    file, line : where; line is None when the whole file is meant.
    value : the offending value as text, "" when there is none.
    """

    severity: str
    code: str
    text: str
    file: str = ""
    line: int | None = None
    value: str = ""
    consequence: str = ""
    remedy: str = ""
    done: str = ""

    def __post_init__(self):
        if self.severity not in SEVERITIES:
            raise ValueError(f"severity must be one of {SEVERITIES}, got {self.severity!r}")

    @property
    def place(self) -> str:
        """File and line as one phrase."""
        return f"{self.file} line {self.line}" if self.line is not None else self.file

    def as_line(self) -> str:
        """The message as one line of plain text."""
        parts = [self.text, self.consequence, self.remedy, f"Done: {self.done}" if self.done else ""]
        said = " ".join(_sentence(part) for part in parts if part.strip())
        return f"{self.severity}  {self.place + ': ' if self.place else ''}{said}"


def _sentence(text: str) -> str:
    """The text closed by one mark: its own, or a full stop."""
    text = text.strip()
    return text if text.endswith(("?", "!", ".")) else text + "."


class FixledgerError(Exception):
    """Anything that ends a run in a way the user should read about."""

    exit_code = 1


class SurveyError(FixledgerError):
    """Bad config or data. Carries every fault found, not only the first."""

    def __init__(self, messages: Iterable[Message]):
        self.messages = list(messages)
        count = len(self.messages)
        head = f"{count} problem{'s' if count != 1 else ''}"
        super().__init__("\n".join([head, *("  - " + message.as_line() for message in self.messages)]))


class StageError(FixledgerError):
    """A notebook failed; the partial report is kept."""

    exit_code = 3


def message_table(messages: Iterable[Message]) -> pd.DataFrame:
    """Messages as a table, the worst first, otherwise in the order they were noticed."""
    columns = [field.name for field in fields(Message)]
    table = pd.DataFrame([asdict(message) for message in messages], columns=columns)
    table["line"] = table["line"].astype("Int64")
    order = table["severity"].map({name: rank for rank, name in enumerate(SEVERITIES)})
    return table.iloc[order.argsort(kind="stable")].reset_index(drop=True)
