"""Where beacons tested the method, and which fixes of animals lie outside of that.

A distance, or a number of records, is claimed as far as the farthest class with six beacons or more: fewer than six leave no interval
of a median error (`calibration.errors`), so that nothing can be said of the errors there.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from pipeline.calibration.errors import PLACES_FOR_AN_INTERVAL
from pipeline.location import FIX_STATUSES
from pipeline.wording import counted

REACH = ["condition", "beacons", "beacon_fixes", "beacon_places", "rests_on", "fixes_outside", "fixes"]
CLOSEST, ANY_CLOSEST, RECORDS, TYPE, STYLE = "closest approach (m)", "closest approach of any beacon fix (m)", "records heard", "tag type", "flight style"
BETWEEN, FLOWN, GROUND_HEIGHT, RECEIVER_HEIGHT, EVIDENCE, ANY = "ground between the beacons", "ground flown over", "ground height (m)", "receiver height, median of a flight (m)", "evidence of the fix", "any of these"
_STRENGTHS = "strength"


def reach_table(details: pd.DataFrame, fixes: pd.DataFrame, tags: pd.DataFrame, track: pd.DataFrame, flights: pd.DataFrame, ground, beacons: pd.DataFrame) -> pd.DataFrame:
    """One row per condition: what the heard beacons cover, what stands behind that, and how many fixes of heard animals lie outside; columns of REACH.

    details : one row per beacon fix. The last row counts fixes outside by any condition. Empty without a heard beacon.
    The ground covered is the smallest convex outline of the beacons, needed only from three places on.
    """
    if details.empty:
        return pd.DataFrame(columns=REACH).astype({name: "Int64" for name in ("beacon_fixes", "beacon_places", "fixes_outside", "fixes")})
    animals = animal_fixes(fixes, tags, track, flights, ground.projection)
    standing = beacons[beacons["place_id"].isin(details["place_id"])]
    rows = [row for row in (
        _among(TYPE, details, "tag_type", animals), _among(STYLE, details, "flight_style", animals),
        _claimed(CLOSEST, details, "closest_approach_m", "distance_band", animals["closest_approach_m"], farther=True), _farthest(details, animals),
        _claimed(RECORDS, details, "records_heard", "records_class", animals["records_heard"], farther=False),
        _evidence(details, animals), _receiver_heights(details, animals, flights), _flown(details, track, animals), _between_beacons(details, standing, animals), _heights(details, standing, animals, ground.terrain),
    ) if row[1]]
    any_outside = np.logical_or.reduce([outside for *_, outside in rows])
    rows.append((ANY, "", details, "", any_outside))
    return pd.DataFrame([(condition, covered, len(behind), behind["place_id"].nunique(), rests_on or _at_beacons(behind), int(outside.sum()), len(animals))
                         for condition, covered, behind, rests_on, outside in rows], columns=REACH)


def claim_limits(details: pd.DataFrame) -> tuple[float, float]:
    """(farthest closest approach [m], fewest records heard) that are claimed; nan where no class has six beacons. details : of beacon fixes."""
    limits = []
    for column, class_column, hardest in (("closest_approach_m", "distance_band", -1), ("records_heard", "records_class", 0)):
        classes = classes_that_claim(details, class_column)
        values = details.loc[details[class_column] == classes[hardest], column] if classes else pd.Series(dtype=float)
        limits.append(float(values.max() if hardest else values.min()) if len(values) else float("nan"))
    return limits[0], limits[1]


def limit_m(length_m: float) -> str:
    """A distance up to which beacons tested, as every page words it: whole metres, 363.6 -> "364". Rounded further, it would leave out the very fix that sets it. [m]"""
    return f"{length_m:,.0f}"


def in_claimed_domain(details: pd.DataFrame) -> np.ndarray:
    """Which beacon fixes lie within both limits of `claim_limits`; none where a limit is missing. Shape (fixes,)."""
    if details.empty:
        return np.zeros(0, bool)
    farthest_m, fewest = claim_limits(details)
    return ((details["closest_approach_m"] <= farthest_m) & (details["records_heard"] >= fewest)).to_numpy(bool)


def classes_that_claim(details: pd.DataFrame, column: str) -> list[str]:
    """Classes (column of classes, such as distance_band) in which six beacons or more have a fix; details : of beacon fixes."""
    places = details.groupby(column, sort=True)["place_id"].nunique()
    return list(places.index[places >= PLACES_FOR_AN_INTERVAL])


def _at_beacons(behind: pd.DataFrame) -> str:
    return f"{counted(len(behind), 'fix', 'fixes')} at {counted(behind['place_id'].nunique(), 'beacon')}"


def animal_fixes(fixes: pd.DataFrame, tags: pd.DataFrame, track: pd.DataFrame, flights: pd.DataFrame, projection) -> pd.DataFrame:
    """Fixes of animals heard in more than one record with tag_type, flight_style, easting_m, northing_m of the best position, and the closest approach of the track to it (slant metres)."""
    own = tags[tags["role"] == "animal"]
    # a single record, which may be false, makes no fix; nor does what is doubted
    rows = fixes[fixes["tag_id"].isin(own["tag_id"]) & fixes["status"].isin(FIX_STATUSES) & fixes["best_latitude"].notna()].reset_index(drop=True)
    east, north = projection.forward(rows["best_latitude"].to_numpy(float), rows["best_longitude"].to_numpy(float))
    paths = {flight: part[["easting_m", "northing_m", "height_above_ground_m"]].fillna({"height_above_ground_m": 0.0}).dropna().to_numpy(float)
             for flight, part in track.groupby("flight_id")}
    approach = [_approach_m(paths[flight], x, y) for flight, x, y in zip(rows["flight_id"], east, north)]
    return rows.assign(easting_m=east, northing_m=north, closest_approach_m=np.array(approach, float), tag_type=rows["tag_id"].map(dict(zip(own["tag_id"], own["tag_type"]))),
                       flight_style=rows["flight_id"].map(dict(zip(flights["flight_id"], flights["style"]))))


def _approach_m(path: np.ndarray, easting_m: float, northing_m: float) -> float:
    return float(np.sqrt(((path - np.array([easting_m, northing_m, 0.0])) ** 2).sum(axis=1)).min()) if len(path) else np.nan


def _among(condition: str, details: pd.DataFrame, column: str, animals: pd.DataFrame):
    tested = details[column].astype(str)
    kinds = sorted(set(tested))
    behind = "; ".join(f"{kind or 'not stated'}: {_at_beacons(details[tested == kind])}" for kind in kinds)
    return condition, ", ".join(kind or "not stated" for kind in kinds), details, behind, ~animals[column].astype(str).isin(kinds).to_numpy(bool)


def _claimed(condition: str, details: pd.DataFrame, column: str, class_column: str, found: pd.Series, farther: bool):
    """As far as the hardest class with enough beacons; a class that is easier counts as covered by it."""
    classes = classes_that_claim(details, class_column)
    if not classes:
        return condition, "", details, "", np.zeros(len(found), bool)
    hardest = details.loc[details[class_column] == (classes[-1] if farther else classes[0]), column]
    limit = hardest.max() if farther else hardest.min()
    behind = details[details[column] <= limit] if farther else details[details[column] >= limit]
    outside = found > limit if farther else found < limit
    # one limit, since nearer and more records are easier: the other end of what the beacons had is none
    return condition, f"up to {limit:.0f}" if farther else f"{limit:.0f} or more", behind, "", outside.to_numpy(bool)


def _farthest(details: pd.DataFrame, animals: pd.DataFrame):
    tested = details["closest_approach_m"]
    return ANY_CLOSEST, f"up to {tested.max():.0f}", details, "", (animals["closest_approach_m"] > tested.max()).to_numpy(bool)


def _evidence(details: pd.DataFrame, animals: pd.DataFrame):
    """Beacons are located from strengths; a fix that bearings or a sighting entered is of another kind."""
    return EVIDENCE, "strengths", details, "", (animals["method"] != _STRENGTHS).to_numpy(bool)


def _receiver_heights(details: pd.DataFrame, animals: pd.DataFrame, flights: pd.DataFrame):
    heights = dict(zip(flights["flight_id"], flights["height_median_m"]))
    tested, found = (frame["flight_id"].map(heights).astype(float) for frame in (details, animals))
    if tested.isna().all():
        return RECEIVER_HEIGHT, "", details, "", np.zeros(len(animals), bool)
    low, high = round(tested.min()), round(tested.max())
    return RECEIVER_HEIGHT, f"{low} to {high}" if high > low else f"{low}", details, "", ((found.round() < low) | (found.round() > high)).to_numpy(bool)


def _flown(details: pd.DataFrame, track: pd.DataFrame, animals: pd.DataFrame):
    """The smallest convex outline of all tracks: inside it the receiver passed on every side."""
    outline = shapely.convex_hull(shapely.multipoints(track[["easting_m", "northing_m"]].dropna().to_numpy(float)))
    return FLOWN, f"{outline.area / 1e4:.0f} ha", details, "", ~_inside(outline, animals)


def _between_beacons(details: pd.DataFrame, standing: pd.DataFrame, animals: pd.DataFrame):
    places = standing[["easting_m", "northing_m"]].drop_duplicates().to_numpy(float)
    if len(places) < 3:
        return BETWEEN, "", details, "", np.zeros(len(animals), bool)
    outline = shapely.convex_hull(shapely.multipoints(places))
    return BETWEEN, f"{outline.area / 1e4:.0f} ha", details, "", ~_inside(outline, animals)


def _inside(outline, animals: pd.DataFrame) -> np.ndarray:
    return shapely.contains_xy(outline, animals["easting_m"].to_numpy(float), animals["northing_m"].to_numpy(float))


def _heights(details: pd.DataFrame, standing: pd.DataFrame, animals: pd.DataFrame, terrain):
    nothing = GROUND_HEIGHT, "", details, "", np.zeros(len(animals), bool)
    if terrain is None:
        return nothing
    tested = terrain.at(standing["easting_m"].to_numpy(float), standing["northing_m"].to_numpy(float))
    found = terrain.at(animals["easting_m"].to_numpy(float), animals["northing_m"].to_numpy(float))
    if not np.isfinite(tested).any():
        return nothing
    low, high = float(np.nanmin(tested)), float(np.nanmax(tested))
    return GROUND_HEIGHT, f"{low:.0f} to {high:.0f}", details, "", (found < low) | (found > high)
