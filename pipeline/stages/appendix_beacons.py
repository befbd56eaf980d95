"""The beacons as the appendix gives them: what each was, how it was used and heard, its place exact or as the centre of a grid square."""

from __future__ import annotations

import math

import pandas as pd

from pipeline.exchange import generalise

BEACONS = ["tag_id", "tag_type", "latitude", "longitude", "coordinate_uncertainty_m", "precision", "height_above_ground_m", "position_sd_m", "use", "flights_listened", "flights_heard", "records_heard", "median_error_m", "inside_95"]
USES = {"both": "fit and test"}


def published_beacons(beacons: pd.DataFrame, *, sensitive: bool, side_m: float) -> pd.DataFrame:
    """One row per beacon and place, columns of BEACONS, by name.

    beacons : rows of beacon_places. sensitive : places as centres of grid squares of side_m, since beacons stand where the animals are.
    The uncertainty of an exact place is twice its standard deviation, blank where that is unknown; that of a square goes to its farthest corner.
    """
    rows = beacons.assign(use=beacons["use"].replace(USES))
    if sensitive:
        squares = generalise(rows["latitude"], rows["longitude"], side_m)
        rows = rows.assign(latitude=squares.latitude, longitude=squares.longitude, precision=f"centre of {squares.grid.replace('squares', 'a square', 1)}", coordinate_uncertainty_m=float(100 * math.ceil(squares.farthest_m / 100)))
    else:
        rows = rows.assign(precision="exact", coordinate_uncertainty_m=2.0 * rows["position_sd_m"].astype(float))
    return rows[BEACONS].sort_values("tag_id", kind="stable").reset_index(drop=True)
