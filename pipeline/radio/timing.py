"""Clock lag, drift of the clock and lag of the antenna's azimuth, estimated together with the azimuth bias on tags at known places.

Where the antenna turns steadily, one second of lag looks like a few degrees of azimuth bias, and a model fitted with a clock off has
learned the one as the other. So the bias that all flights share and the lags of each flight are estimated together: the log-likelihood
about a first guess is read off as a quadratic, its top taken, and again from there (maximum likelihood with weak priors; the inverse
curvature gives the standard errors, Laplace's approximation).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations_with_replacement, product

import numpy as np

from pipeline.radio.clock_lag import delayed, lag_curves, lag_from_curves, placed_under_every_lag
from pipeline.radio.fitting import FittedModel
from pipeline.radio.lanes import KnownTag, log_likelihoods, side_by_side

LAG, DRIFT, AZIMUTH_LAG = "lag_s", "drift_s", "azimuth_lag_s"
BIAS = "azimuth_bias_deg"
# Priors about nothing: clocks are set to a few seconds and keep time in a flight, compasses follow within seconds. Common practice, no source.
PRIOR_SD = {LAG: 15.0, DRIFT: 10.0, AZIMUTH_LAG: 5.0, BIAS: 10.0}
# Distance of the points that the quadratic is read off: wide enough that single records crossing the threshold do not matter.
_SPACING = {LAG: 2.0, DRIFT: 4.0, AZIMUTH_LAG: 2.0, BIAS: 8.0}
_ROUNDS, _STILL = 8, 0.1
# An estimate so many standard errors from nothing is called clear, as for the lag that is taken out.
CLEAR_ERRORS = 3.0
# Told nothing of: the records leave more than this share of what was believed before.
_UNTOLD_SHARE = 0.5


@dataclass(frozen=True)
class Estimate:
    """A number and its standard error. name : LAG, DRIFT, AZIMUTH_LAG or BIAS."""

    name: str
    value: float
    se: float

    @property
    def clear(self) -> bool:
        """Whether it is so many standard errors from nothing that chance does not explain it."""
        return self.told and abs(self.value) >= CLEAR_ERRORS * self.se

    @property
    def told(self) -> bool:
        """Whether the records say more of it than was believed before."""
        return self.se <= _UNTOLD_SHARE * PRIOR_SD[self.name]

    @property
    def interval_95(self) -> tuple[float, float]:
        """Limits of the 95 % interval."""
        return self.value - 1.96 * self.se, self.value + 1.96 * self.se


@dataclass(frozen=True)
class Timing:
    """flights : flight_id -> name -> Estimate. bias : of all flights together; None where no azimuth is known. tags : flight_id -> known tags heard."""

    flights: dict[str, dict[str, Estimate]]
    bias: Estimate | None
    tags: dict[str, int]


def estimate_timing(known: list[KnownTag], fitted: FittedModel, first_lags_s: dict[str, float], also: dict[str, str] | None = None) -> Timing:
    """Clock lag of every flight, and one thing more where asked, with the azimuth bias that all flights share.

    first_lags_s : flight_id -> where the search begins, see clock_lag; only these flights are looked at. [s]
    also : flight_id -> DRIFT (lag at the end of the flight less lag at its start) or AZIMUTH_LAG (azimuths stamped so much after the positions).
    Flights in which no known tag was heard are left out.
    """
    heard = {flight: _heard(known, flight) for flight in sorted(first_lags_s)}
    problem = _Problem.made(fitted, {flight: found for flight, found in heard.items() if found}, also or {})
    values = np.array([problem.modelled_deg if name == BIAS else first_lags_s[flight] if name == LAG else 0.0 for flight, name in problem.unknowns])
    values, inverse = _climbed(problem, values)
    errors = np.sqrt(np.diag(inverse))
    estimates = [(flight, Estimate(name, float(value), float(error))) for (flight, name), value, error in zip(problem.unknowns, values, errors)]
    flights = {flight: {each.name: each for of, each in estimates if of == flight} for flight in problem.heard}
    bias = [each for _, each in estimates if each.name == BIAS]
    return Timing(flights, bias[0] if bias and problem.heard else None, {flight: len(found) for flight, found in problem.heard.items()})


def search_timing(known: list[KnownTag], fitted: FittedModel, flights: list[str] | None = None) -> Timing:
    """Clock lag of every flight with the azimuth bias, from nothing known before.

    flights : those whose lag is searched for far and wide; the others are taken from no lag. None : all.
    """
    curves = lag_curves(known, fitted, flights)
    flown = sorted({listening.flight_id for tag in known for listening in tag.listenings})
    return estimate_timing(known, fitted, {flight: lag_from_curves(curves[flight]).lag_s if len(curves.get(flight, ())) else 0.0 for flight in flown})


def _heard(known: list[KnownTag], flight: str):
    """(tag, listening, flags of the records looked at) of all tags heard in a flight whose times are known."""
    return [(tag, listening, placed_under_every_lag(listening)) for tag in known for listening in tag.listenings
            if listening.flight_id == flight and listening.time_s is not None and listening.heard.any()]


@dataclass(frozen=True)
class _Problem:
    """What is estimated together. unknowns : (flight_id, name), the shared bias first under "". modelled_deg : the bias that the model was fitted with."""

    fitted: FittedModel
    heard: dict
    unknowns: tuple
    modelled_deg: float

    @classmethod
    def made(cls, fitted: FittedModel, heard: dict, also: dict[str, str]) -> "_Problem":
        places = {p.name: index for index, p in enumerate(fitted.parameters)}
        shared = [("", BIAS)] if BIAS in places else []
        own = [(flight, name) for flight in heard for name in (LAG, also.get(flight)) if name]
        return cls(fitted, heard, (*shared, *own), float(fitted.vector[places[BIAS]]) if shared else 0.0)

    def places_of(self, flight: str) -> list[int]:
        """Where the unknowns of a flight stand, the shared one first."""
        return [index for index, (of, _) in enumerate(self.unknowns) if of in ("", flight)]

    @property
    def prior_sd(self) -> np.ndarray:
        return np.array([PRIOR_SD[name] for _, name in self.unknowns])


def _climbed(problem: _Problem, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(top of the log-posterior, inverse curvature there). A step that does not gain is halved."""
    share, (reached, step, inverse) = 1.0, _joint(problem, values)
    for _ in range(_ROUNDS):
        if np.all(np.abs(share * step) <= _STILL * np.sqrt(np.diag(inverse))):
            break
        tried = _joint(problem, values + share * step)
        if tried[0] < reached:
            share /= 2.0
        else:
            values, (reached, step, inverse), share = values + share * step, tried, 1.0
    return values, inverse


