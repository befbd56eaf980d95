"""Where beacons tested the method, and which fixes of animals lie outside of that."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

REACH = ["condition", "beacons", "fixes_outside", "fixes"]


def reach_table(details: pd.DataFrame, fixes: pd.DataFrame, tags: pd.DataFrame, track: pd.DataFrame, flights: pd.DataFrame, ground, beacons: pd.DataFrame) -> pd.DataFrame:
    """One row per condition: what the heard beacons cover, and how many fixes of heard animals lie outside; columns of REACH.

    details : one row per beacon fix. The last row counts fixes outside by any condition. Empty without a heard beacon.
    The ground covered is the smallest convex outline of the beacons, needed only from three places on.
    """
    if details.empty:
        return pd.DataFrame(columns=REACH).astype({"fixes_outside": "Int64", "fixes": "Int64"})
    animals = animal_fixes(fixes, tags, track, flights, ground.projection)
    standing = beacons[beacons["place_id"].isin(details["place_id"])]
    rows = []
    for condition, covered, outside in (
        _among("tag type", details["tag_type"], animals["tag_type"]), _among("flight style", details["flight_style"], animals["flight_style"]),
        _farther(details["closest_approach_m"], animals["closest_approach_m"]), _fewer(details["records_heard"], animals["records_heard"]),
        _between_beacons(standing, animals), _heights(standing, animals, ground.terrain),
    ):
        if covered:
            rows.append((condition, covered, outside))
    any_outside = np.logical_or.reduce([outside for _, _, outside in rows])
    rows.append(("any of these", "", any_outside))
    return pd.DataFrame([(condition, covered, int(outside.sum()), len(animals)) for condition, covered, outside in rows], columns=REACH)


def animal_fixes(fixes: pd.DataFrame, tags: pd.DataFrame, track: pd.DataFrame, flights: pd.DataFrame, projection) -> pd.DataFrame:
    """Fixes of heard animals with tag_type, flight_style, easting_m, northing_m of the best position, and the closest approach of the track to it (slant metres)."""
    own = tags[tags["role"] == "animal"]
    rows = fixes[fixes["tag_id"].isin(own["tag_id"]) & fixes["best_latitude"].notna()].reset_index(drop=True)
    east, north = projection.forward(rows["best_latitude"].to_numpy(float), rows["best_longitude"].to_numpy(float))
    paths = {flight: part[["easting_m", "northing_m", "height_above_ground_m"]].fillna({"height_above_ground_m": 0.0}).dropna().to_numpy(float)
             for flight, part in track.groupby("flight_id")}
    approach = [_approach_m(paths[flight], x, y) for flight, x, y in zip(rows["flight_id"], east, north)]
    return rows.assign(easting_m=east, northing_m=north, closest_approach_m=np.array(approach, float), tag_type=rows["tag_id"].map(dict(zip(own["tag_id"], own["tag_type"]))),
                       flight_style=rows["flight_id"].map(dict(zip(flights["flight_id"], flights["style"]))))


def _approach_m(path: np.ndarray, easting_m: float, northing_m: float) -> float:
    return float(np.sqrt(((path - np.array([easting_m, northing_m, 0.0])) ** 2).sum(axis=1)).min()) if len(path) else np.nan


def _among(condition: str, tested: pd.Series, found: pd.Series):
    kinds = sorted({str(kind) for kind in tested})
    return condition, ", ".join(kind or "not stated" for kind in kinds), ~found.astype(str).isin(kinds).to_numpy(bool)


def _farther(tested: pd.Series, found: pd.Series):
    return "closest approach (m)", f"{tested.min():.0f} to {tested.max():.0f}", (found > tested.max()).to_numpy(bool)


def _fewer(tested: pd.Series, found: pd.Series):
    return "records heard", f"{int(tested.min())} to {int(tested.max())}", (found < tested.min()).to_numpy(bool)


def _between_beacons(standing: pd.DataFrame, animals: pd.DataFrame):
    places = standing[["easting_m", "northing_m"]].drop_duplicates().to_numpy(float)
    if len(places) < 3:
        return "ground between the beacons", "", np.zeros(len(animals), bool)
    outline = shapely.convex_hull(shapely.multipoints(places))
    inside = shapely.contains_xy(outline, animals["easting_m"].to_numpy(float), animals["northing_m"].to_numpy(float))
    return "ground between the beacons", f"{outline.area / 1e4:.0f} ha", ~inside


def _heights(standing: pd.DataFrame, animals: pd.DataFrame, terrain):
    if terrain is None:
        return "ground height (m)", "", np.zeros(len(animals), bool)
    tested = terrain.at(standing["easting_m"].to_numpy(float), standing["northing_m"].to_numpy(float))
    found = terrain.at(animals["easting_m"].to_numpy(float), animals["northing_m"].to_numpy(float))
    if not np.isfinite(tested).any():
        return "ground height (m)", "", np.zeros(len(animals), bool)
    low, high = float(np.nanmin(tested)), float(np.nanmax(tested))
    return "ground height (m)", f"{low:.0f} to {high:.0f}", (found < low) | (found > high)
