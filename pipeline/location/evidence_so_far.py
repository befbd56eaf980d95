"""Where a tag could be after the first so many records of a flight: how the posterior tightens as evidence arrives.

Locating anew for every moment would cost as much as a fix each time. The filter over the records is a running sum, so one pass over
the flight gives the log-likelihood of a cell at every moment asked for; only the cells that some moment still needs are halved.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Sequence

import numpy as np

from pipeline.location.batch import Located, Task
from pipeline.location.from_few_cells import ALL_BELOW, FEWEST_CHOSEN, from_few_cells
from pipeline.location.grid import Fineness, SearchArea, coarse_lattice, edge_probability, halved, with_neighbours, within_reach
from pipeline.location.likelihood import mean_log_likelihood_after
from pipeline.location.posterior import Posterior

# An early look may lie anywhere within hearing: the ground is widened until no moment has more than this share at its edge.
_EDGE_TOLERATED = 0.02
# Coarser than a fix: what is shown are outlines that change, and areas to two figures.
_FINENESS = Fineness(cells_in_region=60, finest_m=4.0, coarse_cells=1200, most_cells=2500)


def posteriors_so_far(task: Task, counts: Sequence[int]) -> list[Located]:
    """Posterior of a tag after the first so many records of a flight, for each of some counts.

    The signal models, their averaging and the widening are those of the fix; evidence taken by hand has no part, since it has no place
    in the order of the records. An animal is taken to stay where it is.

    counts : rising, 1 to the number of records.
    Returns one Located for each count, without a test for a walk.
    """
    counts = list(counts)
    if not counts or counts[0] < 1 or counts[-1] > len(task.listening) or sorted(set(counts)) != counts:
        raise ValueError(f"counts of records must rise from 1 to at most {len(task.listening)}, got {counts}")
    area, looks = _first_look(task, counts)
    found: dict[int, Located] = {}
    while True:
        done = [index for index, look in looks.items() if _fine_enough(look)]
        found |= dict(zip(done, _averaged(task, counts, [looks[index] for index in done], done, area)))
        looks = {index: look for index, look in looks.items() if index not in done}
        if not looks:
            return [found[index] for index in range(len(counts))]
        looks = _closer(task, counts, looks, area)


def moments(heard: np.ndarray, most: int) -> list[int]:
    """Counts of records after which to look: from the first record heard to the last record, the closer the more is heard.

    Half of the way from one moment to the next is made by records, half by records heard: silence tells less, but it tells.
    heard : flags of the records, shape (records,). most : how many moments at most, 2 or more. Empty where nothing is heard.
    """
    heard = np.asarray(heard, bool)
    if not heard.any():
        return []
    way = np.arange(len(heard)) / len(heard) + np.cumsum(heard) / heard.sum()
    first = int(np.flatnonzero(heard)[0])
    wanted = np.linspace(way[first], way[-1], most)
    return sorted({int(count) + 1 for count in np.clip(np.searchsorted(way, wanted), first, len(heard) - 1)})


def _first_look(task: Task, counts: list[int]) -> tuple[SearchArea, dict[int, Posterior]]:
    """The ground, wide enough for every moment, and the coarse posterior of each."""
    margin = task.margin_m
    while True:
        area = SearchArea.around(task.listening.easting_m, task.listening.northing_m, margin)
        column, row, *lattice = coarse_lattice(area, _FINENESS.coarse_cells)
        looks = _looked_at(task, counts, range(len(counts)), column, row, lattice)
        if margin >= task.farthest_m or max(edge_probability(look, area) for look in looks.values()) <= _EDGE_TOLERATED:
            return area, looks
        margin = min(2.0 * margin, task.farthest_m)


def _looked_at(task: Task, counts: list[int], wanted, column, row, lattice) -> dict[int, Posterior]:
    """index of a count -> its posterior on these cells under the central model, those left out that hold nothing."""
    (west, south, cell), wanted = lattice, list(wanted)
    log = mean_log_likelihood_after(task.listening, [task.model], west + cell * column, south + cell * row, task.tag_type, [counts[index] for index in wanted])
    blank = np.zeros(len(column))
    return {index: within_reach(Posterior(column, row, west, south, cell, each - each.max(), task.widening, blank), _FINENESS.most_cells)
            for index, each in zip(wanted, log)}


def _fine_enough(look: Posterior) -> bool:
    return look.region(0.95).sum() >= _FINENESS.cells_in_region or look.cell_m / 2 < _FINENESS.finest_m or len(look.column) > _FINENESS.most_cells / 4


def _closer(task: Task, counts: list[int], looks: dict[int, Posterior], area: SearchArea) -> dict[int, Posterior]:
    """The moments that are not fine enough yet, on cells of half the side, looked at together."""
    some = next(iter(looks.values()))
    quarters = [np.stack(halved(*with_neighbours(look.column, look.row)), axis=1) for look in looks.values()]
    column, row = np.unique(np.concatenate(quarters), axis=0).T
    lattice = (some.west_m - some.cell_m / 4, some.south_m - some.cell_m / 4, some.cell_m / 2)
    inside = area.holds(lattice[0] + lattice[2] * column, lattice[1] + lattice[2] * row)
    return _looked_at(task, counts, looks, column[inside], row[inside], lattice)


def _averaged(task: Task, counts: list[int], looks: list[Posterior], wanted: list[int], area: SearchArea) -> list[Located]:
    """The posteriors averaged over the drawn models: worked out at few of the cells, all moments together, and interpolated."""
    if not looks:
        return []
    few = [_spread(look) for look in looks]
    cells = np.unique(np.concatenate([np.stack([look.column, look.row], axis=1)[chosen] for look, chosen in zip(looks, few)]), axis=0)
    some = looks[0]
    dear = mean_log_likelihood_after(task.listening, list(task.drawn_models), some.west_m + some.cell_m * cells[:, 0], some.south_m + some.cell_m * cells[:, 1],
                                     task.tag_type, [counts[index] for index in wanted])
    place_of = {tuple(cell): number for number, cell in enumerate(cells.tolist())}
    located = []
    for look, chosen, log in zip(looks, few, dear):
        at = [place_of[cell] for cell in zip(look.column[chosen].tolist(), look.row[chosen].tolist())]
        values = from_few_cells(look.log_density, lambda *_: log[at], look.easting_m, look.northing_m, chosen)
        posterior = replace(look, log_density=values - values.max())
        located.append(Located(posterior, edge_probability(posterior, area)))
    return located


def _spread(look: Posterior) -> np.ndarray:
    """Flags of one in nine cells, or one in four, or all: the fewest that can be interpolated between."""
    for apart in (3, 2):
        chosen = (look.column % apart == 0) & (look.row % apart == 0)
        if chosen.sum() >= FEWEST_CHOSEN and len(chosen) >= ALL_BELOW:
            return chosen
    return np.ones(len(look.column), bool)
