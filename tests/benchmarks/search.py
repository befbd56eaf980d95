"""Whether what is said of detection holds where the truth is known: `python -m tests.benchmarks.search [first seed] [campaigns per world]`.

Campaigns of three flights over a square of 2.5 km with 10 beacons, 24 more tags at places that the analysis does not know, and animals
that stayed, left or fell silent, in two worlds: weak tags over level ground, and a valley whose loss behind hills is simulated with
another diffraction model than the analysis has. The signal model is fitted on the beacons of each campaign. Measured:

    bands     predicted detection of the 24 tags against what was heard, per flight and per campaign, in ten bands
    silence   of animals not heard: stated probabilities of missed, outside and silent (priors right) against what was the case
    next      the adequacy that the advised next flight adds, against the median candidate, by the true signal model; and of tags that lay there and were missed so far
              the share that each of the two flights hears when it is simulated

Each campaign's rows go to tests/benchmarks/search.csv as they come; `... search summary` prints the tables from it (about 40 s a campaign).
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.calibration.held_out import MODELS_DRAWN
from pipeline.radio import KnownTag, Listening, TerrainLoss, fit_signal_model, steps_along
from pipeline.search import (GroundAhead, Sought, along_the_track, band_table, candidate_flights, cautious_strengths, explain_silence, heard_at_all, one_look_per_pass, prior_from_last_fix,
                             rank_flights, strengths_of)
from pipeline.search.next_flight import adequacy_after
from pipeline.simulate import invented_valley, simulate_strengths, stream, uniforms
from tests.benchmarks.worlds import HALF_SIDE_M, RECORD_S, TAG_TYPE, World, _flight, _physics, true_model

RESULT = Path(__file__).with_name("search.csv")
BEACONS, TAGS, ANIMALS, FLIGHTS = 10, 24, 40, 3
# Tags lie in a square somewhat larger than the one flown over, so that every probability of being heard occurs.
SPREAD = 1.7
WORLDS = (World("weak tags", _physics(-52.0)), World("valley", _physics(-46.0), relief=True))
# What the animals do; told to the analysis as its prior.
IN_AREA, SILENT = 0.7, 0.1
CELLS_A_SIDE = 20
# Of each sought tag so many are simulated that lie where it may be, send, and were heard by no flight so far.
SILENT_TAGS = 20
MOST_TRIED = 60 * SILENT_TAGS


@dataclass(frozen=True)
class Made:
    """A campaign: flights without strengths, and how to listen to one more tag. raster : what the analysis knows of the ground, None where it is level."""

    world: World
    seed: int
    flights: tuple[Listening, ...]
    terrain: object | None
    raster: TerrainLoss | None = None

    def heard_of(self, number: int, place, power_db: float) -> tuple[Listening, ...]:
        """What each flight logs of a tag; the number chooses the random stream."""
        return tuple(self.on_flight(flight, place, power_db, stream(self.seed, 24, index, number)) for index, flight in enumerate(self.flights))

    def on_flight(self, flight: Listening, place, power_db: float, generator) -> Listening:
        """What any flight logs of a tag."""
        return replace(flight, strength_db=simulate_strengths(
            easting_m=flight.easting_m, northing_m=flight.northing_m, height_above_ground_m=flight.height_above_ground_m, azimuth_grid_deg=flight.azimuth_grid_deg,
            tag_easting_m=place[0], tag_northing_m=place[1], tag_height_m=0.3, tag_power_db=power_db, physics=self.world.physics, generator=generator, terrain=self.terrain))


def made(world: World, seed: int) -> Made:
    """The flights of a campaign over level ground or over a valley that the analysis has a raster of."""
    terrain = invented_valley(seed) if world.relief else None
    flights, raster = [], None
    if terrain is not None:
        raster = TerrainLoss(terrain.height_m[::-1], terrain.west_m - 0.5 * terrain.cell_m, terrain.south_m + (len(terrain.height_m) - 0.5) * terrain.cell_m, terrain.cell_m)
    for number in range(FLIGHTS):
        path = _flight(number, world.flown_m, stream(seed, 23, number))
        at = path.at(np.arange(0, len(path), RECORD_S))
        blank = np.full(len(at), np.nan)
        flight = Listening(at.easting_m, at.northing_m, at.height_above_ground_m, at.azimuth_deg % 360, blank, blank, steps_along(at.easting_m, at.northing_m), flight_id=f"F{number}")
        if raster is not None:
            edge_m = SPREAD * HALF_SIDE_M + 50.0
            flight = replace(flight, terrain=raster.along(flight, (-edge_m, -edge_m, edge_m, edge_m), lattice_m=100.0))
        flights.append(flight)
    return Made(world, seed, tuple(flights), terrain, raster)


def _places(seed: int, kind: int, count: int) -> np.ndarray:
    generator = stream(seed, 21, kind)
    return np.array([uniforms(generator, -SPREAD * HALF_SIDE_M, SPREAD * HALF_SIDE_M, 2) for _ in range(count)])


def _powers(world: World, seed: int, kind: int, count: int) -> np.ndarray:
    return world.physics.power_mean_db[TAG_TYPE] + world.physics.power_sd_db * stream(seed, 22, kind).standard_normal(count)


def fitted_on_beacons(campaign: Made):
    """The signal model from the 10 beacons of the campaign."""
    places, powers = _places(campaign.seed, 0, BEACONS), _powers(campaign.world, campaign.seed, 0, BEACONS)
    return fit_signal_model([KnownTag(f"B{number}", f"B{number}", TAG_TYPE, *places[number], 0.3, campaign.heard_of(number, places[number], powers[number])) for number in range(BEACONS)])


class Judged:
    """What the analysis says of detection in a campaign; logarithms of hearing nothing, flight by flight, at some places."""

    def __init__(self, campaign: Made, fitted, seed: int = 1):
        models = fitted.draws(MODELS_DRAWN, np.random.default_rng(seed))
        self.campaign, self.fitted = campaign, fitted
        self.plain, self.careful = strengths_of(models, TAG_TYPE), cautious_strengths(models, TAG_TYPE)

    def at(self, places, height_m: float = 0.3) -> dict[str, list[np.ndarray]]:
        """version -> one array (models, strengths, places) per flight."""
        east, north = np.asarray(places).T
        return {"expected": [along_the_track(flight, self.plain, east, north, height_m) for flight in self.campaign.flights],
                "cautious": [one_look_per_pass(flight, self.careful, east, north, height_m) for flight in self.campaign.flights]}

    def probability(self, log_nothing: dict, flights=slice(None)) -> dict[str, np.ndarray]:
        """version -> probability of being heard in these flights together, shape (places,)."""
        strengths = {"expected": self.plain, "cautious": self.careful}
        return {name: heard_at_all(sum(each[flights]), strengths[name]) for name, each in log_nothing.items()}


def detection_rows(judged: Judged) -> pd.DataFrame:
    """Predicted and observed, one row per unknown tag and flight, and per tag for the campaign (flight "all")."""
    campaign = judged.campaign
    places, powers = _places(campaign.seed, 1, TAGS), _powers(campaign.world, campaign.seed, 1, TAGS)
    heard = np.array([[one.heard.any() for one in campaign.heard_of(100 + number, places[number], powers[number])] for number in range(TAGS)])
    said, parts = judged.at(places), []
    for name, chosen in [*((f"F{number}", slice(number, number + 1)) for number in range(FLIGHTS)), ("all", slice(None))]:
        parts.append(pd.DataFrame({"flight": name, **judged.probability(said, chosen), "true": heard[:, chosen].any(axis=1)}))
    return pd.concat(parts).assign(what="detection")


def _grid() -> tuple[np.ndarray, float]:
    side_m = 2 * SPREAD * HALF_SIDE_M / CELLS_A_SIDE
    middle = -SPREAD * HALF_SIDE_M + side_m * (np.arange(CELLS_A_SIDE) + 0.5)
    return np.stack(np.meshgrid(middle, middle), axis=-1).reshape(-1, 2), side_m


def silence_rows(judged: Judged) -> tuple[pd.DataFrame, list[Sought], np.ndarray]:
    """One row per animal not heard: what was said of it and what was the case; also the first missing ones as sought tags with their cells."""
    campaign, generator = judged.campaign, stream(judged.campaign.seed, 31)
    cells, side_m = _grid()
    said = judged.at(cells)
    detection = judged.probability(said)
    rows, sought = [], []
    for number, power in enumerate(_powers(campaign.world, campaign.seed, 2, ANIMALS)):
        last, spread_m = uniforms(generator, -SPREAD * HALF_SIDE_M, SPREAD * HALF_SIDE_M, 2), float(uniforms(generator, 150.0, 700.0))
        prior, _ = prior_from_last_fix(*cells.T, side_m, last[None, :], 1.0, spread_m * np.sqrt(2.0))
        place = cells[generator.choice(len(cells), p=prior)] + uniforms(generator, -0.5 * side_m, 0.5 * side_m, 2)
        case = "silent" if generator.random() < SILENT else "missed" if generator.random() < IN_AREA else "outside"
        if case == "missed" and any(one.heard.any() for one in campaign.heard_of(1000 + number, place, power)):
            continue
        stated = explain_silence(IN_AREA, SILENT, float(prior @ detection["expected"]))
        rows.append({**{f"said_{name}": value for name, value in stated.items()}, "case": case, "expected": float(prior @ detection["expected"]), "cautious": float(prior @ detection["cautious"])})
        sought.append(Sought(f"A{number}", judged.careful, prior, sum(said["cautious"])))
    return pd.DataFrame(rows).assign(what="silence"), sought, cells


def next_flight_row(judged: Judged, sought: list[Sought], cells: np.ndarray, missing: int = 3) -> pd.DataFrame:
    """The advised flight against all candidates: gains in adequacy of the missing tags, by the true model of the world instead of the fitted one."""
    campaign, truth = judged.campaign, strengths_of([true_model(judged.campaign.world)], TAG_TYPE)
    before = sum(along_the_track(flight, truth, *cells.T) for flight in campaign.flights)
    chosen = sorted(sought, key=lambda tag: float(tag.prior @ heard_at_all(tag.log_nothing, tag.strengths)))[:missing]
    candidates = candidate_flights(*cells.T, [(0.0, 0.0), (HALF_SIDE_M, -HALF_SIDE_M)], heights_m=(80.0,))
    flown, side_m = np.concatenate([each.waypoints_m for each in candidates]), _grid()[1]
    ahead = GroundAhead(campaign.raster, None, (*flown.min(axis=0), *flown.max(axis=0)), (*(cells.min(axis=0) - side_m), *(cells.max(axis=0) + side_m)))
    ranked = rank_flights(candidates, chosen, [], judged.fitted.model, *cells.T, ahead=ahead)
    as_true = [Sought(tag.tag_id, truth, tag.prior, before) for tag in chosen]
    already = np.mean([tag.prior @ heard_at_all(before, truth) for tag in chosen])
    listenings = {each.name: ahead.along(each.listening()) for each in candidates}
    gain = {name: float(adequacy_after(listening, as_true, *cells.T).mean() - already) for name, listening in listenings.items()}
    advised, median = ranked["name"].iloc[0], sorted(gain, key=gain.get)[(len(gain) - 1) // 2]
    silent = [tag for number, one in enumerate(chosen) for tag in silent_tags(campaign, one, cells, side_m, number)]
    heard = {name: share_heard(campaign, listenings[name], silent) for name in (advised, median)}
    return pd.DataFrame([{"what": "next", "advised_gain": gain[advised], "median_gain": float(np.median(list(gain.values()))), "best_gain": max(gain.values()),
                          "adequacy_before": float(already), "candidates": len(candidates), "silent_tags": len(silent), "advised_heard": heard[advised], "median_heard": heard[median]}])


def silent_tags(campaign: Made, tag: Sought, cells: np.ndarray, side_m: float, number: int) -> list[tuple[np.ndarray, float]]:
    """(place, power) of tags that lie where this one may be, send, and were heard by no flight: drawn and kept only if silent. As many as come of MOST_TRIED, at most SILENT_TAGS."""
    generator, kept = stream(campaign.seed, 41, number), []
    for tried in range(MOST_TRIED):
        place = cells[generator.choice(len(cells), p=tag.prior)] + uniforms(generator, -0.5 * side_m, 0.5 * side_m, 2)
        power_db = campaign.world.physics.power_mean_db[TAG_TYPE] + campaign.world.physics.power_sd_db * float(generator.standard_normal())
        flights = enumerate(campaign.flights)
        if not any(campaign.on_flight(flight, place, power_db, stream(campaign.seed, 42, number, tried, index)).heard.any() for index, flight in flights):
            kept.append((place, power_db))
        if len(kept) == SILENT_TAGS:
            break
    return kept


def share_heard(campaign: Made, flight: Listening, tags) -> float:
    """Share of tags (place, power) of which a flight hears at least one record; blank without a tag."""
    heard = [campaign.on_flight(flight, place, power_db, stream(campaign.seed, 43, number)).heard.any() for number, (place, power_db) in enumerate(tags)]
    return float(np.mean(heard)) if heard else float("nan")


def measured(world: World, seed: int) -> pd.DataFrame:
    """All rows of one campaign."""
    campaign = made(world, seed)
    judged = Judged(campaign, fitted_on_beacons(campaign))
    silence, sought, cells = silence_rows(judged)
    return pd.concat([detection_rows(judged), silence, next_flight_row(judged, sought, cells)]).assign(world=world.name, seed=seed)


def reliability(said, was, edges=np.linspace(0, 1, 6)) -> pd.DataFrame:
    """Stated probabilities against the share of cases, in bands. Columns band, said, was, n."""
    said, was = np.asarray(said, float), np.asarray(was, bool)
    band = np.clip(np.digitize(said, edges[1:-1]), 0, len(edges) - 2)
    return pd.DataFrame([{"band": f"{edges[each]:.1f} to {edges[each + 1]:.1f}", "said": said[band == each].mean(), "was": was[band == each].mean(), "n": int((band == each).sum())}
                         for each in np.unique(band)])


def summary(rows: pd.DataFrame) -> str:
    """The tables in words and figures."""
    detection, silence, nexts = (rows[rows["what"] == name] for name in ("detection", "silence", "next"))
    heard = {name: part for name, part in (("flights", detection[detection["flight"] != "all"]), ("campaigns", detection[detection["flight"] == "all"]))}
    lines = [f"{rows.groupby(['world', 'seed']).ngroups} campaigns of {TAGS} tags"]
    for name, part in heard.items():
        for version in ("expected", "cautious"):
            bands = band_table(part[version], part["true"].astype(bool))
            too_high = int((bands["predicted_mean"] > bands["share_high"]).sum())
            lines += [f"\n{version}, {name}: {int(bands['agrees'].sum())} of {len(bands)} bands agree, {too_high} said too much", bands.round(3).to_string(index=False)]
        well = part[part["cautious"] >= 0.9]
        lines.append(f"cautious 0.9 or more, {name}: {int(well['true'].sum())} of {len(well)} heard")
    for case in ("missed", "outside", "silent"):
        table = reliability(silence[f"said_{case}"], silence["case"] == case)
        off = float((np.abs(table["said"] - table["was"]) * table["n"]).sum() / table["n"].sum())
        lines += [f"\n{case}: {len(silence)} animals not heard, mean distance from the diagonal {off:.3f}", table.round(3).to_string(index=False)]
    ratio = nexts["advised_gain"].mean() / nexts["median_gain"].mean()
    lines.append(f"\nnext flight: advised adds {nexts['advised_gain'].mean():.3f}, median candidate {nexts['median_gain'].mean():.3f}, best {nexts['best_gain'].mean():.3f}; ratio {ratio:.2f}, "
                 f"smallest of a campaign {(nexts['advised_gain'] / nexts['median_gain']).min():.2f}")
    if "silent_tags" in nexts and nexts["silent_tags"].sum():
        counted = nexts[nexts["silent_tags"] > 0]
        advised, median = ((counted[f"{flight}_heard"] * counted["silent_tags"]).sum() / counted["silent_tags"].sum() for flight in ("advised", "median"))
        lines.append(f"of {int(counted['silent_tags'].sum())} simulated silent tags the advised flight hears {advised:.3f}, the median candidate {median:.3f}; ratio {advised / median:.2f}")
    return "\n".join(lines)


def main(arguments: list[str]) -> None:
    """Measure campaigns and append them to the table, or print its summary."""
    if arguments[:1] == ["summary"]:
        print(summary(pd.read_csv(RESULT, low_memory=False)))
        return
    if RESULT.exists() and list(pd.read_csv(RESULT, nrows=0).columns) != COLUMNS:
        raise SystemExit(f"{RESULT.name} has other columns than this benchmark writes: remove it and measure all campaigns anew")
    first, count = (int(value) for value in (arguments + ["1", "18"][len(arguments):])[:2])
    for seed in range(first, first + count):
        for world in WORLDS:
            rows = measured(world, seed).round(5)
            rows = rows.reindex(columns=COLUMNS)
            rows.to_csv(RESULT, mode="a", header=not RESULT.exists(), index=False)
            print(world.name, seed, flush=True)


COLUMNS = ["world", "seed", "what", "flight", "expected", "cautious", "true", "said_missed", "said_outside", "said_silent", "case", "advised_gain", "median_gain", "best_gain", "adequacy_before", "candidates",
           "silent_tags", "advised_heard", "median_heard"]

if __name__ == "__main__":
    main(sys.argv[1:])
