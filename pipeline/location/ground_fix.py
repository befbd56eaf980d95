"""A fix from the ground crew alone: where bearings taken by hand cross and where the tag was seen, with no record of a flight.

The posterior is the product of von Mises densities of the bearings and normal ones of the sightings over a flat prior on the ground
within reach of where they were had. Errors of bearings and sightings are known, so that nothing widens it, with one exception: where the
parts contradict each other by more than their errors allow, all errors are scaled up until they agree (the Birge ratio, R. T. Birge,
The calculation of errors by the method of least squares, Physical Review 40:207, 1932, from memory), and no position is stated.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.optimize import minimize
from scipy.stats import chi2

from pipeline.location.by_hand import ByHand
from pipeline.location.grid import Fineness, SearchArea, adaptive_posterior, edge_probability
from pipeline.location.posterior import Posterior
from pipeline.location.sightings import SMALLEST_SD_M, USUAL_SD_M

# Parts of a fix that would lie this far apart, or farther, in fewer than one of a hundred fixes contradict each other. Common practice, no source.
SMALLEST_P = 0.01
# Many small cells: a few bearings cost nothing, and near its station a sharp bearing is narrower than a coarse cell.
_COARSE_CELLS, _MOST_CELLS = 40_000, 60_000
_FIRST_HALF_M = 200.0
_EDGE_TOLERATED = 1e-3


@dataclass(frozen=True)
class Agreement:
    """How well the parts of a ground fix agree at the likeliest place.

    misfit : sum of squared errors over their variances. freedom : bearings + 2 x sightings - 2, the degrees of freedom of its chi-square.
    p : probability of so large a misfit if the stated errors are right; NaN where nothing is left to compare (freedom 0 or less).
    """

    misfit: float
    freedom: int
    p: float

    @property
    def contradicts(self) -> bool:
        """Whether the parts lie farther apart than their errors allow."""
        return bool(self.p < SMALLEST_P)

    @property
    def widening(self) -> float:
        """Power to which the density is raised: 1 where the parts agree, else one over the Birge ratio squared."""
        return self.freedom / self.misfit if self.contradicts else 1.0


@dataclass(frozen=True)
class GroundFix:
    """Posterior of one session and what it rests on.

    crossing_deg : angle at which bearings cross, that of the two that cross nearest to a right angle; NaN when none cross. [degrees, 0 to 90]
    edge_probability : share of the probability at the edge of the ground within reach.
    """

    posterior: Posterior
    agreement: Agreement
    bearings: int
    sightings: int
    crossing_deg: float
    edge_probability: float


def session_numbers(times_utc: pd.Series, gap_min: float) -> np.ndarray:
    """Number of the session of each time, from 0 in order of time: a gap of more than so many minutes begins a new one. Shape (times,). [min]"""
    times = pd.to_datetime(times_utc, utc=True).to_numpy("datetime64[us]")
    order = np.argsort(times, kind="stable")
    begins = np.diff(times[order]) > np.timedelta64(round(gap_min * 60e6), "us")
    numbers = np.zeros(len(times), int)
    numbers[order] = np.concatenate([[0], np.cumsum(begins)]) if len(times) else []
    return numbers


def crossing_angles(hand: ByHand) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(angles in degrees 0 to 90, easting, northing) of every two bearings whose rays meet ahead of both stations."""
    first, second = np.triu_indices(hand.bearings, 1)
    angle = np.radians(hand.bearing_grid_deg)
    east, north, x, y = np.sin(angle), np.cos(angle), hand.station_easting_m, hand.station_northing_m
    turn = east[first] * north[second] - north[first] * east[second]
    with np.errstate(divide="ignore", invalid="ignore"):
        along_first = ((x[second] - x[first]) * north[second] - (y[second] - y[first]) * east[second]) / turn
        along_second = ((x[second] - x[first]) * north[first] - (y[second] - y[first]) * east[first]) / turn
    # A hundredth of a degree is parallel; rays that start at one station meet there and nowhere ahead.
    meet = (np.abs(turn) > np.sin(np.radians(0.01))) & (along_first > 1e-6) & (along_second > 1e-6)
    degrees = np.degrees(np.arcsin(np.clip(np.abs(turn), 0.0, 1.0)))
    return degrees[meet], (x[first] + along_first * east[first])[meet], (y[first] + along_first * north[first])[meet]


