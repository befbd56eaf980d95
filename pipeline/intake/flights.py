"""Rows of all logs put into flights and records: order in time, copies, clock resets, flights split at landings, record numbers."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.intake.findings import Findings

_SMALL_DISORDER = pd.Timedelta(seconds=60)
_LANDED_GAP = pd.Timedelta(minutes=10)
_ANY_GAP = pd.Timedelta(minutes=30)
_LANDED_HEIGHT_M = 5.0
_CLOCK_SET = pd.Timestamp("2000-01-01", tz="UTC")
_LONGEST_CAMPAIGN = pd.Timedelta(days=400)


def without_clock_faults(rows: pd.DataFrame, name: str, findings: Findings) -> pd.DataFrame:
    """The rows of one file whose time can be true: those before 2000, or more than 400 days from the file's median time, are dropped."""
    times = rows["time_utc"]
    unset = (times < _CLOCK_SET) | ((times - times.median()).abs() > _LONGEST_CAMPAIGN)
    if not unset.any():
        return rows
    first = int(np.argmax(unset.to_numpy()))
    findings.look("clock-not-set", f"Clock not set before GNSS time: {int(unset.sum()):,d} records, first {times.iloc[first]:%Y-%m-%d %H:%M}", file=name,
                  line=int(rows["source_line"].iloc[first]), value=str(times.iloc[first]), consequence="these records are missing",
                  remedy="wait for a position before take-off", done="records dropped")
    findings.changed("records with an unset clock dropped", int(unset.sum()), str(times.iloc[first]), "")
    return rows[~unset].reset_index(drop=True)


def in_order(rows: pd.DataFrame, name: str, findings: Findings) -> pd.DataFrame | None:
    """The rows of one file in the order of time; None when the clock was set back while it was written.

    A log sorted by tag is no disorder: order is asked of each tag's rows.
    """
    times = rows["time_utc"]
    if times.is_monotonic_increasing:
        return rows
    step = times.groupby(rows["tag_id"], sort=False).diff()
    back = step < pd.Timedelta(0)
    if back.any():
        first = int(np.argmax(back.to_numpy()))
        place = {"file": name, "line": int(rows["source_line"].iloc[first]), "value": str(times.iloc[first])}
        if -step.min() > _SMALL_DISORDER and _pieces_overlap(times, back):
            findings.left_out("clock-reset", f"Clock reset at line {place['line']}: time goes back {-step.min()}", **place, consequence="the times of this file cannot be trusted",
                              remedy="split the file where the clock was reset and mend the times", done="file left out")
            return None
        findings.look("rows-unordered", f"Time goes backward {int(back.sum()):,d} times, at most {-step.min()}", **place, done="records sorted by time")
        findings.changed("rows sorted by time", int(back.sum()), name, "in order of time")
    return rows.sort_values("time_utc", kind="stable").reset_index(drop=True)


def _pieces_overlap(times: pd.Series, back: pd.Series) -> bool:
    """Whether the pieces between backward steps cover the same time; pieces in the wrong order do not."""
    spans = times.groupby(back.cumsum()).agg(["min", "max"]).sort_values("min")
    return bool((spans["min"].to_numpy()[1:] < spans["max"].cummax().to_numpy()[:-1]).any())


