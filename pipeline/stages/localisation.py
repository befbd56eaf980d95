"""Stage 2: the signal model is fitted on beacons and every tag is located with a calibrated region.

    tables/   fixes, fix_evidence, walking_test, several_places, hand_evidence, signal_model, record_faults, clock_lags, terrain_seen, worth_of_corrections; from search_tables and fate_tables what silence and pulse rates say; see also ground_fixes, joined_fixes and evidence_frames
    work/     signal_models.json, widening.json, regions (GeoParquet), posterior_cells, posterior_frames, beacon_tests, draws.npz
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd

from pipeline.calibration import Heard, HeldOutModels, LEVELS, Widening, find_widening, fit_held_out, gather_heard, locate_all, worth_of_corrections
from pipeline.columns import FIXES, conform
from pipeline.fate import pulse_table
from pipeline.location import Gates, Located, evidence_columns, gather_evidence, position_columns, status_of
from pipeline.stages.evidence_frames import write_evidence_frames
from pipeline.stages.fate_tables import points_to_start_from, write_fate
from pipeline.stages.flight_ground import read_flight_ground
from pipeline.stages.ground_files import read_ground
from pipeline.stages.ground_fixes import write_ground_fixes
from pipeline.stages.hand_evidence import gather_by_hand, listened_to
from pipeline.stages.instruments import leave_corrections
from pipeline.stages.joined_fixes import write_joined_fixes
from pipeline.stages.search_tables import write_search
from pipeline.stages.several_places import places_table
from pipeline.stages.walking import walk_table
from pipeline.stages.workspace import Workspace, open_workspace

STAGE = "2_localisation"
DRAWS = 400


@dataclass(frozen=True)
class Fixed:
    """A tag heard in a flight, its posterior, and what may be said of it."""

    heard: Heard
    located: Located
    evidence: object
    status: str
    reason: str


def compute(workspace: Workspace) -> None:
    """Fit, calibrate, locate, and leave the tables for the reports and the later stages."""
    records, tags, beacons = (workspace.read_work(name) for name in ("records", "tags", "beacons"))
    seed, ground = workspace.survey.seed, read_ground(workspace)
    known = read_flight_ground(workspace)
    models = fit_held_out(records, beacons, seed, known.terrain, known.canopy)
    flights = workspace.read_work("flights")
    by_hand, used = gather_by_hand(workspace.read_work("bearings"), workspace.read_work("sightings"), flights, beacons, listened_to(records))
    workspace.write_table("hand_evidence", write_ground_fixes(workspace, used, ground.projection))
    heard = gather_heard(records, tags, beacons, by_hand, dict(zip(flights["flight_id"], flights["style"])), models.corrections_for)
    margin_m = workspace.survey.localisation.search_margin_m
    widening = find_widening(heard, models, set(beacons.loc[beacons["use"] == "test", "place_id"]), margin_m)
    # A walk of root mean square w has an sd of w / sqrt(2) along each axis.
    located = locate_all(heard, models, widening, margin_m, workspace.survey.localisation.walk_m / np.sqrt(2.0))
    fixed = _judged(workspace, heard, located, models)
    pulses = pulse_table(records, tags)
    fixes, evidence = fix_tables(workspace, fixed, records, tags, pulses, ground.projection)
    workspace.write_table("fixes", fixes)
    workspace.write_table("fix_evidence", evidence)
    workspace.write_table("walking_test", walk_table(fixed))
    workspace.write_table("several_places", places_table(fixed, models))
    write_joined_fixes(workspace, fixed, records, by_hand, models, widening, _doubts(workspace), ground.projection)
    _leave_models(workspace, models, widening)
    workspace.write_table("worth_of_corrections", worth_of_corrections(records, tags, beacons, models, widening, heard, located, margin_m))
    _leave_posteriors(workspace, fixed, ground.projection, seed)
    write_evidence_frames(workspace, fixed, records, models, widening, ground.projection)
    workspace.write_work("beacon_tests", beacon_tests(fixed, ground.projection))
    write_fate(workspace, fixes, pulses, tags, ground.projection, points_to_start_from(workspace, records, ground))
    write_search(workspace, models, fixes, ground)


def open_report(config_path):
    """The report of this stage, its tables computed anew: what the notebook calls first."""
    from pipeline.stages.localisation_report import LocalisationReport

    workspace = open_workspace(config_path)
    workspace.ensure("1_quality_check")
    compute(workspace)
    workspace.mark_computed(STAGE)
    return LocalisationReport(workspace)


def _judged(workspace, heard: list[Heard], located: list[Located], models: HeldOutModels) -> list[Fixed]:
    gates = Gates(**workspace.survey.localisation.gates.model_dump())
    doubts = _doubts(workspace)
    fixed = []
    for item, found in zip(heard, located):
        hand = (item.by_hand.bearings, item.by_hand.sightings) if item.by_hand else (0, 0)
        evidence = gather_evidence(item.listening, found.posterior, models.for_place(item.place_id).model, found.edge_probability, *hand)
        fixed.append(Fixed(item, found, evidence, *status_of(evidence, gates, doubts.get((item.tag_id, item.flight_id), ""))))
    return fixed


def _doubts(workspace) -> dict[tuple[str, str], str]:
    """Why what was heard of a tag in a flight is probably not the tag; tags that no register knows are doubted as a rule."""
    suspicion, tags = workspace.read_work("suspicion"), workspace.read_work("tags")
    unknown = set(tags.loc[tags["role"] == "unregistered", "tag_id"])
    doubts = {(row.tag_id, row.flight_id): "the tag is in no register" for row in suspicion.itertuples() if row.tag_id in unknown}
    return doubts | {(row.tag_id, row.flight_id): row.reason for row in suspicion.itertuples() if row.suspect}


def fix_tables(workspace, fixed: list[Fixed], records, tags, pulses, projection) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(fixes as in the contract, evidence beside them): a row for every tag and flight, whatever came of it."""
    heard = {(item.heard.tag_id, item.heard.flight_id): item for item in fixed}
    fate = {(row.tag_id, row.flight_id): row.fate for row in pulses.itertuples()}
    usable = records[records["usable"].to_numpy(bool)]
    spans = dict(list(usable.groupby(["tag_id", "flight_id"], sort=True)))
    listened = set(zip(records["tag_id"], records["flight_id"]))
    registered = tags.loc[tags["role"] != "unregistered", "tag_id"]
    flights = sorted(records["flight_id"].unique())
    keys = sorted(listened | {(tag_id, flight_id) for tag_id in registered for flight_id in flights})
    animals = dict(zip(tags["tag_id"], tags["animal_id"]))
    rows, evidence_rows = [], []
    for key in keys:
        row = {"tag_id": key[0], "flight_id": key[1], "animal_id": animals.get(key[0], ""), "fate": fate.get(key, "")}
        row |= _time_and_counts(spans.get(key))
        if key in heard:
            item = heard[key]
            row |= {"status": item.status, "status_reason": item.reason, "method": _method(item.evidence)}
            row |= position_columns(item.located.posterior, item.status, projection)
            evidence_rows.append({"tag_id": key[0], "flight_id": key[1], "status": item.status, **evidence_columns(item.evidence)})
        else:
            row |= dict(zip(("status", "status_reason"), status_of(None, None, records_listened=row["records_listened"])))
        rows.append(row)
    evidence = pd.DataFrame(evidence_rows) if evidence_rows else pd.DataFrame(columns=["tag_id", "flight_id", "status"])
    return conform(pd.DataFrame(rows), FIXES), evidence


