"""Stage 1: the logs are read and judged. Everything later rests on the tables left here.

    work/     records, track, tags, beacons, bearings, sightings (Parquet), the ground (see ground_files) and what it takes along the flights (see flight_ground)
    tables/   files, flights, columns, tags_heard, changes, messages, effort, heard_by_flight, beacon_strongest_record (+ _summary), suspicion, instruments;
              the same in work/
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.calibration import look_at_instruments
from pipeline.intake import Intake, read_campaign
from pipeline.messages import Message, message_table
from pipeline.quality import (column_table, effort_table, findings, flight_table, heard_matrix, noise_findings, north_findings, strongest_records, suspicion_table, tag_table,
                              terrain_findings, track_table)
from pipeline.stages.check import read_arguments, status_messages
from pipeline.stages.flight_ground import TERRAIN_MARGIN_M, leave_flight_ground
from pipeline.stages.ground_files import read_ground, write_ground
from pipeline.stages.instrument_check import instrument_messages, instrument_rows
from pipeline.stages.instrument_report import declination_here_deg
from pipeline.stages.workspace import Workspace, open_workspace

STAGE = "1_quality_check"


# Left both as tables/<name>.csv for readers and as work/<name>.parquet, which keeps the kinds of columns that are all blank.
PRINTED = ("flights", "columns", "tags_heard", "messages", "effort", "heard_by_flight", "beacon_strongest_record", "beacon_strongest_record_summary", "suspicion",
           "files", "changes", "instruments")


def compute(workspace: Workspace) -> None:
    """Read every file of the campaign, judge it, and leave the tables."""
    intake = read_campaign(**read_arguments(workspace.survey))
    for name in ("records", "tags", "beacons", "bearings", "sightings"):
        workspace.write_work(name, getattr(intake, name))
    write_ground(workspace, intake)
    judged, noticed = _judged(intake, workspace.survey.receiver_log.azimuth_reference)
    workspace.write_work("track", judged["track"])
    frequencies_mhz = pd.concat([intake.tags["frequency_mhz"], intake.beacons["frequency_mhz"]])
    known = leave_flight_ground(workspace, read_ground(workspace), judged["track"], frequencies_mhz)
    found = look_at_instruments(intake.records, intake.beacons, known)
    judged["instruments"] = instrument_rows(found, judged["flights"]["flight_id"])
    noticed += instrument_messages(found, declination_here_deg(workspace))
    judged["messages"] = message_table([*status_messages(workspace.survey), *intake.messages, *noticed])
    for name in PRINTED:
        workspace.write_work(name, judged[name])
        workspace.write_table(name, judged[name])


def open_report(config_path):
    """The report of this stage, its tables computed anew: what the notebook calls first."""
    from pipeline.stages.quality_report import QualityReport

    workspace = open_workspace(config_path)
    compute(workspace)
    workspace.mark_computed(STAGE)
    return QualityReport(workspace)


def _judged(intake: Intake, azimuth_reference: str) -> tuple[dict[str, pd.DataFrame], list[Message]]:
    """(tables by name, messages beside those of intake)."""
    records, tags, beacons = intake.records, intake.tags, intake.beacons
    area = None if intake.study_area is None else intake.study_area.union_all()
    track = track_table(records, area)
    flights = flight_table(records, track, beacons, tags)
    suspicion = suspicion_table(records, tags)
    noticed = findings(records, track, flights, tags, beacons, suspicion, intake.changes, told=intake.messages)
    noticed += terrain_findings(intake.terrain, track, TERRAIN_MARGIN_M) + noise_findings(records, track) + north_findings(track, intake.projection, azimuth_reference)
    strongest = strongest_records(records, beacons)
    return {
        "track": track, "flights": flights, "suspicion": suspicion,
        "columns": column_table(records), "tags_heard": tag_table(records, tags, suspicion), "effort": effort_table(records, track, flights),
        "heard_by_flight": heard_matrix(records, tags), "beacon_strongest_record": strongest, "beacon_strongest_record_summary": strongest_summary(strongest),
        "files": intake.files, "changes": intake.changes,
    }, noticed


def strongest_summary(strongest: pd.DataFrame) -> pd.DataFrame:
    """The crude error per flight and over all flights: flight_id, beacons, heard, median_m, p90_m, largest_m (blank when none was heard)."""
    parts = [*strongest.groupby("flight_id", sort=True), ("all flights", strongest)] if len(strongest) else []
    rows = []
    for flight_id, part in parts:
        error_m = part["strongest_record_error_m"].dropna().to_numpy(float)
        numbers = [np.median(error_m), np.quantile(error_m, 0.9), error_m.max()] if error_m.size else [np.nan] * 3
        rows.append((flight_id, len(part), error_m.size, *map(float, numbers)))
    return pd.DataFrame(rows, columns=["flight_id", "beacons", "heard", "median_m", "p90_m", "largest_m"])
