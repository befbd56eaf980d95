"""Heights above ground and antenna directions of records, whatever reference they were logged over."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.geodesy import Projection, wrap_180, wrap_360
from pipeline.intake.findings import Findings
from pipeline.intake.log_format import LogFormat

_ASSUMED_HEIGHT_M = 2.0
_HIGHEST_USUAL_M = 150.0


def height_above_ground(rows: pd.DataFrame, log_format: LogFormat, terrain, findings: Findings) -> np.ndarray:
    """Height of the receiver above the ground below it [m], for every row.

    rows : flight_id, record, height_m, easting_m, northing_m, source_file, source_line, sorted by flight and record. terrain : Terrain or None.
    Gaps are filled with the flight's median; without any height the setting, or 2 m, is taken. Each of these is told.
    """
    logged = rows["height_m"].to_numpy(dtype=float)
    if np.isnan(logged).all():
        return np.full(len(rows), _without_heights(log_format, findings))
    if log_format.height_reference == "ground":
        above = logged.copy()
    else:
        above = _above_ground(rows, logged, log_format, terrain, findings)
    _tell_odd_heights(rows, above, log_format, findings)
    return _without_gaps(rows, above, findings)


def _without_heights(log_format: LogFormat, findings: Findings) -> float:
    if log_format.receiver_height_m is not None:
        return log_format.receiver_height_m
    findings.look("height-missing", f"heights missing: {_ASSUMED_HEIGHT_M:g} m assumed", consequence="slant distances are wrong near the track",
                  remedy="map the height column, or set receiver_log.receiver_height_m", done=f"{_ASSUMED_HEIGHT_M:g} m for every record")
    return _ASSUMED_HEIGHT_M


def _above_ground(rows, logged, log_format: LogFormat, terrain, findings) -> np.ndarray:
    reference = log_format.height_reference
    ground = terrain.at(rows["easting_m"].to_numpy(), rows["northing_m"].to_numpy()) if terrain is not None else None
    if reference == "takeoff":
        if ground is None:
            findings.look("height-takeoff", "heights are above take-off and there is no terrain model", consequence="wrong by the relief between take-off and receiver",
                          remedy="set terrain", done="used as height above ground")
            return logged.copy()
        start = rows["flight_id"].map(_first_ground(rows, ground)).to_numpy(dtype=float)
        return logged + start - ground
    if ground is not None and reference == "sea_level":
        findings.changed("height above sea level to height above ground", len(rows), "sea level", "ground", reversible=True)
        return logged - ground
    what = "the ellipsoid" if reference == "ellipsoid" else "sea level"
    why = "no geoid model" if ground is not None else "no terrain model"
    if log_format.receiver_height_m is not None:
        done, above = f"{log_format.receiver_height_m:g} m above ground for every record", np.full(len(rows), log_format.receiver_height_m)
    else:
        lowest = rows.groupby("flight_id")["height_m"].transform("min").to_numpy(dtype=float)
        done, above = "counted from the lowest record of the flight", logged - lowest
    findings.look("height-reference", f"heights are above {what} and there is {why}", consequence="errors near the track understated",
                  remedy="set terrain and heights above sea level, or receiver_log.receiver_height_m", done=done)
    return above


def _first_ground(rows, ground) -> dict:
    """Ground height below the first record with a position of each flight."""
    known = pd.Series(ground, index=rows["flight_id"].to_numpy()).dropna()
    return known.groupby(level=0).first().to_dict()


def _tell_odd_heights(rows, above, log_format, findings) -> None:
    known = ~np.isnan(above)
    negative = known & (above < -5)
    if negative.any():
        first = int(np.argmax(negative))
        findings.look("height-negative", f"{int(negative.sum())} heights below the ground, lowest {np.nanmin(above):.0f} m", file=rows["source_file"].iloc[first],
                      line=int(rows["source_line"].iloc[first]), value=f"{above[first]:g}", consequence="slant distances are wrong near the track",
                      remedy="check receiver_log.height_reference and the terrain model")
    middle = float(np.median(above[known])) if known.any() else 0.0
    if middle > _HIGHEST_USUAL_M:
        findings.look("height-high", f"Heights look like feet, or are not above ground: median {middle:.0f} m", value=f"{middle:.1f}", consequence="slant distances are wrong near the track",
                      remedy="set receiver_log.height_unit: ft, or the right height_reference")
    elif known.sum() > 10 and (above[known] == 0).all():
        findings.look("height-zero", "all heights are 0", consequence="slant distances are wrong near the track", remedy="set receiver_log.receiver_height_m, or remove the height column")


def _without_gaps(rows, above, findings) -> np.ndarray:
    gaps = np.isnan(above)
    if not gaps.any():
        return above
    median = pd.Series(above).groupby(rows["flight_id"].to_numpy()).transform("median").to_numpy()
    filled = np.where(gaps, np.where(np.isnan(median), np.nanmedian(above), median), above)
    first = int(np.argmax(gaps))
    findings.look("height-gaps", f"{int(gaps.sum())} rows without a height", file=rows["source_file"].iloc[first], line=int(rows["source_line"].iloc[first]),
                  done="the median of the flight taken")
    findings.changed("missing heights filled", int(gaps.sum()), "", "median of the flight")
    return filled


def azimuths(rows: pd.DataFrame, log_format: LogFormat, projection: Projection, findings: Findings):
    """Antenna azimuth of every row from true north and from grid north [deg, 0-360], NaN where unknown."""
    azimuth = rows["antenna_azimuth_deg"].to_numpy(dtype=float)
    if np.isnan(azimuth).all():
        findings.look("azimuth-missing", "No direction used: no antenna azimuth in the logs", consequence="the antenna counts as equal in all directions",
                      remedy="map the azimuth column if there is one")
        return azimuth, azimuth
    azimuth = _in_range(rows, _in_degrees(azimuth, log_format, findings), findings)
    azimuth = _without_constant(rows, azimuth, findings)
    if log_format.azimuth_reference == "magnetic":
        if log_format.declination_deg is None:
            findings.look("declination-missing", "azimuths are magnetic and declination_deg is not set", consequence="every direction is wrong by the declination",
                          remedy="set receiver_log.declination_deg (east positive)", done="taken as true")
        else:
            way = "E" if log_format.declination_deg >= 0 else "W"
            findings.note("declination-added", f"{abs(log_format.declination_deg):g} deg {way} added", done="azimuths count from true north")
            findings.changed("magnetic azimuth to true", int((~np.isnan(azimuth)).sum()), "magnetic", f"{log_format.declination_deg:+g} deg")
            azimuth = wrap_360(azimuth + log_format.declination_deg)
    return azimuth, wrap_360(azimuth - projection.convergence_deg(rows["latitude"], rows["longitude"]))


def _in_degrees(azimuth, log_format, findings):
    known = azimuth[~np.isnan(azimuth)]
    if log_format.azimuth_unit == "rad":
        return np.degrees(azimuth)
    if log_format.azimuth_unit is None and len(known) > 20 and np.abs(known).max() <= 6.3 and len(np.unique(known)) > 10:
        findings.blocked("azimuth-radians", f"azimuths lie between {known.min():g} and {known.max():g}; are they radians?", value=f"{known.max():g}",
                         consequence="every direction would be wrong", remedy="set receiver_log.azimuth_unit: rad (or deg, and leave out flights that never turned)")
    return azimuth


def _in_range(rows, azimuth, findings):
    outside = (azimuth < -180) | (azimuth > 360)
    if outside.any():
        first = int(np.argmax(outside))
        findings.look("azimuth-outside", f"{int(outside.sum())} azimuths outside 0 to 360 deg, first {azimuth[first]:g}", file=rows["source_file"].iloc[first],
                      line=int(rows["source_line"].iloc[first]), value=f"{azimuth[first]:g}", done="treated as unknown")
        findings.changed("azimuth out of range blanked", int(outside.sum()), f"{azimuth[first]:g}", "")
        azimuth = np.where(outside, np.nan, azimuth)
    if (azimuth < 0).any():
        findings.note("azimuth-signed", f"{int((azimuth < 0).sum())} azimuths from -180 to 0 deg", done="360 added")
    return wrap_360(azimuth)


def _without_constant(rows, azimuth, findings):
    """Azimuth blanked in flights where it never changes although the drone turns: it was not measured."""
    first_rows = ~rows.duplicated(["flight_id", "record"]).to_numpy()
    for flight, part in rows[first_rows].groupby("flight_id", sort=True):
        values = azimuth[part.index]
        known = values[~np.isnan(values)]
        if len(known) > 20 and known.min() == known.max():
            findings.look("azimuth-constant", f"No direction used in {flight}: the azimuth is {known[0]:g} deg in all {len(known)} records", file=part["source_file"].iloc[0],
                          line=int(part["source_line"].iloc[0]), value=f"{known[0]:g}", consequence="the antenna counts as equal in all directions", done="treated as unknown")
            findings.changed("constant azimuth blanked", len(known), f"{known[0]:g}", "", flight)
            azimuth = np.where((rows["flight_id"] == flight).to_numpy(), np.nan, azimuth)
        elif len(known) > 20:
            _tell_course(part, values, flight, findings)
    return azimuth


def _tell_course(part, values, flight, findings) -> None:
    east, north = part["easting_m"].to_numpy(), part["northing_m"].to_numpy()
    course = np.degrees(np.arctan2(np.diff(east), np.diff(north)))
    apart = np.abs(wrap_180(values[:-1] - course))
    moved = np.hypot(np.diff(east), np.diff(north)) > 5
    apart = apart[moved & ~np.isnan(apart)]
    if len(apart) > 20 and np.mean(apart < 1.0) > 0.9:
        findings.note("azimuth-course", f"Azimuth equals course in {flight}; is it the antenna?", file=part["source_file"].iloc[0], value=flight,
                      consequence="a column that holds the course of the aircraft says nothing about an antenna mounted across it")
