"""The one grid square that stands for all places of a sensitive campaign, and what it does not hide."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.exchange import OneSquare, one_square

# Distances of a projected CRS are stretched by less than this.
_STRETCH = 1.01


def campaign_square(track: pd.DataFrame, study_area, best: pd.DataFrame, beacons: pd.DataFrame, projection, side_m: float) -> OneSquare | None:
    """The square that holds the middle of the study area, or without one of the tracks; None where nothing has a place.

    track, beacons : easting_m, northing_m. study_area : GeoDataFrame in the survey CRS, or None. best : latitude, longitude, error_radius_95_m of the positions published.
    The study area comes first, since it stays the same in the next campaign: another square would give the border between the two away.
    """
    flown = track[["easting_m", "northing_m"]].dropna().to_numpy(float)
    placed = np.column_stack(projection.forward(best["latitude"].to_numpy(float), best["longitude"].to_numpy(float)))
    standing = beacons[["easting_m", "northing_m"]].dropna().to_numpy(float) if len(beacons) else np.empty((0, 2))
    box = np.reshape(study_area.total_bounds, (2, 2)) if study_area is not None and len(study_area) else flown
    everywhere = np.vstack([box, flown, placed, standing])
    if not len(everywhere):
        return None
    outline = box if len(box) else everywhere
    middle = 0.5 * (outline.min(axis=0) + outline.max(axis=0))
    latitude, longitude = projection.inverse(*middle)
    away_m = np.hypot(*(everywhere - middle).T)
    # a position stands for the circle round it
    around_m = np.hypot(*(placed - middle).T) + best["error_radius_95_m"].to_numpy(float) if len(placed) else np.zeros(0)
    reach_m = _STRETCH * float(np.nanmax(np.concatenate([away_m, around_m])))
    return one_square(float(latitude), float(longitude), reach_m, side_m)


def protection_words(side_m: float, *, others_exact: bool) -> str:
    """What the square protects. others_exact : places of other species stand beside it."""
    side = f"{side_m / 1000:g} km" if side_m >= 1000 else f"{side_m:g} m"
    others = " Exact positions of the other species stand beside it and tell where the campaign was." if others_exact else ""
    return f"The square says no more than that the middle of the survey lies somewhere in {side} by {side}; it hides no more than that either.{others}"
