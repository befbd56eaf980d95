"""How far the fixes of an animal reach: the smallest convex polygon round them. It is no home range."""

from __future__ import annotations

import itertools
import zlib

import numpy as np
import pandas as pd
import shapely

from pipeline.columns import conform
from pipeline.movement.difference_of_places import difference, pair_differences
from pipeline.movement.gates import error_range_ratio, gate, refusal, without_width
from pipeline.movement.true_places import FEWEST_FIXES, true_places

EXTENTS = {
    "tag_id": "text",
    "animal_id": "text",
    "fixes": "int",
    "span_days": "float",
    "extent_ha": "float",                # median over draws; blank when refused
    "extent_low_ha": "float",            # 95 % interval over draws; from 0 where the fixes lie near a line
    "extent_high_ha": "float",
    "largest_distance_m": "float",       # between any two fixes, median and 95 % interval over draws
    "largest_distance_low_m": "float",
    "largest_distance_high_m": "float",
    "error_range_ratio": "float",
    "verdict": "text",                   # given | refused
    "reason": "text",
}

M2_PER_HA = 10_000.0


def hull_area_m2(points_m):
    """Area of the smallest convex polygon round points, for many sets at once.

    Parameters
    ----------
    points_m : array of shape (..., n, 2)
        [m]

    Returns
    -------
    array of shape (...): 0 for fewer than 3 points, for points on a line and at one place. [m^2]
    """
    points = np.asarray(points_m, dtype=float)
    sets = points.reshape(-1, *points.shape[-2:])
    hulls = shapely.convex_hull(shapely.multipoints(shapely.points(sets)))
    return shapely.area(hulls).reshape(points.shape[:-2])


def places_of_animals(animals, seed):
    """True places of every animal with 5 fixes or more: dict of tag_id -> TruePlaces. One more animal changes no other."""
    return {animal.tag_id: true_places([fix.draws_m for fix in animal.fixes], seed=[seed, zlib.crc32(animal.tag_id.encode())])
            for animal in animals if len(animal.fixes) >= FEWEST_FIXES}


def extent_table(animals, *, seed=1, places=None):
    """Extent of fixes of every animal with 5 usable fixes or more, and for the others why there is none.

    The polygon and the largest distance are computed for every draw of the true places, in which the errors of the fixes are taken out, and median and
    95 % interval given. Draws of each fix from its own region alone would hold the errors twice. Where errors are more than half the scatter of the
    places the extent is refused. Draws of places are never quite on a line; where the fixes may be, the interval begins at 0.

    Parameters
    ----------
    animals : list of AnimalFixes
    seed : int
    places : dict of tag_id -> TruePlaces | None
        Of places_of_animals; computed when None.

    Returns
    -------
    DataFrame with the columns of EXTENTS, one row per animal.
    """
    places = places_of_animals(animals, seed) if places is None else places
    return conform(pd.DataFrame([_row(animal, places.get(animal.tag_id)) for animal in animals], columns=list(EXTENTS)), EXTENTS)


def ratio_of(animal):
    """Error/range ratio of an animal's fixes; NaN below 3 fixes."""
    if len(animal.fixes) < 3:
        return np.nan
    return error_range_ratio(*_means_and_covariances(animal))


NO_WIDTH = "Across their longest direction the fixes scatter no more than their errors: they may lie on a line, and the area may be next to nothing."


def lies_near_a_line(animal):
    """Whether no width is shown by an animal's fixes, 3 or more, see gates.without_width."""
    return without_width(*_means_and_covariances(animal))


def _means_and_covariances(animal):
    return [fix.draws_m.mean(axis=0) for fix in animal.fixes], [np.cov(fix.draws_m.T) for fix in animal.fixes]


def span_days(animal):
    """Days between the first and the last usable fix; 0 for one, NaN for none."""
    if not animal.fixes:
        return np.nan
    return (animal.fixes[-1].time_utc - animal.fixes[0].time_utc).total_seconds() / 86400


def _row(animal, places):
    passed, ratio = gate(len(animal.fixes)), ratio_of(animal)
    row = animal.identity | {"fixes": len(animal.fixes), "span_days": span_days(animal), "error_range_ratio": ratio}
    if places is not None:
        row |= _quantiles("largest_distance", "m", _largest_distance_m(places.places_m))
    elif len(animal.fixes) >= 2:
        row |= _largest_of_few(animal)
    if "extent" not in passed.allows:
        return row | {"verdict": "refused", "reason": _too_few(len(animal.fixes))}
    refused = refusal(ratio)
    if refused:
        return row | {"verdict": "refused", "reason": refused}
    row |= _quantiles("extent", "ha", hull_area_m2(places.places_m) / M2_PER_HA) | {"verdict": "given", "reason": passed.sentence}
    return row | {"extent_low_ha": 0.0, "reason": f"{passed.sentence} {NO_WIDTH}"} if lies_near_a_line(animal) else row


def _too_few(fixes):
    return f"{fixes} usable {'fix' if fixes == 1 else 'fixes'}; {FEWEST_FIXES} are needed for the extent of fixes."


def _quantiles(name, unit, values):
    low, middle, high = np.quantile(values, [0.025, 0.5, 0.975])
    return {f"{name}_{unit}": middle, f"{name}_low_{unit}": low, f"{name}_high_{unit}": high}


def _largest_distance_m(draws):
    return np.linalg.norm(draws[:, :, None] - draws[:, None, :], axis=-1).max(axis=(1, 2))


def _largest_of_few(animal):
    """Of 2 to 4 fixes: the longest distance that is sure for some pair, and the longest that is possible for any, each pair at its share of the level."""
    pairs = list(itertools.combinations(animal.fixes, 2))
    level = 1 - 0.05 / len(pairs)
    low = max(difference(one.draws_m, other.draws_m).shortest_m(level) for one, other in pairs)
    lengths = [np.hypot(*pair_differences(one.draws_m, other.draws_m).T) for one, other in pairs]
    middle, high = max(np.median(each) for each in lengths), max(np.quantile(each, (1 + level) / 2) for each in lengths)
    return {"largest_distance_m": middle, "largest_distance_low_m": low, "largest_distance_high_m": high}
