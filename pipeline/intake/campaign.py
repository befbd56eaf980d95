"""A whole campaign read in: logs, registers and ground as tidy tables, with everything noticed on the way."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.columns import BEACONS, RECORDS, conform
from pipeline.geodesy import Projection, choose_projection, wrap_180
from pipeline.intake import flights, positions
from pipeline.intake.azimuths import azimuths
from pipeline.intake.canopy import CanopyHeights, read_canopy
from pipeline.intake.delimited import sha256_of
from pipeline.intake.findings import Findings
from pipeline.intake.ground import Terrain, read_study_area, read_terrain
from pipeline.intake.heights import height_above_ground
from pipeline.intake.log_format import LogFormat
from pipeline.intake.receiver_log import read_log
from pipeline.intake.registers import BEARINGS, SIGHTINGS, place_beacons, read_beacons, read_bearings, read_sightings, read_tags
from pipeline.intake.strengths import look_at_scales, look_at_thresholds
from pipeline.intake.tag_ids import complete_tags, one_row_per_tag, renamed_ids
from pipeline.intake.tracks import join_positions, read_tracks
from pipeline.messages import Message

FILES = ("file", "sha256", "size_kb", "encoding", "delimiter", "decimal", "rows", "rows_used", "rows_dropped", "first_utc", "last_utc", "verdict", "reason")


@dataclass(frozen=True)
class Intake:
    """Everything read in. Tables have the columns of pipeline.columns; study_area is a GeoDataFrame in the survey CRS, or None."""

    records: pd.DataFrame
    tags: pd.DataFrame
    beacons: pd.DataFrame
    bearings: pd.DataFrame
    sightings: pd.DataFrame
    study_area: object | None
    terrain: Terrain | None
    canopy: CanopyHeights | None
    projection: Projection
    files: pd.DataFrame
    changes: pd.DataFrame
    messages: list[Message]


@dataclass(frozen=True)
class _Registers:
    tags: pd.DataFrame | None
    beacons: pd.DataFrame | None
    bearings: pd.DataFrame | None
    sightings: pd.DataFrame | None
    study_area: object | None


def read_campaign(*, log_files, log_format: LogFormat, tags_file=None, beacons_file=None, bearings_file=None, sightings_file=None, study_area_file=None,
                  terrain_file=None, canopy_file=None, crs=None, base: Path = Path(".")) -> Intake:
    """Read all files of a campaign into tidy tables. Nothing is guessed silently and no file is written to.

    log_files : paths of receiver logs. log_format : how they are written. The other files are optional (None).
    crs : projected CRS in metres, None for a local one. base : folder that file names in messages are relative to.
    Raises SurveyError with every fault when the files cannot be read as declared or nothing usable is left.
    """
    findings = Findings()

    def name_of(path) -> str:
        return _name(Path(path), Path(base))

    registers = _read_registers(name_of, findings, log_format, tags=tags_file, beacons=beacons_file, bearings=bearings_file, sightings=sightings_file, area=study_area_file)
    reference = _reference(registers)
    rows, files = _read_logs(log_files, log_format, registers, reference, name_of, findings)
    findings.raise_if_blocked()
    if rows.empty:
        findings.blocked("logs-empty", "no record in any receiver log", remedy="copy the logs into the folder that receiver_log.files names")
        findings.raise_if_blocked()
    known_ids = [] if registers.tags is None and registers.beacons is None else [
        *(registers.tags["tag_id"] if registers.tags is not None else []), *(registers.beacons["tag_id"] if registers.beacons is not None else [])]
    rows = flights.with_flights(flights.without_copies(renamed_ids(rows, known_ids, "receiver logs", findings), findings), findings)
    projection = choose_projection(*_positions_known(rows, registers), crs=crs)
    rows["easting_m"], rows["northing_m"] = projection.forward(rows["latitude"], rows["longitude"])
    beacons = place_beacons(registers.beacons, projection, name_of(beacons_file), findings) if registers.beacons is not None else conform(pd.DataFrame(), BEACONS)
    terrain = read_terrain(Path(terrain_file), name_of(terrain_file), projection, _bounds(rows), findings) if terrain_file else None
    canopy = read_canopy(Path(canopy_file), name_of(canopy_file), projection, _bounds(rows), findings) if canopy_file else None
    rows = _with_geometry(rows, log_format, projection, terrain, findings)
    tags, doubtful = _tags(registers, rows, name_of(tags_file) if tags_file else "", findings)
    records = _marked(rows, log_format, doubtful, findings)
    look_at_scales(records[records["usable"]], findings)
    look_at_thresholds(records, log_format.heard_above_noise_db, findings)
    _tell_what_is_missing(registers, terrain, records, findings)
    findings.raise_if_blocked()
    return Intake(
        records=records, tags=tags, beacons=beacons, bearings=_placed(registers.bearings, projection, BEARINGS), sightings=_placed(registers.sightings, projection, SIGHTINGS),
        study_area=registers.study_area.to_crs(projection.crs) if registers.study_area is not None else None, terrain=terrain, canopy=canopy, projection=projection,
        files=_with_counts(files, records), changes=findings.change_table(), messages=findings.messages,
    )


def _name(path: Path, base: Path) -> str:
    """Name of a file for messages: relative to the campaign folder, without the folders of this machine."""
    try:
        return path.resolve().relative_to(base.resolve()).as_posix()
    except ValueError:
        return path.name


def _read_registers(name_of, findings, log_format, *, tags, beacons, bearings, sightings, area) -> _Registers:
    def read(reader, path, *more):
        return reader(Path(path), name_of(path), findings, *more) if path else None

    return _Registers(read(read_tags, tags), read(read_beacons, beacons), read(read_bearings, bearings, log_format.declination_deg), read(read_sightings, sightings),
                      read(read_study_area, area))


def _reference(registers: _Registers):
    """A position that the flights must be near: of beacons, else of the study area."""
    if registers.beacons is not None and len(registers.beacons):
        return positions.reference_place(registers.beacons["latitude"], registers.beacons["longitude"])
    if registers.study_area is not None:
        west, south, east, north = registers.study_area.total_bounds
        return positions.reference_place([south, north], [west, east])
    return None


def _read_logs(log_files, log_format: LogFormat, registers: _Registers, reference, name_of, findings: Findings):
    """Rows of all logs and the table of files; the same bytes are read once."""
    registered = [] if registers.tags is None else list(registers.tags["tag_id"])
    registered += [] if registers.beacons is None else list(registers.beacons["tag_id"])
    points = read_tracks(log_format.positions, name_of, findings) if log_format.positions else None
    parts, files, seen = [], [], {}
    for path in map(Path, log_files):
        name = name_of(path)
        entry, first_message = _file_entry(path, name), len(findings.messages)
        twin = seen.setdefault(entry["sha256"], name)
        if twin != name and entry["size_kb"]:
            findings.look("file-duplicate", f"the same bytes as {twin}", file=name, done="read once")
            findings.changed("same file under another name left out", 1, name, twin)
            files.append(entry | {"verdict": "left out", "reason": f"same bytes as {twin}"})
            continue
        rows = _read_one(path, name, log_format, registered, points, reference, entry, findings)
        if rows is None:
            stops = [message.text for message in findings.messages[first_message:] if message.severity == "stop"]
            entry |= {"verdict": "left out", "reason": stops[0] if stops else "no record"}
        else:
            parts.append(rows)
        files.append(entry)
    rows = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
    return rows, pd.DataFrame(files, columns=list(FILES))


def _file_entry(path: Path, name: str) -> dict:
    content = path.read_bytes() if path.is_file() else b""
    return {"file": name, "sha256": sha256_of(content), "size_kb": round(len(content) / 1024, 1), "encoding": "", "delimiter": "", "decimal": "", "rows": 0,
            "verdict": "used", "reason": ""}


def _read_one(path, name, log_format: LogFormat, registered, points, reference, entry, findings: Findings) -> pd.DataFrame | None:
    read = read_log(path, name, log_format, findings, registered)
    if read is None:
        return None
    entry |= {"encoding": read.encoding, "delimiter": read.delimiter, "decimal": read.decimal, "rows": read.data_lines}
    rows = flights.in_order(flights.without_clock_faults(read.rows, name, findings), name, findings)
    if rows is None or rows.empty:
        return None
    if points is not None:
        rows = join_positions(rows, points, log_format.positions, findings)
    if log_format.position_crs:
        rows = _from_crs(rows, log_format.position_crs)
    if log_format.height_unit == "ft":
        rows = rows.assign(height_m=rows["height_m"] * 0.3048)
    positions.check_place(rows, name, reference, findings)
    known = positions.usable_positions(rows["latitude"], rows["longitude"])
    return rows.assign(latitude=rows["latitude"].where(known), longitude=wrap_180(rows["longitude"].where(known)))


def _from_crs(rows: pd.DataFrame, crs: str) -> pd.DataFrame:
    """The rows with their positions turned from another CRS into WGS 84 degrees."""
    import pyproj

    turn = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
    longitude, latitude = turn.transform(rows["longitude"].to_numpy(), rows["latitude"].to_numpy())
    return rows.assign(latitude=np.where(np.isfinite(latitude), latitude, np.nan), longitude=np.where(np.isfinite(longitude), longitude, np.nan))


def _positions_known(rows: pd.DataFrame, registers: _Registers):
    """Positions to centre the projection on: each place of the receiver once, else the beacons."""
    known = rows[["latitude", "longitude"]].dropna().drop_duplicates()
    if known.empty and registers.beacons is not None:
        known = registers.beacons[["latitude", "longitude"]]
    if known.empty and registers.study_area is not None:
        west, south, east, north = registers.study_area.total_bounds
        return [south, north], [west, east]
    return (known["latitude"], known["longitude"]) if len(known) else ([0.0], [0.0])


def _bounds(rows: pd.DataFrame) -> np.ndarray:
    known = rows[["easting_m", "northing_m"]].dropna()
    if known.empty:
        return np.full(4, np.nan)
    low, high = known.quantile(0.001), known.quantile(0.999)
    return np.array([low["easting_m"], low["northing_m"], high["easting_m"], high["northing_m"]])


def _with_geometry(rows, log_format, projection, terrain, findings) -> pd.DataFrame:
    rows["height_above_ground_m"] = height_above_ground(rows, log_format, terrain, findings)
    true_deg, grid_deg = azimuths(rows, log_format, projection, findings)
    return rows.assign(antenna_azimuth_deg=true_deg, antenna_azimuth_grid_deg=grid_deg)


def _tags(registers: _Registers, rows: pd.DataFrame, name: str, findings: Findings):
    tags, doubtful = registers.tags, []
    if tags is not None and len(tags):
        tags, doubtful = one_row_per_tag(tags, rows["time_utc"].min(), rows["time_utc"].max(), name, findings)
    first = rows.drop_duplicates("tag_id")
    first_seen = {tag: (file, int(line)) for tag, file, line in zip(first["tag_id"], first["source_file"], first["source_line"])}
    return complete_tags(tags, registers.beacons, sorted(first_seen), first_seen, findings), doubtful


def _marked(rows: pd.DataFrame, log_format: LogFormat, doubtful, findings: Findings) -> pd.DataFrame:
    """RECORDS, with the reason in every row that cannot be used."""
    reason = positions.position_faults(rows, log_format.max_speed_m_per_s, findings)
    second = flights.mark_second_values(rows, findings)
    reason = reason.mask((reason == "") & second, "second value at the same time")
    reason = reason.mask((reason == "") & rows["tag_id"].isin(doubtful), "id belongs to two animals")
    threshold = rows["noise_db"] + log_format.heard_above_noise_db if log_format.heard_above_noise_db is not None else np.nan
    return conform(rows.assign(unusable_reason=reason, usable=reason == "", threshold_db=threshold), RECORDS)


def _placed(table: pd.DataFrame | None, projection: Projection, columns) -> pd.DataFrame:
    if table is None or table.empty:
        return conform(pd.DataFrame(), columns)
    easting_m, northing_m = projection.forward(table["latitude"], table["longitude"])
    placed = table.assign(easting_m=easting_m, northing_m=northing_m)
    if "bearing_deg" in placed:
        placed["bearing_grid_deg"] = (placed["bearing_deg"] - projection.convergence_deg(placed["latitude"], placed["longitude"])) % 360
    return conform(placed, columns)


def _with_counts(files: pd.DataFrame, records: pd.DataFrame) -> pd.DataFrame:
    """The table of files with what became of their rows; a line of a wide log counts once."""
    lines = records.drop_duplicates(["source_file", "source_line"])
    used = records[records["usable"]].drop_duplicates(["source_file", "source_line"]).groupby("source_file").size()
    spans = lines.groupby("source_file")["time_utc"].agg(["min", "max"])
    files = files.assign(rows_used=files["file"].map(used).fillna(0).astype("int64"), first_utc=files["file"].map(spans["min"]), last_utc=files["file"].map(spans["max"]))
    files["rows_dropped"] = files["rows"] - files["rows_used"]
    return files[list(FILES)]


def _tell_what_is_missing(registers: _Registers, terrain, records, findings: Findings) -> None:
    if registers.beacons is None or registers.beacons.empty:
        findings.look("beacons-missing", "no beacons", consequence="the error of no fix can be tested and no region can be calibrated", remedy="place tags at surveyed positions and list them in beacons.csv")
    if registers.tags is None or registers.tags.empty:
        findings.look("tags-missing", "no register of tags", consequence="no animal, species or pulse rate can be named", remedy="list the tags in tags.csv")
    if terrain is None:
        findings.look("terrain-missing", "Flat ground assumed: no terrain model", consequence="signals behind ridges are not expected to be weaker", remedy="set terrain")
    if not records["usable"].any():
        findings.blocked("records-unusable", "no record can be used", consequence="nothing can be located", remedy="see the other messages")
