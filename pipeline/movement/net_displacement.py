"""Net squared displacement: how far from its first fix an animal was at each later one, with the errors of both taken into account."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.columns import conform
from pipeline.movement.difference_of_places import difference
from pipeline.movement.displacement import distance_interval_m
from pipeline.movement.gates import gate

NET = {
    "tag_id": "text",
    "animal_id": "text",
    "number": "int",                              # of the fix, from 2
    "flight_id": "text",
    "time_utc": "time",
    "days": "float",                              # since the first fix
    "net_squared_m2": "float",                    # between the means of both regions, less the variances of both; can fall below 0
    "net_squared_low_m2": "float",                # 95 % interval of the true one
    "net_squared_high_m2": "float",
    "error_squared_m2": "float",                  # what errors alone would give an animal that stayed, in the mean
    "minimum_detectable_m": "float",              # found with probability 0.8 at the 5 % level, this pair alone
    "reason": "text",
}


def net_displacement_table(animals):
    """Net squared displacement of every fix after the first; an animal with fewer than 2 fixes has one row with the reason.

    The square of a distance between two fixes is too large by the variances of both, which are taken off: the value is right in the mean over animals, and is
    below 0 for about half of those that stay. The interval is that of displacement.distance_interval_m, squared.

    Parameters
    ----------
    animals : list of AnimalFixes

    Returns
    -------
    DataFrame with the columns of NET.
    """
    rows = []
    for animal in animals:
        if len(animal.fixes) < 2:
            rows.append(animal.identity | {"reason": gate(len(animal.fixes)).sentence})
        rows += [animal.identity | _row(animal.fixes[0], fix, number) for number, fix in enumerate(animal.fixes[1:], start=2)]
    return conform(pd.DataFrame(rows, columns=list(NET)), NET)


def net_squared_m2(draws_from_m, draws_to_m):
    """Squared distance between two fixes freed of their errors, and what the errors alone would give. [m^2]

    Parameters
    ----------
    draws_from_m, draws_to_m : arrays of shape (n, 2) and (m, 2)

    Returns
    -------
    (net, error): |D|^2 less the variances of both regions and of the means of so many draws, right in the mean whatever the shapes; the variances.
    """
    start, end = np.asarray(draws_from_m, dtype=float), np.asarray(draws_to_m, dtype=float)
    variances = np.trace(np.cov(start.T)), np.trace(np.cov(end.T))
    apart = np.square(end.mean(axis=0) - start.mean(axis=0)).sum()
    return float(apart - variances[0] * (1 + 1 / len(start)) - variances[1] * (1 + 1 / len(end))), float(sum(variances))


def _row(first, fix, number):
    distribution = difference(first.draws_m, fix.draws_m)
    low, high = distance_interval_m(first, fix, distribution)
    net, error = net_squared_m2(first.draws_m, fix.draws_m)
    return {"number": number, "flight_id": fix.flight_id, "time_utc": fix.time_utc, "days": (fix.time_utc - first.time_utc).total_seconds() / 86400,
            "net_squared_m2": net, "net_squared_low_m2": low**2, "net_squared_high_m2": high**2,
            "error_squared_m2": error, "minimum_detectable_m": distribution.minimum_detectable_m(0.05, 0.8), "reason": ""}
