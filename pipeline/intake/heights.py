"""Heights above ground of records, whatever reference they were logged over."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.intake.findings import Findings
from pipeline.intake.geoid import geoid_undulation
from pipeline.intake.height_faults import look_at_heights
from pipeline.intake.log_format import LogFormat
from pipeline.wording import printed

_ASSUMED_HEIGHT_M = 2.0
# A stated undulation that is farther than this from the model's was taken for another place, or with the wrong sign.
_SAME_GEOID_M = 5.0


def height_above_ground(rows: pd.DataFrame, log_format: LogFormat, terrain, findings: Findings) -> np.ndarray:
    """Height of the receiver above the ground below it [m], for every row.

    rows : flight_id, record, height_m, latitude, longitude, easting_m, northing_m, source_file, source_line, sorted by flight and record. terrain : Terrain, whose
    heights count from sea level, or None. Gaps are filled with the flight's median; without any height the setting, or 2 m, is taken. Each of these is told.
    Heights that cannot count from where the survey file says block the run.
    """
    logged = rows["height_m"].to_numpy(dtype=float)
    if np.isnan(logged).all():
        return np.full(len(rows), _without_heights(log_format, findings))
    if log_format.geoid_undulation_m is not None and log_format.height_reference != "ellipsoid":
        findings.note("geoid-unused", "geoid_undulation_m is set and heights do not count from the ellipsoid", value=f"{log_format.geoid_undulation_m:g}", consequence="it is not used",
                      remedy="set receiver_log.height_reference: ellipsoid if they do")
    ground = terrain.at(rows["easting_m"].to_numpy(), rows["northing_m"].to_numpy()) if terrain is not None else None
    above = logged.copy() if log_format.height_reference == "ground" else _above_ground(rows, logged, log_format, ground, findings)
    look_at_heights(rows, logged, above, ground, log_format, findings)
    return _without_gaps(rows, above, findings)


def _without_heights(log_format: LogFormat, findings: Findings) -> float:
    if log_format.receiver_height_m is not None:
        return log_format.receiver_height_m
    findings.look("height-missing", f"heights missing: {_ASSUMED_HEIGHT_M:g} m assumed", consequence="slant distances are wrong near the track",
                  remedy="map the height column, or set receiver_log.receiver_height_m", done=f"{_ASSUMED_HEIGHT_M:g} m for every record")
    return _ASSUMED_HEIGHT_M


def _above_ground(rows, logged, log_format: LogFormat, ground, findings) -> np.ndarray:
    reference = log_format.height_reference
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
    if ground is not None:
        geoid_m = _geoid(rows, log_format, findings)
        if geoid_m is not None:
            findings.changed("height over the ellipsoid to height above ground", len(rows), "ellipsoid", "ground", reversible=True)
            return logged - geoid_m - ground
    return _without_reference(rows, logged, log_format, ground, findings)


def _geoid(rows, log_format: LogFormat, findings: Findings) -> np.ndarray | None:
    """The geoid over the ellipsoid at each row [m]: as stated, else from a grid of PROJ; None where neither is there."""
    stated = log_format.geoid_undulation_m
    model = geoid_undulation(rows["latitude"], rows["longitude"])
    if stated is not None:
        if model is not None and abs(stated - np.nanmedian(model.height_m)) > _SAME_GEOID_M:
            findings.look("geoid-unlikely", f"geoid_undulation_m is {printed(stated, 'g')} m, {model.model} says {printed(np.nanmedian(model.height_m), '.1f')} m", value=f"{stated:g}",
                          consequence=f"every height would be wrong by {abs(stated - np.nanmedian(model.height_m)):.0f} m",
                          remedy="it is positive where the geoid lies above the ellipsoid: check sign and place", done="geoid_undulation_m used")
        findings.note("geoid-subtracted", f"{printed(stated, 'g')} m subtracted from heights over the ellipsoid", value=f"{stated:g}", done="as geoid_undulation_m says; heights count from sea level")
        return np.full(len(rows), float(stated))
    if model is not None:
        low, high = np.nanmin(model.height_m), np.nanmax(model.height_m)
        least, most = printed(low, ".1f"), printed(high, ".1f")
        span = least if least == most else f"{least} to {most}"
        findings.note("geoid-subtracted", f"{span} m subtracted from heights over the ellipsoid, {model.model}", value=f"{low:.1f}", done="heights count from sea level")
        return model.height_m
    return None


def _without_reference(rows, logged, log_format: LogFormat, ground, findings) -> np.ndarray:
    """Heights of which nobody knows how far above the ground they are: the stated height, else a refusal or a count from the lowest record."""
    what = "the ellipsoid" if log_format.height_reference == "ellipsoid" else "sea level"
    why = "no geoid model" if ground is not None else "no terrain model"
    if log_format.receiver_height_m is not None:
        findings.look("height-reference", f"heights are above {what} and there is {why}", consequence="errors near the track understated",
                      remedy="set terrain and heights above sea level", done=f"{log_format.receiver_height_m:g} m above ground for every record")
        return np.full(len(rows), log_format.receiver_height_m)
    if ground is not None:
        first = int(np.argmax(~np.isnan(logged)))
        findings.blocked("height-geoid", "heights are over the ellipsoid, and neither a geoid grid of PROJ nor geoid_undulation_m is there to bring them to sea level",
                         file=rows["source_file"].iloc[first], line=int(rows["source_line"].iloc[first]), value=f"{logged[first]:g}",
                         consequence="heights above ground would be wrong by tens of metres",
                         remedy="set receiver_log.geoid_undulation_m, the height of the geoid over the WGS 84 ellipsoid at the study area in metres (any geoid calculator tells it), "
                                "or receiver_log.receiver_height_m")
        return logged.copy()
    lowest = rows.groupby("flight_id")["height_m"].transform("min").to_numpy(dtype=float)
    findings.look("height-reference", f"heights are above {what} and there is {why}", consequence="errors near the track understated",
                  remedy="set terrain and heights above sea level, or receiver_log.receiver_height_m", done="counted from the lowest record of the flight")
    return logged - lowest


def _first_ground(rows, ground) -> dict:
    """Ground height below the first record with a position of each flight."""
    known = pd.Series(ground, index=rows["flight_id"].to_numpy()).dropna()
    return known.groupby(level=0).first().to_dict()


def _without_gaps(rows, above, findings) -> np.ndarray:
    gaps = np.isnan(above)
    if not gaps.any():
        return above
    median = pd.Series(above).groupby(rows["flight_id"].to_numpy()).transform("median").to_numpy()
    filled = np.where(gaps, np.where(np.isnan(median), np.nanmedian(above), median), above)
    first = int(np.argmax(gaps))
    findings.look("height-gaps", f"{int(gaps.sum()):,d} rows without a height", file=rows["source_file"].iloc[first], line=int(rows["source_line"].iloc[first]),
                  done="the median of the flight taken")
    findings.changed("missing heights filled", int(gaps.sum()), "", "median of the flight")
    return filled
