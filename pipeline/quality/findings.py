"""Everything the quality check noticed, as one list of messages."""

from __future__ import annotations

import pandas as pd

from pipeline.messages import Message
from pipeline.quality.flight_findings import flight_findings
from pipeline.quality.tag_findings import tag_findings


def findings(records: pd.DataFrame, track: pd.DataFrame, flights: pd.DataFrame, tags: pd.DataFrame, beacons: pd.DataFrame,
             suspicion: pd.DataFrame, changes: pd.DataFrame | None = None) -> list[Message]:
    """Messages about flights, then about tags. All arguments are this package's or intake's tables; `changes` is intake's, or None."""
    return flight_findings(records, track, flights, beacons) + tag_findings(records, tags, suspicion, changes)
