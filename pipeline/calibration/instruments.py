"""A quick look at clocks and antenna on all beacons, before anything is located: what the quality check reports.

Nothing found here is used later. The localisation estimates clocks and bias anew, for each beacon without its own records.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from pipeline.calibration.held_out import known_tags
from pipeline.quality import saturation_db
from pipeline.radio import AZIMUTH_LAG, DRIFT, LAG, Corrections, Estimate, KnownTag, Timing, estimate_timing, fit_leaving_out, search_timing

# The first climb takes one record in so many, the last steps take all.
_THINNED = 3
# An antenna that turns as fast as this at the median tells its azimuth's lag from a bias of the azimuth; one that turns farther between two records cannot be followed.
FAST_TURN_DEG_PER_S, FARTHEST_TURN_DEG = 5.0, 90.0


@dataclass(frozen=True)
class Instruments:
    """What all beacons say of the instruments.

    lags, drifts, azimuth_lags : flight_id -> Estimate. lags_beside : the lag of a flight whose azimuth's own lag was estimated beside it. bias : of the azimuths of all flights; None where no azimuth is known.
    beacons : flight_id -> beacons heard in it. turning : flight_id -> degrees per second at the median; blank where no azimuth is known.
    """

    lags: dict[str, Estimate] = field(default_factory=dict)
    drifts: dict[str, Estimate] = field(default_factory=dict)
    azimuth_lags: dict[str, Estimate] = field(default_factory=dict)
    lags_beside: dict[str, Estimate] = field(default_factory=dict)
    bias: Estimate | None = None
    beacons: dict[str, int] = field(default_factory=dict)
    turning: dict[str, float] = field(default_factory=dict)

    def could_be_azimuths(self, flight_id: str) -> bool:
        """Whether a clear lag of a flight may be that of its azimuths alone: estimated beside it the lag is clear no more."""
        return flight_id in self.lags_beside and self.lags[flight_id].clear and not self.lags_beside[flight_id].clear


def look_at_instruments(records: pd.DataFrame, beacons: pd.DataFrame, known: Corrections = Corrections()) -> Instruments:
    """Clock lag, drift, azimuth lag and bias from the beacons that may be used for fitting; empty when none of them was heard.

    records, beacons : columns of RECORDS and BEACONS. known : what is known of the ground; no clock is put right in it.
    """
    fitting = beacons[beacons["use"] != "test"]
    plain = known_tags(records, fitting, known)
    if not any(listening.heard.any() for tag in plain for listening in tag.listenings):
        return Instruments()
    ceiling_db = saturation_db(records.loc[records["usable"].to_numpy(bool), "strength_db"])
    given = {"ceiling_db": ceiling_db if np.isfinite(ceiling_db) else None, "rough": True}
    fitted, _ = fit_leaving_out([_thinned(tag) for tag in plain], [], **given)
    fitted, _ = fit_leaving_out(plain, [], start=fitted, **given)
    timing = search_timing(plain, fitted)
    found = {flight: each[LAG].value for flight, each in timing.flights.items() if each[LAG].clear}
    if found:
        # A model fitted with a clock off has learned part of the lag as bias and scatter.
        mended = known_tags(records, fitting, replace(known, lags_s={flight: float(round(lag_s)) for flight, lag_s in found.items()}))
        fitted, _ = fit_leaving_out(mended, [], start=fitted, **given)
        timing = estimate_timing(plain, fitted, _lags_of(timing))
    return _told(plain, fitted, timing)


def _lags_of(timing: Timing) -> dict[str, float]:
    return {flight: each[LAG].value for flight, each in timing.flights.items()}


def _told(plain: list[KnownTag], fitted, timing: Timing) -> Instruments:
    """Drift and azimuth lag, each estimated beside the lags; a lag comes from beside the azimuth's own where that is clear."""
    turning = {flight: _turning(plain, flight) for flight in timing.flights}
    fast = [flight for flight, (per_second, per_record) in turning.items() if per_second >= FAST_TURN_DEG_PER_S and per_record <= FARTHEST_TURN_DEG]
    first = _lags_of(timing)
    drifts = {flight: each[DRIFT] for flight, each in estimate_timing(plain, fitted, first, dict.fromkeys(first, DRIFT)).flights.items()}
    beside = estimate_timing(plain, fitted, first, dict.fromkeys(fast, AZIMUTH_LAG)) if fast else timing
    azimuth_lags = {flight: beside.flights[flight][AZIMUTH_LAG] for flight in fast}
    best = beside if any(each.clear for each in azimuth_lags.values()) else timing
    return Instruments({flight: each[LAG] for flight, each in best.flights.items()}, drifts, azimuth_lags, {flight: beside.flights[flight][LAG] for flight in fast}, best.bias,
                       timing.tags, {flight: per_second for flight, (per_second, _) in turning.items()})


def _thinned(tag: KnownTag) -> KnownTag:
    return replace(tag, listenings=tuple(listening.chosen(np.arange(len(listening)) % _THINNED == 0) for listening in tag.listenings))


def _turning(known: list[KnownTag], flight: str) -> tuple[float, float]:
    """Turning of the antenna in a flight, medians over its records, blank where no azimuth is known. [degrees per second], [degrees from record to record]"""
    listening = next(listening for tag in known for listening in tag.listenings if listening.flight_id == flight)
    turned = np.abs((np.diff(listening.azimuth_grid_deg) + 180.0) % 360.0 - 180.0)
    seconds, known_turns = np.diff(listening.time_s), np.isfinite(turned)
    if not (known_turns & (seconds > 0)).any():
        return np.nan, np.nan
    return float(np.median((turned / np.maximum(seconds, 1e-9))[known_turns & (seconds > 0)])), float(np.median(turned[known_turns]))
