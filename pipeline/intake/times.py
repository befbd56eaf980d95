"""Times of a log in UTC: date formats, time zones with their clock changes, offsets, seconds since an epoch, times of day across midnight."""

from __future__ import annotations

import re
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from pipeline.intake.findings import Findings
from pipeline.intake.log_format import Clock

UTC_TYPE = "datetime64[us, UTC]"
_DAY_MONTH = r"^(\d{1,4})[./-](\d{1,2})[./-](\d{2,4})(?:[T ,]+(.*))?$"
_OFFSET = r"(?:[Zz]|[+-]\d{2}:?\d{2})$"
_TIME_ONLY = r"^\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?:\s*[AaPp][Mm])?$"
_ISO_DATE = re.compile(r"(?<!\d)((?:19|20)\d{2})[-_.]?(0[1-9]|1[0-2])[-_.]?(0[1-9]|[12]\d|3[01])(?!\d)")
_EARLIEST, _LATEST = pd.Timestamp("1900-01-01"), pd.Timestamp("2200-01-01")
_UNITS = {"unix seconds": 1.0, "unix milliseconds": 1e-3, "gps seconds": 1.0}
_UTC_NAME = re.compile(r"utc|gmt|zulu", re.IGNORECASE)

# GPS time is ahead of UTC by this many whole seconds from this UTC day on (IERS Bulletin C; none since 2017)
_GPS_AHEAD = (("1999-01-01", 13), ("2006-01-01", 14), ("2009-01-01", 15), ("2012-07-01", 16), ("2015-07-01", 17), ("2017-01-01", 18))
_GPS_EPOCH_UNIX_S = 315964800


def gps_to_utc(times: pd.Series) -> pd.Series:
    """UTC of times on the GPS scale, both as UTC-typed timestamps; valid from 1999-01-01. IERS leap second table."""
    ahead_s = pd.Series(0, index=times.index)
    for day, seconds in _GPS_AHEAD:
        ahead_s = ahead_s.mask(times >= pd.Timestamp(day, tz="UTC") + pd.Timedelta(seconds=seconds), seconds)
    return times - pd.to_timedelta(ahead_s, unit="s")


def parse_times(text: pd.Series, *, clock: Clock, column: str, file: str, lines: np.ndarray, findings: Findings,
                dates: pd.Series | None = None) -> pd.Series:
    """Times in UTC (microseconds), NaT where a cell cannot be read; what was decided, and what could not be, is told.

    text : cells of the time column in the order of the file. dates : cells of a separate date column, or None.
    A fault in the format as a whole (no time zone, 03/04 could be two dates) blocks the run and every value is NaT.
    """
    if dates is not None:
        text = (dates + " " + text).str.strip()
    rolled = 0
    if clock.date_format is None and _share(text, _TIME_ONLY) > 0.5:
        text, rolled = _with_day(text, clock, file, findings)
        if text is None:
            return _nothing(len(lines))
    # a time is shared by all tags of a record: every different text is read once
    codes, different = pd.factorize(text)
    different = pd.Series(np.asarray(different, dtype=object)).astype("str")
    first_line = np.asarray(lines)[np.unique(codes, return_index=True)[1]]
    read = _read_different(different, clock, column, first_line, file, findings)
    if read is None:
        return _nothing(len(lines))
    times, has_offset = (values.take(codes).reset_index(drop=True) for values in read)
    times = times.where((times >= _EARLIEST) & (times < _LATEST))
    if not has_offset.all():
        times = _with_zone(times, has_offset, text, clock, column, lines, file, findings)
        if times is None:
            return _nothing(len(lines))
    else:
        times = times.dt.tz_localize("UTC").astype(UTC_TYPE)
    if rolled:
        findings.note("date-advanced", f"Date advanced at midnight {rolled} time{'s' if rolled > 1 else ''}", file=file, done="days counted on from the first date")
    return _tell_unread(times, text, column, file, lines, findings)


def _nothing(count: int) -> pd.Series:
    return pd.Series(pd.NaT, index=range(count), dtype=UTC_TYPE)


def _share(text: pd.Series, pattern: str) -> float:
    sample = text[text != ""].head(500)
    return float(sample.str.match(pattern).mean()) if len(sample) else 0.0


def _read_different(text, clock, column, first_line, file, findings):
    """Times without a zone of different texts, and whether each is in UTC already; None when the format cannot be told (and was said)."""
    numeric = _epoch_unit(text, clock.date_format)
    if numeric is None:
        return _to_naive(text, clock, column, first_line, file, findings)
    if clock.date_format is None:
        findings.note("time-epoch", f"Numbers in {column!r} read as {numeric} since 1970", file=file, value=text.iloc[0])
    return _from_epoch(text, numeric).dt.tz_localize(None), pd.Series(True, index=text.index)


