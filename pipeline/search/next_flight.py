"""Where a next flight would tell most: candidate tracks ranked by what they are expected to add.

Two gains are worked out for every candidate with the signal model of the campaign:

    adequacy   how much of the ground where each missing tag may be would come to be searched, cautiously reckoned, flights so far included
    shrinkage  share of the region of a tag heard but badly placed that would be taken away, on the average over where in it the tag may be

This is advice on where information lies. It knows nothing of weather, airspace, people, ground or law, and is no flight plan.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import logsumexp

from pipeline.radio import Listening, SignalModel, log_evidence, own_strengths, sightlines, steps_along
from pipeline.search.ground_ahead import GroundAhead
from pipeline.search.silence import Strengths, heard_at_all, one_look_per_pass

# A battery's flight and its pace, where the survey file states no other: common practice, no source.
FLIGHT_MINUTES, SPEED_M_PER_S, RECORD_S = 22.0, 12.0, 6.0
HEIGHTS_M = (60.0, 100.0)
TURNING_DEG_PER_S = 8.0
# Spacing of lines and of laps within a block, and how far apart the middles of blocks are tried, in spacings. Our choice.
SPACING_M = 400.0
MOST_MIDDLES = 12
STYLES = ("lines", "loop")


@dataclass(frozen=True)
class Candidate:
    """One track that a flight could take. waypoints_m : array (n, 2) from the take-off point and back to it, survey CRS. [m] speed_m_per_s : of the drone. [m/s]

    style : "lines" (to and fro, the drone turning on its axis) or "loop" (laps, antenna along the track).
    """

    name: str
    style: str
    height_above_ground_m: float
    middle_m: tuple[float, float]
    bearing_deg: float
    take_off_m: tuple[float, float]
    waypoints_m: np.ndarray
    speed_m_per_s: float = SPEED_M_PER_S

    def outline_m(self) -> np.ndarray:
        """Corners of the block without the way there and back, closed; array (5, 2). [m]"""
        west, south = self.waypoints_m[1:-1].min(axis=0)
        east, north = self.waypoints_m[1:-1].max(axis=0)
        return np.array([(west, south), (west, north), (east, north), (east, south), (west, south)])

    @property
    def length_m(self) -> float:
        """Length of the whole track. [m]"""
        return float(np.hypot(*np.diff(self.waypoints_m, axis=0).T).sum())

    @property
    def minutes(self) -> float:
        """In the air. [min]"""
        return self.length_m / self.speed_m_per_s / 60.0

    def listening(self, threshold_db: float = np.nan, record_s: float = RECORD_S) -> Listening:
        """What the flight would listen with, nothing heard yet; threshold_db as flights so far had it (NaN: the model's)."""
        reach = np.r_[0.0, np.cumsum(np.hypot(*np.diff(self.waypoints_m, axis=0).T))]
        flown = np.arange(0.0, reach[-1], self.speed_m_per_s * record_s)
        east, north = (np.interp(flown, reach, self.waypoints_m[:, axis]) for axis in (0, 1))
        leg = np.clip(np.searchsorted(reach, flown, side="right") - 1, 0, len(reach) - 2)
        course = np.degrees(np.arctan2(*np.diff(self.waypoints_m, axis=0)[leg].T))
        azimuth = course if self.style == "loop" else TURNING_DEG_PER_S * record_s * np.arange(len(flown))
        whole = np.full(len(flown), np.nan)
        return Listening(east, north, np.full(len(flown), self.height_above_ground_m), azimuth % 360.0, whole, np.full(len(flown), threshold_db),
                         steps_along(east, north), time_s=record_s * np.arange(len(flown)))


def candidate_flights(easting_m, northing_m, take_offs_m, *, minutes: float = FLIGHT_MINUTES, speed_m_per_s: float = SPEED_M_PER_S, heights_m=HEIGHTS_M,
                      spacing_m: float = SPACING_M, most_middles: int = MOST_MIDDLES) -> list[Candidate]:
    """Blocks of lines (two directions) and laps about middles spread over the ground, each as large as a battery lets it be after the way there and back.

    Parameters
    ----------
    easting_m, northing_m : centres of the cells of the ground asked about, survey CRS. [m]
    take_offs_m : array (n, 2), places to start from and land at; each block uses the nearest. [m]
    minutes, speed_m_per_s : of the battery and of the drone. [min], [m/s]
    heights_m : above the ground. [m]

    Middles out of reach have no candidate. Raises ValueError without a take-off point.
    """
    take_offs = np.atleast_2d(np.asarray(take_offs_m, float))
    if not take_offs.size:
        raise ValueError("a next flight needs at least one take-off point")
    budget_m, found = 60.0 * minutes * speed_m_per_s, []
    for number, middle in enumerate(_spread_middles(easting_m, northing_m, most_middles), start=1):
        start = take_offs[np.argmin(np.hypot(*(take_offs - middle).T))]
        for style, bearing in (("lines", 0.0), ("lines", 90.0), ("loop", 0.0)):
            track = _largest(style, middle, bearing, start, budget_m, spacing_m)
            if track is None:
                continue
            found += [Candidate(f"{number:02d} {style}{'' if style == 'loop' else ' north-south' if bearing == 0 else ' east-west'} at {height:.0f} m", style, float(height),
                                tuple(middle), bearing, tuple(start), track, speed_m_per_s) for height in heights_m]
    return found


def _spread_middles(easting_m, northing_m, most: int) -> np.ndarray:
    """Cells spread evenly over the ground: each next one is the farthest from all before (Gonzalez 1985, from memory); the first is nearest the middle."""
    cells = np.stack([np.asarray(easting_m, float), np.asarray(northing_m, float)], axis=1)
    chosen = [int(np.argmin(np.hypot(*(cells - cells.mean(axis=0)).T)))]
    away = np.hypot(*(cells - cells[chosen[0]]).T)
    while len(chosen) < min(most, len(cells)) and away.max() > 0:
        chosen.append(int(np.argmax(away)))
        away = np.minimum(away, np.hypot(*(cells - cells[chosen[-1]]).T))
    return cells[chosen]


def _largest(style: str, middle, bearing_deg: float, start, budget_m: float, spacing_m: float) -> np.ndarray | None:
    """The block with most lines or laps that the budget allows; None where not even one is within reach."""
    best = None
    for count in range(2, 13):
        way = _block(style, count, spacing_m) @ _turn(bearing_deg) + middle
        track = np.vstack([start, way, start])
        if np.hypot(*np.diff(track, axis=0).T).sum() > budget_m:
            break
        best = track
    return best


def _block(style: str, count: int, spacing_m: float) -> np.ndarray:
    """A square block about (0, 0): `count` lines to and fro, or `count` / 2 laps one inside the other. [m]"""
    half = 0.5 * spacing_m * (count - 1)
    if style == "lines":
        offsets = np.linspace(-half, half, count)
        return np.array([(offset, end * half * (-1 if number % 2 else 1)) for number, offset in enumerate(offsets) for end in (-1, 1)])
    sides = [half - spacing_m * lap for lap in range((count + 1) // 2) if half - spacing_m * lap > 0]
    return np.array([(east * side, north * side) for side in sides for east, north in ((-1, -1), (-1, 1), (1, 1), (1, -1), (-1, -1))])


def _turn(bearing_deg: float) -> np.ndarray:
    turn = np.radians(bearing_deg)
    return np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])


@dataclass(frozen=True)
class Sought:
    """A missing tag. prior : array (cells,) over the cells asked about, sums to 1. log_nothing : of the flights so far, array (models, strengths, cells)."""

    tag_id: str
    strengths: Strengths
    prior: np.ndarray
    log_nothing: np.ndarray


@dataclass(frozen=True)
class Unplaced:
    """A tag heard but badly placed. places_m : array (n, 2), draws from its calibrated region, survey CRS. [m]"""

    tag_id: str
    tag_type: str
    places_m: np.ndarray


def adequacy_after(listening: Listening, tags: list[Sought], easting_m, northing_m) -> np.ndarray:
    """Search adequacy of every missing tag once this flight has been flown too, cautiously reckoned; shape (tags,)."""
    known = {}
    after = np.zeros(len(tags))
    for row, tag in enumerate(tags):
        if id(tag.strengths) not in known:
            known[id(tag.strengths)] = one_look_per_pass(listening, tag.strengths, easting_m, northing_m)
        after[row] = tag.prior @ heard_at_all(tag.log_nothing + known[id(tag.strengths)], tag.strengths)
    return after


def share_left(listening: Listening, model: SignalModel, tag: Unplaced, seed: int = 0, trials: int = 8, places: int = 100) -> float:
    """Share of a tag's region that would be left after this flight, on the average over where in it the tag may be; 0 to 1.

    Some of the draws serve as the truth in turn: the flight is simulated there, every draw is weighted by how well it explains what was heard and not heard,
    and the draws that then still count are exp(entropy of the weights). A rough figure for comparing flights; it knows no walking.
    """
    generator = np.random.default_rng(seed)
    draws = np.asarray(tag.places_m, float)
    draws = draws[generator.permutation(len(draws))[:places]]
    gain = model.gain_db(sightlines(listening, draws[:, 0], draws[:, 1]))
    scatter, thresholds = model.scatter(tag.tag_type), model.thresholds_db(listening)
    strengths = own_strengths(scatter.power_mean_db + gain[:, :trials].T, thresholds, listening.step_m, scatter, generator).T
    lanes = np.broadcast_to(gain[:, None, :], (len(gain), strengths.shape[1], gain.shape[1]))
    weight = log_evidence(strengths[:, :, None], lanes, thresholds[:, None, None], listening.step_m[:, None, None], scatter)
    weight = weight - logsumexp(weight, axis=1, keepdims=True)
    return float(np.exp(-(np.exp(weight) * weight).sum(axis=1)).mean() / len(draws))


def rank_flights(candidates: list[Candidate], sought: list[Sought], unplaced: list[Unplaced], model: SignalModel, easting_m, northing_m,
                 threshold_db: float = np.nan, seed: int = 0, ahead: GroundAhead | None = None) -> pd.DataFrame:
    """All candidates, the most telling first. ahead : hills and canopy along them; None = level ground in the open.

    Columns: rank, name, style, height_m, middle_easting_m, middle_northing_m, take_off_easting_m, take_off_northing_m, length_km, minutes,
    adequacy_before, adequacy_after (means over the missing tags), adequacy_gain, shrinkage (mean over the badly placed tags), score, for_tags, gains (each tag with its own).
    Gains are shares of 1, blank where nobody asks for them; the score is their sum, each weighted by how many tags it is for.
    for_tags : those that would gain a tenth or more, most first.
    """
    before = np.array([tag.prior @ heard_at_all(tag.log_nothing, tag.strengths) for tag in sought])
    rows = []
    for candidate in candidates:
        listening = candidate.listening(threshold_db)
        listening = listening if ahead is None else ahead.along(listening)
        after = adequacy_after(listening, sought, easting_m, northing_m)
        taken = np.array([1.0 - share_left(listening, model, tag, seed) for tag in unplaced])
        gains = dict(zip([tag.tag_id for tag in (*sought, *unplaced)], np.concatenate([after - before, taken])))
        served = [tag_id for tag_id, gain in sorted(gains.items(), key=lambda item: (-item[1], item[0])) if gain >= 0.1]
        rows.append({"name": candidate.name, "style": candidate.style, "height_m": candidate.height_above_ground_m,
                     "middle_easting_m": candidate.middle_m[0], "middle_northing_m": candidate.middle_m[1],
                     "take_off_easting_m": candidate.take_off_m[0], "take_off_northing_m": candidate.take_off_m[1], "length_km": candidate.length_m / 1000.0,
                     "minutes": candidate.minutes, "adequacy_before": _mean(before), "adequacy_after": _mean(after),
                     "adequacy_gain": _mean(after - before), "shrinkage": _mean(taken), "score": float(np.mean(list(gains.values()))) if gains else np.nan,
                     "for_tags": "; ".join(served), "gains": "; ".join(f"{tag_id} {gain:.2f}" for tag_id, gain in gains.items())})
    table = pd.DataFrame(rows, columns=RANKED[1:]).sort_values(["score", "name"], ascending=[False, True], kind="stable").reset_index(drop=True)
    return table.assign(rank=np.arange(1, len(table) + 1))[RANKED]


RANKED = ["rank", "name", "style", "height_m", "middle_easting_m", "middle_northing_m", "take_off_easting_m", "take_off_northing_m", "length_km", "minutes",
          "adequacy_before", "adequacy_after", "adequacy_gain", "shrinkage", "score", "for_tags", "gains"]


def _mean(values) -> float:
    return float(np.mean(values)) if len(values) else float("nan")
