"""Antenna directions of records from true north and from grid north, whatever north they were logged from."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.geodesy import Projection, central_position, wrap_180, wrap_360
from pipeline.intake.declination import declinations
from pipeline.intake.findings import Findings
from pipeline.intake.log_format import LogFormat
from pipeline.wording import printed


def azimuths(rows: pd.DataFrame, log_format: LogFormat, projection: Projection, findings: Findings):
    """Antenna azimuth of every row from true north and from grid north [deg, 0-360], NaN where unknown.

    rows : flight_id, record, time_utc, latitude, longitude, easting_m, northing_m, antenna_azimuth_deg, source_file, source_line. Declination turns magnetic
    directions to true ones; the convergence of the projection turns true ones to the grid.
    """
    azimuth = rows["antenna_azimuth_deg"].to_numpy(dtype=float)
    if np.isnan(azimuth).all():
        findings.look("azimuth-missing", "No direction used: no antenna azimuth in the logs", consequence="the antenna counts as equal in all directions",
                      remedy="map the azimuth column if there is one")
        return azimuth, azimuth
    azimuth = _in_range(rows, _in_degrees(azimuth, log_format, findings), findings)
    azimuth = _without_constant(rows, azimuth, findings)
    azimuth = _from_true_north(rows, azimuth, log_format, findings)
    _tell_courses(rows, azimuth, findings)
    return azimuth, wrap_360(azimuth - projection.convergence_deg(rows["latitude"], rows["longitude"]))


def _from_true_north(rows, azimuth, log_format: LogFormat, findings: Findings):
    """The azimuths counted from true north; the declination is that of each flight's middle in place and time."""
    if log_format.azimuth_reference != "magnetic":
        if log_format.declination_deg is not None:
            findings.note("declination-unused", "declination_deg is set and antenna azimuths count from true north", value=f"{log_format.declination_deg:+g}",
                          consequence="it is not added to them", remedy="set receiver_log.azimuth_reference: magnetic if they count from magnetic north")
        return azimuth
    placed = rows[rows["latitude"].notna() & rows["longitude"].notna() & ~np.isnan(azimuth)]
    if placed.empty:
        return np.full(len(rows), np.nan)
    flights = [(flight, *central_position(part["latitude"], part["longitude"]), part["time_utc"].iloc[len(part) // 2]) for flight, part in placed.groupby("flight_id", sort=True)]
    names, latitudes, longitudes, times = zip(*flights)
    of_flight = dict(zip(names, declinations(latitudes, longitudes, times, log_format.declination_deg, findings)))
    for flight, degrees in of_flight.items():
        findings.changed("magnetic azimuth to true", int((~np.isnan(azimuth) & (rows["flight_id"] == flight).to_numpy()).sum()), "magnetic", f"{degrees:+.1f} deg", flight)
    # a flight without any position keeps no direction: its records cannot be used anyway
    return wrap_360(azimuth + rows["flight_id"].map(of_flight).to_numpy(dtype=float))


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
        findings.look("azimuth-outside", f"{int(outside.sum()):,d} azimuths outside 0 to 360 deg, first {printed(azimuth[first], 'g')}", file=rows["source_file"].iloc[first],
                      line=int(rows["source_line"].iloc[first]), value=f"{azimuth[first]:g}", done="treated as unknown")
        findings.changed("azimuth out of range blanked", int(outside.sum()), f"{azimuth[first]:g}", "")
        azimuth = np.where(outside, np.nan, azimuth)
    if (azimuth < 0).any():
        findings.note("azimuth-signed", f"{int((azimuth < 0).sum()):,d} azimuths from \u2212180 to 0 deg", done="360 added")
    return wrap_360(azimuth)


def _without_constant(rows, azimuth, findings):
    """Azimuth blanked in flights where it never changes although the drone turns: it was not measured."""
    first_rows = ~rows.duplicated(["flight_id", "record"]).to_numpy()
    for flight, part in rows[first_rows].groupby("flight_id", sort=True):
        values = azimuth[part.index]
        known = values[~np.isnan(values)]
        if len(known) > 20 and known.min() == known.max():
            findings.look("azimuth-constant", f"No direction used in {flight}: the azimuth is {known[0]:g} deg in all {len(known):,d} records", file=part["source_file"].iloc[0],
                          line=int(part["source_line"].iloc[0]), value=f"{known[0]:g}", consequence="the antenna counts as equal in all directions", done="treated as unknown")
            findings.changed("constant azimuth blanked", len(known), f"{known[0]:g}", "", flight)
            azimuth = np.where((rows["flight_id"] == flight).to_numpy(), np.nan, azimuth)
    return azimuth


def _tell_courses(rows, azimuth, findings) -> None:
    first_rows = ~rows.duplicated(["flight_id", "record"]).to_numpy()
    for flight, part in rows[first_rows].groupby("flight_id", sort=True):
        if (~np.isnan(azimuth[part.index])).sum() > 20:
            _tell_course(part, azimuth[part.index], flight, findings)


def _tell_course(part, values, flight, findings) -> None:
    east, north = part["easting_m"].to_numpy(), part["northing_m"].to_numpy()
    course = np.degrees(np.arctan2(np.diff(east), np.diff(north)))
    apart = np.abs(wrap_180(values[:-1] - course))
    moved = np.hypot(np.diff(east), np.diff(north)) > 5
    apart = apart[moved & ~np.isnan(apart)]
    if len(apart) > 20 and np.mean(apart < 1.0) > 0.9:
        findings.note("azimuth-course", f"Azimuth equals course in {flight}, within 1 degree in {int((apart < 1.0).sum()):,d} of {len(apart):,d} steps; is it the antenna?", file=part["source_file"].iloc[0], value=flight,
                      consequence="a column that holds the course of the aircraft says nothing about an antenna mounted across it")
