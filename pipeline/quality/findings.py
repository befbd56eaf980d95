"""Everything the quality check noticed, as one list of messages."""

from __future__ import annotations

from dataclasses import replace
from typing import Iterable

import pandas as pd

from pipeline.messages import Message
from pipeline.quality.flight_findings import flight_findings
from pipeline.quality.tag_findings import tag_findings

# What reading the files has told already, by rule: {rule here: rules of intake that say the same}.
_TOLD_BY_INTAKE = {
    "azimuth-missing": {"azimuth-missing"}, "azimuth-constant": {"azimuth-constant"}, "azimuth-equals-course": {"azimuth-course"},
    "height-impossible": {"height-negative", "height-high"}, "height-unlikely": {"height-high"}, "saturated": {"strength-saturated"},
    "no-beacons": {"beacons-missing"}, "duplicates": {"rows-duplicate"},
}


def findings(records: pd.DataFrame, track: pd.DataFrame, flights: pd.DataFrame, tags: pd.DataFrame, beacons: pd.DataFrame,
             suspicion: pd.DataFrame, changes: pd.DataFrame | None = None, told: Iterable[Message] = ()) -> list[Message]:
    """Messages about flights, then about tags.

    All tables are this package's or intake's; `changes` is intake's, or None.
    told : messages of intake; what they say already of a file, or of the campaign, is not said again.
    """
    said = {(message.code, message.file) for message in told}
    found = flight_findings(records, track, flights, beacons) + tag_findings(records, tags, suspicion, changes)
    return [_as_detail(message, said) for message in found if not _told(message, said)]


def _as_detail(message: Message, said: set[tuple[str, str]]) -> Message:
    """Where the position was lost is a note to intake's word that it was."""
    told = message.code == "position-lost" and any(code in ("position-missing", "position-frozen", "position-jump") and file == message.file for code, file in said)
    return replace(message, severity="note") if told else message


def _told(message: Message, said: set[tuple[str, str]]) -> bool:
    codes = _TOLD_BY_INTAKE.get(message.code, ())
    return any((code, file) in said for code in codes for file in {message.file, ""}) or (not message.file and any(code in codes for code, _ in said))
