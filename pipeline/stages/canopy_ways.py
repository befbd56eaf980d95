"""Ways through canopy along the flights of a campaign, worked out by stage 2."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.radio import Canopy, FlightCanopy
from pipeline.radio.ground_heights import GroundHeights
from pipeline.stages.ground_files import Ground
from pipeline.stages.instruments import TERRAIN_MARGIN_M, USUAL_FREQUENCY_MHZ


def canopy_along_flights(ground: Ground, track: pd.DataFrame, frequencies_mhz: pd.Series) -> dict[str, FlightCanopy]:
    """flight_id -> ways from every record of it through canopy; empty without canopy heights.

    track : columns of TRACK. frequencies_mhz : of all tags, blank where unknown; their median serves for all.
    """
    if ground.canopy is None or track.empty:
        return {}
    known, woods, land = frequencies_mhz.dropna(), ground.canopy, ground.terrain
    below = None if land is None else GroundHeights(np.asarray(land.height_m, float), land.west_m, land.north_m, land.cell_m)
    canopy = Canopy(woods.height_m, woods.west_m, woods.north_m, woods.cell_m, below, float(known.median()) if len(known) else USUAL_FREQUENCY_MHZ)
    placed = track[track["easting_m"].notna() & track["height_above_ground_m"].notna()]
    flights = {}
    for flight_id, rows in placed.groupby("flight_id", sort=True):
        area = (rows["easting_m"].min() - TERRAIN_MARGIN_M, rows["northing_m"].min() - TERRAIN_MARGIN_M, rows["easting_m"].max() + TERRAIN_MARGIN_M, rows["northing_m"].max() + TERRAIN_MARGIN_M)
        flights[flight_id] = canopy.along(rows, area, record=rows["record"].to_numpy(int))
    return flights
