"""What held-out beacons say of the clocks, beside what is known of the ground: left by stage 2, read by whoever needs records as evidence."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from pipeline.calibration import HeldOutModels
from pipeline.radio import Corrections
from pipeline.stages.flight_ground import read_flight_ground
from pipeline.stages.workspace import Workspace

LAGS = ["flight_id", "lag_s", "standard_error_s", "gain", "beacons", "applied_s"]


def leave_corrections(workspace: Workspace, models: HeldOutModels) -> None:
    """Write work/corrections.json, tables/clock_lags.csv and tables/terrain_seen.csv."""
    workspace.write_json("corrections", {"lags_s": models.corrections.lags_s, "left_out_lags_s": models.left_out_lags_s})
    rows = [(flight, lag.lag_s, lag.se_s, lag.gain, lag.tags, lag.applied_s) for flight, lag in sorted(models.lags.items())]
    workspace.write_table("clock_lags", pd.DataFrame(rows, columns=LAGS))
    seen = sorted(models.corrections.terrain.items())
    workspace.write_table("terrain_seen", pd.DataFrame({"flight_id": [flight for flight, _ in seen], "share_without_terrain": [along.share_without_terrain for _, along in seen]}))


def read_corrections(workspace: Workspace):
    """A function from place_id (None: no beacon) to the Corrections that were found without that place."""
    kept, ground = workspace.read_json("corrections"), read_flight_ground(workspace)

    def corrections_for(place_id: str | None = None) -> Corrections:
        return replace(ground, lags_s=kept["left_out_lags_s"].get(place_id, kept["lags_s"]))

    return corrections_for