def _method(evidence) -> str:
    """The evidence used: records listened to, heard or not, are evidence from strengths."""
    parts = (("strength", evidence.records_listened), ("bearing", evidence.bearings), ("sighting", evidence.sightings))
    return "+".join(name for name, count in parts if count)


def _time_and_counts(rows: pd.DataFrame | None) -> dict:
    """Records listened and heard, and the time of the first and last record that speaks of this fix."""
    if rows is None:
        return {"records_listened": 0, "records_heard": 0}
    heard = rows[rows["heard"].to_numpy(bool)]
    telling = heard if len(heard) else rows
    return {"records_listened": len(rows), "records_heard": len(heard),
            "time_start_utc": telling["time_utc"].min(), "time_end_utc": telling["time_utc"].max()}


def _leave_models(workspace, models: HeldOutModels, widening: Widening) -> None:
    workspace.write_table("signal_model", models.whole.table())
    workspace.write_table("record_faults", models.tails)
    leave_corrections(workspace, models)
    workspace.write_json("signal_models", {
        "beacons": models.whole.beacons, "records": models.whole.records, "records_heard": models.whole.records_heard,
        "whole": models.whole.model.to_dict(), "left_out": {place: fit.model.to_dict() for place, fit in models.left_out.items()},
        "drawn": [model.to_dict() for model in models.drawn(None)],
    })
    workspace.write_json("widening", {"overall": widening.overall, "left_out": widening.left_out, "places": widening.places,
                                      "by_style": widening.by_style})


