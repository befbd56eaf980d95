"""What people on the ground wrote down: bearings taken by hand, animals seen."""

from __future__ import annotations

import numpy as np

from .campaign import RECORD_INTERVAL_S
from .draws import normals

BEARING_SD_DEG = 8.0
BEARING_INTERVAL_S = 300


def bearing_rows(bearings, plans, stays: dict, plane, generator) -> list[str]:
    """Lines of bearings.csv, a bearing every five minutes.

    bearings : (tag_id, number of the flight, places of the observer as an array (n, 2) of local metres).
    """
    rows = ["time_utc,tag_id,latitude,longitude,bearing_deg,bearing_sd_deg,north_reference"]
    for tag_id, flight, stands_m in bearings:
        for number, (easting_m, northing_m) in enumerate(stands_m):
            second = 240 + BEARING_INTERVAL_S * number
            tag_easting_m, tag_northing_m = stays[tag_id][flight].place(second)
            bearing_deg = np.degrees(np.arctan2(tag_easting_m - easting_m, tag_northing_m - northing_m))
            bearing_deg = int(np.round(bearing_deg + BEARING_SD_DEG * float(normals(generator)))) % 360
            latitude, longitude = plane.inverse(easting_m, northing_m)
            time = plans[flight].times[second // RECORD_INTERVAL_S]
            rows.append(f"{time},{tag_id},{latitude:.6f},{longitude:.6f},{bearing_deg},{BEARING_SD_DEG:.0f},true")
    return rows


def sighting_rows(sightings, plans, stays: dict, plane, generator) -> list[str]:
    """Lines of sightings.csv.

    sightings : (tag_id, number of the flight, seconds since its start, time or "" for that second, sd of the position in m, state).
    """
    rows = ["time_utc,tag_id,latitude,longitude,position_sd_m,state"]
    for tag_id, flight, second, time, sd_m, state in sightings:
        place_m = [float(value) + sd_m * float(normals(generator)) for value in stays[tag_id][flight].place(second)]
        latitude, longitude = plane.inverse(*place_m)
        time = time or plans[flight].times[second // RECORD_INTERVAL_S]
        rows.append(f"{time},{tag_id},{latitude:.6f},{longitude:.6f},{sd_m},{state}")
    return rows