def without_copies(rows: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    """The rows of all files without those that stand in an earlier file too: one flight saved twice under two names."""
    if rows["source_file"].nunique() < 2:
        return rows
    located = rows["latitude"].notna() & (rows["latitude"] != 0)
    again = rows.duplicated(["time_utc", "tag_id", "strength_db", "latitude", "longitude"]) & located
    share = again.groupby(rows["source_file"], sort=False).mean()
    copied = [file for file, value in share.items() if value > 0.5]
    drop = again & rows["source_file"].isin(copied)
    for file in copied:
        count = int((drop & (rows["source_file"] == file)).sum())
        findings.look("rows-copied", f"{count:,d} of {int((rows['source_file'] == file).sum()):,d} records stand in an earlier file too", file=file, done="the copies removed")
        findings.changed("copies of another file removed", count, file, "one of each kept")
    return rows[~drop].reset_index(drop=True) if drop.any() else rows


def with_flights(rows: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    """The rows with flight_id (the file's stem where the log has none, split at landings) and record numbers, in order of flight, time and line."""
    rows = rows.copy()
    named = (rows["flight_id"] != "").to_numpy()
    stems = {name: name.rsplit("/", 1)[-1].rsplit(".", 1)[0] for name in rows["source_file"].unique()}
    rows["flight_id"] = rows["flight_id"].where(named, rows["source_file"].map(stems))
    for flight, part in rows[~named].groupby("flight_id", sort=True):
        starts = _landings(part)
        if starts:
            number = np.searchsorted(np.array(starts, dtype="datetime64[us]"), part["time_utc"].dt.tz_localize(None).to_numpy(), side="right") + 1
            rows.loc[part.index, "flight_id"] = [f"{flight}-{k}" for k in number]
            at = " and ".join(f"{pd.Timestamp(start):%H:%MZ}" for start in starts)
            findings.note("flight-split", f"Split into {len(starts) + 1} flights at {at}", file=part["source_file"].iloc[0], done=f"named {flight}-1 to {flight}-{len(starts) + 1}")
            findings.changed("flight split at a landing", len(part), flight, f"{flight}-1 to {flight}-{len(starts) + 1}", flight)
    rows = rows.sort_values(["flight_id", "time_utc", "source_file", "source_line"], kind="stable").reset_index(drop=True)
    _tell_overlaps(rows, findings)
    return _with_record_numbers(rows)


def _landings(part: pd.DataFrame) -> list[np.datetime64]:
    """Times at which a new flight begins: after 10 minutes without records on the ground, or 30 minutes anywhere."""
    first = ~part["time_utc"].duplicated()
    times = part["time_utc"][first].dt.tz_localize(None).reset_index(drop=True)
    heights = part["height_m"][first].reset_index(drop=True)
    gap = times.diff()
    low = (heights.shift() - heights.min() <= _LANDED_HEIGHT_M) & (heights - heights.min() <= _LANDED_HEIGHT_M) & (heights.max() - heights.min() > 4 * _LANDED_HEIGHT_M)
    new = (gap >= _ANY_GAP) | ((gap >= _LANDED_GAP) & low)
    return list(times[new].to_numpy(dtype="datetime64[us]"))


def _tell_overlaps(rows: pd.DataFrame, findings: Findings) -> None:
    spans = rows.groupby("flight_id", sort=True)["time_utc"].agg(["min", "max"]).sort_values("min", kind="stable")
    for (earlier, one), (later, other) in zip(spans.iloc[:-1].iterrows(), spans.iloc[1:].iterrows()):
        if other["min"] < one["max"]:
            findings.look("flights-overlap", f"Flights {earlier} and {later} overlap in time from {other['min']:%Y-%m-%d %H:%MZ}", value=f"{earlier}, {later}",
                          remedy="check that two aircraft were in the air", done="treated as separate aircraft")


def _with_record_numbers(rows: pd.DataFrame) -> pd.DataFrame:
    """Records numbered from 1 within each flight: rows of one time are one record."""
    flight_code = pd.factorize(rows["flight_id"])[0]
    new = np.r_[True, (np.diff(flight_code) != 0) | (np.diff(rows["time_utc"].astype("int64").to_numpy()) != 0)]
    running = np.cumsum(new)
    rows["record"] = running - running[np.unique(flight_code, return_index=True)[1]][flight_code] + 1
    return rows


def mark_second_values(rows: pd.DataFrame, findings: Findings) -> pd.Series:
    """A mask of rows that give a tag a second, different value at one time; the first stays in use."""
    second = rows.duplicated(["flight_id", "tag_id", "record"])
    for file, part in rows[second].groupby("source_file", sort=True):
        findings.look("time-twice", f"Two values at one time for {len(part):,d} records, first tag {part['tag_id'].iloc[0]} at {part['time_utc'].iloc[0]:%Y-%m-%d %H:%M:%SZ}",
                      file=file, line=int(part["source_line"].iloc[0]), consequence="the later values are kept but not used", done="the first value used")
    return second
