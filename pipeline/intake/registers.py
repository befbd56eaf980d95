"""The registers a campaign is described by: tags, beacons, bearings taken by hand, sightings."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.columns import BEACONS, TAGS, conform
from pipeline.geodesy import Projection
from pipeline.intake.column_names import find_columns
from pipeline.intake.declination import declinations
from pipeline.intake.delimited import read_delimited
from pipeline.intake.findings import Findings, did_you_mean
from pipeline.intake.log_format import Clock, TextFormat
from pipeline.intake.numbers import parse_angles, parse_numbers
from pipeline.intake.positions import look_at_precision
from pipeline.intake.times import parse_times

BEARINGS = {"time_utc": "time", "tag_id": "text", "latitude": "float", "longitude": "float", "easting_m": "float", "northing_m": "float",
            "bearing_deg": "float", "bearing_grid_deg": "float", "bearing_sd_deg": "float", "north_reference": "text"}
SIGHTINGS = {"time_utc": "time", "tag_id": "text", "latitude": "float", "longitude": "float", "easting_m": "float", "northing_m": "float",
             "position_sd_m": "float", "state": "text"}
_CLOCK = Clock(time_zone="UTC")
_SAME_PLACE_M = 5.0
_TRUE, _FALSE = ("true", "yes", "y", "1", "t"), ("", "false", "no", "n", "0", "f")


def read_table(path: Path, name: str, kinds: dict[str, str], required, findings: Findings) -> pd.DataFrame | None:
    """A register as a table with the columns of `kinds` and source_line; None when it cannot be read, which has been said.

    Only the required columns must be there; a table with a header and no rows is empty, not wrong.
    """
    file = read_delimited(path, name, TextFormat(), findings, expected=kinds, may_be_empty=True)
    if file is None:
        return None
    columns = find_columns(list(file.table.columns), declared={}, required=required, optional=[c for c in kinds if c not in required], file=name,
                           setting="", findings=findings)
    if columns is None:
        return None
    if file.table.empty:
        findings.note("register-empty", "no rows yet", file=name)
        return conform(pd.DataFrame(), kinds).assign(source_line=pd.Series(dtype="int64"))
    rows = pd.DataFrame(index=file.table.index)
    for standard, actual in columns.items():
        cells = file.table[actual].str.strip()
        rows[standard] = _typed(cells, kinds[standard], standard, file, findings)
    if "latitude" in columns and "longitude" in columns:
        look_at_precision(*(file.table[columns[standard]].str.strip() for standard in ("latitude", "longitude")), rows["latitude"], decimal=file.decimal, name=file.name,
                          line=int(file.lines[0]), findings=findings)
    return conform(rows, kinds).assign(source_line=file.lines)


def _typed(cells, kind, standard, file, findings):
    reading = {"column": standard, "file": file.name, "lines": file.lines, "findings": findings}
    if kind == "time":
        return _dates(cells, reading)
    if kind == "flag":
        return _flags(cells, standard, file, findings)
    if kind == "float":
        reader = parse_angles if standard in ("latitude", "longitude") else parse_numbers
        return reader(cells, decimal=file.decimal, **reading)
    return cells


def _dates(cells, reading):
    times = pd.Series(pd.NaT, index=cells.index, dtype="datetime64[us, UTC]")
    written = (cells != "").to_numpy()
    if written.any():
        lines = reading["lines"][written]
        read = parse_times(cells[written].reset_index(drop=True), clock=_CLOCK, column=reading["column"], file=reading["file"], lines=lines, findings=reading["findings"])
        times[written] = read.array
    return times


def _flags(cells, standard, file, findings):
    lowered = cells.str.casefold()
    unknown = ~lowered.isin((*_TRUE, *_FALSE)).to_numpy()
    if unknown.any():
        first = int(np.argmax(unknown))
        findings.blocked("cell-not-a-flag", f"{standard}: {cells.iloc[first]!r} is neither true nor false", file=file.name, line=int(file.lines[first]), value=cells.iloc[first],
                         remedy="write true, false or leave it blank")
    return lowered.isin(_TRUE)


def read_tags(path: Path, name: str, findings: Findings) -> pd.DataFrame | None:
    """The register of tags (columns TAGS plus source_line), role "animal" or "decoy"."""
    kinds = {column: kind for column, kind in TAGS.items() if column != "role"}
    tags = read_table(path, name, kinds, ["tag_id"], findings)
    if tags is None:
        return None
    mangled = tags["tag_id"].str.fullmatch(r"(?i)\d(?:[.,]\d+)?E\+\d+|\d{1,2}[-. ](?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)|(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[-. ]\d{1,2}")
    if mangled.any():
        row = tags[mangled].iloc[0]
        findings.blocked("id-mangled", f"tag_id {row['tag_id']!r} looks changed by a spreadsheet; use the raw file", file=name, line=int(row["source_line"]), value=row["tag_id"],
                         remedy="write the ids as the receiver does, the column formatted as text")
    tags = tags[tags["tag_id"] != ""].reset_index(drop=True)
    _tell_frequencies(tags, name, findings)
    return tags.assign(role=np.where(tags["decoy"], "decoy", "animal"))


def _tell_frequencies(tags: pd.DataFrame, name: str, findings: Findings, closest_khz: float = 3.0) -> None:
    """Pairs of tags closer in frequency than a receiver separates."""
    known = tags.dropna(subset=["frequency_mhz"]).drop_duplicates("tag_id").sort_values(["frequency_mhz", "tag_id"])
    apart_khz = known["frequency_mhz"].diff().to_numpy()[1:] * 1000
    for i in np.flatnonzero(apart_khz < closest_khz - 1e-6):
        one, other = known.iloc[i], known.iloc[i + 1]
        findings.look("frequency-close", f"Tags {one['tag_id']} and {other['tag_id']} are {apart_khz[i]:.1f} kHz apart ({one['frequency_mhz']:g} and {other['frequency_mhz']:g} MHz)",
                      file=name, line=int(other["source_line"]), value=f"{one['tag_id']}, {other['tag_id']}", consequence="one may be heard in place of the other",
                      done="both marked here")


def read_beacons(path: Path, name: str, findings: Findings) -> pd.DataFrame | None:
    """The beacons (columns BEACONS but for the metres, plus source_line); rows that cannot be used are left out and told."""
    kinds = {column: kind for column, kind in BEACONS.items() if column not in ("easting_m", "northing_m", "place_id")}
    beacons = read_table(path, name, kinds, ["tag_id", "latitude", "longitude"], findings)
    if beacons is None:
        return None
    at = {"file": name}
    for i, row in beacons.iterrows():
        fault = _beacon_fault(row)
        if fault:
            findings.left_out("beacon-wrong", f"beacon {row['tag_id']!r}: {fault}", **at, line=int(row["source_line"]), value=str(row["tag_id"]),
                              consequence="one beacon less to test with", remedy="mend the row", done="row left out")
            beacons = beacons.drop(index=i)
    beacons = beacons.reset_index(drop=True)
    beacons["use"] = beacons["use"].where(beacons["use"] != "", "both")
    unknown = beacons["height_above_ground_m"].isna()
    if unknown.any():
        findings.note("beacon-height", f"{int(unknown.sum())} beacons without height_above_ground_m", **at, done="0 m assumed")
        beacons["height_above_ground_m"] = beacons["height_above_ground_m"].fillna(0.0)
    rough = beacons[beacons["position_sd_m"] >= 5]
    if len(rough):
        findings.look("beacon-rough", f"{len(rough)} beacon positions are known to {rough['position_sd_m'].max():g} m only", **at, line=int(rough["source_line"].iloc[0]),
                      value=", ".join(rough["tag_id"]), consequence="their error is part of every error measured on them", remedy="survey them again with averaged or corrected GNSS")
    return beacons


def _beacon_fault(row) -> str:
    if not row["tag_id"]:
        return "no tag_id"
    if not (abs(row["latitude"]) <= 90 and abs(row["longitude"]) <= 180):
        return f"no position in degrees (latitude {row['latitude']:g}, longitude {row['longitude']:g})"
    if row["use"] not in ("", "fit", "test", "both"):
        return f"use {row['use']!r} is none of fit, test, both or blank"
    if pd.notna(row["valid_from_utc"]) and pd.notna(row["valid_to_utc"]) and row["valid_from_utc"] >= row["valid_to_utc"]:
        return "valid_from_utc is not before valid_to_utc"
    if row["position_sd_m"] < 0:
        return f"position_sd_m {row['position_sd_m']:g} is negative"
    return ""


def place_beacons(beacons: pd.DataFrame, projection: Projection, name: str, findings: Findings) -> pd.DataFrame:
    """Beacons with metres and place_id (BEACONS): one place per tag and position, the tag's id when it stood at one place only.

    A tag that would stand at two places at one time is left out.
    """
    beacons = beacons.copy()
    beacons["easting_m"], beacons["northing_m"] = projection.forward(beacons["latitude"], beacons["longitude"])
    beacons["place_id"] = ""
    for tag, part in beacons.groupby("tag_id", sort=True):
        number = _place_numbers(part)
        beacons.loc[part.index, "place_id"] = [tag if number.max() == 1 else f"{tag}@{k}" for k in number]
        clash = _clash(part, number)
        if clash is not None:
            findings.left_out("beacon-two-places", f"beacon {tag!r} stands at two places at one time", file=name, line=int(clash), value=str(tag),
                              consequence="its true position is unknown", remedy="give each row valid_from_utc and valid_to_utc that do not overlap", done="beacon left out")
            beacons = beacons.drop(index=part.index)
    return conform(beacons, BEACONS)


def _place_numbers(part: pd.DataFrame) -> np.ndarray:
    numbers, known = [], []
    for east, north in zip(part["easting_m"], part["northing_m"]):
        near = [k for k, (e, n) in enumerate(known) if np.hypot(east - e, north - n) <= _SAME_PLACE_M]
        if not near:
            known.append((east, north))
        numbers.append(near[0] + 1 if near else len(known))
    return np.array(numbers)


def _clash(part: pd.DataFrame, number: np.ndarray):
    """Line of the first row that overlaps in time with a row of the same tag at another place, or None."""
    start = part["valid_from_utc"].fillna(pd.Timestamp("1900-01-01", tz="UTC")).tolist()
    end = part["valid_to_utc"].fillna(pd.Timestamp("2200-01-01", tz="UTC")).tolist()
    for i in range(1, len(part)):
        if any(number[i] != number[j] and start[i] < end[j] and start[j] < end[i] for j in range(i)):
            return part["source_line"].iloc[i]
    return None


def read_bearings(path: Path, name: str, findings: Findings, declination_deg: float | None) -> pd.DataFrame | None:
    """Bearings taken by hand, all from true north; magnetic ones are turned by the declination stated, else by that of their own place and date."""
    kinds = {column: kind for column, kind in BEARINGS.items() if column not in ("easting_m", "northing_m", "bearing_grid_deg")}
    rows = read_table(path, name, kinds, ["time_utc", "tag_id", "latitude", "longitude", "bearing_deg"], findings)
    if rows is None:
        return None
    rows["north_reference"] = rows["north_reference"].str.casefold().replace("", "true")
    wrong = ~rows["north_reference"].isin(("true", "magnetic"))
    for _, row in rows[wrong].iterrows():
        findings.left_out("bearing-reference", f"north_reference {row['north_reference']!r} is neither true nor magnetic", file=name, line=int(row["source_line"]),
                          value=row["north_reference"], remedy=did_you_mean(row["north_reference"], ("true", "magnetic")) or "write true or magnetic", done="bearing left out")
    rows = _with_place_and_time(rows[~wrong], "bearing_deg", name, findings)
    magnetic = rows["north_reference"] == "magnetic"
    if magnetic.any():
        turned = rows[magnetic]
        count = f" to {len(turned)} magnetic bearing{'s' if len(turned) > 1 else ''}"
        rows.loc[magnetic, "bearing_deg"] += declinations(turned["latitude"], turned["longitude"], turned["time_utc"], declination_deg, findings, added_to=count, file=name)
        rows.loc[magnetic, "north_reference"] = "true"
    return rows.assign(bearing_deg=rows["bearing_deg"] % 360)


def read_sightings(path: Path, name: str, findings: Findings) -> pd.DataFrame | None:
    """Animals or tags found by eye."""
    kinds = {column: kind for column, kind in SIGHTINGS.items() if column not in ("easting_m", "northing_m")}
    rows = read_table(path, name, kinds, ["time_utc", "tag_id", "latitude", "longitude"], findings)
    if rows is None:
        return None
    known = rows["state"].isin(("", "alive", "dead", "tag only"))
    for _, row in rows[~known].iterrows():
        findings.look("sighting-state", f"state {row['state']!r} is none of alive, dead, tag only", file=name, line=int(row["source_line"]), value=row["state"],
                      done="position used, state ignored")
    rows["state"] = rows["state"].where(known, "")
    return _with_place_and_time(rows, "latitude", name, findings)


def _with_place_and_time(rows, needed, name, findings) -> pd.DataFrame:
    good = usable = rows["time_utc"].notna() & (rows["latitude"].abs() <= 90) & (rows["longitude"].abs() <= 180) & rows[needed].notna()
    for _, row in rows[~usable].iterrows():
        findings.left_out("row-incomplete", "time, position or value missing or out of range", file=name, line=int(row["source_line"]), value=str(row["tag_id"]), done="row left out")
    return rows[good].reset_index(drop=True)
