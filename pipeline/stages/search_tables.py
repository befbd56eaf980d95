"""Was the ground really searched, and what does silence mean? Worked out with the signal model of the campaign, one tag type at a time.

    work/     searched (probability of detection, cell by cell; grid in searched_grid.json), searched_areas (polygons, survey CRS)
    tables/   next_flight (see next_flight.py), searched_area, searched_by_ground, cumulative_area, detection_ranges, not_found, silence_explained, search_validation (+ _bands), well_searched_beacons;
              the same in work/
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from pipeline.calibration import HeldOutModels
from pipeline.radio import SignalModel
from pipeline.search import (BY_GROUND, CAMPAIGN, PRIORS, Detection, GroundSearch, MissingTag, SearchGrid, StatedPrior, WeakTags, area_by_ground, area_table, cumulative_area,
                             explanation_table, ground_round_track, ground_searched, not_found_table, prior_over_area, range_table, search_grid, share_interval)
from pipeline.search.ground import THRESHOLDS
from pipeline.stages.ground_files import Ground
from pipeline.stages.ground_kinds import kinds_of_ground
from pipeline.stages.last_seen import LastSeen, last_seen
from pipeline.stages.next_flight import write_next_flight
from pipeline.stages.search_looks import Listened, antenna_known
from pipeline.stages.search_on_beacons import write_search_test
from pipeline.stages.workspace import Workspace

MOST_CELLS = 1200           # a second per flight and tag type
MOST_CELLS_CUMULATIVE = 150  # the curve asks for the same again at every point of it
EVERY_MIN = 5.0
MARGIN_M = 500.0

AREA = ["flight_id", "tag_type", "area_ha", "area_50_independent_ha", "area_90_independent_ha", "area_50_expected_ha", "area_90_expected_ha", "area_50_cautious_ha",
        "area_90_cautious_ha", "mean_cautious", "share_50_cautious", "share_90_cautious"]
CUMULATIVE = ["tag_type", "flight_id", "minutes", "area_50_ha", "area_90_ha"]
RANGES = ["tag_type", "height_m", "d50_m", "d50_low_m", "d50_high_m", "d90_m", "d90_low_m", "d90_high_m", "sweep_width_m", "sweep_width_low_m", "sweep_width_high_m",
          "logistic_half_m", "logistic_half_low_m", "logistic_half_high_m", "logistic_slope_per_decade", "half_normal_on_line", "half_normal_sigma_m", "half_normal_sigma_low_m",
          "half_normal_sigma_high_m"]
FALSE = ["decoys", "records_listened", "records_heard", "share", "share_low", "share_high", "decoys_heard"]
SEARCHED = ["flight_id", "tag_type", "row", "column", "independent", "expected", "cautious"]


@dataclass(frozen=True)
class TypeSearched:
    """What the search for one tag type came to; every attribute one table, and what a silent tag of the type is judged by."""

    tag_type: str
    search: GroundSearch
    area: pd.DataFrame
    cells: pd.DataFrame
    polygons: list[dict]
    cumulative: pd.DataFrame
    ranges: pd.DataFrame
    whole: Detection


def write_search(workspace: Workspace, models: HeldOutModels, fixes: pd.DataFrame, ground: Ground) -> None:
    """Work out where a tag would have been heard, and leave the tables.

    fixes : columns of FIXES: whom any flight heard. The model is the one from all beacons; a tag lies on the ground.
    """
    records, tags, beacons, track = (workspace.read_work(name) for name in ("records", "tags", "beacons", "track"))
    listened, model = Listened(records, track, models.corrections), models.whole.model
    area = searched_ground(ground, listened.records)
    sought, weak = sought_tags(tags, records), weak_tags(workspace.survey)
    found = [] if area is None else [search_for_type(tag_type, ids, listened, model, models.drawn(None), area, weak) for tag_type, ids in sought.items()]
    found = [each for each in found if each is not None]
    _leave_ground(workspace, found, ground)
    tables = {"searched_area": _joined([each.area for each in found], AREA), "cumulative_area": _joined([each.cumulative for each in found], CUMULATIVE),
              "detection_ranges": _joined([each.ranges for each in found], RANGES), "searched_by_ground": _joined([by_ground(each, ground) for each in found], BY_GROUND)}
    silent = missing_tags(tags, fixes, listened, {each.tag_type: each.search for each in found}, ground.study_area is not None, last_seen(workspace))
    missing = not_found_table(silent)
    tables |= {"not_found": missing, "silence_explained": explanation_table(missing, stated_priors(workspace.survey)), "false_detections": false_detections(tags, records)}
    for name, table in tables.items():
        workspace.write_work(name, table)
        workspace.write_table(name, table)
    write_search_test(workspace, records, track, beacons, models, weak)
    write_next_flight(workspace, models, listened, silent, tags, fixes, ground, area, weak)


def stated_priors(survey) -> tuple[StatedPrior, ...]:
    """The beliefs under which a silence is explained: the survey's, or the three of pipeline.search."""
    stated = survey.search.priors
    return tuple(StatedPrior(prior.name, prior.in_area, prior.silent) for prior in stated) if stated else PRIORS


