"""Where a next flight would tell most of the tags not found and of those heard but badly placed.

    tables/   next_flight (candidates in order); next_flight.geojson (blocks of the first three, WGS84)
    work/     next_flight, next_flight_blocks (polygons, survey CRS)
"""

from __future__ import annotations

import json

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from pipeline.calibration import HeldOutModels
from pipeline.location import PLACED
from pipeline.search import GroundAhead, MissingTag, Sought, Unplaced, WeakTags, candidate_flights, cautious_strengths, one_look_per_pass, rank_flights, search_grid
from pipeline.search.next_flight import RANKED
from pipeline.stages.flight_ground import in_the_way
from pipeline.stages.ground_files import Ground
from pipeline.stages.search_looks import Listened
from pipeline.stages.workspace import Workspace

MOST_CELLS = 250      # a tenth of a second per candidate
MOST_UNPLACED = 4     # the least well placed ones; each costs half a second
BEYOND_M = 100.0      # hills and canopy are asked about so far beyond the outermost place, so that it lies within their lattice
SHOWN = 3
NO_PLAN = "Advice to a licensed pilot on where information lies; no flight plan."
# Take-off points nearer to one another than this are one.
SAME_TAKE_OFF_M = 150.0


def write_next_flight(workspace: Workspace, models: HeldOutModels, listened: Listened, missing: list[MissingTag], tags: pd.DataFrame, fixes: pd.DataFrame, ground: Ground, area,
                      weak: WeakTags = WeakTags()) -> None:
    """Rank candidate flights and leave the table and the blocks; an empty table when no tag asks for a flight or no flight has a place."""
    candidates, table = [], pd.DataFrame(columns=RANKED)
    settings = workspace.survey.next_flight
    take_offs = take_offs_m(settings, listened.records, ground.projection)
    unplaced = badly_placed(fixes, tags, workspace.path_to_read("work/draws.npz"), settings.tags)
    if area is not None and len(take_offs):
        grid = search_grid(area, most_cells=MOST_CELLS)
        sought = _sought(missing, models, listened, tags, grid, weak)
        if sought or unplaced:
            candidates = candidate_flights(grid.easting_m, grid.northing_m, take_offs, minutes=settings.minutes, speed_m_per_s=settings.speed_m_per_s,
                                           heights_m=settings.heights_m, spacing_m=settings.spacing_m)
            ahead = ground_ahead(candidates, sought, unplaced, grid, ground, tags) if candidates else None
            table = rank_flights(candidates, sought, unplaced, models.whole.model, grid.easting_m, grid.northing_m, _usual_threshold_db(listened), workspace.survey.seed, ahead)
    workspace.write_json("next_flight_asked", {"not_found": len(missing), "to_narrow_down": len(unplaced)})
    workspace.write_work("next_flight", table)
    workspace.write_table("next_flight", table)
    _leave_blocks(workspace, candidates, table, ground)


def take_offs_m(settings, records: pd.DataFrame, projection) -> np.ndarray:
    """The take-off points that the survey file states, else those used so far: array (n, 2), survey CRS. settings : next_flight of the survey. [m]"""
    if settings.take_offs:
        return np.stack(projection.forward(*np.array([(place.latitude, place.longitude) for place in settings.take_offs]).T), axis=1)
    return take_off_points(records)


def take_off_points(records: pd.DataFrame) -> np.ndarray:
    """Where flights began to listen, one for each place: array (n, 2), survey CRS. [m]"""
    first = records.sort_values(["time_utc", "record"], kind="stable").groupby("flight_id", sort=True)[["easting_m", "northing_m"]].first().dropna().to_numpy(float)
    kept = []
    for point in first:
        if all(np.hypot(*(point - other)) > SAME_TAKE_OFF_M for other in kept):
            kept.append(point)
    return np.array(kept).reshape(-1, 2)


def ground_ahead(candidates, sought: list[Sought], unplaced: list[Unplaced], grid, ground: Ground, tags: pd.DataFrame) -> GroundAhead | None:
    """Hills and canopy between the candidates and all places asked about; None where the survey file names neither."""
    hills, woods = in_the_way(ground, tags["frequency_mhz"])
    if hills is None and woods is None:
        return None
    flown = np.concatenate([each.waypoints_m for each in candidates])
    places = np.concatenate([*([np.stack([grid.easting_m, grid.northing_m], axis=1)] if sought else []), *(tag.places_m for tag in unplaced)])
    return GroundAhead(hills, woods, (*flown.min(axis=0), *flown.max(axis=0)), (*(places.min(axis=0) - BEYOND_M), *(places.max(axis=0) + BEYOND_M)))