def misfit(hand: ByHand, easting_m: float, northing_m: float) -> float:
    """Sum of squared errors over their variances for a tag at a place.

    A bearing counts 2 g (1 - cos error) with 1/g = 1/k + 3/(8 k^2), which follows chi-square better than 2 k (1 - cos error) does where
    bearings scatter widely (M. A. Stephens; as in K. V. Mardia and P. E. Jupp, Directional statistics, 2000, from memory).
    """
    error = np.arctan2(easting_m - hand.station_easting_m, northing_m - hand.station_northing_m) - np.radians(hand.bearing_grid_deg)
    k = np.maximum(hand.concentration, 1e-9)
    of_bearings = 2.0 * (1.0 - np.cos(error)) / (1.0 / k + 3.0 / (8.0 * k * k))
    sd = np.maximum(np.where(np.isfinite(hand.seen_sd_m), hand.seen_sd_m, USUAL_SD_M), SMALLEST_SD_M)
    of_sightings = (np.square(easting_m - hand.seen_easting_m) + np.square(northing_m - hand.seen_northing_m)) / np.square(sd)
    return float(of_bearings.sum() + of_sightings.sum())


def likeliest_place(hand: ByHand, area: SearchArea) -> np.ndarray:
    """(easting, northing) of the highest density within an area. [m]

    Looked for from every crossing and sighting and from a lattice of the area, since a sharp crossing falls between the points of any lattice.
    """
    _, crossed_east, crossed_north = crossing_angles(hand)
    lattice = np.meshgrid(np.linspace(area.west_m, area.east_m, 61), np.linspace(area.south_m, area.north_m, 61))
    east = np.concatenate([lattice[0].ravel(), crossed_east, hand.seen_easting_m])
    north = np.concatenate([lattice[1].ravel(), crossed_north, hand.seen_northing_m])
    inside = area.holds(east, north)
    east, north = east[inside], north[inside]
    starts = np.argsort(-hand.log_density(east, north), kind="stable")[:3]
    found = [minimize(lambda place: -hand.log_density(place[:1], place[1:])[0], (east[at], north[at]), method="Nelder-Mead",
                      options={"xatol": 0.01, "fatol": 1e-6, "initial_simplex": (east[at], north[at]) + np.array([(0, 0), (20, 0), (0, 20)])}) for at in starts]
    return min(found, key=lambda each: each.fun).x


def locate_by_hand(hand: ByHand, reach_m: float) -> GroundFix:
    """Where a tag was by bearings and sightings alone.

    reach_m : a tag is looked for within this distance, east, west, north and south, of where they were had; it bounds the region of bearings
        that do not cross, since a bearing tells a direction and no distance. [m]
    """
    ground = SearchArea.around(*hand.places(), reach_m)
    place = likeliest_place(hand, ground)
    freedom = hand.bearings + 2 * hand.sightings - 2
    worst = misfit(hand, *place)
    agreement = Agreement(worst, freedom, float(chi2.sf(worst, freedom)) if freedom > 0 else float("nan"))
    half = _FIRST_HALF_M
    while True:
        area = _part_of(ground, place, half)
        posterior = adaptive_posterior(hand.log_density, area, Fineness(widening=agreement.widening, coarse_cells=_COARSE_CELLS, most_cells=_MOST_CELLS))
        if area == ground or edge_probability(posterior, area) <= _EDGE_TOLERATED:
            break
        half *= 2.0
    angles = crossing_angles(hand)[0]
    return GroundFix(posterior, agreement, hand.bearings, hand.sightings, float(angles.max()) if len(angles) else float("nan"), edge_probability(posterior, ground))


def _part_of(ground: SearchArea, place, half_m: float) -> SearchArea:
    """The square about a place, as far as it lies on the ground within reach."""
    east, north = np.clip(place[0], ground.west_m, ground.east_m), np.clip(place[1], ground.south_m, ground.north_m)
    return SearchArea(max(ground.west_m, east - half_m), max(ground.south_m, north - half_m), min(ground.east_m, east + half_m), min(ground.north_m, north + half_m))
