"""Heights that cannot be what the survey file calls them: below ground, in feet, above sea level or take-off called above ground.

The ground model is what tells them apart. A drone holds its height above ground, or its height above sea level; over ground that rises and falls the three
series (logged, logged less ground, logged plus ground) then show which one it held.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.intake.findings import Findings
from pipeline.intake.log_format import LogFormat
from pipeline.wording import printed

_BELOW_GROUND_M = -5.0
# Shapes are read off flights with at least this many records over ground with at least this relief, 10th to 90th percentile.
_RECORDS_LEAST, _RELIEF_LEAST_M, _RELIEF_LEVEL_M = 20, 20.0, 50.0
# Heights follow the ground when less of the relief than this is left in them once the ground is taken off.
_SHARE_LEFT = 0.25
_CONSTANT_M = 1.0
# Times the allowed height: above the first a median is odd, above the second no drone was flown like that.
_ODD, _IMPOSSIBLE = 1.25, 3.0
_WRONG = "slant distances, and with them every position near the track, would be wrong"


@dataclass(frozen=True)
class Flown:
    """The heights of one flight at its records.

    logged_m, above_m, ground_m : as logged, above ground as the survey file has it, ground below; records with all three.
    """

    flight_id: str
    file: str
    line: int
    logged_m: np.ndarray
    above_m: np.ndarray
    ground_m: np.ndarray

    @property
    def relief_m(self) -> float:
        """How much the ground below rises and falls, 10th to 90th percentile."""
        return _spread(self.ground_m)

    @property
    def follows_ground(self) -> bool:
        """Whether the logged heights rise and fall with the ground, metre for metre."""
        left = _spread(self.logged_m - self.ground_m)
        return self.relief_m >= _RELIEF_LEAST_M and left < _SHARE_LEFT * min(self.relief_m, _spread(self.logged_m))

    @property
    def mirrors_ground(self) -> bool:
        """Whether the heights above ground fall as the ground rises, metre for metre: the aircraft flew level."""
        left = _spread(self.above_m + self.ground_m)
        return self.relief_m >= _RELIEF_LEVEL_M and left < _SHARE_LEFT * min(self.relief_m, _spread(self.above_m))

    @property
    def constant_over_relief(self) -> bool:
        """Whether the logged heights are the same to the metre over ground that rises by 50 m or more."""
        return self.relief_m >= _RELIEF_LEVEL_M and _spread(self.logged_m) <= _CONSTANT_M


def _spread(values: np.ndarray) -> float:
    """10th to 90th percentile: climb and descent at the ends of a flight do not count."""
    low, high = np.percentile(values, [10, 90])
    return float(high - low)


def look_at_heights(rows: pd.DataFrame, logged: np.ndarray, above: np.ndarray, ground, log_format: LogFormat, findings: Findings) -> None:
    """Tell of heights that cannot be, flight by flight; block the run where they plainly count from elsewhere than the survey file says.

    rows : flight_id, record, source_file, source_line. logged, above : height as logged and above ground [m]. ground : ground height below each row [m], or None without a terrain model.
    """
    blocked = False
    for flown in _flights(rows, logged, above, ground):
        blocked |= _sea_level_called_ground(flown, log_format, findings) if log_format.height_reference == "ground" else _ground_called_sea_level(flown, log_format, findings)
        if not blocked:
            _tell_level(flown, log_format, findings)
    if not blocked:
        _tell_below_ground(rows, above, findings)
        _tell_odd_median(above, log_format, findings)


def _flights(rows, logged, above, ground) -> list[Flown]:
    """The flights with enough records over known ground."""
    if ground is None:
        return []
    known = ~np.isnan(logged) & ~np.isnan(above) & ~np.isnan(ground) & ~rows.duplicated(["flight_id", "record"]).to_numpy()
    table = pd.DataFrame({"logged": logged, "above": above, "ground": ground}, index=rows.index)[known]
    flights = []
    for flight, part in table.groupby(rows["flight_id"][known], sort=True):
        if len(part) >= _RECORDS_LEAST:
            # the middle record stands for the flight: take-off and landing are at its ends
            row = rows.loc[part.index[len(part) // 2]]
            flights.append(Flown(str(flight), row["source_file"], int(row["source_line"]), *(part[name].to_numpy() for name in ("logged", "above", "ground"))))
    return flights


def _sea_level_called_ground(flown: Flown, log_format: LogFormat, findings: Findings) -> bool:
    """Heights called above ground that count from sea level or another fixed level; True when the run is blocked for it."""
    median = float(np.median(flown.logged_m))
    low, middle, high = np.percentile(flown.logged_m - flown.ground_m, [10, 50, 90])
    would_fit = low > _BELOW_GROUND_M and middle <= _ODD * log_format.height_limit_m
    fixed = "sea level" if would_fit else "take-off or another fixed level"
    reference = "sea_level" if would_fit else "takeoff"
    place = {"file": flown.file, "line": flown.line, "value": f"{median:.0f}", "consequence": _WRONG}
    if not flown.follows_ground and not (would_fit and median > _IMPOSSIBLE * log_format.height_limit_m):
        return False
    shape = f", rising and falling with the ground, which spans {flown.relief_m:.0f} m" if flown.follows_ground else ""
    less = f"; less the ground below, {low:.0f} to {high:.0f} m" if would_fit else ""
    text = f"heights of {flown.flight_id} are called above ground and look like heights above {fixed}: median {median:.0f} m{shape}{less}"
    remedy = f"set receiver_log.height_reference: {reference}, or, if the flights were that high above ground, receiver_log.height_limit_m"
    if median > log_format.height_limit_m:
        findings.blocked("height-not-above-ground", text, remedy=remedy, **place)
        return True
    findings.look("height-not-above-ground", text, remedy=f"check one height by hand, then set receiver_log.height_reference: {reference} if it is so", done="used as height above ground", **place)
    return False


def _ground_called_sea_level(flown: Flown, log_format: LogFormat, findings: Findings) -> bool:
    """Heights called above sea level or the ellipsoid that lie below the ground and would fit as heights above it; True when the run is blocked for it."""
    median, above = float(np.median(flown.logged_m)), float(np.median(flown.above_m))
    if log_format.height_reference == "takeoff" or above >= _BELOW_GROUND_M or not 0 <= median <= _ODD * log_format.height_limit_m:
        return False
    what = "the ellipsoid" if log_format.height_reference == "ellipsoid" else "sea level"
    findings.blocked("height-not-above-sea", f"heights of {flown.flight_id} are called above {what} and lie below the ground: median {median:,.0f} m, which is {-above:,.0f} m below it",
                     file=flown.file, line=flown.line, value=f"{median:.0f}", consequence=_WRONG,
                     remedy="set receiver_log.height_reference: ground, or takeoff if they count from the take-off place")
    return True


def _tell_level(flown: Flown, log_format: LogFormat, findings: Findings) -> None:
    """Flights at a constant height above sea level over rising ground, and heights so constant that they were one."""
    place = {"file": flown.file, "line": flown.line}
    if flown.mirrors_ground:
        findings.note("height-level-flight", f"flight {flown.flight_id} was flown level, {np.median(flown.above_m + flown.ground_m):,.0f} m above sea level: "
                      f"{flown.above_m.min():.0f} to {flown.above_m.max():.0f} m above ground that spans {flown.relief_m:.0f} m", **place, value=f"{flown.above_m.min():.0f}",
                      consequence="the hearing range changes along the track", remedy="fly at a constant height above ground")
    elif log_format.height_reference == "ground" and flown.constant_over_relief:
        # had the aircraft flown level from the ground below its first record
        level = flown.logged_m + flown.ground_m[0] - flown.ground_m
        if np.percentile(level, 2) > _BELOW_GROUND_M:
            height = f"{np.median(flown.logged_m):.0f}"
            findings.look("height-constant", f"heights above ground of {flown.flight_id} are the same to the metre ({height} m) over ground that spans {flown.relief_m:.0f} m",
                          **place, value=height,
                          consequence=f"if it was flown level, at a constant height above take-off, it was {max(level.min(), 0):.0f} to {level.max():.0f} m above ground",
                          remedy="set receiver_log.height_reference: takeoff if the aircraft did not follow the terrain", done="used as height above ground")


def _tell_below_ground(rows, above, findings) -> None:
    negative = ~np.isnan(above) & (above < _BELOW_GROUND_M)
    if negative.any():
        first, count = int(np.argmax(negative)), int(negative.sum())
        findings.look("height-negative", f"{count:,d} height{'s' if count > 1 else ''} below the ground, lowest {printed(np.nanmin(above))} m", file=rows["source_file"].iloc[first],
                      line=int(rows["source_line"].iloc[first]), value=f"{above[first]:g}", consequence="slant distances are wrong near the track",
                      remedy="check receiver_log.height_reference and the terrain model")


def _tell_odd_median(above, log_format: LogFormat, findings) -> None:
    known = ~np.isnan(above)
    middle = float(np.median(above[known])) if known.any() else 0.0
    if middle > _ODD * log_format.height_limit_m:
        findings.look("height-high", f"Heights look like feet, or are not above ground: median {middle:.0f} m", value=f"{middle:.1f}", consequence="slant distances are wrong near the track",
                      remedy="set receiver_log.height_unit: ft, the right height_reference, or, if the flights were that high, height_limit_m")
    elif known.sum() > 10 and (above[known] == 0).all():
        findings.look("height-zero", "all heights are 0", consequence="slant distances are wrong near the track", remedy="set receiver_log.receiver_height_m, or remove the height column")
