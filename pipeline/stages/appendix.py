"""The stage after the index: the publication appendix, from the tables that the others left.

    appendix.html
    tables/           appendix_beacon_fixes, appendix_beacons, appendix_checklist, appendix_dictionary, appendix_fates, appendix_missing, appendix_positions, appendix_searches for readers;
                      appendix_open (what the checklist lacks) and data_dictionary (of everything) for the authors
    appendix_files/   all that may be attached to a paper: the page, and the tables and figures that it links

Exact positions stand in it only where the survey file does not mark them as sensitive.
"""

from __future__ import annotations

import csv
import re
import shutil
from dataclasses import replace
from html import unescape

import numpy as np
import pandas as pd
import pyogrio

from pipeline.columns import FIXES
from pipeline.report import render_appendix, see
from pipeline.stages import localisation_words as located
from pipeline.stages.appendix_beacons import BEACONS, published_beacons
from pipeline.stages.appendix_checklist import CHECKLIST, OPEN, checklist, open_items
from pipeline.stages.appendix_missing import MISSING, missing_animals
from pipeline.stages.appendix_positions import POSITIONS, published_positions
from pipeline.stages.appendix_published import BEACON_FIXES, FATES, SEARCHES, published_beacon_fixes, published_fates, published_searches
from pipeline.stages.appendix_report import AppendixReport
from pipeline.stages.appendix_square import campaign_square
from pipeline.stages.appendix_withheld import keeps_places, withheld_files, withheld_tables
from pipeline.stages.appendix_words import ATTACHMENTS, Material
from pipeline.stages.data_dictionary import COLUMNS, dictionary_table
from pipeline.stages.doubtful_hits import lone_hits
from pipeline.stages.ground_files import read_ground
from pipeline.stages.silences import fell_silent, silences
from pipeline.stages.workspace import Workspace

TABLES = ("error_summary", "beacon_reach", "beacon_places", "record_faults", "coverage", "widening", "beacon_error_details", "signal_model", "clock_lags", "instruments", "messages", "flights", "effort", "changes", "false_detections", "searched_area", "well_searched_beacons", "detection_ranges", "not_found",
          "fate_triage", "hand_evidence", "movement_animals", "movement_steps", "ranges", "survival", "walking_test", "terrain_seen")
_LINKED = re.compile(r'href="((?:tables|figures)/[^"]+)"')
_LATIN = re.compile(r"[A-Z][a-z]+( [a-z]{3,}){1,2}")
OWN_TABLES = {"appendix_checklist": CHECKLIST, "appendix_positions": POSITIONS, "appendix_beacons": BEACONS, "appendix_missing": MISSING, "appendix_searches": SEARCHES, "appendix_beacon_fixes": BEACON_FIXES, "appendix_fates": FATES, "appendix_dictionary": COLUMNS, "appendix_open": OPEN, "data_dictionary": COLUMNS}


def build(workspace: Workspace) -> None:
    """Write appendix.html and its tables."""
    tables, layers = columns_of_tables(workspace), columns_of_layers(workspace)
    found = replace(gather(workspace), withheld=withheld_tables(tables, workspace.survey), withheld_files=withheld_files(_files_beside_tables(workspace), workspace.survey))
    report = AppendixReport(workspace, found)
    dictionary = dictionary_table(tables)
    workspace.write_table("appendix_positions", found.positions)
    workspace.write_table("appendix_beacons", found.beacons)
    workspace.write_table("appendix_missing", found.missing)
    workspace.write_table("appendix_searches", published_searches(found.animals))
    workspace.write_table("appendix_beacon_fixes", published_beacon_fixes(found.table("beacon_error_details")))
    workspace.write_table("appendix_fates", published_fates(found.table("fate_triage")))
    numbered = {name: f"Table S{number}" for number, name in enumerate(report.table_names, start=1)}
    workspace.write_table("appendix_checklist", checklist(found, numbered))
    workspace.write_table("appendix_open", open_items(found, numbered))
    workspace.write_table("appendix_dictionary", report.own_dictionary(dictionary))
    workspace.write_table("data_dictionary", pd.concat([dictionary, dictionary_table(layers).assign(table=lambda rows: "layer " + rows["table"])], ignore_index=True))
    parts = report.parts(checklist(found, {name: see("table", name) for name in report.table_names}), dictionary)
    page = render_appendix(parts, title="Supporting information", campaign=workspace.survey.title, subtitle=report.dates(), status=workspace.survey.status, italic=latin_names(found.tags["species"]))
    workspace.path_to_write("appendix.html").write_text(page, encoding="utf-8", newline="\n")
    write_attachments(workspace, page)


def latin_names(species) -> tuple[str, ...]:
    """Those of the names of species that are Latin by their form, "Lepus timidus" or "Ovis aries musimon", in the order of the alphabet."""
    return tuple(sorted({name for name in species.dropna().astype(str) if _LATIN.fullmatch(name)}))


