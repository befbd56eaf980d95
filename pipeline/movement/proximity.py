"""How near two animals were in one flight, from draws of both; overlapping regions alone never say "together"."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd

from pipeline.columns import conform

PROXIMITY = {
    "flight_id": "text",
    "tag_id": "text",
    "animal_id": "text",
    "other_tag_id": "text",
    "other_animal_id": "text",
    "distance_m": "float",                # median over draws
    "distance_low_m": "float",            # 95 % interval over draws
    "distance_high_m": "float",
    "probability_50_m": "float",          # that they were nearer than this
    "probability_100_m": "float",
    "reason": "text",
}


def proximity_table(animals):
    """Distance of every pair of animals that both have a usable fix in the same flight.

    Draw i of one is taken with draw i of the other: where the draws of a flight were made with shared parameters, what both fixes
    share cancels. The two were heard within the same flight, not at the same second.

    Parameters
    ----------
    animals : list of AnimalFixes

    Returns
    -------
    DataFrame with the columns of PROXIMITY, by flight, the nearest pair of a flight first. An animal without a pair has one row with
    the reason.
    """
    by_flight = {}
    for animal in animals:
        for fix in animal.fixes:
            by_flight.setdefault(fix.flight_id, []).append((animal, fix))
    rows = []
    for flight_id in sorted(by_flight):
        pairs = [_row(flight_id, *pair) for pair in itertools.combinations(by_flight[flight_id], 2)]
        rows += sorted(pairs, key=lambda row: row["distance_m"])
    paired = {row[name] for row in rows for name in ("tag_id", "other_tag_id")}
    rows += [animal.identity | {"flight_id": "", "reason": _alone(animal)} for animal in animals if animal.tag_id not in paired]
    return conform(pd.DataFrame(rows, columns=list(PROXIMITY)), PROXIMITY)


def _row(flight_id, one, other):
    (animal, fix), (other_animal, other_fix) = one, other
    count = min(len(fix.draws_m), len(other_fix.draws_m))
    distances = np.hypot(*(fix.draws_m[:count] - other_fix.draws_m[:count]).T)
    low, middle, high = np.quantile(distances, [0.025, 0.5, 0.975])
    return animal.identity | {
        "flight_id": flight_id, "other_tag_id": other_animal.tag_id, "other_animal_id": other_animal.animal_id,
        "distance_m": middle, "distance_low_m": low, "distance_high_m": high,
        "probability_50_m": (distances < 50).mean(), "probability_100_m": (distances < 100).mean(), "reason": "",
    }


def _alone(animal):
    if not animal.fixes:
        return "No usable fix."
    return "No other animal has a usable fix in the same flight."
