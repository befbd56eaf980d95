"""The test of the search on beacons: said to be heard with what probability by a model that never saw the beacon, and heard or not.

    tables/   search_validation, search_validation_bands, well_searched_beacons; the same in work/
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.calibration import HeldOutModels, stands_in
from pipeline.search import WeakTags, band_table, detection_at, well_searched_beacons
from pipeline.stages.search_looks import Listened
from pipeline.stages.workspace import Workspace

TESTS = ["tag_id", "flight_id", "place_id", "tag_type", "detection_independent", "detection_expected", "detection_cautious", "heard", "records_heard", "records_listened"]
BAND_COLUMNS = ["version", "band", "predicted_mean", "tags", "heard", "share", "share_low", "share_high", "agrees"]


def write_search_test(workspace: Workspace, records: pd.DataFrame, track: pd.DataFrame, beacons: pd.DataFrame, models: HeldOutModels, weak: WeakTags = WeakTags()) -> None:
    """Leave the test and its two summaries."""
    tested = beacons_searched_for(records, track, beacons, models, weak)
    parts = [band_table(tested[f"detection_{version}"], tested["heard"]).assign(version=version) for version in ("expected", "cautious")] if len(tested) else []
    bands = pd.concat(parts)[BAND_COLUMNS] if parts else pd.DataFrame(columns=BAND_COLUMNS)
    summary = pd.DataFrame([well_searched_beacons(tested)])
    for name, table in (("search_validation", tested), ("search_validation_bands", bands), ("well_searched_beacons", summary)):
        workspace.write_work(name, table)
        workspace.write_table(name, table)


def beacons_searched_for(records: pd.DataFrame, track: pd.DataFrame, beacons: pd.DataFrame, models: HeldOutModels, weak: WeakTags = WeakTags()) -> pd.DataFrame:
    """One row per beacon and flight that listened to it: detection at its surveyed place, and whether it was heard.

    Every beacon is asked about with the model and the corrections that were found without its place.
    """
    rows, known = [], {}
    for beacon in beacons.itertuples():
        lags = tuple(sorted(models.corrections_for(beacon.place_id).lags_s.items()))
        if lags not in known:
            known[lags] = Listened(records, track, models.corrections_for(beacon.place_id))
        rows += _one_beacon(beacon, known[lags], models, weak)
    tested = pd.DataFrame(rows, columns=TESTS)
    if tested.empty:
        return tested.astype({"detection_cautious": float, "detection_expected": float, "detection_independent": float, "heard": bool})
    return tested.sort_values(["tag_id", "flight_id", "place_id"], kind="stable").reset_index(drop=True)


def _one_beacon(beacon, listened: Listened, models: HeldOutModels, weak: WeakTags) -> list[tuple]:
    height_m = beacon.height_above_ground_m if np.isfinite(beacon.height_above_ground_m) else 0.0
    own = listened.records[listened.records["tag_id"] == beacon.tag_id]
    first_utc, rows = own.groupby("flight_id")["time_utc"].min(), []
    for flight_id, listening in listened.of_tag(beacon.tag_id).items():
        if not stands_in(beacon, first_utc[flight_id]):
            continue
        said = detection_at([listening], models.for_place(beacon.place_id).model, beacon.easting_m, beacon.northing_m, str(beacon.tag_type or ""), height_m,
                            models.drawn(beacon.place_id), weak)
        rows.append((beacon.tag_id, flight_id, beacon.place_id, beacon.tag_type, float(said.independent[0]), float(said.expected[0]), float(said.cautious[0]),
                     bool(listening.heard.any()), int(listening.heard.sum()), len(listening)))
    return rows