def _with_zone(times, has_offset, text, clock, column, lines, file, findings) -> pd.Series | None:
    """Times in UTC, those without an offset read in the declared zone; None when no zone was declared."""
    local = times.notna() & ~has_offset
    zone = clock.time_zone or ("UTC" if _UTC_NAME.search(column) or not local.any() else None)
    if zone is None:
        findings.blocked("time-zone-missing", "Time zone missing", file=file, line=int(lines[int(np.argmax(local))]), value=str(text[local.to_numpy()].iloc[0]),
                         consequence=f"column {column!r} could be hours off", remedy="set receiver_log.time_zone, for example UTC or Europe/Berlin")
        return None
    local = _localise(times.where(local), zone, lines, file, findings)
    return local.where(~has_offset, times.dt.tz_localize("UTC").astype(UTC_TYPE))


def _epoch_unit(text: pd.Series, date_format: str | None) -> str | None:
    if date_format in _UNITS:
        return date_format
    if date_format is None:
        if _share(text, r"^\d{9,10}(?:\.\d*)?$") > 0.9:
            return "unix seconds"
        if _share(text, r"^\d{12,13}(?:\.\d*)?$") > 0.9:
            return "unix milliseconds"
    return None


def _from_epoch(text: pd.Series, unit: str) -> pd.Series:
    seconds = pd.to_numeric(text, errors="coerce").to_numpy(dtype=float, na_value=np.nan) * _UNITS[unit]
    if unit == "gps seconds":
        seconds = seconds + _GPS_EPOCH_UNIX_S
    microseconds = pd.Series(np.round(seconds * 1e6)).astype("Int64")
    times = pd.to_datetime(microseconds, unit="us", utc=True).astype(UTC_TYPE)
    return gps_to_utc(times) if unit == "gps seconds" else times


def _to_naive(text, clock, column, first_line, file, findings):
    """Times without zone (those with an offset already turned to UTC) and a mask of those with an offset."""
    date_format = clock.date_format
    if date_format and "%" in date_format:
        read = pd.to_datetime(text, format=date_format, errors="coerce", utc="%z" in date_format)
        aware = read.notna() & ("%z" in date_format)
        return (read.dt.tz_localize(None) if "%z" in date_format else read).astype("datetime64[us]"), aware
    parts = text.str.extract(_DAY_MONTH)
    swapped = parts[0].str.len().lt(4) & parts[0].notna()
    if swapped.mean() > 0.5:
        text = _day_month_to_iso(text, parts, date_format, column, first_line, file, findings)
        if text is None:
            return None
    leap = text.str.contains(r":60(?:\.\d*)?(?:[Zz+-]|$)", regex=True)
    text = text.mask(leap, text.str.replace(":60", ":59", regex=False))
    has_offset = text.str.contains(_OFFSET, regex=True) & text.str.contains(":", regex=False)
    read = pd.to_datetime(text.where(has_offset), format="ISO8601", errors="coerce", utc=True).dt.tz_localize(None).astype("datetime64[us]")
    plain = pd.to_datetime(text.where(~has_offset), format="ISO8601", errors="coerce").astype("datetime64[us]")
    twelve_hour = plain.isna() & text.str.contains(r"[AaPp][Mm]$", regex=True)
    if twelve_hour.any():
        plain = plain.where(~twelve_hour, pd.to_datetime(text.where(twelve_hour), format="%Y-%m-%d %I:%M:%S %p", errors="coerce").astype("datetime64[us]"))
    times = read.where(has_offset, plain)
    return times + pd.to_timedelta(leap.astype(int), unit="s"), has_offset


def _day_month_to_iso(text, parts, date_format, column, first_line, file, findings) -> pd.Series | None:
    """Texts such as 25.04.2027 10:11:12 as ISO text, by the declared or proven order of day and month."""
    first, second = pd.to_numeric(parts[0]), pd.to_numeric(parts[1])
    proven_day, proven_month = (first > 12).any(), (second > 12).any()
    order = date_format
    if order is None:
        if proven_day == proven_month:
            example = text[parts[0].notna()].iloc[0]
            why = "some dates read day first and some month first" if proven_day else f"{example.split()[0]} could be two dates"
            findings.blocked("date-ambiguous", why, file=file, line=int(first_line[0]), value=str(example),
                             consequence="every time could be months off", remedy="set receiver_log.date_format to 'day first' or 'month first'")
            return None
        order = "day first" if proven_day else "month first"
        findings.note("date-order-found", f"Dates in {column!r} read {order}", file=file, value=str(text.iloc[0]),
                      remedy=f"say so in the survey file: date_format: {order}")
    day, month = (parts[0], parts[1]) if order == "day first" else (parts[1], parts[0])
    year = parts[2].where(parts[2].str.len() == 4, "20" + parts[2])
    iso = year + "-" + month.str.zfill(2) + "-" + day.str.zfill(2) + (" " + parts[3]).fillna("")
    return iso.fillna(text)


