"""Movement summaries: what moved more than its error allows, and what the data cannot bear."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pipeline.columns import BEACON_ERRORS, FIXES
from pipeline.fate.triage import FLIGHTS_OF_SILENCE
from pipeline.movement import (
    AnimalFixes, SharedError, Tails, animal_table, animals_with_fixes, displacement_table, extent_table, fidelity_table, growth_table, joined_by_flight, lives_table,
    net_displacement_table, outline_table, overlap_table, places_of_animals, proximity_table, range_table, shared_error, survival_table, tails_of, timeline_table, track_table, walk_table,
    walks_of_animals,
)
from pipeline.stages.doubtful_hits import lone_hits
from pipeline.stages.silences import Silence, fell_silent, silences
from pipeline.stages.workspace import Workspace, open_workspace

DRAWS_FILE = "work/draws.npz"

# Attribute of MovementTables -> file in tables/
TABLE_FILES = {
    "summary": "movement_animals",
    "steps": "movement_steps",
    "extents": "extents",
    "ranges": "ranges",
    "outlines": "range_outlines",
    "growth": "extent_growth",
    "overlaps": "range_overlaps",
    "net": "net_displacement",
    "walks": "movement_walks",
    "tracks": "movement_tracks",
    "lives": "survival_animals",
    "survival": "survival",
    "proximity": "proximity",
    "fidelity": "site_fidelity",
    "timeline": "movement_timeline",
    "errors": "movement_errors",
    "places": "movement_fixes",
}


@dataclass(frozen=True)
class MovementTables:
    """Everything the report says, as tables.

    places : one row per usable fix: number in order of time, position, radius.
    errors : the errors that went in: of the fixes used, and of the beacons where there are any.
    significance : of the tests, over the whole campaign.
    shared : what the errors of one flight have in common. tails : how far errors reach beyond the 95 % regions. no_survival : why there is no survival curve, "" when there is one.
    single : animals heard in single records only, by the rule of doubtful_hits. silent : tag -> its silence, of those that fell silent by the rule of silences.
    """

    animals: list[AnimalFixes]
    summary: pd.DataFrame
    steps: pd.DataFrame
    extents: pd.DataFrame
    ranges: pd.DataFrame
    outlines: pd.DataFrame
    growth: pd.DataFrame
    overlaps: pd.DataFrame
    net: pd.DataFrame
    walks: pd.DataFrame
    tracks: pd.DataFrame
    lives: pd.DataFrame
    survival: pd.DataFrame
    proximity: pd.DataFrame
    fidelity: pd.DataFrame
    timeline: pd.DataFrame
    errors: pd.DataFrame
    places: pd.DataFrame
    flights: pd.DataFrame
    significance: float
    shared: SharedError
    tails: Tails
    no_survival: str
    single: tuple[str, ...] = ()
    silent: dict[str, Silence] = field(default_factory=dict)


def open_report(config_path):
    """Compute the stage for a survey file and give what its notebook shows. Stages before it are computed when they are missing."""
    from pipeline.stages.movement_report import MovementReport

    workspace = open_workspace(config_path)
    workspace.ensure("3_error_calibration")
    tables = compute(workspace)
    workspace.mark_computed("4_movement_summaries")
    return MovementReport(workspace, tables)


def compute(workspace: Workspace) -> MovementTables:
    """Compute all movement tables and write them to tables/."""
    fixes = workspace.read_table("fixes", FIXES)
    tables = summarise(
        tags=workspace.read_work("tags"), fixes=fixes, flights=workspace.read_work("flights"), draws=read_draws(workspace.path_to_read(DRAWS_FILE)),
        beacon_errors=optional(lambda: workspace.read_table("beacon_errors", BEACON_ERRORS)),
        judged=optional(lambda: workspace.read_work("fate_triage")), searched=optional(lambda: workspace.read_work("searched_area")), tags_heard=optional(lambda: workspace.read_work("tags_heard")),
        significance=workspace.survey.movement.significance, seed=workspace.survey.seed,
    )
    for attribute, name in TABLE_FILES.items():
        workspace.write_table(name, getattr(tables, attribute))
    return tables


def summarise(*, tags, fixes, flights, draws, beacon_errors=None, judged=None, searched=None, tags_heard=None, significance=0.05, seed=1) -> MovementTables:
    """All movement tables from the tables of the stages before and the draws of the calibrated posteriors.

    draws : dict of (tag_id, flight_id) -> array (n, 2), metres in the survey CRS.
    beacon_errors : DataFrame with the columns of BEACON_ERRORS, or None. judged : of fate.triage, or None.
    searched : flight_id, tag_type and mean_cautious, the mean probability over the ground that a tag of this type would have been heard; or None.
    tags_heard : tag_id and longest_run of hits, or None.
    """
    shared = shared_error(beacon_errors, seed=seed)
    animals = animals_with_fixes(tags, fixes, draws)
    together = joined_by_flight(animals, shared.correlation, seed=seed)
    tails = tails_of([] if beacon_errors is None else pd.to_numeric(beacon_errors["level_after"]).to_numpy(float))
    steps = displacement_table(animals, significance=significance, tails=tails)
    timeline = timeline_table(animals, fixes, flights, _adequacy(tags, searched))
    places, walks = places_of_animals(animals, seed), walks_of_animals(animals, seed)
    tracks = track_table(animals, walks, seed=seed)
    ranges = range_table(animals, seed=seed, places=places)
    lives, survival, no_survival = _survival(tags, judged, flights)
    searches = fixes[fixes["tag_id"].isin(tags.loc[tags["role"] == "animal", "tag_id"])]
    single = () if tags_heard is None else tuple(lone_hits(searches, tags_heard))
    return MovementTables(
        animals=animals, steps=steps, timeline=timeline, flights=flights, significance=significance, shared=shared, tails=tails, no_survival=no_survival,
        summary=animal_table(animals, steps, timeline, flights, fixes), extents=extent_table(animals, places=places), ranges=ranges, outlines=outline_table(places, ranges),
        growth=growth_table(animals, places, seed=seed), overlaps=overlap_table(animals, places), net=net_displacement_table(animals),
        walks=walk_table(animals, walks, tracks), tracks=tracks, lives=lives, survival=survival,
        proximity=proximity_table(together), fidelity=fidelity_table(animals, significance=significance),
        places=_places(animals), errors=_errors(animals, beacon_errors), single=single,
        silent={} if searched is None else {tag: each for tag, each in fell_silent(silences(searches, tags, searched, _judged(judged))).items() if tag not in single},
    )


def _adequacy(tags, searched) -> dict:
    """(tag_id, flight_id) -> how well this flight alone searched the ground for tags of this type (mean over the ground, cautious)."""
    if searched is None or not len(searched):
        return {}
    of_type = {kind: group.set_index("flight_id")["mean_cautious"].to_dict() for kind, group in searched.groupby("tag_type")}
    return {(tag_id, flight_id): float(value) for tag_id, kind in zip(tags["tag_id"], tags["tag_type"]) for flight_id, value in of_type.get(kind, {}).items()}


def _judged(judged) -> pd.DataFrame:
    return pd.DataFrame(columns=["tag_id", "class", "last_live_utc", "first_mortality_utc", "flights_silent_since"]) if judged is None else judged


def _survival(tags, judged, flights):
    judged = _judged(judged)
    end = pd.to_datetime(flights["end_utc"] if flights["end_utc"].notna().any() else flights["start_utc"]).max() if len(flights) else pd.NaT
    lives = lives_table(tags.head(0) if pd.isna(end) else tags, judged, end, silent_from=FLIGHTS_OF_SILENCE)
    table, reason = survival_table(lives, end)
    return lives, table, "There was no flight." if pd.isna(end) else reason


def read_draws(path) -> dict[tuple[str, str], np.ndarray]:
    """Draws of the calibrated posteriors, written by the stage before under the names "tag_id|flight_id"."""
    with np.load(path) as archive:
        return {tuple(name.split("|", 1)): archive[name].astype(float) for name in archive.files}


def optional(read):
    """What a reader gives, or None when its file was not made."""
    try:
        return read()
    except FileNotFoundError:
        return None


def _places(animals) -> pd.DataFrame:
    columns = ["tag_id", "animal_id", "number", "flight_id", "time_utc", "easting_m", "northing_m", "error_radius_95_m", "several_places"]
    rows = [animal.identity | {"number": number} | {name: getattr(fix, name) for name in columns[3:]}
            for animal in animals for number, fix in enumerate(animal.fixes, start=1)]
    return pd.DataFrame(rows, columns=columns)


def _errors(animals, beacon_errors) -> pd.DataFrame:
    """Sizes of the errors that movement rests on: stated radii of the fixes used, stated radii and true errors of the beacons."""
    radii = [fix.error_radius_95_m for animal in animals for fix in animal.fixes]
    rows = [_sizes("fixes used: 95 % radius", radii)]
    if beacon_errors is not None and len(beacon_errors):
        known = beacon_errors[beacon_errors["error_m"].notna()]
        rows.append(_sizes("beacons: 95 % radius", known["error_radius_95_m"]))
        rows.append(_sizes("beacons: true error", known["error_m"])
                    | {"inside": int((known["level_after"] <= 0.95).sum()), "of": int(known["level_after"].notna().sum())})
    table = pd.DataFrame(rows, columns=["what", "count", "median_m", "p90_m", "largest_m", "inside", "of"])
    return table.astype({"inside": "Int64", "of": "Int64"})


def _sizes(what, values) -> dict:
    sizes = np.asarray(pd.to_numeric(pd.Series(list(values), dtype="float64")), dtype=float)
    sizes = sizes[np.isfinite(sizes)]
    numbers = dict(zip(("median_m", "p90_m", "largest_m"), np.quantile(sizes, [0.5, 0.9, 1.0]))) if len(sizes) else {}
    return {"what": what, "count": len(sizes)} | numbers
