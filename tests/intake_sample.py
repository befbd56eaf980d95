"""Small campaign files for the intake tests: a straight flight past two tags, in the contract's own format."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pipeline.intake import Clock, LogFormat, read_campaign
from pipeline.intake.findings import Findings

START = pd.Timestamp("2027-04-25T10:00:00Z")
UTC = LogFormat(clock=Clock(time_zone="UTC"), not_heard="blank")


def flight(records: int = 30, tags=("t1", "t2"), *, start=START, latitude: float = 57.2, longitude: float = -4.1, step_s: int = 6) -> pd.DataFrame:
    """Rows of a straight flight north at about 11 m/s; the first tag is heard in even records, the second never."""
    rows = []
    for i in range(records):
        for k, tag in enumerate(tags):
            rows.append({
                "time_utc": (start + pd.Timedelta(seconds=step_s * i)).strftime("%Y-%m-%dT%H:%M:%SZ"), "latitude": f"{latitude + 0.0006 * i:.6f}", "longitude": f"{longitude:.6f}",
                "height_m": "80.0", "antenna_azimuth_deg": f"{(37 * i) % 360}", "tag_id": tag,
                "strength_db": f"{-90 - 0.5 * (i % 17):.1f}" if k == 0 and i % 2 == 0 else "", "noise_db": "-121.0"})
    return pd.DataFrame(rows)


def write(folder: Path, name: str, content, *, sep: str = ",", encoding: str = "utf-8") -> Path:
    """Write a table or a text under a folder."""
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    text = content if isinstance(content, str) else content.to_csv(index=False, sep=sep, lineterminator="\n")
    path.write_bytes(text.encode(encoding))
    return path


def read(folder: Path, *logs: Path, log_format: LogFormat = UTC, **files):
    """Read logs as a campaign whose folder is `folder`."""
    return read_campaign(log_files=list(logs), log_format=log_format, base=folder, **files)


def said(source, code: str):
    """The only message with a code; source is a list of messages, an Intake, a Findings or a SurveyError."""
    messages = source.messages if hasattr(source, "messages") else source
    found = [message for message in messages if message.code == code]
    assert len(found) == 1, [message.as_line() for message in messages]
    return found[0]


def codes(source) -> list[str]:
    """The codes of all messages."""
    messages = source.messages if isinstance(source, Findings) or hasattr(source, "messages") else source
    return [message.code for message in messages]