def write_attachments(workspace: Workspace, page: str) -> list[str]:
    """Copy the page and what it links to appendix_files, and return the names. What is withheld is linked nowhere and so not in it."""
    names = ["appendix.html", *sorted({unescape(name) for name in _LINKED.findall(page)})]
    for name in names:
        shutil.copyfile(workspace.path_to_read(name), workspace.path_to_write(f"{ATTACHMENTS}/{name}"))
    return names


def _files_beside_tables(workspace: Workspace) -> list[str]:
    """Names of the files in tables that are no tables, such as areas for a GIS or a hand-held receiver."""
    folders = dict.fromkeys((workspace.folder, workspace.building))
    return sorted({path.name for folder in folders for path in (folder / "tables").glob("*") if path.is_file() and path.suffix != ".csv"})


def gather(workspace: Workspace) -> Material:
    """Everything that the appendix is made from."""
    survey, tags, fixes = workspace.survey, workspace.read_work("tags"), workspace.read_table("fixes", FIXES)
    animals = located.animals_of(fixes, tags)
    best = located.best_per_animal(animals, workspace.read_work("retrieval_list"))
    tables, ground = {name: _table(workspace, name) for name in TABLES}, read_ground(workspace)
    square = campaign_square(workspace.read_work("track"), ground.study_area, best, tables["beacon_places"], ground.projection, survey.publication.generalise_m) if keeps_places(survey) else None
    positions = published_positions(best, dict(zip(tags["tag_id"], tags["species"])), sensitive=survey.sensitive, sensitive_species=survey.publication.sensitive_species, square=square)
    beacons = published_beacons(tables["beacon_places"], square=square) if len(tables["beacon_places"]) else pd.DataFrame(columns=BEACONS)
    lone = lone_hits(animals, workspace.read_work("tags_heard"))
    silent = fell_silent(silences(animals, tags, tables["searched_area"], tables["fate_triage"]))
    return Material(survey=survey, missing=missing_animals(tables["not_found"], lone, silent, tags, animals), lone=lone, silent=silent, tables=tables, beacons=beacons, below_margin=_below_margin(workspace.read_work("records")), cells_m=_cells_m(workspace.read_work("posterior_frames"), tags, animals), bearings=workspace.read_work("bearings"), terrain_cell_m=(workspace.read_json("ground").get("terrain") or {}).get("cell_m"), tags=tags, animals=animals, best=best, models=workspace.read_json("signal_models"), software=workspace.software, positions=positions)


def _cells_m(frames: pd.DataFrame, tags: pd.DataFrame, animals: pd.DataFrame) -> pd.Series:
    """Sides of the cells of the fixes of animals and beacons; a single record, and what a switched-off tag seemed to send, has a grid and is no fix."""
    doubted = animals[animals["status"].isin(["heard once", "suspect"])]
    hits = set(zip(doubted["tag_id"], doubted["flight_id"]))
    fixes = [pair not in hits for pair in zip(frames["tag_id"], frames["flight_id"])]
    return frames.loc[np.array(fixes, bool) & ~frames["tag_id"].isin(tags.loc[tags["role"] == "decoy", "tag_id"]), "cell_m"]


def _below_margin(records: pd.DataFrame) -> tuple[int, int]:
    """(heard strengths below their record's threshold, heard strengths of records that have one), of the records that are used."""
    heard = records[records["usable"].astype(bool) & records["heard"].astype(bool) & records["threshold_db"].notna()]
    return int((heard["strength_db"] < heard["threshold_db"]).sum()), len(heard)


def columns_of_tables(workspace: Workspace) -> dict[str, list[str]]:
    """Name -> columns of every CSV table of the campaign, those of this stage included, by name."""
    found = {}
    for folder in dict.fromkeys((workspace.folder, workspace.building)):
        for path in (folder / "tables").glob("*.csv"):
            with open(path, encoding="utf-8", newline="") as file:
                found[path.stem] = next(csv.reader(file), [])
    return dict(sorted((found | OWN_TABLES).items()))


def columns_of_layers(workspace: Workspace) -> dict[str, list[str]]:
    """Name -> columns of every layer of results.gpkg, by name."""
    path = workspace.path_to_read("results.gpkg")
    return {name: [str(field) for field in pyogrio.read_info(path, layer=name)["fields"]] for name in sorted(name for name, _ in pyogrio.list_layers(path))}


def _table(workspace: Workspace, name: str) -> pd.DataFrame:
    try:
        table = workspace.read_table(name)
    except FileNotFoundError:  # a campaign without the thing it tells of has no such table
        return pd.DataFrame()
    # a file does not say of a column without a value whether it held numbers or words
    blank = [column for column in table if (table[column].isna() | (table[column].astype(str) == "")).all()]
    return table.assign(**{column: float("nan") for column in blank})
