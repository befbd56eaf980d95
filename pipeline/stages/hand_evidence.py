"""Bearings and sightings on their way into the fixes: which belong to which flight, and how far each bearing may be trusted."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.calibration import stands_in
from pipeline.location import ByHand, concentration_from_sd, estimate_concentration, taken_during

# Scatter of a bearing of which nothing is said, where too few were taken to beacons. Common practice, no source.
USUAL_BEARING_SD_DEG = 10.0
BEARINGS_TO_BEACONS_NEEDED = 8

USED = ["kind", "tag_id", "time_utc", "bearing_sd_deg", "position_sd_m", "flight_id", "used", "why"]
TO_A_BEACON = "to a beacon: tells the scatter of bearings"


def gather_by_hand(bearings: pd.DataFrame, sightings: pd.DataFrame, flights: pd.DataFrame, beacons: pd.DataFrame,
                   listened: set[tuple[str, str]] | None = None) -> tuple[dict[tuple[str, str], ByHand], pd.DataFrame]:
    """((tag_id, flight_id) -> what was added by hand, table of every bearing and sighting with what became of it).

    listened : (tag_id, flight_id) that have a usable record; a flight that did not listen for a tag has no fix of it. None = every flight listened for all.

    A bearing or sighting enters the fix of the flight during which it was had, or within ten minutes of it: the animal may have gone since.
    Bearings to beacons tell how bearings scatter and enter no fix, since beacons test the strengths.
    """
    known = set(beacons["tag_id"])
    usual = usual_concentration(bearings, beacons)
    found, rows = {}, []
    for flight in flights.itertuples():
        during_b, during_s = (taken_during(table, flight.start_utc, flight.end_utc) for table in (bearings, sightings))
        for tag_id in sorted((set(during_b["tag_id"]) | set(during_s["tag_id"])) - known):
            if listened is None or (tag_id, flight.flight_id) in listened:
                found[tag_id, flight.flight_id] = evidence_of(during_b[during_b["tag_id"] == tag_id], during_s[during_s["tag_id"] == tag_id], usual)
        rows += [(kind, row.tag_id, row.time_utc, *_stated_sd(row), flight.flight_id, *_use(row.tag_id, known, (row.tag_id, flight.flight_id) in found))
                 for kind, table in (("bearing", during_b), ("sighting", during_s)) for row in table.itertuples()]
    had = {(kind, tag_id, time) for kind, tag_id, time, *_ in rows}
    rows += [(kind, row.tag_id, row.time_utc, *_stated_sd(row), "", False, TO_A_BEACON if row.tag_id in known else "not during a flight, nor within ten minutes of one")
             for kind, table in (("bearing", bearings), ("sighting", sightings)) for row in table.itertuples() if (kind, row.tag_id, row.time_utc) not in had]
    return found, pd.DataFrame(rows, columns=USED).sort_values(["kind", "tag_id", "time_utc"], kind="stable").reset_index(drop=True)


def _stated_sd(row) -> tuple[float, float]:
    """Standard deviation of a bearing and of a place as the observer stated it, NaN for the one that it is not."""
    return getattr(row, "bearing_sd_deg", np.nan), getattr(row, "position_sd_m", np.nan)


def listened_to(records: pd.DataFrame) -> set[tuple[str, str]]:
    """(tag_id, flight_id) of every tag and flight with a usable record."""
    usable = records[records["usable"].to_numpy(bool)]
    return set(zip(usable["tag_id"], usable["flight_id"]))


def _use(tag_id: str, beacons: set[str], entered: bool) -> tuple[bool, str]:
    if tag_id in beacons:
        return False, TO_A_BEACON
    return entered, "" if entered else "this flight did not listen for the tag"


def without_flight(evidence: pd.DataFrame, kind: str, used: pd.DataFrame, beacons: pd.DataFrame) -> pd.DataFrame:
    """The bearings or sightings (kind) of tags that are no beacons which entered the fix of no flight, by the table of gather_by_hand."""
    entered = used[used["used"].to_numpy(bool) & (used["kind"] == kind).to_numpy(bool)]
    taken, known = set(zip(entered["tag_id"], entered["time_utc"])), set(beacons["tag_id"])
    left = [(tag_id, time) not in taken and tag_id not in known for tag_id, time in zip(evidence["tag_id"], evidence["time_utc"])]
    return evidence[np.array(left, bool)]


def bearings_to_beacons(bearings: pd.DataFrame, beacons: pd.DataFrame) -> pd.DataFrame:
    """Bearings to a beacon at the place where it stood at that time: columns of both, those that both have with _of_beacon for the beacon's."""
    pairs = bearings.merge(beacons, on="tag_id", suffixes=("", "_of_beacon"))
    if pairs.empty or "valid_from_utc" not in pairs:
        return pairs
    return pairs[np.array([stands_in(pair, pair.time_utc) for pair in pairs.itertuples()], bool)]


def usual_concentration(bearings: pd.DataFrame, beacons: pd.DataFrame) -> float:
    """Concentration of bearings of which nothing is said: from those to beacons where there are enough, else that of 10 degrees."""
    to_beacons = bearings_to_beacons(bearings, beacons)
    if len(to_beacons) < BEARINGS_TO_BEACONS_NEEDED:
        return float(concentration_from_sd(USUAL_BEARING_SD_DEG))
    return estimate_concentration(to_beacons["easting_m_of_beacon"].to_numpy(float), to_beacons["northing_m_of_beacon"].to_numpy(float),
                                  from_easting_m=to_beacons["easting_m"].to_numpy(float), from_northing_m=to_beacons["northing_m"].to_numpy(float),
                                  bearing_grid_deg=to_beacons["bearing_grid_deg"].to_numpy(float))[0]


def evidence_of(bearings: pd.DataFrame, sightings: pd.DataFrame, usual: float) -> ByHand:
    """Bearings and sightings of one tag as evidence; usual is the concentration of bearings of which nothing is said."""
    sd = bearings["bearing_sd_deg"].to_numpy(float)
    stated = np.isfinite(sd) & (sd > 0)
    concentration = np.where(stated, concentration_from_sd(np.where(stated, sd, 1.0)), usual) if len(sd) else np.zeros(0)
    return ByHand(*(bearings[name].to_numpy(float) for name in ("easting_m", "northing_m", "bearing_grid_deg")), concentration,
                  *(sightings[name].to_numpy(float) for name in ("easting_m", "northing_m", "position_sd_m")))
