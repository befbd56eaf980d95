"""What intake noticed while reading: messages, faults that stop a run, and the changes made to the data."""

from __future__ import annotations

import difflib

import pandas as pd

from pipeline.messages import Message, SurveyError

CHANGES = {"rule": "text", "rows": "int", "before": "text", "after": "text", "flight_id": "text", "reversible": "flag"}


class Findings:
    """Collects messages while files are read, so that every fault is told at once.

    A fault that makes the whole reading doubtful is `blocked`: `raise_if_blocked` then raises with all of them. A file, row or tag
    that is left out while the rest goes on is `left_out`. What is kept and marked is a `look`, what was mended a `note`.
    """

    def __init__(self):
        self.messages: list[Message] = []
        self.blocking: list[Message] = []
        self._changes: list[dict] = []

    def note(self, code: str, text: str, **details) -> None:
        self._add("note", code, text, details)

    def look(self, code: str, text: str, **details) -> None:
        self._add("look", code, text, details)

    def left_out(self, code: str, text: str, **details) -> None:
        """A stop for one file, row or tag; the run goes on without it."""
        self._add("stop", code, text, details)

    def blocked(self, code: str, text: str, **details) -> None:
        """A stop for the run: nothing is computed until the user has decided."""
        self.blocking.append(self._add("stop", code, text, details))

    def _add(self, severity: str, code: str, text: str, details: dict) -> Message:
        sentences = {name: _sentence(words) if name in ("consequence", "remedy") else words for name, words in details.items()}
        message = Message(severity, code, _sentence(text), **sentences)
        self.messages.append(message)
        return message

    def changed(self, rule: str, rows: int, before: str, after: str, flight_id: str = "", reversible: bool = True) -> None:
        """One line for the table of changes made to the data. Raw files are never written, so that a change can be undone."""
        self._changes.append(
            {"rule": rule, "rows": int(rows), "before": before, "after": after, "flight_id": flight_id, "reversible": reversible}
        )

    def raise_if_blocked(self) -> None:
        """Raise SurveyError with every stop found so far when one of them blocks the run."""
        if self.blocking:
            raise SurveyError([message for message in self.messages if message.severity == "stop"])

    def change_table(self) -> pd.DataFrame:
        """The changes made, one row per rule and flight."""
        return pd.DataFrame(self._changes, columns=list(CHANGES))


def _sentence(words: str) -> str:
    """The words with a capital at the start, unless they start with the name of a column or setting."""
    first = words.split(" ", 1)[0]
    return words if "_" in first or first.endswith(":") else words[:1].upper() + words[1:]


def nearest(name: str, names, cutoff: float = 0.6) -> str:
    """The most similar of the names, case ignored, or the only one that abbreviates it; "" when there is none."""
    lowered = {str(candidate).casefold(): str(candidate) for candidate in reversed(list(names))}
    close = difflib.get_close_matches(str(name).casefold(), list(lowered), n=1, cutoff=cutoff)
    short = [candidate for candidate in lowered if _abbreviates(candidate, str(name).casefold())]
    return lowered[close[0]] if close else lowered[short[0]] if len(short) == 1 else ""


def _abbreviates(short: str, name: str) -> bool:
    """Whether the letters of a short name stand in the name in that order, as in "lng" for "longitude"."""
    letters = iter(name)
    return len(short) > 1 and short[0] == name[0] and all(letter in letters for letter in short)


def did_you_mean(name: str, names) -> str:
    """A sentence that offers the nearest name, or ""."""
    guess = nearest(name, names)
    return f"did you mean {guess!r}?" if guess else ""
