"""Stage 3: fixes of beacons, whose own data their model never saw, against the places where they stand.

    tables/   beacon_errors, beacon_error_details, beacon_places, error_summary, coverage, widening, beacon_residuals, residual_correlation,
              beacon_effort, beacon_reach, two_ways_of_widening, flight_levels
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.calibration import (coverage_table, doubtful_places, error_summary, flight_levels, gather_heard, record_residuals,
                                  p90_interval_of_fixes, residual_correlation, summary_by)
from pipeline.calibration.errors import FIXES_FOR_P90
from pipeline.calibration.residuals import RESIDUALS
from pipeline.columns import BEACON_ERRORS, FIXES, conform
from pipeline.quality import beacon_rows
from pipeline.radio import SignalModel
from pipeline.stages.ground_files import read_ground
from pipeline.stages.instruments import read_corrections
from pipeline.stages.beacon_reach import claim_limits, in_claimed_domain, limit_m, reach_table
from pipeline.stages.ways_of_widening import read_beacon_fixes, ways_of_widening
from pipeline.stages.workspace import Workspace, open_workspace

STAGE = "3_error_calibration"
BY_STYLE = "all other tags, flights of style "     # used_for of a widening that one flight style has of its own
TABLE_NAMES = ("beacon_errors", "beacon_error_details", "beacon_places", "error_summary", "coverage", "widening", "beacon_residuals", "residual_correlation",
               "beacon_effort", "beacon_reach", "two_ways_of_widening", "flight_levels")
# Bounds of the classes by which errors are summed up: closest slant distance in metres, records heard.
DISTANCE_BOUNDS_M = (100, 200, 400, 800)
RECORD_BOUNDS = (3, 8, 20)
STATUS = "status of the fix"
CLAIMED = "where errors are claimed"     # grouping of the fixes within both limits of the claim
GROUPINGS = {"status": STATUS, "flight_style": "flight style", "distance_band": "closest approach", "tag_type": "tag type", "records_class": "records heard", "flight_id": "flight"}
DETAILS = {
    "place_id": "text", "tag_type": "text", "flight_style": "text", "status": "text", "distance_band": "text", "records_class": "text", "inside_95": "flag",
    "effective_records": "float", "passes": "int", "bearing_spread_deg": "float", "places": "int", "strongest_record_error_m": "float", "widening": "float",
    "doubtful": "flag",
}


@dataclass(frozen=True)
class CalibrationTables:
    """Everything the report says, as tables; each is tables/<name>.csv."""

    beacon_errors: pd.DataFrame
    beacon_error_details: pd.DataFrame
    beacon_places: pd.DataFrame
    error_summary: pd.DataFrame
    coverage: pd.DataFrame
    widening: pd.DataFrame
    beacon_residuals: pd.DataFrame
    residual_correlation: pd.DataFrame
    beacon_effort: pd.DataFrame
    beacon_reach: pd.DataFrame
    two_ways_of_widening: pd.DataFrame
    flight_levels: pd.DataFrame


def open_report(config_path):
    """The report of this stage, its tables computed anew: what the notebook calls first."""
    from pipeline.stages.calibration_report import CalibrationReport

    workspace = open_workspace(config_path)
    workspace.ensure("2_localisation")
    tables = compute(workspace)
    workspace.mark_computed(STAGE)
    return CalibrationReport(workspace, tables)


def compute(workspace: Workspace) -> CalibrationTables:
    """Compute all tables of the stage and write them; without beacons they have headers only."""
    records, beacons, flights, tests = (workspace.read_work(name) for name in ("records", "beacons", "flights", "beacon_tests"))
    fixes, ground = workspace.read_table("fixes", FIXES), read_ground(workspace)
    models, kept = workspace.read_json("signal_models"), workspace.read_json("widening")
    listened = workspace.read_work("beacon_strongest_record")
    details = detail_table(tests, fixes, workspace.read_table("fix_evidence"), flights, ground.projection)
    track, left_out = workspace.read_work("track"), models_of_places(models, beacons)
    looks = record_table(records, beacons, left_out, read_corrections(workspace))
    heard_looks = looks[looks["residual_db"].notna()].reset_index(drop=True)
    covered = coverage_table(details["level_before"], details["level_after"], details["place_id"])
    tables = CalibrationTables(
        beacon_errors=conform(details, BEACON_ERRORS), beacon_error_details=details, beacon_places=place_table(beacons, listened, details, kept),
        error_summary=summary_table(details), coverage=covered[covered["tests"] > 0],
        widening=widening_table(kept, beacons), beacon_residuals=heard_looks,
        residual_correlation=residual_correlation(looks, left_out, dict(zip(beacons["place_id"], beacons["tag_type"])), width_m=typical_step_m(track), seed=workspace.survey.seed),
        beacon_effort=effort_table(records, beacons, flights, listened),
        beacon_reach=reach_table(details, fixes, workspace.read_work("tags"), track, flights, ground, beacons),
        two_ways_of_widening=ways_of_widening(read_beacon_fixes(workspace), set(beacons.loc[beacons["use"] == "test", "place_id"])),
        flight_levels=flight_levels(heard_looks),
    )
    for name in TABLE_NAMES:
        workspace.write_table(name, getattr(tables, name))
    return tables


def detail_table(tests: pd.DataFrame, fixes: pd.DataFrame, evidence: pd.DataFrame, flights: pd.DataFrame, projection) -> pd.DataFrame:
    """One row per beacon and flight in which it was heard: columns of BEACON_ERRORS, then those of DETAILS.

    The position is the best one whatever the status of the fix; errors are metres along the axes of the survey grid.
    """
    keys = ["tag_id", "flight_id"]
    styles = dict(zip(flights["flight_id"], flights["style"]))
    evidence = evidence[[name for name in (*keys, "effective_records", "passes", "bearing_spread_deg", "places") if name in evidence.columns]]
    tests, evidence = (table.astype({name: "string" for name in keys}) for table in (tests, evidence))
    rows = tests.merge(fixes[[*keys, "status", "best_latitude", "best_longitude", "error_radius_95_m", "region_95_ha", "records_heard"]], on=keys, how="left")
    rows = rows.merge(evidence, on=keys, how="left")
    east_m, north_m = projection.forward(rows["best_latitude"].to_numpy(float), rows["best_longitude"].to_numpy(float))
    east_m, north_m = east_m - rows["true_easting_m"].to_numpy(float), north_m - rows["true_northing_m"].to_numpy(float)
    heard, approach_m = rows["records_heard"].fillna(0).to_numpy(float), rows["closest_approach_m"].to_numpy(float)
    rows = rows.assign(
        latitude=rows["best_latitude"], longitude=rows["best_longitude"], error_east_m=east_m, error_north_m=north_m, error_m=np.hypot(east_m, north_m),
        flight_style=rows["flight_id"].map(styles), distance_band=class_names(approach_m, DISTANCE_BOUNDS_M, "m"), records_class=class_names(heard, RECORD_BOUNDS),
        inside_95=rows["level_after"].to_numpy(float) <= 0.95,
    )
    rows["doubtful"] = doubtful_places(rows) if len(rows) else []
    return conform(rows, BEACON_ERRORS | DETAILS)


def class_names(values, bounds, unit: str = "") -> list[str]:
    """The class of each value, in words that sort in the order of size: "1: under 100 m", "2: 100 to 200 m"."""
    unit = f" {unit}" if unit else ""
    last = bounds[-1]
    names = [f"under {bounds[0]}{unit}", *(f"{low} to {high if unit else high - 1}{unit}" for low, high in zip(bounds[:-1], bounds[1:])), f"{last}{unit} or more"]
    return [f"{number + 1}: {names[number]}" for number in np.digitize(values, bounds)]


def summary_table(details: pd.DataFrame) -> pd.DataFrame:
    """error_summary for all fixes, for those where errors are claimed, and for every class of every grouping, with coverage, yield and the strongest record's error beside it.

    The 90th percentile is blank below ten fixes, and its interval below six beacons.
    """
    parts = [_summarised(details.assign(everything="all fixes"), "everything", "all")]
    claimed = details[in_claimed_domain(details)]
    if len(claimed):
        farthest_m, fewest = claim_limits(details)
        parts.append(_summarised(claimed.assign(everything=f"within {limit_m(farthest_m)} m and {fewest:.0f} records or more"), "everything", CLAIMED))
    parts += [_summarised(details, column, words) for column, words in GROUPINGS.items()]
    table = pd.concat(parts, ignore_index=True)
    return table.assign(p90_m=table["p90_m"].where(table["n"] >= FIXES_FOR_P90))


def _summarised(details: pd.DataFrame, column: str, words: str) -> pd.DataFrame:
    extra = ["share_by_place", "share_by_place_low_95", "share_by_place_high_95", "places", "located", "strongest_median_m", "p90_low_95_m", "p90_high_95_m"]
    if details.empty:
        return pd.DataFrame(columns=["grouping", "group", *error_summary(details), "inside_95", "inside_low_95", "inside_high_95", *extra])
    groups = details.groupby(column, sort=True)
    table = summary_by(details, column).rename(columns={column: "group"})
    table.insert(0, "grouping", words)
    return table.assign(
        group=[name.split(": ", 1)[-1] if column in ("distance_band", "records_class") else name for name in table["group"]],
        places=groups["place_id"].nunique().to_numpy(), located=groups["status"].agg(lambda values: int(values.isin(["located", "several places"]).sum())).to_numpy(),
        strongest_median_m=groups["strongest_record_error_m"].median().to_numpy(), **_p90_intervals(groups),
    )


def _p90_intervals(groups) -> dict[str, list[float]]:
    """Ends of the interval of the 90th percentile for each group of beacon fixes, blank below as many fixes as the percentile itself asks for."""
    found = [p90_interval_of_fixes(part["error_m"], part["place_id"], part["flight_id"]) if len(part) >= FIXES_FOR_P90 else (np.nan, np.nan) for _, part in groups]
    return {name: [ends[side] for ends in found] for side, name in enumerate(("p90_low_95_m", "p90_high_95_m"))}


def place_table(beacons: pd.DataFrame, listened: pd.DataFrame, details: pd.DataFrame, widening: dict) -> pd.DataFrame:
    """One row per beacon place: where it stands, how it was used, how often it was heard, and how its fixes fared."""
    flights = listened.groupby("place_id")
    tests = details.groupby("place_id")
    place = beacons["place_id"]
    return beacons.assign(
        flights_listened=place.map(flights.size()).fillna(0).astype(int), flights_heard=place.map(flights["records_heard"].agg(lambda heard: int((heard > 0).sum()))).fillna(0).astype(int),
        records_heard=place.map(flights["records_heard"].sum()).fillna(0).astype(int), median_error_m=place.map(tests["error_m"].median()).astype(float),
        inside_95=place.map(tests["inside_95"].sum()).fillna(0).astype(int), closest_approach_m=place.map(tests["closest_approach_m"].min()).astype(float),
        widening=[widening["left_out"].get(name, widening["overall"]) for name in place],
        doubtful_fixes=place.map(tests["doubtful"].sum()).fillna(0).astype(int),
    )


def widening_table(widening: dict, beacons: pd.DataFrame) -> pd.DataFrame:
    """The widening of each beacon place, found on the others, and that of all other tags."""
    names = dict(zip(beacons["place_id"], beacons["tag_id"]))
    rows = [{"used_for": "all other tags", "place_id": "", "widening": widening["overall"], "taught_by_places": widening["places"]}]
    rows += [{"used_for": names.get(place, place), "place_id": place, "widening": value, "taught_by_places": widening["places"] - 1}
             for place, value in widening["left_out"].items()]
    rows += [{"used_for": f"{BY_STYLE}{style}", "place_id": "", "widening": value, "taught_by_places": widening["places"]}
             for style, value in widening.get("by_style", {}).items()]
    return pd.DataFrame(rows)


def models_of_places(models: dict, beacons: pd.DataFrame) -> dict[str, SignalModel]:
    """For each beacon place the signal model that never saw it."""
    return {place: SignalModel.from_dict(models["left_out"].get(place, models["whole"])) for place in beacons["place_id"]}


def record_table(records: pd.DataFrame, beacons: pd.DataFrame, models: dict[str, SignalModel], corrections_for) -> pd.DataFrame:
    """Every record of every heard beacon against what a model without that beacon expects; columns of RESIDUALS, time_utc and minute (of the flight)."""
    own = records[records["tag_id"].isin(beacons["tag_id"])]
    heights = dict(zip(beacons["place_id"], beacons["height_above_ground_m"].fillna(0.0)))
    start = records.groupby("flight_id")["time_utc"].min()
    usable = dict(list(own[own["usable"].to_numpy(bool)].groupby(["tag_id", "flight_id"], sort=True)))
    parts = []
    for heard in gather_heard(own, beacons.drop_duplicates("tag_id"), beacons, corrections_for=corrections_for):
        if heard.truth is None:
            continue
        table = record_residuals(heard, heights[heard.place_id], models[heard.place_id])
        times = usable[heard.tag_id, heard.flight_id].sort_values(["time_utc", "record"], kind="stable")["time_utc"]
        parts.append(table.assign(time_utc=times.array, minute=((times - start[heard.flight_id]).dt.total_seconds() / 60.0).to_numpy()))
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=[*RESIDUALS, "time_utc", "minute"])


def typical_step_m(track: pd.DataFrame) -> float:
    """Median of the metres flown between two records, at least 5 m."""
    steps = np.hypot(track.groupby("flight_id")["easting_m"].diff(), track.groupby("flight_id")["northing_m"].diff()).dropna()
    return float(max(steps.median(), 5.0)) if len(steps) else 5.0


def effort_table(records: pd.DataFrame, beacons: pd.DataFrame, flights: pd.DataFrame, listened: pd.DataFrame) -> pd.DataFrame:
    """What each flight spent on beacons: how many, records and minutes listened, and how near it came (level distance)."""
    own = beacon_rows(records[records["usable"].to_numpy(bool)], beacons)
    moments = own.groupby("flight_id")["record"].nunique()
    by_flight = listened.groupby("flight_id")
    table = flights[["flight_id", "style", "listening_min"]].copy()
    name = table["flight_id"]
    return table.assign(
        beacons_listened=name.map(by_flight.size()).fillna(0).astype(int), beacons_heard=name.map(by_flight["records_heard"].agg(lambda heard: int((heard > 0).sum()))).fillna(0).astype(int),
        beacon_records_listened=name.map(by_flight["records_listened"].sum()).fillna(0).astype(int), beacon_records_heard=name.map(by_flight["records_heard"].sum()).fillna(0).astype(int),
        beacon_min=name.map(moments).fillna(0).astype(float) * flights["record_interval_s"].to_numpy(float) / 60.0,
        closest_approach_median_m=name.map(by_flight["closest_approach_m"].median()).astype(float), closest_approach_min_m=name.map(by_flight["closest_approach_m"].min()).astype(float),
    )