def weak_tags(survey) -> WeakTags:
    """The weak tags that cautious figures reckon with, as the survey states them."""
    return WeakTags(survey.search.weak_share, survey.search.weak_db)


def sought_tags(tags: pd.DataFrame, records: pd.DataFrame) -> dict[str, list[str]]:
    """Tag type -> the tags of that type that stand for what was searched for: the animals of the register, without one every tag but beacons and decoys."""
    animals = tags[tags["role"] == "animal"]
    chosen = animals if len(animals) else tags[~tags["role"].isin(["beacon", "decoy"])]
    chosen = chosen if len(chosen) else tags
    chosen = chosen[chosen["tag_id"].isin(records["tag_id"].unique())]
    return {str(tag_type): list(own["tag_id"]) for tag_type, own in chosen.assign(tag_type=chosen["tag_type"].fillna("")).groupby("tag_type", sort=True)}


def searched_ground(ground: Ground, usable: pd.DataFrame):
    """The ground asked about: the study area, else that round the tracks. None when no record has a place."""
    if not len(usable):
        return None
    return ground.study_area.union_all() if ground.study_area is not None else ground_round_track(usable["easting_m"], usable["northing_m"], MARGIN_M)


def search_for_type(tag_type: str, tag_ids, listened: Listened, model: SignalModel, draws, area, weak: WeakTags = WeakTags()) -> TypeSearched | None:
    """Everything about one tag type; None when no flight listened to a tag of it."""
    looks = listened.of_type(tag_ids)
    if not looks:
        return None
    search = GroundSearch(model, search_grid(area, most_cells=MOST_CELLS), tuple(draws), weak)
    coarse = GroundSearch(model, search_grid(area, most_cells=MOST_CELLS_CUMULATIVE), tuple(draws), weak)
    listenings = {flight_id: look.listening for flight_id, look in looks.items()}
    searched = ground_searched(search, listenings, tag_type)
    growth = cumulative_area(coarse, listenings, {flight_id: look.minutes for flight_id, look in looks.items()}, tag_type, EVERY_MIN)
    heights = np.concatenate([listening.height_above_ground_m for listening in listenings.values()])
    steps = np.concatenate([listening.step_m for listening in listenings.values()])
    steps = steps[np.isfinite(steps) & (steps > 0)]
    step_m = float(np.clip(np.median(steps), 10.0, 500.0)) if len(steps) else 50.0
    ranges = range_table(model, list(draws), [tag_type], float(np.median(heights)), step_m, antenna_known(looks))
    return TypeSearched(tag_type, search, area_table(searched, search.grid, tag_type), _cells(searched, search.grid, tag_type),
                        _polygons(searched, search.grid, tag_type), growth.assign(tag_type=tag_type), ranges, searched[CAMPAIGN])


def by_ground(found: TypeSearched, ground: Ground) -> pd.DataFrame:
    """The ground searched by all flights, taken apart by its height, slope and canopy where these are given; columns of BY_GROUND."""
    grid = found.search.grid
    return area_by_ground(found.whole, grid.cell_m ** 2 / 1e4, kinds_of_ground(ground, grid), found.tag_type)