def _localise(times: pd.Series, zone: str, lines, file, findings) -> pd.Series:
    """Local times as UTC; the hour that a clock change repeats or leaves out is told."""
    if zone.upper() == "GPS":
        findings.note("time-gps", "GPS time turned into UTC", file=file, done="leap seconds subtracted")
        return gps_to_utc(times.dt.tz_localize("UTC").astype(UTC_TYPE))
    if zone.upper() in ("UTC", "GMT", "Z"):
        return times.dt.tz_localize("UTC").astype(UTC_TYPE)
    local = times.dt.tz_localize(ZoneInfo(zone), ambiguous="NaT", nonexistent="NaT")
    unclear = local.isna() & times.notna()
    if unclear.any():
        repeated = unclear & times.dt.tz_localize(ZoneInfo(zone), ambiguous=True, nonexistent="NaT").notna()
        local = _settle_repeated(times, local, repeated, zone, lines, file, findings)
        local = _settle_skipped(times, local, unclear & ~repeated, zone, lines, file, findings)
    return local.dt.tz_convert("UTC").astype(UTC_TYPE)


def _settle_repeated(times, local, repeated, zone, lines, file, findings) -> pd.Series:
    """The hour that occurs twice: a step back begins its second pass; a flight that runs out of the hour without one began in the second."""
    if not repeated.any():
        return local
    first = int(np.argmax(repeated.to_numpy()))
    second_pass = (times.diff() < -pd.Timedelta(minutes=30)).cummax()
    if not second_pass[repeated].any() and local.iloc[:first].isna().all() and local.iloc[first:].notna().any():
        second_pass = pd.Series(True, index=times.index)
    hour = times.iloc[first]
    findings.look("clock-hour-twice", f"{hour:%H}:00-{(hour.hour + 1) % 24:02d}:00 occurs twice on {hour:%Y-%m-%d} in {zone}", file=file, line=int(lines[first]),
                  value=str(hour), consequence="these records could be one hour off", remedy="set the receiver to UTC",
                  done="order in the file used, the first pass where that does not tell")
    return local.where(~repeated, times.dt.tz_localize(ZoneInfo(zone), ambiguous=~second_pass.to_numpy(), nonexistent="NaT"))


def _settle_skipped(times, local, skipped, zone, lines, file, findings) -> pd.Series:
    """The hour that does not exist: the receiver's clock was not set forward, so that one hour is added."""
    if not skipped.any():
        return local
    first = int(np.argmax(skipped.to_numpy()))
    findings.look("clock-hour-missing", f"{times.iloc[first]:%Y-%m-%d %H:%M} does not exist in {zone}", file=file, line=int(lines[first]), value=str(times.iloc[first]),
                  consequence="the receiver's clock was not set forward, or the time zone is wrong", remedy="check receiver_log.time_zone", done="read one hour later")
    return local.where(~skipped, times.dt.tz_localize(ZoneInfo(zone), ambiguous=True, nonexistent=pd.Timedelta(hours=1)))


def _with_day(text, clock, file, findings):
    """Times of day with their date: the first day from the setting or the file's name, counted on at each midnight."""
    day = clock.date or _date_in(file)
    if day is None:
        findings.blocked("date-missing", "Times of day without a date", file=file, value=str(text.iloc[0]),
                         remedy="name a date column (columns: {date: ...}), set receiver_log.date, or put the date into the file's name")
        return None, 0
    clock_time = pd.to_timedelta(pd.to_datetime(text, format="mixed", errors="coerce").dt.strftime("%H:%M:%S.%f"))
    crossed = (clock_time.ffill().diff() < -pd.Timedelta(hours=12)).cumsum()
    dated = (pd.Timestamp(day) + pd.to_timedelta(crossed, unit="D")).dt.strftime("%Y-%m-%d")
    spread = clock_time.dt.total_seconds()
    written = (pd.Timestamp(0) + pd.to_timedelta(spread, unit="s")).dt.strftime("%H:%M:%S.%f")
    return (dated + "T" + written).where(clock_time.notna(), text), int(crossed.iloc[-1])


def _date_in(file: str) -> str | None:
    found = _ISO_DATE.search(file.rsplit("/", 1)[-1])
    return "-".join(found.groups()) if found else None


def _tell_unread(times, text, column, file, lines, findings) -> pd.Series:
    unread = times.isna().to_numpy()
    if unread.all():
        findings.blocked("time-unreadable", f"no time in {column!r} can be read", file=file, line=int(lines[0]), value=str(text.iloc[0]),
                         remedy="set receiver_log.date_format, for example '%d.%m.%Y %H:%M:%S'")
    elif unread.any():
        first = int(np.argmax(unread))
        findings.look("time-unreadable", f"{int(unread.sum()):,d} record{'s' if unread.sum() > 1 else ''} without a readable time", file=file, line=int(lines[first]),
                      value=str(text.iloc[first]), consequence="these records are missing", remedy="mend the time or set date_format", done="records dropped")
        findings.changed("records without a time dropped", int(unread.sum()), str(text.iloc[first]), "")
    return times