def badly_placed(fixes: pd.DataFrame, tags: pd.DataFrame, draws_file, chosen=()) -> list[Unplaced]:
    """Animals that were heard and have a position in no flight, with draws from their smallest region; those with the largest regions.

    chosen : tags to take instead, placed or not, wherever they were heard; none = as above.
    """
    animals = tags.loc[tags["role"].isin(["animal", "unregistered"]), ["tag_id", "tag_type"]]
    own = fixes.merge(animals, on="tag_id")
    placed = set(own.loc[own["status"].isin(PLACED), "tag_id"])
    asked = own["tag_id"].isin(chosen) if chosen else ~own["tag_id"].isin(placed) & own["status"].isin(["area only", "heard once"])
    heard = own[asked & own["region_95_ha"].notna()]
    best = heard.sort_values(["region_95_ha", "flight_id"], kind="stable").drop_duplicates("tag_id").sort_values(["region_95_ha", "tag_id"], ascending=[False, True], kind="stable")
    if best.empty:
        return []
    with np.load(draws_file) as draws:
        return [Unplaced(row.tag_id, str(row.tag_type or ""), draws[f"{row.tag_id}|{row.flight_id}"]) for row in best.head(len(chosen) or MOST_UNPLACED).itertuples() if f"{row.tag_id}|{row.flight_id}" in draws]


def distinct_blocks(table: pd.DataFrame) -> pd.DataFrame:
    """The best way to fly each block: one row for each middle, the most telling first."""
    return table.drop_duplicates(["middle_easting_m", "middle_northing_m"])


def _sought(missing: list[MissingTag], models: HeldOutModels, listened: Listened, tags: pd.DataFrame, grid, weak: WeakTags) -> list[Sought]:
    """The missing tags on the coarser grid of the ranking; the prior of each is even there unless the finer one was not."""
    types = tags.set_index("tag_id")["tag_type"].fillna("").astype(str)
    # One for each type, not for each tag: what a flight tells of a strength is worked out once for all tags that share it.
    strengths = {tag_type: cautious_strengths(models.drawn(None), tag_type, weak) for tag_type in {types[tag.tag_id] for tag in missing}}
    nothing = np.zeros(len(grid.easting_m))
    found = []
    for tag in missing:
        own = strengths[types[tag.tag_id]]
        so_far = sum((one_look_per_pass(flight, own, grid.easting_m, grid.northing_m) for flight in listened.of_tag(tag.tag_id).values()), np.zeros((*own.power_db.shape, 1)) + nothing)
        found.append(Sought(tag.tag_id, own, _on_grid(tag, grid), so_far))
    return found


def _on_grid(tag: MissingTag, grid) -> np.ndarray:
    if tag.cells_m is None:
        return np.full(len(grid.easting_m), 1.0 / len(grid.easting_m))
    nearest = np.argmin(np.hypot(tag.cells_m[:, :1] - grid.easting_m, tag.cells_m[:, 1:] - grid.northing_m), axis=1)
    return np.bincount(nearest, weights=tag.prior, minlength=len(grid.easting_m))


def _usual_threshold_db(listened: Listened) -> float:
    known = listened.records["typical_threshold_db"].dropna()
    return float(known.median()) if len(known) else float("nan")


def _leave_blocks(workspace: Workspace, candidates, table: pd.DataFrame, ground: Ground) -> None:
    named = {each.name: each for each in candidates}
    rows = [{"rank": row.rank, "name": row.name, "style": row.style, "height_m": row.height_m, "for_tags": row.for_tags, "geometry": shapely.Polygon(named[row.name].outline_m())}
            for row in distinct_blocks(table).head(SHOWN).itertuples(index=False)]
    blocks = gpd.GeoDataFrame(rows, columns=["rank", "name", "style", "height_m", "for_tags", "geometry"], geometry="geometry", crs=ground.projection.crs)
    workspace.write_work("next_flight_blocks", blocks)
    features = [{"type": "Feature", "properties": {"rank": int(row.rank), "name": row.name, "style": row.style, "height_m": float(row.height_m), "for_tags": row.for_tags,
                                                   "note": NO_PLAN},
                 "geometry": {"type": "Polygon", "coordinates": [[[round(float(longitude), 6), round(float(latitude), 6)] for latitude, longitude in zip(*ground.projection.inverse(*np.array(row.geometry.exterior.coords).T))]]}}
                for row in blocks.itertuples(index=False)]
    path = workspace.path_to_write("tables/next_flight.geojson")
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}, indent=1) + "\n", encoding="utf-8")
