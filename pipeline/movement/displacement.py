"""Did it move? Displacements between fixes, tested against no movement with the fixes' own calibrated regions."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd

from pipeline.columns import conform
from pipeline.movement.difference_of_places import difference, pair_differences
from pipeline.movement.gates import gate
from pipeline.movement.tails import Tails

STEPS = {
    "tag_id": "text",
    "animal_id": "text",
    "kind": "text",                       # consecutive | first to last | blank for an animal without a step
    "from_flight_id": "text",
    "to_flight_id": "text",
    "from_utc": "time",
    "to_utc": "time",
    "days": "float",
    "distance_m": "float",                # between the two printed positions
    "distance_low_m": "float",            # 95 % interval of the true distance
    "distance_high_m": "float",
    "test": "text",                       # normal | shape: what the regions' form asked for
    "p": "float",                         # with the tails that the beacons show
    "p_adjusted": "float",                # Holm, over all steps of the campaign
    "minimum_detectable_m": "float",      # found with probability 0.8 at the level this campaign's adjustment asks for
    "rate_low_m_per_day": "float",        # shortest distance over time: the way walked is longer
    "verdict": "text",                    # moved | not shown | cannot tell
    "reason": "text",
}

STILLNESS = {"tag_id": "text", "same_place_flights": "int", "minimum_detectable_m": "float"}


def displacement_table(animals, *, significance=0.05, power=0.8, largest_useful_m=1000.0, tails=Tails()):
    """Every step of every animal: between consecutive fixes, and from first to last when there are three fixes or more.

    Parameters
    ----------
    animals : list of AnimalFixes
    significance : float
        Share of campaigns, at most, in which any animal that stayed is called moved.
    power : float
        Probability with which the minimum detectable movement is found.
    largest_useful_m : float
        Where a movement of this length could have stayed hidden, the verdict is "cannot tell" instead of "not shown". [m]
    tails : Tails
        How far errors reach beyond the 95 % regions, of tails.tails_of; normal when left out.

    Returns
    -------
    DataFrame with the columns of STEPS. An animal without a step has one row with the reason.

    The test takes the level of "no displacement" in the distribution of the difference of both posteriors: D'S^-1 D on chi-square with
    2 degrees of freedom where both look normal, the highest-density level on a grid otherwise. Errors of two flights are taken as
    independent; what they share (a bias of the signal model) cancels in part, which makes the test cautious.
    """
    steps = [(animal, *step) for animal in animals for step in _steps(animal)]
    differences = [difference(start.draws_m, end.draws_m) for _, _, start, end in steps]
    p = np.atleast_1d(tails.p_value(np.array([each.p_same_place() for each in differences])))
    adjusted = holm(p)
    level = tails.normal_level(significance / max(1, len(p) - int((adjusted < significance).sum())))
    rows = [_row(step, each, p_value, p_adjusted, significance, level, power, largest_useful_m)
            for step, each, p_value, p_adjusted in zip(steps, differences, p, adjusted)]
    rows += [animal.identity | {"kind": "", "verdict": "cannot tell", "reason": gate(len(animal.fixes)).sentence}
             for animal in animals if len(animal.fixes) < 2]
    table = pd.DataFrame(rows, columns=list(STEPS)).sort_values("tag_id", kind="stable")
    return conform(table, STEPS)


def holm(p):
    """P-values adjusted for their number by Holm's step-down rule, in the order given.

    Parameters
    ----------
    p : array of shape (n,), 0 to 1

    References
    ----------
    S. Holm, A simple sequentially rejective multiple test procedure, Scand. J. Statist. 6:65 (1979).
    """
    p = np.asarray(p, dtype=float)
    order = np.argsort(p, kind="stable")
    adjusted = np.empty(len(p))
    adjusted[order] = np.minimum(1.0, np.maximum.accumulate(p[order] * np.arange(len(p), 0, -1)))
    return adjusted


def distance_interval_m(start, end, distribution=None, level=0.95):
    """Interval of the true distance between two fixes: shortest displacement inside the region of the level (0 when that
    holds "no displacement"), and the upper percentile of the distance between draws. [m]
    """
    distribution = difference(start.draws_m, end.draws_m) if distribution is None else distribution
    lengths = np.hypot(*pair_differences(start.draws_m, end.draws_m).T)
    return distribution.shortest_m(level), float(np.quantile(lengths, (1 + level) / 2))


def stillness(steps, detectable_m=100.0):
    """In how many of its last flights a tag stayed in one place, counting only steps in which a movement of `detectable_m` would have shown.

    Parameters
    ----------
    steps : DataFrame of displacement_table

    Returns
    -------
    DataFrame with the columns of STILLNESS; tags without a step are left out.
    """
    rows = []
    for tag_id, own in steps[steps["kind"] == "consecutive"].groupby("tag_id"):
        latest_first = own.sort_values("to_utc", kind="stable").iloc[::-1]
        still = ((latest_first["verdict"] != "moved") & (latest_first["minimum_detectable_m"] < detectable_m)).to_numpy(dtype=int)
        run = int(np.cumprod(still).sum())
        rows.append({"tag_id": tag_id, "same_place_flights": run + 1 if run else 0,
                     "minimum_detectable_m": latest_first["minimum_detectable_m"].iloc[:max(run, 1)].max()})
    return conform(pd.DataFrame(rows, columns=list(STILLNESS)), STILLNESS)


def unmoved_step_m(median_error_m):
    """Distance between two fixes of an animal that has not moved: mean and 95th percentile, for circular normal errors. [m]

    Each fix has the per-axis sd s = median / 1.1774; the distance is a Rayleigh variable of scale s sqrt 2.
    """
    scale = median_error_m / np.sqrt(2 * np.log(2)) * np.sqrt(2)
    return float(scale * np.sqrt(np.pi / 2)), float(scale * np.sqrt(-2 * np.log(0.05)))


def _steps(animal):
    pairs = [("consecutive", *pair) for pair in itertools.pairwise(animal.fixes)]
    return pairs + ([("first to last", animal.fixes[0], animal.fixes[-1])] if len(animal.fixes) > 2 else [])


def _row(step, distribution, p, p_adjusted, significance, level, power, largest_useful_m):
    animal, kind, start, end = step
    days = (end.time_utc - start.time_utc).total_seconds() / 86400
    low, high = distance_interval_m(start, end, distribution)
    detectable = distribution.minimum_detectable_m(level, power)
    verdict, reason = _verdict(p_adjusted, significance, low, high, detectable, largest_useful_m, start.several_places or end.several_places)
    return animal.identity | {
        "kind": kind, "from_flight_id": start.flight_id, "to_flight_id": end.flight_id, "from_utc": start.time_utc, "to_utc": end.time_utc,
        "days": days, "distance_m": np.hypot(end.easting_m - start.easting_m, end.northing_m - start.northing_m),
        "distance_low_m": low, "distance_high_m": high, "test": distribution.kind, "p": p, "p_adjusted": p_adjusted,
        "minimum_detectable_m": detectable, "rate_low_m_per_day": low / days if days >= 0.5 else np.nan, "verdict": verdict, "reason": reason,
    }


def _verdict(p_adjusted, significance, low, high, detectable, largest_useful_m, several_places):
    places = " One of the fixes has several places; all of them are weighed." if several_places else ""
    if p_adjusted < significance:
        return "moved", f"At least {low:.0f} m, at most {high:.0f} m.{places}"
    if detectable > largest_useful_m:
        return "cannot tell", f"Even {largest_useful_m:.0f} m could have stayed hidden; {detectable:.0f} m would have been found.{places}"
    return "not shown", f"Location error explains the distance; {detectable:.0f} m would have been found in 8 of 10 cases.{places}"