def _leave_posteriors(workspace, fixed: list[Fixed], projection, seed: int) -> None:
    """Regions as polygons, cells for later maps, draws for the movement tests."""
    regions, cells, frames, draws = [], [], [], {}
    for number, item in enumerate(fixed):
        key, posterior = {"tag_id": item.heard.tag_id, "flight_id": item.heard.flight_id}, item.located.posterior
        regions += [{**key, "probability": level, "status": item.status, "geometry": posterior.region_polygon(level)} for level in LEVELS]
        cells.append(pd.DataFrame({**key, "column": posterior.column, "row": posterior.row, "log_density": posterior.combined.astype("float32")}))
        frames.append({**key, "west_m": posterior.west_m, "south_m": posterior.south_m, "cell_m": posterior.cell_m})
        # Each tag draws from a stream of its own, so that one more tag changes no other.
        draws["|".join(key.values())] = posterior.sample(DRAWS, np.random.default_rng([seed, number])).astype("float32")
    frame = gpd.GeoDataFrame(regions, columns=["tag_id", "flight_id", "probability", "status", "geometry"], geometry="geometry", crs=projection.crs)
    workspace.write_work("regions", frame)
    blank = pd.DataFrame(columns=["tag_id", "flight_id", "column", "row", "log_density"])
    workspace.write_work("posterior_cells", pd.concat(cells, ignore_index=True) if cells else blank)
    workspace.write_work("posterior_frames", pd.DataFrame(frames, columns=["tag_id", "flight_id", "west_m", "south_m", "cell_m"]))
    np.savez_compressed(workspace.path_to_write("work/draws.npz"), **draws)


def beacon_tests(fixed: list[Fixed], projection) -> pd.DataFrame:
    """What each held-out beacon fix has to do with the truth: levels before and after, closest approach."""
    rows = []
    for item in fixed:
        if item.heard.truth is None:
            continue
        posterior, truth, listening = item.located.posterior, item.heard.truth, item.heard.listening
        latitude, longitude = projection.inverse(*truth)
        level_distance = np.hypot(listening.easting_m - truth[0], listening.northing_m - truth[1])
        rows.append({
            "tag_id": item.heard.tag_id, "flight_id": item.heard.flight_id, "place_id": item.heard.place_id, "tag_type": item.heard.tag_type,
            "true_latitude": float(latitude), "true_longitude": float(longitude), "true_easting_m": truth[0], "true_northing_m": truth[1],
            "widening": posterior.widening, "level_before": posterior.widened(1.0).level_at(*truth), "level_after": posterior.level_at(*truth),
            "closest_approach_m": float(np.hypot(level_distance, listening.height_above_ground_m).min()),
            "strongest_record_error_m": float(level_distance[int(np.nanargmax(listening.strength_db))]),
        })
    return pd.DataFrame(rows, columns=["tag_id", "flight_id", "place_id", "tag_type", "true_latitude", "true_longitude", "true_easting_m", "true_northing_m",
                                       "widening", "level_before", "level_after", "closest_approach_m", "strongest_record_error_m"])
