"""results.gpkg: what the tables say, as layers for a GIS."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from pipeline.columns import BEACON_ERRORS, FIXES
from pipeline.exchange import write_results
from pipeline.stages.ground_files import read_ground
from pipeline.stages.ground_fixes import GROUND_FIXES
from pipeline.stages.joined_fixes import JOINED_FIXES
from pipeline.stages.next_flight import NO_PLAN
from pipeline.stages.workspace import Workspace


def write_layers(workspace: Workspace) -> None:
    """Write the five layers of the contract in the survey CRS, and those of ground and joined fixes and of a next flight where there are any."""
    projection = read_ground(workspace).projection
    write_results(
        workspace.path_to_write("results.gpkg"),
        fixes=fix_layer(workspace.read_table("fixes", FIXES), projection), regions=workspace.read_work("regions"),
        tracks=track_layer(workspace.read_work("track"), projection), searched=workspace.read_work("searched_areas"),
        beacons=beacon_layer(workspace.read_work("beacons"), workspace.read_table("beacon_errors", BEACON_ERRORS), projection),
        **more_layers(workspace, projection),
    )


def more_layers(workspace: Workspace, projection) -> dict[str, gpd.GeoDataFrame]:
    """Layers beside those of the contract: of each kind of fix that the campaign has, points and regions; blocks for a next flight, which are no flight plan."""
    blocks = workspace.read_work("next_flight_blocks")
    layers = {"next_flight": blocks.assign(note=NO_PLAN)} if len(blocks) else {}
    for kind, columns in (("ground", GROUND_FIXES), ("joined", JOINED_FIXES)):
        table = workspace.read_table(f"{kind}_fixes", columns)
        if len(table):
            layers |= {f"{kind}_fixes": fix_layer(table, projection), f"{kind}_regions": workspace.read_work(f"{kind}_regions")}
    return layers


def fix_layer(fixes: pd.DataFrame, projection) -> gpd.GeoDataFrame:
    """Every row of fixes.csv, or of a table like it, as a point: the stated position, else the best one, which the column `position` tells; none where nothing was heard."""
    stated, best = fixes["latitude"].notna(), fixes["best_latitude"].notna()
    latitude, longitude = fixes["latitude"].fillna(fixes["best_latitude"]), fixes["longitude"].fillna(fixes["best_longitude"])
    kind = np.select([stated, best], ["stated", "best, not stated"], "none")
    return gpd.GeoDataFrame(fixes.assign(position=kind), geometry=_points(latitude, longitude, projection), crs=projection.crs)


def track_layer(track: pd.DataFrame, projection) -> gpd.GeoDataFrame:
    """One line per unbroken part of a flight on effort."""
    rows = []
    for flight_id, part in track.sort_values(["flight_id", "time_utc"], kind="stable").groupby("flight_id", sort=True):
        usable = (part["on_effort"] & part["easting_m"].notna()).to_numpy(bool)
        number = np.cumsum(np.diff(np.concatenate([[0], usable.astype(int)])) == 1)
        for piece in np.unique(number[usable]):
            own = part[usable & (number == piece)]
            if len(own) >= 2:
                rows.append({"flight_id": flight_id, "part": int(piece), "start_utc": own["time_utc"].min(), "end_utc": own["time_utc"].max(), "records": len(own),
                             "geometry": shapely.LineString(own[["easting_m", "northing_m"]].to_numpy(float))})
    return gpd.GeoDataFrame(rows, columns=["flight_id", "part", "start_utc", "end_utc", "records", "geometry"], geometry="geometry", crs=projection.crs)


def beacon_layer(beacons: pd.DataFrame, errors: pd.DataFrame, projection) -> gpd.GeoDataFrame:
    """Surveyed places (kind "surveyed") and the places estimated by models that never saw them (kind "estimated")."""
    surveyed = beacons[["tag_id", "tag_type"]].assign(kind="surveyed", flight_id="", error_m=np.nan)
    estimated = errors[["tag_id", "flight_id", "error_m"]].assign(kind="estimated", tag_type="")
    points = [*_points(beacons["latitude"], beacons["longitude"], projection), *_points(errors["latitude"], errors["longitude"], projection)]
    columns = ["tag_id", "kind", "flight_id", "tag_type", "error_m"]
    parts = [part[columns] for part in (surveyed, estimated) if len(part)]
    table = pd.concat(parts, ignore_index=True) if parts else surveyed[columns]
    return gpd.GeoDataFrame(table, geometry=gpd.GeoSeries(points, crs=projection.crs), crs=projection.crs)


def _points(latitude: pd.Series, longitude: pd.Series, projection) -> list:
    east, north = projection.forward(latitude.to_numpy(float), longitude.to_numpy(float))
    return [shapely.Point(e, n) if np.isfinite(e) else None for e, n in zip(np.atleast_1d(east), np.atleast_1d(north))]
