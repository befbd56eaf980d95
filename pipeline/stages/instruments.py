"""What beacons, terrain and canopy models say of clocks, antenna and ground: left as files by stage 2, read by whoever needs records as evidence."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.calibration import HeldOutModels
from pipeline.radio import Corrections, FlightCanopy, FlightTerrainLoss, TerrainLoss
from pipeline.stages.ground_files import Ground
from pipeline.stages.workspace import Workspace

LAGS = ["flight_id", "lag_s", "standard_error_s", "gain", "beacons", "applied_s"]
# The loss behind hills is worked out so far beyond the tracks; farther places are taken to be in sight, and are seldom heard. Our choice.
TERRAIN_MARGIN_M = 1500.0
# Where no register names a frequency: the middle of what animal tags use. Common practice, no source.
USUAL_FREQUENCY_MHZ = 150.0


def terrain_along_flights(ground: Ground, track: pd.DataFrame, frequencies_mhz: pd.Series) -> dict[str, FlightTerrainLoss]:
    """flight_id -> what hills take from every record of it; empty without a terrain model.

    track : columns of TRACK. frequencies_mhz : of all tags, blank where unknown; their median serves for all.
    """
    if ground.terrain is None or track.empty:
        return {}
    known = frequencies_mhz.dropna()
    land = ground.terrain
    loss = TerrainLoss(land.height_m, land.west_m, land.north_m, land.cell_m, float(known.median()) if len(known) else USUAL_FREQUENCY_MHZ)
    placed = track[track["easting_m"].notna() & track["height_above_ground_m"].notna()]
    flights = {}
    for flight_id, rows in placed.groupby("flight_id", sort=True):
        area = (rows["easting_m"].min() - TERRAIN_MARGIN_M, rows["northing_m"].min() - TERRAIN_MARGIN_M, rows["easting_m"].max() + TERRAIN_MARGIN_M, rows["northing_m"].max() + TERRAIN_MARGIN_M)
        flights[flight_id] = loss.along(rows, area, record=rows["record"].to_numpy(int))
    return flights


def leave_corrections(workspace: Workspace, models: HeldOutModels) -> None:
    """Write work/corrections.json, beside it loss behind hills and ways through canopy of each flight, tables/clock_lags.csv and tables/terrain_seen.csv."""
    flights = sorted(models.corrections.terrain)
    kept = {"lags_s": models.corrections.lags_s, "left_out_lags_s": models.left_out_lags_s, "terrain": _leave_lattices(workspace, "terrain_loss", models.corrections.terrain)}
    if models.corrections.canopy:
        kept["canopy"] = _leave_lattices(workspace, "canopy_ways", models.corrections.canopy)
    workspace.write_json("corrections", kept)
    rows = [(flight, lag.lag_s, lag.se_s, lag.gain, lag.tags, lag.applied_s) for flight, lag in sorted(models.lags.items())]
    workspace.write_table("clock_lags", pd.DataFrame(rows, columns=LAGS))
    workspace.write_table("terrain_seen", pd.DataFrame({"flight_id": flights, "share_without_terrain": [models.corrections.terrain[flight].share_without_terrain for flight in flights]}))


def read_corrections(workspace: Workspace):
    """A function from place_id (None: no beacon) to the Corrections that were found without that place."""
    kept = workspace.read_json("corrections")
    terrain = _read_lattices(workspace, "terrain_loss", FlightTerrainLoss, kept["terrain"])
    canopy = _read_lattices(workspace, "canopy_ways", FlightCanopy, kept.get("canopy", []))

    def corrections_for(place_id: str | None = None) -> Corrections:
        return Corrections(kept["left_out_lags_s"].get(place_id, kept["lags_s"]), terrain, canopy)

    return corrections_for


def _leave_lattices(workspace: Workspace, folder: str, lattices: dict) -> list[str]:
    """Write what is known of each flight to a folder under work; the flights in the order of the files' numbers."""
    flights = sorted(lattices)
    for number, flight_id in enumerate(flights):
        for name, values in lattices[flight_id].to_arrays().items():
            # not np.savez: it stamps the time into the file
            np.save(workspace.path_to_write(f"work/{folder}/{number}_{name}.npy"), values)
    return flights


def _read_lattices(workspace: Workspace, folder: str, kind, flights: list[str]) -> dict:
    """flight_id -> what _leave_lattices wrote of it; kind : its class."""
    return {flight_id: kind.from_arrays({name: np.load(workspace.path_to_read(f"work/{folder}/{number}_{name}.npy")) for name in kind.array_names()})
            for number, flight_id in enumerate(flights)}
