"""The test of the search on beacons: said to be heard with what probability, and heard or not.

    tables/   search_validation, search_validation_bands, well_searched_beacons; the same in work/
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.calibration import stands_in
from pipeline.radio import SignalModel
from pipeline.search import band_table, detection_at, well_searched_beacons
from pipeline.stages.search_looks import Listened
from pipeline.stages.workspace import Workspace

TESTS = ["tag_id", "flight_id", "place_id", "tag_type", "detection_independent", "detection_cautious", "heard", "records_heard", "records_listened"]
BAND_COLUMNS = ["band", "predicted_mean", "tags", "heard", "share", "share_low", "share_high", "agrees"]


def write_search_test(workspace: Workspace, listened: Listened, beacons: pd.DataFrame, model: SignalModel) -> None:
    """Leave the test and its two summaries."""
    tested = beacons_searched_for(listened, beacons, model)
    bands = band_table(tested["detection_cautious"], tested["heard"]) if len(tested) else pd.DataFrame(columns=BAND_COLUMNS)
    summary = pd.DataFrame([well_searched_beacons(tested)])
    for name, table in (("search_validation", tested), ("search_validation_bands", bands), ("well_searched_beacons", summary)):
        workspace.write_work(name, table)
        workspace.write_table(name, table)


def beacons_searched_for(listened: Listened, beacons: pd.DataFrame, model: SignalModel) -> pd.DataFrame:
    """One row per beacon and flight that listened to it: detection at its surveyed place, and whether it was heard."""
    parts = [part.assign(**_detection(part, model)) for _, part in _beacon_flights(listened, beacons).groupby(["flight_id", "key"], sort=True)]
    if not parts:
        return pd.DataFrame(columns=TESTS).astype({"detection_cautious": float, "detection_independent": float, "heard": bool})
    return pd.concat(parts).sort_values(["tag_id", "flight_id", "place_id"], kind="stable").reset_index(drop=True)[TESTS]


def _beacon_flights(listened: Listened, beacons: pd.DataFrame) -> pd.DataFrame:
    rows, keys = [], {}
    first_utc = listened.records.groupby(["tag_id", "flight_id"])["time_utc"].min()
    for beacon in beacons.itertuples():
        for flight_id, listening in listened.of_tag(beacon.tag_id).items():
            if not stands_in(beacon, first_utc[beacon.tag_id, flight_id]):
                continue
            # Beacons listened to in the same records are asked about together.
            same = (str(beacon.tag_type), *(array.tobytes() for array in (listening.easting_m, listening.northing_m, listening.threshold_db)))
            height_m = beacon.height_above_ground_m if np.isfinite(beacon.height_above_ground_m) else 0.0
            rows.append({"tag_id": beacon.tag_id, "flight_id": flight_id, "place_id": beacon.place_id, "tag_type": beacon.tag_type, "easting_m": beacon.easting_m,
                         "northing_m": beacon.northing_m, "height_m": height_m, "heard": bool(listening.heard.any()), "records_heard": int(listening.heard.sum()),
                         "records_listened": len(listening), "key": keys.setdefault(same, len(keys)), "listening": listening})
    return pd.DataFrame(rows, columns=["tag_id", "flight_id", "place_id", "tag_type", "easting_m", "northing_m", "height_m", "heard", "records_heard",
                                       "records_listened", "key", "listening"])


def _detection(part: pd.DataFrame, model: SignalModel) -> dict:
    independent, cautious = detection_at([part["listening"].iloc[0]], model, part["easting_m"], part["northing_m"], str(part["tag_type"].iloc[0] or ""),
                                         part["height_m"].to_numpy(float))
    return {"detection_independent": independent, "detection_cautious": cautious}
