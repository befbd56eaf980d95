"""Which north the antenna azimuths count from, with declination and grid convergence kept apart."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.geodesy import Projection, central_position
from pipeline.intake.declination import LONGEST_BEYOND_YEARS, decimal_year, declination
from pipeline.messages import Message


def north_findings(track: pd.DataFrame, projection: Projection, azimuth_reference: str) -> list[Message]:
    """One note: the north of the log, the declination of place and date, the convergence of the survey CRS.

    track : TRACK table. azimuth_reference : "true" or "magnetic", as the survey file says. Nothing is said where no azimuth is known.
    """
    known = track.dropna(subset=["antenna_azimuth_deg", "latitude", "longitude"])
    if known.empty:
        return []
    added = "added to the azimuths" if azimuth_reference == "magnetic" else "not added"
    text = f"Antenna azimuths count from {azimuth_reference} north, as the survey file says; {_declination_words(known)}, {added}; {_convergence_words(known, projection)}"
    return [Message("note", "north", text, done="tables give azimuths from true north, the geometry counts from grid north")]


def _declination_words(known: pd.DataFrame) -> str:
    when = known["time_utc"].iloc[len(known) // 2]
    here = declination(*central_position(known["latitude"], known["longitude"]), decimal_year(when))
    if here.years_beyond > LONGEST_BEYOND_YEARS:
        return "no model gives the magnetic declination of this date"
    return f"the magnetic declination is {_side(here.declination_deg)} on {when:%Y-%m-%d} ({here.model})"


def _convergence_words(known: pd.DataFrame, projection: Projection) -> str:
    degrees = projection.convergence_deg(known["latitude"].to_numpy(float), known["longitude"].to_numpy(float))
    low, high = float(np.nanmin(degrees)), float(np.nanmax(degrees))
    if max(abs(low), abs(high)) < 0.05:
        return "grid north is true north to a tenth of a degree"
    return f"grid north lies {_side(low) if f'{low:.1f}' == f'{high:.1f}' else f'{_side(low)} to {_side(high)}'} of true north"


def _side(degrees: float) -> str:
    return f"{abs(degrees):.1f} degrees {'east' if degrees >= 0 else 'west'}"