def missing_tags(tags: pd.DataFrame, fixes: pd.DataFrame, listened: Listened, searches: dict[str, GroundSearch], has_study_area: bool, seen: LastSeen | None = None) -> list[MissingTag]:
    """Animals of the register that no flight heard, with the detection by the flights that listened to them.

    Where an animal was seen alive, or its tag placed by the ground crew, and the survey file says how far its species wanders, it is looked for round that place; elsewhere every cell of the ground is taken as equally likely.
    """
    heard = set(fixes.loc[fixes["records_heard"].fillna(0) > 0, "tag_id"])
    silent = tags[(tags["role"] == "animal") & ~tags["tag_id"].isin(heard)].sort_values("tag_id", kind="stable")
    last_utc = fixes["time_end_utc"].max()
    anywhere = "anywhere in the study area alike" if has_study_area else f"anywhere within {MARGIN_M:.0f} m of the ground flown over alike"
    missing = []
    for tag in silent.to_dict("records"):
        listenings, tag_type = listened.of_tag(tag["tag_id"]), str(tag["tag_type"] or "")
        search = searches.get(tag_type)
        cells = int(search.grid.inside.sum()) if search else 1
        detection = search.detection(list(listenings.values()), tag_type) if search and listenings else None
        known = seen.prior(tag, search.grid, last_utc) if seen and search else None
        prior, text, days = known or (prior_over_area(cells), anywhere, np.nan)
        views = [np.zeros(cells)] * 3 if detection is None else [detection.independent, detection.expected, detection.cautious]
        missing.append(MissingTag(
            str(tag["tag_id"]), str(tag["animal_id"] or ""), str(tag["species"] or ""), sum(len(each) for each in listenings.values()) if detection else 0,
            prior, text, *views, days_since_heard=days, battery_used=battery_used(tag, last_utc),
            cells_m=np.stack([search.grid.easting_m, search.grid.northing_m], axis=1) if known else None))
    return missing


def false_detections(tags: pd.DataFrame, records: pd.DataFrame) -> pd.DataFrame:
    """How often a tag known to be switched off seemed to be heard: one row over all decoys, none without decoys that were listened to.

    Columns: decoys, records_listened, records_heard, share, share_low, share_high (exact 95 %, records taken as independent), decoys_heard.
    """
    usable = records[records["usable"].to_numpy(bool)]
    own = usable[usable["tag_id"].isin(tags.loc[tags["role"] == "decoy", "tag_id"])]
    if own.empty:
        return pd.DataFrame(columns=FALSE)
    listened, heard = len(own), int(own["heard"].sum())
    low, high = share_interval(heard, listened)
    return pd.DataFrame([(own["tag_id"].nunique(), listened, heard, heard / listened, low, high, own.loc[own["heard"].astype(bool), "tag_id"].nunique())], columns=FALSE)


def batteries_used(tags: pd.DataFrame, last_utc) -> dict[str, float]:
    """Tag -> battery_used. tags : the register."""
    return {tag["tag_id"]: battery_used(tag, last_utc) for tag in tags.to_dict("records")}


def battery_used(tag: dict, last_utc) -> float:
    """Share of the tag's expected life that had passed, NaN where the register does not say. tag : deployed_utc, expected_end_utc. last_utc : end of the last flight."""
    if any(pd.isna(time) for time in (tag["deployed_utc"], tag["expected_end_utc"], last_utc)) or tag["expected_end_utc"] <= tag["deployed_utc"]:
        return float("nan")
    return float((last_utc - tag["deployed_utc"]) / (tag["expected_end_utc"] - tag["deployed_utc"]))


def _cells(searched: dict, grid: SearchGrid, tag_type: str) -> pd.DataFrame:
    rows, columns = np.nonzero(grid.inside)
    parts = [pd.DataFrame({"flight_id": flight_id, "tag_type": tag_type, "row": rows, "column": columns, "independent": found.independent,
                           "expected": found.expected, "cautious": found.cautious}) for flight_id, found in searched.items()]
    return pd.concat(parts, ignore_index=True)


def _polygons(searched: dict, grid: SearchGrid, tag_type: str) -> list[dict]:
    half = grid.cell_m / 2.0
    boxes = shapely.box(grid.easting_m - half, grid.northing_m - half, grid.easting_m + half, grid.northing_m + half)
    polygons = []
    for flight_id, found in searched.items():
        for level in THRESHOLDS:
            there = boxes[found.cautious >= level]
            if len(there):
                polygons.append({"flight_id": flight_id, "tag_type": tag_type, "probability": level, "geometry": shapely.union_all(there)})
    return polygons


def _leave_ground(workspace: Workspace, found: list[TypeSearched], ground: Ground) -> None:
    workspace.write_work("searched", _joined([each.cells for each in found], SEARCHED))
    polygons = [polygon for each in found for polygon in each.polygons]
    workspace.write_work("searched_areas", gpd.GeoDataFrame(polygons, columns=["flight_id", "tag_type", "probability", "geometry"], geometry="geometry",
                                                            crs=ground.projection.crs))
    grids = [each.search.grid for each in found][:1]  # one ground for all tag types
    workspace.write_json("searched_grid", [{"west_m": grid.west_m, "north_m": grid.north_m, "cell_m": grid.cell_m, "rows": grid.inside.shape[0],
                                            "columns": grid.inside.shape[1]} for grid in grids])


def _joined(parts: list[pd.DataFrame], columns: list[str]) -> pd.DataFrame:
    return pd.concat(parts, ignore_index=True)[columns] if parts else pd.DataFrame(columns=columns)
