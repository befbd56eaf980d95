"""Positions that cannot be true: missing, frozen, jumping, swapped, in metres, on the wrong side of the world."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.geodesy import central_position, distance_azimuth, written_uncertainty_m
from pipeline.intake.findings import Findings
from pipeline.intake.numbers import written_step_deg
from pipeline.wording import two_figures

_NEAR_KM = 100.0
_FROZEN_RECORDS = 3
_FROZEN_S = 15.0
_COARSE_M = 5.0


def check_place(rows: pd.DataFrame, name: str, reference, findings: Findings) -> None:
    """Block the run when the positions of a file as a whole cannot be latitudes and longitudes of the study area.

    reference : (latitudes, longitudes) of beacons and study area, or None. Only said, nothing is turned round silently.
    """
    known = usable_positions(rows["latitude"], rows["longitude"], check_range=False)
    if not known.any():
        return
    latitude, longitude = rows["latitude"][known], rows["longitude"][known]
    line = int(rows["source_line"][known].iloc[0])
    example = f"{latitude.iloc[0]:g}, {longitude.iloc[0]:g}"
    if max(latitude.abs().median(), longitude.abs().median()) > 360:
        findings.blocked("position-metres", "Values look like UTM; give zone and hemisphere", file=name, line=line, value=example, consequence="no record can be placed",
                         remedy="set receiver_log.position_crs, for example EPSG:32632 (longitude column = easting)")
        return
    _check_against(float(latitude.median()), float(longitude.median()), reference, name, line, example, findings)


def _check_against(latitude, longitude, reference, name, line, example, findings) -> None:
    def distance_km(at_latitude, at_longitude):
        if abs(at_latitude) > 90 or reference is None:
            return np.inf
        return distance_azimuth(at_latitude, at_longitude, *reference)[0] / 1000

    place = {"file": name, "line": line, "value": example}
    away_km = distance_km(latitude, longitude)
    if reference is None:
        if abs(latitude) > 90:
            findings.blocked("position-swapped", f"latitude {latitude:g} is beyond 90 degrees", **place, consequence="no record can be placed",
                             remedy="swap the two columns: receiver_log.columns: {latitude: ..., longitude: ...}")
        return
    if away_km <= _NEAR_KM:
        return
    if distance_km(longitude, latitude) <= _NEAR_KM:
        findings.blocked("position-swapped", "Swapping latitude and longitude puts points inside the study area; confirm", **place, consequence="no record can be placed",
                         remedy="swap the two columns: receiver_log.columns: {latitude: ..., longitude: ...}")
        return
    mirrored = [(word, at) for word, at in (("longitude", (latitude, -longitude)), ("latitude", (-latitude, longitude)), ("both", (-latitude, -longitude)))
                if distance_km(*at) <= _NEAR_KM]
    far = f"Points are {away_km:,.0f} km from study area and beacons".replace(",", " ")
    if mirrored:
        findings.blocked("position-sign", f"{far}; with a minus sign on {mirrored[0][0]} they are there", **place, consequence="no record can be placed",
                         remedy="mend the sign in a copy of the log, or name the hemisphere with the number")
    else:
        findings.look("position-far", far, **place, remedy="check beacons.csv, study_area and the position columns")


def look_at_precision(latitude_cells: pd.Series, longitude_cells: pd.Series, latitudes, *, decimal: str, name: str, line: int, findings: Findings) -> None:
    """Told when the positions of a file are written so coarsely that rounding alone moves a place by 5 m or more.

    latitude_cells, longitude_cells : cells as written. latitudes : their values [deg]. Latitude and longitude count as written alike: the finer of both columns tells.
    """
    known = np.asarray(latitudes, dtype=float)
    known = known[np.abs(known) <= 90]
    steps = [written_step_deg(cells, decimal=decimal) for cells in (latitude_cells, longitude_cells)]
    if not len(known) or np.isnan(steps).all():
        return
    step_deg = float(np.nanmin(steps))
    away_m = 0.5 * float(written_uncertainty_m(np.median(known), step_deg))
    if away_m >= _COARSE_M:
        findings.look("position-coarse", f"positions are written in steps of {step_deg:.2g} deg: a place may lie {two_figures(away_m)} m from what is written", file=name, line=line,
                      value=f"{latitude_cells.iloc[0]}, {longitude_cells.iloc[0]}", consequence="nothing can be placed better than that", remedy="export positions with six decimals or more")


def usable_positions(latitude, longitude, check_range: bool = True) -> np.ndarray:
    """A mask of positions that exist: not blank, not 0/0, within the range of degrees."""
    latitude, longitude = np.asarray(latitude, dtype=float), np.asarray(longitude, dtype=float)
    known = np.isfinite(latitude) & np.isfinite(longitude) & ~((np.abs(latitude) < 1e-6) & (np.abs(longitude) < 1e-6))
    return known & (np.abs(latitude) <= 90) & (np.abs(longitude) <= 360) if check_range else known


def reference_place(latitudes, longitudes):
    """Median position of the known places, or None without any."""
    try:
        return central_position(latitudes, longitudes)
    except ValueError:
        return None


def position_faults(rows: pd.DataFrame, max_speed_m_per_s: float, findings: Findings) -> pd.Series:
    """Reason why the position of each row cannot be used, "" where it can.

    rows : flight_id, record, time_utc, easting_m, northing_m (NaN without a position), source_file, source_line; sorted by flight and time.
    """
    reasons = np.full(len(rows), "", dtype=object)
    reasons[rows["easting_m"].isna().to_numpy()] = "no position"
    first_rows = ~rows.duplicated(["flight_id", "record"])
    for flight, part in rows[first_rows].groupby("flight_id", sort=True):
        lines = _Lines(rows, flight)
        _tell_missing(part, flight, lines, findings)
        track = part[part["easting_m"].notna()]
        if len(track) < 3:
            continue
        bad = _frozen(track, flight, lines, findings)
        bad.update(_jumps(track[~track["record"].isin(bad)], flight, max_speed_m_per_s, lines, findings))
        if bad:
            own = (rows["flight_id"] == flight).to_numpy() & (reasons == "")
            reasons[own] = rows["record"][own].map(bad).fillna("")
    return pd.Series(reasons, index=rows.index)


class _Lines:
    """Rows of the log that the records of a flight fill: one for each tag listened to. The table of changes counts rows, whatever the rule."""

    def __init__(self, rows: pd.DataFrame, flight: str):
        self._counts = rows.loc[rows["flight_id"] == flight, "record"].value_counts()

    def of(self, records) -> int:
        """How many rows these records fill together."""
        return int(self._counts.reindex(records).sum())


def _tell_missing(part: pd.DataFrame, flight: str, lines: _Lines, findings: Findings) -> None:
    lost = part["easting_m"].isna()
    if lost.any():
        first = part[lost].iloc[0]
        findings.look("position-missing", f"{int(lost.sum()):,d} records of {len(part):,d} of flight {flight} without position", file=first["source_file"], line=int(first["source_line"]),
                      value=flight, consequence="not effort, and not used for location", done="records kept, marked unusable")
        findings.changed("records without a position marked", lines.of(part.loc[lost, "record"]), "used", "not used", flight)


def _steps(track: pd.DataFrame):
    east, north = track["easting_m"].to_numpy(), track["northing_m"].to_numpy()
    seconds = (track["time_utc"] - track["time_utc"].iloc[0]).dt.total_seconds().to_numpy()
    return east, north, seconds


def _frozen(track: pd.DataFrame, flight: str, lines: _Lines, findings: Findings) -> dict[int, str]:
    """Records whose position stood still while the drone flew on: the step that ends the stand is longer than any flight speed explains."""
    east, north, seconds = _steps(track)
    still = np.r_[False, (np.diff(east) == 0) & (np.diff(north) == 0)]
    if not still.any():
        return {}
    step_m, step_s = np.hypot(np.diff(east), np.diff(north)), np.diff(seconds)
    moving = (step_m > 0) & (step_s > 0)
    speed = float(np.median(step_m[moving] / step_s[moving])) if moving.any() else 0.0
    edges = np.flatnonzero(np.diff(np.r_[0, still.astype(int), 0]))
    bad, records = {}, track["record"].to_numpy()
    for start, end in zip(edges[::2], edges[1::2]):
        # rows start-1 .. end-1 share one position; row end is the first that differs
        stood_s = seconds[end - 1] - seconds[start - 1]
        if end == len(east) or end - start + 1 < _FROZEN_RECORDS or stood_s < _FROZEN_S:
            continue
        away_m, away_s = step_m[end - 1], step_s[end - 1]
        if away_m > 30 and away_m > 2.5 * speed * max(away_s, 1.0):
            pace = away_m / (stood_s + away_s)
            text = f"Position did not change for {stood_s:.0f} s at {pace:.0f} m/s"
            row = track.iloc[start]
            findings.look("position-frozen", text, file=row["source_file"], line=int(row["source_line"]), value=flight, consequence="the records lie at a wrong place",
                          done=f"{end - start:,d} records kept, marked unusable")
            findings.changed("records with a frozen position marked", lines.of(records[start:end]), "used", "not used", flight)
            bad.update({int(record): "position frozen" for record in records[start:end]})
    return bad


def _jumps(track: pd.DataFrame, flight: str, max_speed_m_per_s: float, lines: _Lines, findings: Findings) -> dict[int, str]:
    """Records off the track: no allowed speed reaches them from the trusted positions before and after."""
    if len(track) < 3:
        return {}
    east, north, seconds = _steps(track)
    # one second is allowed for the resolution of the clock
    too_fast = np.hypot(np.diff(east), np.diff(north)) > max_speed_m_per_s * (np.diff(seconds) + 1)
    if not too_fast.any():
        return {}
    anchor = int(np.argmin(np.hypot(east - np.median(east), north - np.median(north))))
    off = _off_track(east, north, seconds, anchor, max_speed_m_per_s)
    if not off:
        return {}
    first = track.iloc[off[0]]
    findings.look("position-jump", f"{len(off)} position{'s' if len(off) > 1 else ''} faster than {max_speed_m_per_s:g} m/s from the track", file=first["source_file"],
                  line=int(first["source_line"]), value=flight, consequence="the position is wrong", done="records kept, marked unusable")
    findings.changed("records with a jumping position marked", lines.of(track["record"].to_numpy()[off]), "used", "not used", flight)
    return {int(record): "position jump" for record in track["record"].to_numpy()[off]}


def _off_track(east, north, seconds, anchor: int, max_speed_m_per_s: float) -> list[int]:
    """Indices that cannot be reached from the last trusted position, going both ways from the anchor."""
    off = []
    for path in (range(anchor + 1, len(east)), range(anchor - 1, -1, -1)):
        trusted = anchor
        for i in path:
            reach_m = max_speed_m_per_s * (abs(seconds[i] - seconds[trusted]) + 1)
            if np.hypot(east[i] - east[trusted], north[i] - north[trusted]) > reach_m:
                off.append(i)
            else:
                trusted = i
    return sorted(off)
