"""One receiver log, long or wide, as rows of tag and record under standard names."""

from __future__ import annotations

from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.intake.column_names import find_columns, tell_unused
from pipeline.intake.delimited import DelimitedFile, read_delimited
from pipeline.intake.findings import Findings
from pipeline.intake.log_format import LOG_COLUMNS, LogFormat
from pipeline.intake.numbers import parse_angles, parse_numbers
from pipeline.intake.positions import look_at_precision
from pipeline.intake.strengths import read_strengths
from pipeline.intake.times import parse_times

_NUMBERS = ("height_m", "antenna_azimuth_deg", "pulse_rate_per_min", "noise_db")


@dataclass(frozen=True)
class ReadLog:
    """A log as read: the rows, and what the table of files says about it."""

    rows: pd.DataFrame
    encoding: str
    delimiter: str
    decimal: str
    data_lines: int
    duplicates: int


def read_log(path: Path, name: str, log_format: LogFormat, findings: Findings, registered_tags=()) -> ReadLog | None:
    """Read one receiver log; None when it cannot be used, which has then been said.

    The rows hold flight_id, tag_id, time_utc, latitude, longitude, height_m, antenna_azimuth_deg, strength_db, heard, pulse_rate_per_min,
    noise_db, source_file, source_line and raw_line (number of the record line in a wide log). Positions are NaN when the format says they
    come from files of their own. registered_tags name the tag columns of a wide log that does not declare them.
    """
    file = read_delimited(path, name, log_format.text, findings, expected=_expected(log_format), required=False)
    if file is None:
        return None
    required, optional = _required(log_format)
    columns = find_columns(list(file.table.columns), declared=log_format.columns, required=required, optional=optional, file=name,
                           setting="receiver_log.columns", findings=findings)
    tag_columns = _tag_columns(file, log_format, columns or {}, registered_tags, findings) if log_format.layout == "wide" else {}
    if columns is None or tag_columns is None:
        return None
    if log_format.layout == "long":
        tell_unused(list(file.table.columns), columns.values(), [name for name in optional if name not in columns], file=name,
                    setting="receiver_log.columns", findings=findings)
    file, duplicates = _without_duplicates(file, findings)
    rows = _records_of(file, columns, log_format, findings)
    rows = _long(rows, file, columns, log_format, findings) if log_format.layout == "long" else _wide(rows, file, tag_columns, log_format, findings)
    if rows is None:
        return None
    known_time = rows["time_utc"].notna()
    return ReadLog(rows[known_time].reset_index(drop=True), file.encoding, file.delimiter, file.decimal, len(file.table) + duplicates, duplicates)


def _expected(log_format: LogFormat) -> tuple[str, ...]:
    return tuple(log_format.columns.get(name, name) for name in LOG_COLUMNS)


def _required(log_format: LogFormat):
    required = ["time_utc"] if log_format.positions else ["time_utc", "latitude", "longitude"]
    if log_format.layout == "long":
        required += ["tag_id", "strength_db"]
    skipped = {"tag_id", "strength_db", *(("pulse_rate_per_min",) if log_format.layout == "wide" else ())}
    return required, [name for name in LOG_COLUMNS if name not in required and name not in skipped]


def _without_duplicates(file: DelimitedFile, findings: Findings):
    """The file without repetitions of whole lines."""
    again = file.table.duplicated().to_numpy()
    count = int(again.sum())
    if not count:
        return file, 0
    findings.note("rows-duplicate", f"{count:,d} duplicate row{'s' if count > 1 else ''} removed", file=file.name, line=int(file.lines[np.argmax(again)]),
                  done="one of each kept")
    findings.changed("duplicate rows removed", count, f"repeated in {file.name}", "one of each kept")
    kept = file.table[~again].reset_index(drop=True)
    return DelimitedFile(file.name, file.encoding, file.delimiter, file.decimal, kept, file.lines[~again]), count


def _records_of(file: DelimitedFile, columns, log_format: LogFormat, findings: Findings) -> pd.DataFrame:
    """What a line says about the record: time, position, height, direction, noise."""
    cells = {standard: file.table[actual].str.strip() for standard, actual in columns.items()}
    reading = {"decimal": file.decimal, "file": file.name, "lines": file.lines, "findings": findings}
    rows = pd.DataFrame(index=file.table.index)
    rows["time_utc"] = parse_times(cells["time_utc"], clock=log_format.clock, column=columns["time_utc"], file=file.name, lines=file.lines, findings=findings,
                                   dates=cells.get("date"))
    for name in ("latitude", "longitude"):
        rows[name] = parse_angles(cells[name], column=columns[name], **reading) if name in cells else np.nan
    if "latitude" in cells and "longitude" in cells and not log_format.position_crs:
        look_at_precision(cells["latitude"], cells["longitude"], rows["latitude"], decimal=file.decimal, name=file.name, line=int(file.lines[0]), findings=findings)
    for name in _NUMBERS:
        rows[name] = parse_numbers(cells[name], column=columns[name], **reading) if name in cells else np.nan
    rows["flight_id"] = cells["flight_id"] if "flight_id" in cells else ""
    rows["source_file"] = file.name
    rows["source_line"] = file.lines
    return rows


