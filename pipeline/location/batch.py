"""Locating many tags: the same steps for each, spread over the processor's cores; the order of results is that of the tasks."""

from __future__ import annotations

import multiprocessing
import os
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from pipeline.location.by_hand import ByHand
from pipeline.location.grid import Fineness, SearchArea, adaptive_posterior, edge_probability
from pipeline.location.leaves import Leaves, tile
from pipeline.location.likelihood import log_likelihood, mean_log_likelihood, walking_likelihood
from pipeline.location.posterior import Posterior
from pipeline.location.walk_test import WalkTest, walk_test
from pipeline.radio import Listening, SignalModel

# An answer pushed against the edge of the search area is looked for again in a wider one.
_EDGE_TOLERATED = 0.02
# Fewer records cannot tell a walk from anything else.
HEARD_FOR_A_WALK = 5


@dataclass(frozen=True)
class Task:
    """One tag in one flight: its records, the central signal model, models drawn from its uncertainty, and what was added by hand.

    walk_sd_m : sd of how far the animal walks during the flight, along each axis; 0 = it stays. [m]
    margin_m, farthest_m : how far from the track to look first, and at most when the answer lies at the edge. [m]
    """

    listening: Listening
    model: SignalModel
    drawn_models: tuple[SignalModel, ...]
    tag_type: str
    margin_m: float
    farthest_m: float
    widening: float = 1.0
    truth: tuple[float, float] | None = None
    by_hand: ByHand | None = None
    walk_sd_m: float = 0.0


@dataclass(frozen=True)
class Located:
    """A posterior, the share of its probability at the edge of the searched area, and whether the animal walked (None: too little heard)."""

    posterior: Posterior
    edge_probability: float
    walk: WalkTest | None = None


def hearing_reach_m(model: SignalModel, tag_type: str, listening: Listening) -> float:
    """How far even a strong tag is heard: two sd up, antenna towards it, strength at the threshold. [m]"""
    scatter = model.scatter(tag_type)
    spread = np.sqrt(scatter.power_sd_db**2 + scatter.shadowing_sd_db**2 + scatter.noise_sd_db**2)
    thresholds = model.thresholds_db(listening)
    surplus_db = scatter.power_mean_db + 2.0 * spread + abs(model.ahead_db) + max(model.ahead_squared_db, 0.0) - np.median(thresholds)
    return float(10.0 ** (surplus_db / (10.0 * model.exponent)))


def search_margins_m(reach_m: float) -> tuple[float, float]:
    """How far from the track to look, first and at most, for tags heard as far as this. [m]"""
    first = float(np.clip(reach_m, 500.0, 3000.0))
    return first, float(np.clip(reach_m, first, 6000.0))


def locate(task: Task) -> Located:
    """Posterior of one tag, on cells fine enough for the widening it will be given."""
    central, averaged = _densities(task)
    margin = task.margin_m
    while True:
        area = _area(task, margin)
        posterior = adaptive_posterior(central, area, Fineness(widening=task.widening), averaged, task.by_hand.log_density if task.by_hand else None)
        at_edge = edge_probability(posterior, area)
        if at_edge <= _EDGE_TOLERATED or margin >= task.farthest_m:
            return Located(posterior, at_edge, _walk(task, posterior))
        margin = min(2.0 * margin, task.farthest_m)


def _walk(task: Task, posterior: Posterior) -> WalkTest | None:
    if task.listening.heard.sum() < HEARD_FOR_A_WALK:
        return None
    return walk_test(task.listening, task.model, task.tag_type, posterior)


def _area(task: Task, margin_m: float) -> SearchArea:
    east, north = task.listening.easting_m, task.listening.northing_m
    if task.by_hand is not None:
        more_east, more_north = task.by_hand.places()
        east, north = np.concatenate([east, more_east]), np.concatenate([north, more_north])
    return SearchArea.around(east, north, margin_m)


def leaves_and_truth(task: Task) -> tuple[Leaves, float]:
    """Cells that serve every widening, and the log-density at the tag's true place (task.truth)."""
    area = SearchArea.around(task.listening.easting_m, task.listening.northing_m, task.margin_m)
    central, averaged = _densities(task)
    leaves = tile(central, area, last_log_density=averaged)
    return leaves, float(averaged(np.array([task.truth[0]]), np.array([task.truth[1]]))[0])


def _densities(task: Task):
    def central(easting_m, northing_m):
        return log_likelihood(task.listening, task.model, easting_m, northing_m, task.tag_type)

    def averaged(easting_m, northing_m):
        return mean_log_likelihood(task.listening, list(task.drawn_models), easting_m, northing_m, task.tag_type)

    def walking(models):
        def density(easting_m, northing_m):
            walked = walking_likelihood(task.listening, models, easting_m, northing_m, task.tag_type, task.walk_sd_m)
            return logsumexp(walked.log_evidence, axis=0) - np.log(len(models))
        return density

    return (walking([task.model]), walking(list(task.drawn_models))) if task.walk_sd_m > 0 else (central, averaged)


def spread_over_cores(function, tasks: list) -> list:
    """function(task) for every task, in order. Few tasks are done in this process: starting another costs seconds."""
    workers = min(os.cpu_count() or 1, 4, len(tasks) // 20)
    if workers < 2:
        return [function(task) for task in tasks]
    context = multiprocessing.get_context("spawn" if os.name == "nt" else "forkserver")
    with ProcessPoolExecutor(workers, mp_context=context) as pool:
        return list(pool.map(function, tasks, chunksize=4))
