"""What hills and canopy take along the flights of a campaign: worked out once by stage 1, read by whoever needs it later.

    work/   flight_ground.json, terrain_loss/ and canopy_ways/ (one file for each array of each flight)
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.radio import Canopy, Corrections, FlightCanopy, FlightTerrainLoss, TerrainLoss
from pipeline.radio.ground_heights import GroundHeights
from pipeline.stages.ground_files import Ground
from pipeline.stages.workspace import Workspace

# Loss and ways are worked out so far beyond the tracks; farther places are taken to be in sight, and are seldom heard. Our choice.
TERRAIN_MARGIN_M = 1500.0
# Where no register names a frequency: the middle of what animal tags use. Common practice, no source.
USUAL_FREQUENCY_MHZ = 150.0
_KINDS = {"terrain_loss": FlightTerrainLoss, "canopy_ways": FlightCanopy}


def leave_flight_ground(workspace: Workspace, ground: Ground, track: pd.DataFrame, frequencies_mhz: pd.Series) -> Corrections:
    """Work out and write what is known of the ground along every flight; returns it, with no clock put right.

    track : columns of TRACK. frequencies_mhz : of all tags, blank where unknown; their median serves for all.
    """
    found = {name: {} if taken is None else _along_flights(taken, track) for name, taken in zip(_KINDS, in_the_way(ground, frequencies_mhz))}
    workspace.write_json("flight_ground", {name: _leave_lattices(workspace, name, found[name]) for name in _KINDS})
    return Corrections(terrain=found["terrain_loss"], canopy=found["canopy_ways"])


def in_the_way(ground: Ground, frequencies_mhz: pd.Series) -> tuple[TerrainLoss | None, Canopy | None]:
    """(hills, canopy) over the whole ground at the median of these frequencies; None where the survey file names none."""
    known = frequencies_mhz.dropna()
    frequency_mhz, land, woods = float(known.median()) if len(known) else USUAL_FREQUENCY_MHZ, ground.terrain, ground.canopy
    hills = None if land is None else TerrainLoss(land.height_m, land.west_m, land.north_m, land.cell_m, frequency_mhz)
    if woods is None:
        return hills, None
    below = None if land is None else GroundHeights(np.asarray(land.height_m, float), land.west_m, land.north_m, land.cell_m)
    return hills, Canopy(woods.height_m, woods.west_m, woods.north_m, woods.cell_m, below, frequency_mhz)


def read_flight_ground(workspace: Workspace) -> Corrections:
    """The same again from the files."""
    flights = workspace.read_json("flight_ground")
    return Corrections(terrain=_read_lattices(workspace, "terrain_loss", flights), canopy=_read_lattices(workspace, "canopy_ways", flights))


def _along_flights(taken, track: pd.DataFrame) -> dict:
    """flight_id -> what is taken from every record of it to the ground about its track. taken : TerrainLoss or Canopy."""
    placed = track[track["easting_m"].notna() & track["height_above_ground_m"].notna()]
    flights = {}
    for flight_id, rows in placed.groupby("flight_id", sort=True):
        east, north = rows["easting_m"], rows["northing_m"]
        area = (east.min() - TERRAIN_MARGIN_M, north.min() - TERRAIN_MARGIN_M, east.max() + TERRAIN_MARGIN_M, north.max() + TERRAIN_MARGIN_M)
        flights[flight_id] = taken.along(rows, area, record=rows["record"].to_numpy(int))
    return flights


def _leave_lattices(workspace: Workspace, folder: str, lattices: dict) -> list[str]:
    """Write what is known of each flight to a folder under work; the flights in the order of the files' numbers."""
    flights = sorted(lattices)
    for number, flight_id in enumerate(flights):
        for name, values in lattices[flight_id].to_arrays().items():
            # not np.savez: it stamps the time into the file
            np.save(workspace.path_to_write(f"work/{folder}/{number}_{name}.npy"), values)
    return flights


def _read_lattices(workspace: Workspace, folder: str, flights: dict[str, list[str]]) -> dict:
    """flight_id -> what _leave_lattices wrote of it."""
    kind = _KINDS[folder]
    return {flight_id: kind.from_arrays({name: np.load(workspace.path_to_read(f"work/{folder}/{number}_{name}.npy")) for name in kind.array_names()})
            for number, flight_id in enumerate(flights[folder])}
