"""How near the fixes come to what is possible: `python -m tests.benchmarks.accuracy [campaigns per world, twice as many with few beacons]`.

In six worlds with known truth the fixes are compared with what is done by hand and with what could be done at best:
(a) the receiver's position at the strongest record, (b) the power-weighted centroid of the heard positions, (c) least squares
on the log-distance law with power and place free (scipy), (d) the posterior under the true parameters (what hills take and how far animals walk included), (e) the Cramer-Rao
bound for the heard records. Prints one table and writes it to tests/benchmarks/accuracy.csv; with a world's name after the number only its row is measured anew.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.optimize import least_squares

from pipeline.calibration import HeldOutModels, Widening, find_widening, fit_held_out, gather_heard, locate_all
from pipeline.location import best_position
from pipeline.radio import Corrections, sightlines
from tests.benchmarks.worlds import WORLDS, Campaign, World, campaign

RESULT = Path(__file__).with_name("accuracy.csv")
LEVELS = (0.5, 0.8, 0.95)
# What few beacons teach differs from campaign to campaign, so that more campaigns are needed to measure it.
ENOUGH_BEACONS, TIMES_WITH_FEW_BEACONS = 8, 2


class TrueModels(HeldOutModels):
    """The true signal model in place of every fitted one."""

    def __init__(self, model, corrections=Corrections()):
        object.__setattr__(self, "model", model)
        object.__setattr__(self, "corrections", corrections)
        object.__setattr__(self, "left_out_lags_s", {})

    def for_place(self, place_id):
        return self

    def drawn(self, place_id):
        return (self.model,)


def strongest(listening) -> np.ndarray:
    """(a) where the receiver was when it heard most."""
    at = int(np.nanargmax(listening.strength_db))
    return np.array([listening.easting_m[at], listening.northing_m[at]])


def centroid(listening) -> np.ndarray:
    """(b) mean of the heard positions, weighted by received power."""
    heard = listening.heard
    weight = 10 ** ((listening.strength_db[heard] - np.nanmax(listening.strength_db)) / 10)
    return np.array([weight @ listening.easting_m[heard], weight @ listening.northing_m[heard]]) / weight.sum()


def log_distance_fit(listening) -> np.ndarray:
    """(c) least squares on the log-distance law over the heard records, from the best of nine starts; n 2.5, no antenna, no absences."""
    heard, start = listening.heard, centroid(listening)
    east, north, height, strength = (values[heard] for values in (listening.easting_m, listening.northing_m, listening.height_above_ground_m, listening.strength_db))

    def residuals(unknown):
        return strength - unknown[2] + 12.5 * np.log10((east - unknown[0]) ** 2 + (north - unknown[1]) ** 2 + height**2)

    starts = [start + 300.0 * np.array([i, j]) for i in (-1, 0, 1) for j in (-1, 0, 1)]
    fits = [least_squares(residuals, [*at, float(np.mean(strength + 25 * np.log10(400.0)))], x_scale=[100, 100, 5], max_nfev=200) for at in starts]
    return min(fits, key=lambda fit: fit.cost).x[:2]


def cramer_rao_m(listening, model, place) -> float:
    """(e) root of the trace of the inverse Fisher information of the heard records at the truth, correlation and unknown power included."""
    heard, nudge = listening.heard, 1.0
    steps = nudge * np.array([(1, 0), (-1, 0), (0, 1), (0, -1)])
    gain = model.gain_db(sightlines(listening, place[0] + steps[:, 0], place[1] + steps[:, 1], 0.3))[heard]
    slopes = np.stack([gain[:, 0] - gain[:, 1], gain[:, 2] - gain[:, 3]], axis=1) / (2 * nudge)
    flown = np.cumsum(np.where(np.isinf(listening.step_m), 0.0, listening.step_m))[heard]
    spread = model.shadowing_sd_db**2 * np.exp(-np.abs(flown[:, None] - flown) / model.shadowing_length_m)
    spread += model.power_sd_db**2 + model.noise_sd_db**2 * np.eye(len(flown))
    return float(np.sqrt(np.trace(np.linalg.inv(slopes.T @ np.linalg.solve(spread, slopes)))))


def located_as_users_do(made: Campaign, seed: int) -> tuple:
    """(models, widening, animals and flights with three heard records or more, what was located of them), by what the analysis gets."""
    models = fit_held_out(made.records, made.beacons, seed, made.hills, made.canopy)
    styles = {"F0": "loop", "F1": "lines", "F2": "lines"}
    heard = gather_heard(made.records, made.tags, made.beacons, styles=styles, corrections_for=models.corrections_for)
    widening = find_widening(heard, models)
    animals = [item for item in heard if item.truth is None and item.listening.heard.sum() >= 3]
    return models, widening, animals, locate_all(animals, models, widening, walk_sd_m=made.walk_m / np.sqrt(2.0))


def animals_located(made: Campaign, seed: int) -> pd.DataFrame:
    """One row per animal and flight: error, level of the truth and area of the region of our fixes."""
    models, _, animals, ours = located_as_users_do(made, seed)
    return _as_rows(made, animals, ours).assign(terrain_share=models.whole.model.terrain_share)


def animals_located_at_best(made: Campaign) -> pd.DataFrame:
    """The same of the posterior under the true parameters and the true loss behind hills: what no analysis of these flights can better on average."""
    truly = Corrections(terrain=made.true_hills)
    heard = gather_heard(made.records, made.tags, made.beacons, corrections_for=lambda place_id: truly)
    animals = [item for item in heard if item.truth is None and item.listening.heard.sum() >= 3]
    return _as_rows(made, animals, locate_all(animals, TrueModels(made.model, truly), Widening(1.0, {}, 0), walk_sd_m=made.walk_m / np.sqrt(2.0)))


def _as_rows(made: Campaign, animals, located) -> pd.DataFrame:
    return pd.DataFrame([{"flight_id": item.flight_id, "tag_id": item.tag_id, "error_m": float(np.hypot(*(best_position(one.posterior) - made.truth[item.tag_id]))),
                          "level": one.posterior.level_at(*made.truth[item.tag_id]), "region_95_ha": one.posterior.region_area_ha(0.95)} for item, one in zip(animals, located)])


def fixes_of(made: Campaign, seed: int) -> pd.DataFrame:
    """One row per animal and flight with three heard records or more: errors of all methods, levels and areas of the regions."""
    _, widening, animals, ours = located_as_users_do(made, seed)
    walk_sd_m = made.walk_m / np.sqrt(2.0)
    ideal = locate_all(_without_lags(animals, made), TrueModels(made.model, Corrections(terrain=made.true_hills)), Widening(1.0, {}, 0), walk_sd_m=walk_sd_m)
    rows = []
    for item, mine, best in zip(animals, ours, ideal):
        place, listening = made.truth[item.tag_id], item.listening
        methods = {"ours": best_position(mine.posterior), "strongest": strongest(listening), "centroid": centroid(listening),
                   "least_squares": log_distance_fit(listening), "true_parameters": best_position(best.posterior)}
        rows.append({"flight_id": item.flight_id, "tag_id": item.tag_id, "widening": widening.overall, "level": mine.posterior.level_at(*place),
                     "level_true_parameters": best.posterior.level_at(*place), "region_95_ha": mine.posterior.region_area_ha(0.95),
                     "region_95_true_parameters_ha": best.posterior.region_area_ha(0.95), "bound_m": cramer_rao_m(listening, made.model, place),
                     **{f"error_{name}_m": float(np.hypot(*(at - place))) for name, at in methods.items()}})
    return pd.DataFrame(rows)


def _without_lags(animals, made: Campaign) -> list:
    """The same tags with the clocks as they are in these worlds, where they agree."""
    keys = {(item.tag_id, item.flight_id) for item in animals}
    again = gather_heard(made.records, made.tags, made.beacons, corrections_for=lambda place_id: Corrections(terrain=made.true_hills))
    return [item for item in again if (item.tag_id, item.flight_id) in keys]


def summary(world: World, fixes: pd.DataFrame) -> dict:
    """The line of a world in the printed table."""
    medians = {name: float(fixes[f"error_{name}_m"].median()) for name in ("ours", "strongest", "centroid", "least_squares", "true_parameters")}
    return {
        "world": world.name, "fixes": len(fixes), **{f"median_{name}_m": value for name, value in medians.items()},
        "median_bound_m": float(fixes["bound_m"].median()), "to_true_parameters": medians["ours"] / medians["true_parameters"],
        "to_strongest": medians["ours"] / medians["strongest"], "to_centroid": medians["ours"] / medians["centroid"],
        "to_least_squares": medians["ours"] / medians["least_squares"],
        **{f"held_{round(100 * level)}": float((fixes["level"] <= level).mean()) for level in LEVELS},
        "held_95_true_parameters": float((fixes["level_true_parameters"] <= 0.95).mean()),
        "region_to_true_parameters": float(fixes["region_95_ha"].median() / fixes["region_95_true_parameters_ha"].median()),
        "widening": float(fixes["widening"].mean()),
    }


def main(campaigns: int = 6, only: str = "") -> None:
    rows = []
    for number, world in enumerate(WORLDS):
        if only and only not in world.name:
            continue
        many = campaigns * (TIMES_WITH_FEW_BEACONS if world.beacons < ENOUGH_BEACONS else 1)
        fixes = pd.concat([fixes_of(campaign(world, seed=1000 * number + each), seed=1) for each in range(many)])
        rows.append(summary(world, fixes))
        print(pd.DataFrame(rows[-1:]).round(3).to_string(index=False, header=len(rows) == 1), flush=True)
    table = pd.DataFrame(rows)
    if only:  # the other worlds stay as they were measured
        before = pd.read_csv(RESULT)
        table = pd.concat([table.loc[table["world"] == name] if (table["world"] == name).any() else before[before["world"] == name] for name in before["world"]])
    table.to_csv(RESULT, index=False, float_format="%.4g")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 6, sys.argv[2] if len(sys.argv) > 2 else "")
