"""Clocks that disagree: by how many seconds the strengths of a flight were stamped after the positions, found on tags at known places.

For every candidate lag the positions of a flight are taken that much earlier, and the signal model says how well the strengths of
all known tags fit. The curve over lags is a log-likelihood; with a weak prior round zero its top is the estimate and its curvature
the standard error (maximum likelihood, as for the signal model). A lag is applied only where it is clear.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.radio.fitting import FittedModel
from pipeline.radio.lanes import KnownTag, log_likelihoods, side_by_side
from pipeline.radio.listening import Listening

CANDIDATES_S = np.arange(-40.0, 41.0, 1.0)
# Most clocks agree within a few seconds. Common practice, no source.
_PRIOR_SD_S = 15.0
# Applied from this many standard errors and this gain in log-posterior on: chance gives so much in one flight of several hundred.
_CLEAR_ERRORS, _CLEAR_GAIN = 3.0, 4.0


@dataclass(frozen=True)
class Lag:
    """lag_s : strengths stamped so much after the positions (negative: before). se_s : standard error. gain : log-posterior over no lag. tags : known tags heard."""

    lag_s: float
    se_s: float
    gain: float
    tags: int

    @property
    def applied_s(self) -> float:
        """The lag to be taken out, in whole seconds; 0 unless it is clear."""
        clear = abs(self.lag_s) >= _CLEAR_ERRORS * self.se_s and self.gain >= _CLEAR_GAIN
        return float(round(self.lag_s)) if clear else 0.0


def delayed(listening: Listening, lag_s, azimuth_lag_s: float = 0.0) -> Listening:
    """The listening with every record put where the receiver was lag_s seconds earlier; unchanged where times are not known.

    lag_s : a number, or one for each record. azimuth_lag_s : azimuths were stamped so much after the positions, so that each is found that much later in the log.
    Between records the way is straight; before the first and after the last the receiver is taken to have stayed.
    """
    if (not np.any(lag_s) and azimuth_lag_s == 0.0) or listening.time_s is None or len(listening) < 2:
        return listening
    then = listening.time_s - lag_s

    def at(values, when=then):
        return np.interp(when, listening.time_s, values)

    azimuth, pointed = np.radians(listening.azimuth_grid_deg), then + azimuth_lag_s
    east, north = at(listening.easting_m), at(listening.northing_m)
    steps = np.concatenate([[np.inf], np.hypot(np.diff(east), np.diff(north))])
    return replace(listening, easting_m=east, northing_m=north, height_above_ground_m=at(listening.height_above_ground_m),
                   azimuth_grid_deg=np.degrees(np.arctan2(at(np.sin(azimuth), pointed), at(np.cos(azimuth), pointed))) % 360.0,
                   step_m=np.where(np.isinf(listening.step_m), np.inf, steps))


def lag_curves(known: list[KnownTag], fitted: FittedModel, flights=None) -> dict[str, np.ndarray]:
    """flight_id -> log-likelihood of the candidate lags for each known tag heard in that flight, shape (tags, candidates).

    flights : ids of those asked about, all when left out.
    """
    flights = sorted({listening.flight_id for tag in known for listening in tag.listenings} if flights is None else flights)
    return {flight: _curves_of_flight([(tag, listening) for tag in known for listening in tag.listenings if listening.flight_id == flight and listening.heard.any()], fitted)
            for flight in flights}


def _curves_of_flight(pairs, fitted: FittedModel) -> np.ndarray:
    lanes = [replace(tag, listenings=(delayed(listening, lag).chosen(placed_under_every_lag(listening)),)) for tag, listening in pairs for lag in CANDIDATES_S]
    if not lanes:
        return np.zeros((0, len(CANDIDATES_S)))
    return log_likelihoods(side_by_side(lanes), fitted.parameters, fitted.vector[None, :], fitted.given)[0].reshape(len(pairs), -1)


def placed_under_every_lag(listening: Listening) -> np.ndarray:
    """Flags of the records whose place is known whatever the lag: those near either end of a flight would be put where it began or ended."""
    time_s = listening.time_s
    if time_s is None or not len(time_s):
        return np.ones(len(listening), bool)
    inside = (time_s - time_s.min() >= CANDIDATES_S.max()) & (time_s.max() - time_s >= -CANDIDATES_S.min())
    return inside if 2 * inside.sum() >= len(inside) else np.ones(len(inside), bool)


def lag_from_curves(curves: np.ndarray) -> Lag:
    """The lag of one flight from the curves of its tags, shape (tags, candidates)."""
    total = curves.sum(axis=0) - 0.5 * np.square(CANDIDATES_S / _PRIOR_SD_S)
    top = int(np.argmax(total))
    inner = int(np.clip(top, 1, len(total) - 2))
    below, here, above = total[inner - 1:inner + 2]
    bend = below - 2.0 * here + above
    shift = 0.5 * (below - above) / bend if bend < 0 and inner == top else 0.0
    # The curvature over three seconds either way: single candidates are rough where a record leaves or enters the threshold.
    wide = total[[max(inner - 3, 0), inner, min(inner + 3, len(total) - 1)]]
    curvature = -(wide[0] - 2.0 * wide[1] + wide[2]) / 9.0
    se = 1.0 / np.sqrt(max(curvature, 1.0 / _PRIOR_SD_S**2))
    zero = int(np.flatnonzero(CANDIDATES_S == 0.0)[0])
    return Lag(float(CANDIDATES_S[inner] + np.clip(shift, -1.0, 1.0)), float(se), float(total[top] - total[zero]), len(curves))