def _long(rows, file: DelimitedFile, columns, log_format: LogFormat, findings: Findings) -> pd.DataFrame | None:
    rows["tag_id"] = file.table[columns["tag_id"]].str.strip()
    unnamed = (rows["tag_id"] == "").to_numpy()
    if unnamed.any():
        findings.look("tag-unnamed", f"{int(unnamed.sum()):,d} records without a tag id", file=file.name, line=int(file.lines[np.argmax(unnamed)]),
                      consequence="nobody knows which tag was listened to", done="records dropped")
        findings.changed("records without a tag id dropped", int(unnamed.sum()), "", "")
    cells = file.table[columns["strength_db"]].str.strip()
    return _with_strengths(rows, cells, ~unnamed, columns["strength_db"], file, log_format, findings)


def _with_strengths(rows, cells, wanted, column, file, log_format, findings) -> pd.DataFrame | None:
    read = read_strengths(cells, log_format=log_format, decimal=file.decimal, file=file.name, column=column, lines=rows["source_line"].to_numpy(), findings=findings)
    rows["strength_db"], rows["heard"] = read.strength_db, ~np.isnan(read.strength_db)
    return rows[np.asarray(wanted) & read.listened].reset_index(drop=True)


def _tag_columns(file: DelimitedFile, log_format: LogFormat, columns, registered_tags, findings) -> dict[str, str] | None:
    """Column -> tag id of a wide log."""
    found = [name for name in file.table.columns if name not in columns.values()]
    declared = log_format.tag_columns
    if isinstance(declared, str):
        tags = _by_pattern(declared, found)
    elif declared:
        tags = {name: tag for name, tag in declared.items() if name in found}
        for name in declared:
            if name not in found:
                findings.blocked("column-missing", f"column {name!r} (for tag {declared[name]}) is missing; found: {', '.join(found)}", file=file.name, line=1, value=name,
                                 consequence="the file cannot be read", remedy="mend receiver_log.tag_columns")
                return None
    else:
        registered = {str(tag).casefold(): str(tag) for tag in registered_tags}
        tags = {name: registered[name.casefold()] for name in found if name.casefold() in registered}
    if not tags:
        findings.blocked("tag-columns-missing", f"no column of a tag; found: {', '.join(found)}", file=file.name, line=1, consequence="the file cannot be read",
                         remedy='set receiver_log.tag_columns, for example "rssi_*" where the star is the tag id')
        return None
    return tags


def _by_pattern(pattern: str, found) -> dict[str, str]:
    before, _, after = pattern.partition("*")
    return {name: name[len(before): len(name) - len(after)] for name in found if fnmatchcase(name, pattern) and len(name) > len(before) + len(after)}


def _wide(rows, file: DelimitedFile, tag_columns, log_format: LogFormat, findings: Findings) -> pd.DataFrame | None:
    """One row per line and tag, line by line."""
    count = len(tag_columns)
    repeated = rows.loc[rows.index.repeat(count)].reset_index(drop=True)
    repeated["tag_id"] = np.tile(np.array(list(tag_columns.values()), dtype=object), len(rows))
    cells = _interleaved(file.table, tag_columns)
    rates = log_format.pulse_rate_columns
    if rates:
        rates = _by_pattern(rates, list(file.table.columns)) if isinstance(rates, str) else rates
        of_tag = {tag: column for column, tag in rates.items() if column in file.table.columns}
        columns = [of_tag.get(tag) for tag in tag_columns.values()]
        text = pd.DataFrame({i: file.table[column] if column else "" for i, column in enumerate(columns)}, index=file.table.index)
        repeated["pulse_rate_per_min"] = parse_numbers(_interleaved(text, text.columns), decimal=file.decimal, file=file.name, column="pulse rate",
                                                       lines=repeated["source_line"].to_numpy(), findings=findings)
    return _with_strengths(repeated, cells, True, "strengths", file, log_format, findings)


def _interleaved(table: pd.DataFrame, columns) -> pd.Series:
    """The cells of several columns, line by line."""
    return pd.Series(table[list(columns)].to_numpy(dtype=object).ravel()).astype("str").str.strip()
