"""The beacons as the appendix gives them: what each was, how it was used and heard, its place exact or as the centre of the square of the campaign."""

from __future__ import annotations

import pandas as pd

from pipeline.exchange import OneSquare
from pipeline.stages.appendix_positions import CENTRE

BEACONS = ["tag_id", "tag_type", "latitude", "longitude", "coordinate_uncertainty_m", "precision", "height_above_ground_m", "position_sd_m", "use", "flights_listened", "flights_heard", "records_heard", "median_error_m", "inside_95"]
USES = {"both": "fit and test"}


def published_beacons(beacons: pd.DataFrame, *, square: OneSquare | None) -> pd.DataFrame:
    """One row per beacon and place, columns of BEACONS, by name.

    beacons : rows of beacon_places. square : given for every beacon, since beacons stand where the animals are; None where places may be exact.
    The uncertainty of an exact place is twice its standard deviation, blank where that is unknown; that of the square goes to the farthest place of the campaign.
    """
    rows = beacons.assign(use=beacons["use"].replace(USES))
    if square is not None:
        rows = rows.assign(latitude=square.latitude, longitude=square.longitude, precision=f"{CENTRE}{square.grid}", coordinate_uncertainty_m=float(square.uncertainty_m))
    else:
        rows = rows.assign(precision="exact", coordinate_uncertainty_m=2.0 * rows["position_sd_m"].astype(float))
    return rows[BEACONS].sort_values("tag_id", kind="stable").reset_index(drop=True)