def retimed(listening, lag_s: float, drift_s: float = 0.0, azimuth_lag_s: float = 0.0):
    """The listening with every record put where the receiver was when it heard it; a drift runs evenly from the first record to the last."""
    if listening.time_s is None or len(listening) < 2:
        return listening
    span_s = np.ptp(listening.time_s)
    share = (listening.time_s - listening.time_s.min()) / span_s if span_s > 0 else np.zeros(len(listening))
    return delayed(listening, lag_s + drift_s * (share - 0.5) if drift_s else lag_s, azimuth_lag_s)


def _quadratic(problem: _Problem, flight: str, kinds: list[str], middle: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
    """(value, slope, bend) of one flight's log-likelihood about the present guess of its kinds, by least squares over all corners of a box."""
    spacing, axes, found = np.array([_SPACING[kind] for kind in kinds]), _box_axes(kinds), problem.heard[flight]
    corners = np.array(list(product((-1.0, 0.0, 1.0), repeat=len(kinds))))
    lanes = []
    for point in middle + corners * spacing @ axes.T:
        own = dict(zip(kinds, map(float, point)))
        turn_deg = own.pop(BIAS, problem.modelled_deg) - problem.modelled_deg
        lanes += [replace(tag, listenings=(_turned(retimed(listening, **own), turn_deg).chosen(flags),)) for tag, listening, flags in found]
    values = log_likelihoods(side_by_side(lanes), problem.fitted.parameters, problem.fitted.vector[None, :], problem.fitted.given)[0]
    pairs = list(combinations_with_replacement(range(len(kinds)), 2))
    columns = np.stack([np.ones(len(corners)), *corners.T, *(corners[:, i] * corners[:, j] for i, j in pairs)], axis=1)
    constant, *weights = np.linalg.lstsq(columns, values.reshape(len(corners), -1).sum(axis=1), rcond=None)[0]
    bend = np.zeros((len(kinds), len(kinds)))
    for (i, j), weight in zip(pairs, weights[len(kinds):]):
        bend[i, j] = bend[j, i] = 2.0 * weight if i == j else weight
    back = np.linalg.inv(axes * spacing)
    return float(constant), back.T @ np.array(weights[:len(kinds)]), back.T @ bend @ back


def _box_axes(kinds) -> np.ndarray:
    """Columns along which the box lies: what the antenna's azimuth tells is the lag less the azimuth's own, so a step in the lag takes the other with it."""
    axes = np.eye(len(kinds))
    if AZIMUTH_LAG in kinds:
        axes[kinds.index(AZIMUTH_LAG), kinds.index(LAG)] = 1.0
    return axes


def _turned(listening, turn_deg: float):
    return replace(listening, azimuth_grid_deg=(listening.azimuth_grid_deg + turn_deg) % 360.0)


def _joint(problem: _Problem, values: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
    """(log-posterior, step to the top, inverse curvature) of all flights together; no direction is left wider than its prior, no step goes beyond twice the box."""
    sd, kinds = problem.prior_sd, [name for _, name in problem.unknowns]
    value, slope, bend = -0.5 * float(np.sum(np.square(values / sd))), -values / sd**2, np.zeros((len(kinds), len(kinds)))
    for flight in problem.heard:
        places = problem.places_of(flight)
        own = _quadratic(problem, flight, [kinds[place] for place in places], values[places])
        value, slope[places] = value + own[0], slope[places] + own[1]
        bend[np.ix_(places, places)] += own[2]
    sizes, axes = np.linalg.eigh(np.eye(len(kinds)) - bend * np.outer(sd, sd))
    inverse = ((axes / np.maximum(sizes, 1.0)) @ axes.T) * np.outer(sd, sd)
    step = inverse @ slope
    limits = 2.0 * np.array([_SPACING[kind] for kind in kinds])
    return value, step * min(1.0, float(np.min(limits / np.maximum(np.abs(step), 1e-12), initial=1.0))), inverse
