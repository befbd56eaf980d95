"""Flight tracks in files of their own, CSV or GPX, joined to a receiver log that has no positions."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.geodesy import wrap_180, wrap_360
from pipeline.intake.column_names import find_columns
from pipeline.intake.delimited import read_delimited
from pipeline.intake.findings import Findings
from pipeline.intake.log_format import POSITION_COLUMNS, PositionFormat
from pipeline.intake.numbers import parse_angles, parse_numbers
from pipeline.intake.positions import look_at_precision
from pipeline.intake.times import UTC_TYPE, parse_times

# Fewer records than the first within the track call for a search; an offset is named when it brings nearly all. Zones lie up to 14 h from UTC.
_FEW_ON_TRACK, _NEARLY_ALL_ON_TRACK, _MOST_HOURS = 0.5, 0.9, 14.0


def read_tracks(position_format: PositionFormat, name_of, findings: Findings) -> pd.DataFrame:
    """All track points in order of time: time_utc, latitude, longitude, height_m, antenna_azimuth_deg (NaN where a file has none)."""
    parts = []
    for path in position_format.files:
        reader = _read_gpx if path.suffix.casefold() == ".gpx" else _read_csv
        part = reader(path, name_of(path), position_format, findings)
        if part is not None:
            parts.append(part.dropna(subset=["time_utc", "latitude", "longitude"]))
    if not parts:
        return pd.DataFrame({name: pd.Series(dtype=UTC_TYPE if name == "time_utc" else "float64") for name in POSITION_COLUMNS if name != "date"})
    points = pd.concat(parts, ignore_index=True).sort_values("time_utc", kind="stable")
    located = (points["latitude"].abs() > 1e-6) | (points["longitude"].abs() > 1e-6)
    return points[located].drop_duplicates("time_utc").reset_index(drop=True)


def _read_csv(path: Path, name: str, position_format: PositionFormat, findings: Findings) -> pd.DataFrame | None:
    file = read_delimited(path, name, position_format.text, findings, expected=[position_format.columns.get(c, c) for c in POSITION_COLUMNS])
    if file is None:
        return None
    columns = find_columns(list(file.table.columns), declared=position_format.columns, required=["time_utc", "latitude", "longitude"],
                           optional=["date", "height_m", "antenna_azimuth_deg"], file=name, setting="receiver_log.positions.columns", findings=findings)
    if columns is None:
        return None
    cells = {standard: file.table[actual].str.strip() for standard, actual in columns.items()}
    reading = {"file": name, "lines": file.lines, "findings": findings}
    points = pd.DataFrame(index=file.table.index)
    points["time_utc"] = parse_times(cells["time_utc"], clock=position_format.clock, column=columns["time_utc"], dates=cells.get("date"), **reading)
    for standard in ("latitude", "longitude"):
        points[standard] = parse_angles(cells[standard], decimal=file.decimal, column=columns[standard], **reading)
    look_at_precision(cells["latitude"], cells["longitude"], points["latitude"], decimal=file.decimal, name=name, line=int(file.lines[0]), findings=findings)
    for standard in ("height_m", "antenna_azimuth_deg"):
        points[standard] = parse_numbers(cells[standard], decimal=file.decimal, column=columns[standard], **reading) if standard in cells else np.nan
    return points


def _read_gpx(path: Path, name: str, _: PositionFormat, findings: Findings) -> pd.DataFrame | None:
    """Track points of a GPX file: WGS 84 degrees, metres, times in UTC (GPX 1.1 schema)."""
    try:
        content = path.read_bytes()
        if b"<!DOCTYPE" in content:
            raise ElementTree.ParseError("a document type declaration is not allowed here")
        root = ElementTree.fromstring(content)
    except ElementTree.ParseError as error:
        findings.blocked("gpx-unreadable", f"cannot be read as GPX: {error}", file=name, remedy="export the track again")
        return None
    points = [(child.get("lat"), child.get("lon"), *_texts(child)) for child in root.iter() if child.tag.rsplit("}", 1)[-1] == "trkpt"]
    table = pd.DataFrame(points, columns=["latitude", "longitude", "height_m", "time_utc"])
    untimed = table["time_utc"].isna()
    if untimed.any() or table.empty:
        findings.look("gpx-untimed", f"{int(untimed.sum())} of {len(table)} track points have no time", file=name, consequence="they cannot be joined to the log",
                      remedy="export the track with times", done="left out")
    times = pd.to_datetime(table["time_utc"], format="ISO8601", utc=True, errors="coerce").astype(UTC_TYPE)
    numbers = table[["latitude", "longitude", "height_m"]].apply(pd.to_numeric, errors="coerce")
    return numbers.assign(time_utc=times, antenna_azimuth_deg=np.nan)


def _texts(point):
    found = {child.tag.rsplit("}", 1)[-1]: (child.text or "").strip() for child in point}
    return found.get("ele"), found.get("time")


def join_positions(rows: pd.DataFrame, points: pd.DataFrame, position_format: PositionFormat, findings: Findings) -> pd.DataFrame:
    """The rows with position, height and azimuth of the track at their time plus the lag, on straight lines between track points.

    Values that the log has itself are kept. Where the track has a gap longer than longest_gap_s, the position stays missing.
    """
    joined = rows.copy()
    if points.empty:
        return joined
    clock = _seconds(points["time_utc"])
    wanted = _seconds(rows["time_utc"]) + position_format.lag_s
    after = np.clip(np.searchsorted(clock, wanted, side="left"), 1 if len(clock) > 1 else 0, len(clock) - 1)
    before = np.maximum(after - 1, 0)
    span = clock[after] - clock[before]
    share = np.where(span > 0, (wanted - clock[before]) / np.where(span > 0, span, 1), 0.0)
    reached = (wanted >= clock[0]) & (wanted <= clock[-1]) & ((span <= position_format.longest_gap_s) | (share == 0) | (share == 1))
    _look_for_hours(wanted, clock, float(reached.mean()), position_format.longest_gap_s, rows, findings)
    for name in ("latitude", "height_m"):
        values = points[name].to_numpy()
        _fill(joined, name, np.where(reached, values[before] * (1 - share) + values[after] * share, np.nan))
    for name, wrap in (("longitude", wrap_180), ("antenna_azimuth_deg", wrap_360)):
        values = points[name].to_numpy()
        _fill(joined, name, np.where(reached, wrap(values[before] + share * wrap_180(values[after] - values[before])), np.nan))
    findings.changed("position taken from the flight track", int(reached.sum()), "", f"lag {position_format.lag_s:g} s")
    if not reached.any():
        findings.look("track-elsewhere", "no record lies within the time of the flight track", consequence="no record has a position",
                      remedy="check the time zones and receiver_log.positions.lag_s")
    elif position_format.lag_s:
        findings.note("lag-applied", f"Lag {position_format.lag_s:g} s applied", done="receiver clock moved onto the track's clock")
    return joined


def _look_for_hours(wanted: np.ndarray, clock: np.ndarray, share: float, longest_gap_s: float, rows: pd.DataFrame, findings: Findings) -> None:
    """Told when most records miss the track, and whole or half hours would bring nearly all of them onto it: a time zone taken for another.

    wanted, clock : times of the records and of the track points, in order [s]. share : of the records that lie within the track as it is.
    """
    if share >= _FEW_ON_TRACK:
        return
    hours = sorted(np.arange(-_MOST_HOURS, _MOST_HOURS + 0.5, 0.5), key=abs)[1:]
    found = {h: _share_on_track(wanted + 3600.0 * h, clock, longest_gap_s) for h in hours}
    best = max(hours, key=lambda h: (found[h], -abs(h)))
    if found[best] < _NEARLY_ALL_ON_TRACK:
        return
    findings.look("clock-hours", f"{100 * share:.0f}% of the records lie within the time of the flight track; {100 * found[best]:.0f}% would if the log's times were {abs(best):g} h {'later' if best > 0 else 'earlier'}",
                  file=rows["source_file"].iloc[0] if "source_file" in rows else "", value=f"{best:+g} h", consequence="these records have no position",
                  remedy="check receiver_log.time_zone and receiver_log.positions.time_zone")


def _share_on_track(wanted: np.ndarray, clock: np.ndarray, longest_gap_s: float) -> float:
    """Share of some times that lie between two track points no farther apart than the longest gap."""
    after = np.clip(np.searchsorted(clock, wanted), 1 if len(clock) > 1 else 0, len(clock) - 1)
    before = np.maximum(after - 1, 0)
    return float(((wanted >= clock[before]) & (wanted <= clock[after]) & (clock[after] - clock[before] <= longest_gap_s)).mean())


def _seconds(times: pd.Series) -> np.ndarray:
    return times.astype(UTC_TYPE).astype("int64").to_numpy() / 1e6


def _fill(table: pd.DataFrame, name: str, values: np.ndarray) -> None:
    table[name] = table[name].where(table[name].notna(), values)
