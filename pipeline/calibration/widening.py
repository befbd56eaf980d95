"""How much wider than computed the regions must be to hold the truth as often as they say, learned on held-out beacons.

The density of every posterior is raised to one power, the widening w. Each beacon, located by a model that never saw it,
tells how much density its true place got: the w that gives the true places the highest density (the logarithmic score,
I. J. Good 1952; T. Gneiting & A. E. Raftery 2007; both from memory) makes the regions honest without making them larger than needed. Repeats of one beacon are not
new beacons: a place counts once, however many flights heard it.

A normal prior on log w keeps few beacons from claiming much: centre 0.85 with a factor of 1.4 either way. It was learned by
simulation: in the six worlds of the accuracy benchmark and in four campaigns of the richer kind the animals themselves, 1,300
fixes, would have asked for 0.73 to 1.12, 0.90 in the middle; the centre leans a little to the careful side, since the one set of
real measurements at hand (FRS data set 2024, Zenodo record 10962857) asked for half of it. That was before values and silence of a record added up to one where values may be
faulty; with that the beacons of the same worlds choose 0.90 to 0.97 in the mean (accuracy.csv), a little nearer to one. With no beacons the prior is all there is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.location import Leaves

PRIOR_CENTRE = 0.85
PRIOR_FACTOR = 1.4
# A flight style gets a widening of its own from this many places on, within about this factor of the overall one. Our choice.
PLACES_FOR_A_STYLE = 6
STYLE_FACTOR = 1.2
_CANDIDATES = np.exp(np.linspace(np.log(0.03), np.log(1.5), 160))


@dataclass(frozen=True)
class HeldOutPlace:
    """One beacon in one flight: its cells, the log-density at its true place, and the place it stood at."""

    place_id: str
    leaves: Leaves
    log_density_at_truth: float


def scores(tests: list[HeldOutPlace]) -> np.ndarray:
    """Log-density given to the truth by each test under each candidate widening, shape (tests, candidates)."""
    return np.array([
        [test.leaves.log_density_of(test.log_density_at_truth, widening) for widening in _CANDIDATES] for test in tests
    ]).reshape(len(tests), len(_CANDIDATES))


def choose_widening(score_table: np.ndarray, place_ids: list[str], centre: float = PRIOR_CENTRE, factor: float = PRIOR_FACTOR) -> float:
    """The widening with the highest sum of log-prior and score, each place counting as one beacon.

    score_table : (tests, candidates) as from scores(). With no tests the prior centre.
    centre, factor : of the prior.
    """
    total = -0.5 * np.square((np.log(_CANDIDATES) - np.log(centre)) / np.log(factor))
    places = np.asarray(place_ids)
    for place in sorted(set(place_ids)):
        total = total + score_table[places == place].mean(axis=0)
    return float(_CANDIDATES[int(np.argmax(total))])


def widenings_by_style(score_table: np.ndarray, place_ids: list[str], styles: list[str], overall: float) -> dict[str, float]:
    """The widening of each flight style that enough places were heard in; of the others the overall one serves.

    The overall widening is the centre of the prior, so that a style departs from it only as far as its beacons ask.
    """
    places, style_of = np.asarray(place_ids), np.asarray(styles)
    chosen = {}
    for style in sorted(set(styles)):
        here = style_of == style
        if len(set(places[here])) >= PLACES_FOR_A_STYLE and not here.all():
            chosen[style] = choose_widening(score_table[here], list(places[here]), overall, STYLE_FACTOR)
    return chosen


def widenings_leaving_out(score_table: np.ndarray, place_ids: list[str]) -> dict[str, float]:
    """For each place, the widening chosen on all the others: what an honest test of that place may use."""
    places = np.asarray(place_ids)
    return {
        place: choose_widening(score_table[places != place], [other for other in place_ids if other != place])
        for place in sorted(set(place_ids))
    }
