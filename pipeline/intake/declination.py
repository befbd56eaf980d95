"""Where a compass points: magnetic declination from the World Magnetic Model, or as stated, for places and times.

Declination turns magnetic north into true north. Grid convergence, which turns true north into grid north, belongs to the projection
(pipeline.geodesy) and is never part of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

from pipeline.geodesy import position_text, wrap_180
from pipeline.intake.findings import Findings

_EPOCHS = (2010, 2015, 2020, 2025)
_VALID_YEARS = 5.0
# A model is carried on for as long again as it is valid, and said to be; the field drifts on too freely after that.
LONGEST_BEYOND_YEARS = 5.0
# Within these the technical report of the model calls compasses unreliable, or asks for caution.
_NO_COMPASS_NT, _CAUTION_NT = 2000.0, 6000.0
# Local anomalies are seldom larger (common practice, no source): what differs by more was mistyped, most often in sign.
_LARGEST_ANOMALY_DEG = 3.0


@dataclass(frozen=True)
class Declination:
    """Declination at one place and time.

    declination_deg : east positive. model : its name, "World Magnetic Model 2025". horizontal_nt : the part of the field that turns a compass.
    years_beyond : how far the date lies outside the model's validity, 0 within it.
    """

    declination_deg: float
    model: str
    horizontal_nt: float
    years_beyond: float

    @property
    def valid_from_to(self) -> str:
        """The years for which the model was made."""
        epoch = int(self.model[-4:])
        return f"{epoch} to {epoch + int(_VALID_YEARS)}"


@lru_cache(maxsize=len(_EPOCHS))
def _model(epoch: int):
    from pygeomag import GeoMag

    return GeoMag(base_year=epoch)


def decimal_year(when: pd.Timestamp) -> float:
    """A time as a year with its fraction: 2027.5 is the middle of 2027."""
    start, end = (pd.Timestamp(year, 1, 1, tz=when.tz) for year in (when.year, when.year + 1))
    return when.year + (when - start) / (end - start)


def declination(latitude: float, longitude: float, year: float, height_km: float = 0.0) -> Declination:
    """Magnetic declination by the World Magnetic Model in force in a year, or by the nearest one.

    latitude, longitude : WGS 84 degrees. year : decimal. height_km : over the ellipsoid; a kilometre changes it by about 0.005 deg at 80 N, so that sea level serves.

    References
    ----------
    NOAA/NCEI and British Geological Survey, World Magnetic Model; coefficients and spherical harmonics from pygeomag (2010, 2015v2, 2020, 2025).
    """
    epoch = max((known for known in _EPOCHS if known <= year), default=_EPOCHS[0])
    field = _model(epoch).calculate(glat=float(latitude), glon=float(wrap_180(longitude)), alt=height_km, time=year, allow_date_outside_lifespan=True)
    beyond = max(epoch - year, year - (epoch + _VALID_YEARS), 0.0)
    return Declination(float(field.d), f"World Magnetic Model {epoch}", float(field.h), float(beyond))


def declinations(latitude, longitude, when, stated_deg: float | None, findings: Findings, *, added_to: str = "", file: str = "") -> np.ndarray:
    """Declination at each of some places and times [deg, east positive], and what is said about it.

    latitude, longitude, when : sequences of equal length, no blanks. stated_deg : the user's own value, which goes before the model's; None when there is none.
    added_to : what it is added to, for the message. NaN, and the run blocked, where no model reaches the date or no compass works.
    """
    places = list(zip(latitude, longitude, when))
    found = [declination(at, along, decimal_year(time)) for at, along, time in places]
    if not found:
        return np.zeros(0)
    where = _where(places)
    if stated_deg is not None:
        _compare(stated_deg, found, where, file, findings)
        findings.note("declination-added", f"{direction_text(stated_deg)} added{added_to}", file=file, value=f"{stated_deg:+g}", done="as declination_deg says; directions count from true north")
        return np.full(len(places), float(stated_deg))
    usable = _usable(found, where, file, findings)
    degrees = np.array([each.declination_deg for each in found])
    models = ", ".join(dict.fromkeys(each.model for each in found))
    findings.note("declination-added", f"{_range_text(degrees)} added{added_to}, {models}, {where}", file=file, value=f"{degrees.mean():+.1f}", done="directions count from true north")
    return degrees if usable else np.full(len(places), np.nan)


def direction_text(degrees: float) -> str:
    """A declination in words, "11.3 deg E"."""
    return f"{abs(degrees):g} deg {'E' if degrees >= 0 else 'W'}"


def _range_text(degrees: np.ndarray) -> str:
    low, high = (round(float(value), 1) + 0.0 for value in (degrees.min(), degrees.max()))
    if low == high:
        return direction_text(low)
    if low * high >= 0:
        near, far = sorted((abs(low), abs(high)))
        return f"{near:g} to {far:g} deg {'E' if high > 0 else 'W'}"
    return f"{direction_text(low)} to {direction_text(high)}"


def _where(places) -> str:
    """Date and place in words; of several places the middle one, of several dates the first and the last."""
    days = sorted({f"{time:%Y-%m-%d}" for _, _, time in places})
    latitude, longitude, _ = places[len(places) // 2]
    return f"{days[0]}{f' to {days[-1]}' if len(days) > 1 else ''}, {position_text(latitude, longitude)}"


def _compare(stated_deg: float, found, where: str, file: str, findings: Findings) -> None:
    """Told when the stated value cannot be that of the place: most often its sign is wrong."""
    middle = found[len(found) // 2]
    apart = abs(float(wrap_180(stated_deg - middle.declination_deg)))
    if apart <= _LARGEST_ANOMALY_DEG or middle.years_beyond > LONGEST_BEYOND_YEARS or middle.horizontal_nt < _CAUTION_NT:
        return
    mirrored = abs(float(wrap_180(-stated_deg - middle.declination_deg))) <= _LARGEST_ANOMALY_DEG
    findings.look("declination-unlikely", f"declination_deg says {direction_text(stated_deg)}, the {middle.model} {direction_text(round(middle.declination_deg, 1))} ({where})", file=file,
                  value=f"{stated_deg:+g}", consequence=f"every direction would be wrong by {apart:.0f} deg",
                  remedy="it counts east positive: change its sign" if mirrored else "mend it, or leave it out and the model's is used", done="declination_deg used")


def _usable(found, where: str, file: str, findings: Findings) -> bool:
    """Whether the model may be used for the dates and places; what speaks against it is told."""
    beyond = max(found, key=lambda each: each.years_beyond)
    weakest = min(found, key=lambda each: each.horizontal_nt)
    remedy = "set receiver_log.declination_deg (east positive) for the date and place"
    if beyond.years_beyond > LONGEST_BEYOND_YEARS:
        findings.blocked("declination-unknown", f"no World Magnetic Model at hand for the date ({where}); the nearest, of {beyond.model[-4:]}, is valid {beyond.valid_from_to}", file=file,
                         consequence="every direction would be wrong by the declination", remedy=remedy)
        return False
    if weakest.horizontal_nt < _NO_COMPASS_NT:
        findings.blocked("declination-pole", f"no compass works this near the magnetic pole ({where}; horizontal field {weakest.horizontal_nt:.0f} nT)", file=file,
                         consequence="magnetic directions mean nothing here", remedy="leave the directions out, or " + remedy)
        return False
    if beyond.years_beyond > 0:
        findings.look("declination-outdated", f"the date lies {beyond.years_beyond:.1f} years outside the validity of the {beyond.model} ({beyond.valid_from_to}; {where})", file=file,
                      consequence="the error of the declination grows with every year beyond", remedy=remedy, done="the model carried on")
    if weakest.horizontal_nt < _CAUTION_NT:
        findings.look("declination-weak", f"compasses are poor near the magnetic pole ({where}; horizontal field {weakest.horizontal_nt:.0f} nT)", file=file,
                      consequence="directions may be wrong by several degrees", remedy="check some directions against a known line", done="the model's declination added")
    return True
