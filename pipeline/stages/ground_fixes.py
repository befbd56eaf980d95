"""Fixes from the ground crew alone: bearings and sightings that were had in no flight, one fix for each tag and session.

    tables/   ground_fixes, ground_fix_tests (beacons found by bearings alone, against where they stand)
    work/     ground_regions (GeoParquet), ground_method.json (what the fixes rest on)
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd

from pipeline.calibration import LEVELS
from pipeline.columns import FIXES, conform
from pipeline.location import Gates, best_position, position_columns
from pipeline.location.bearings import mean_resultant
from pipeline.location.ground_fix import locate_by_hand, session_numbers
from pipeline.location.ground_status import ground_status
from pipeline.stages.hand_evidence import BEARINGS_TO_BEACONS_NEEDED, bearings_to_beacons, evidence_of, usual_concentration, without_flight
from pipeline.stages.workspace import Workspace

_IDENTITY = {"tag_id": "text", "animal_id": "text", "session_id": "text", "session_start_utc": "time", "session_end_utc": "time"}
_RESTS_ON = {
    "bearings": "int", "sightings": "int",
    "crossing_deg": "float",      # angle of the two bearings that cross nearest to a right angle
    "misfit": "float",            # how far the parts contradict each other: chi-square on misfit_freedom degrees of freedom
    "misfit_freedom": "int",
    "misfit_p": "float",          # blank where nothing is left to compare
    "state": "text",              # of the last sighting: alive | dead | tag only
    "method": "text",             # bearing | sighting | bearing+sighting
}
_AS_IN_FIXES = [name for name in FIXES if name.startswith(("status", "latitude", "longitude", "easting", "northing", "best_", "error_radius", "region_", "ellipse_"))]
GROUND_FIXES = _IDENTITY | {name: FIXES[name] for name in _AS_IN_FIXES} | _RESTS_ON
GROUND_TESTS = {"tag_id": "text", "session_id": "text", "bearings": "int", "status": "text", "error_m": "float", "error_radius_95_m": "float", "level": "float", "inside_95": "flag"}
REGIONS = ["tag_id", "session_id", "probability", "status", "geometry"]


def write_ground_fixes(workspace: Workspace, used: pd.DataFrame, projection) -> pd.DataFrame:
    """Locate every tag of every session, leave the tables, and return the table of evidence with what became of each bearing and sighting.

    used : as gather_by_hand leaves it. The tables are written also where there is no session, with their headers.
    """
    bearings, sightings, beacons = (workspace.read_work(name) for name in ("bearings", "sightings", "beacons"))
    settings = workspace.survey.localisation
    usual = usual_concentration(bearings, beacons)
    parts = {"bearing": without_flight(bearings, "bearing", used, beacons), "sighting": without_flight(sightings, "sighting", used, beacons)}
    rows, regions = [], []
    doubt, animals = _doubts(workspace), _animals(workspace)
    for key, session in sessions(parts["bearing"], parts["sighting"], settings.ground_session_gap_min):
        fix = locate_by_hand(evidence_of(session["bearing"], session["sighting"], usual), settings.ground_reach_m)
        status, reason = ground_status(fix, Gates(**settings.gates.model_dump()), doubt(key["tag_id"]))
        row = key | {"animal_id": animals.get(key["tag_id"], ""), "status": status, "status_reason": reason, "state": _last_state(session["sighting"])}
        rows.append(row | position_columns(fix.posterior, status, projection) | _rests_on(fix))
        regions += [{**_names(key), "probability": level, "status": status, "geometry": fix.posterior.region_polygon(level)} for level in LEVELS]
    fixes = conform(pd.DataFrame(rows), GROUND_FIXES)
    workspace.write_table("ground_fixes", fixes)
    workspace.write_work("ground_regions", gpd.GeoDataFrame(regions, columns=REGIONS, geometry="geometry", crs=projection.crs))
    workspace.write_table("ground_fix_tests", beacon_table(bearings, beacons, settings))
    workspace.write_json("ground_method", _method(parts["bearing"], len(bearings_to_beacons(bearings, beacons)), usual, settings))
    return with_sessions(used, fixes)


def sessions(bearings: pd.DataFrame, sightings: pd.DataFrame, gap_min: float) -> list[tuple[dict, dict[str, pd.DataFrame]]]:
    """Every tag's bearings and sightings in sessions, in order of tag and time.

    Returns (tag_id, session_id, session_start_utc, session_end_utc as a dict, {"bearing": rows, "sighting": rows}) for each. A gap of more than gap_min
    minutes between two of a tag begins a new session. The session is named after the minute in which it began.
    """
    found = []
    for tag_id in sorted(set(bearings["tag_id"]) | set(sightings["tag_id"])):
        own = [table[(table["tag_id"] == tag_id).to_numpy(bool)] for table in (bearings, sightings)]
        times = pd.concat([table["time_utc"] for table in own], ignore_index=True)
        numbers = session_numbers(times, gap_min)
        for number in range(numbers.max() + 1):
            inside = numbers == number
            start, end = times[inside].min(), times[inside].max()
            taken = dict(zip(("bearing", "sighting"), (table[flags] for table, flags in zip(own, np.split(inside, [len(own[0])])))))
            found.append(({"tag_id": tag_id, "session_id": f"{start:%Y-%m-%dT%H:%MZ}", "session_start_utc": start, "session_end_utc": end}, taken))
    return found


def with_sessions(used: pd.DataFrame, fixes: pd.DataFrame) -> pd.DataFrame:
    """The table of evidence with the session that each bearing and sighting entered (session_id), which then counts as used."""
    entered = {}
    for fix in fixes.itertuples():
        free = ~used["used"].to_numpy(bool) & (used["tag_id"] == fix.tag_id).to_numpy(bool)
        inside = free & used["time_utc"].between(fix.session_start_utc, fix.session_end_utc).to_numpy(bool)
        taken_by_flight = set(zip(used["kind"][used["used"]], used["time_utc"][used["used"]]))
        entered |= {row: fix.session_id for row in used.index[inside] if (used["kind"][row], used["time_utc"][row]) not in taken_by_flight}
    session = pd.Series([entered.get(row, "") for row in used.index], index=used.index, dtype="string")
    entered_one = (session != "").to_numpy(bool)
    return used.assign(session_id=session, used=used["used"].to_numpy(bool) | entered_one, why=used["why"].where(~entered_one, "outside of the flights: in a fix of its own"))


def beacon_table(bearings: pd.DataFrame, beacons: pd.DataFrame, settings) -> pd.DataFrame:
    """Beacons located by bearings alone, as any tag would be, against where they stand; columns of GROUND_TESTS, a row for each session with two bearings or more.

    The scatter of a bearing of which nothing is said comes from the bearings to the other beacons.
    """
    to_beacons = bearings_to_beacons(bearings, beacons)
    rows = []
    for place_id, own in to_beacons.groupby("place_id", sort=True):
        others = beacons[beacons["place_id"] != place_id]
        usual = usual_concentration(bearings[~bearings["tag_id"].isin(own["tag_id"])], others)
        truth = own[["easting_m_of_beacon", "northing_m_of_beacon"]].to_numpy(float)[0]
        for key, session in sessions(own, own.head(0), settings.ground_session_gap_min):
            if len(session["bearing"]) < 2:
                continue
            fix = locate_by_hand(evidence_of(session["bearing"], own.head(0).assign(position_sd_m=np.nan), usual), settings.ground_reach_m)
            status, _ = ground_status(fix, Gates(**settings.gates.model_dump()))
            level = fix.posterior.level_at(*truth)
            rows.append(_names(key) | {"bearings": fix.bearings, "status": status, "error_m": float(np.hypot(*(best_position(fix.posterior) - truth))),
                                       "error_radius_95_m": fix.posterior.radius_m(0.95), "level": level, "inside_95": level <= 0.95})
    return conform(pd.DataFrame(rows), GROUND_TESTS)


def _names(key: dict) -> dict:
    return {"tag_id": key["tag_id"], "session_id": key["session_id"]}


def _rests_on(fix) -> dict:
    agreement = fix.agreement
    compared = agreement.freedom > 0
    return {"bearings": fix.bearings, "sightings": fix.sightings, "crossing_deg": fix.crossing_deg, "misfit": agreement.misfit if compared else np.nan,
            "misfit_freedom": max(agreement.freedom, 0), "misfit_p": agreement.p,
            "method": "+".join(name for name, count in (("bearing", fix.bearings), ("sighting", fix.sightings)) if count)}


def _last_state(sightings: pd.DataFrame) -> str:
    stated = sightings.sort_values("time_utc", kind="stable")["state"].replace("", pd.NA).dropna() if "state" in sightings else []
    return str(stated.iloc[-1]) if len(stated) else ""


def _animals(workspace) -> dict[str, str]:
    tags = workspace.read_work("tags")
    return dict(zip(tags["tag_id"], tags["animal_id"]))


def _doubts(workspace):
    """tag_id -> why evidence of a tag is doubted, or ""; with no register of tags, no tag is doubted."""
    tags, told = workspace.read_work("tags"), workspace.read_work("messages")
    known, decoys = set(tags.loc[tags["role"] != "unregistered", "tag_id"]), set(tags.loc[tags["role"] == "decoy", "tag_id"])
    registered = "tags-missing" not in set(told["code"])

    def doubt(tag_id: str) -> str:
        if tag_id in decoys:
            return "the tag is known to be switched off"
        return "the tag is in no register" if registered and tag_id not in known else ""

    return doubt


def _sd_deg(concentration: float) -> float:
    """Standard deviation of bearings with this concentration, the inverse of concentration_from_sd; at most a half turn. [degrees]"""
    return float(min(np.degrees(np.sqrt(-2.0 * np.log(max(mean_resultant(concentration), 1e-9)))), 180.0))


def _method(bearings: pd.DataFrame, to_beacons: int, usual: float, settings) -> dict:
    return {"gap_min": settings.ground_session_gap_min, "reach_m": settings.ground_reach_m, "usual_sd_deg": _sd_deg(usual),
            "from_beacons": to_beacons if to_beacons >= BEARINGS_TO_BEACONS_NEEDED else 0, "unstated": int((~(bearings["bearing_sd_deg"] > 0)).sum())}
