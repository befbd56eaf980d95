"""Real measurements located by the method and by what is done by hand: `python -m tests.benchmarks.field`.

Twenty-four fixed radios stand at surveyed sites; their signal is that of a radio carried over a campus. In the first role thirteen
of them are the beacons and eleven are unknown, as the data were given; in the second the roles are swapped. Counted are walks and
unknown radios whose true site lies inside the box of the walk. Prints one table, says which aims are reached, and writes
tests/benchmarks/field.csv. The truth is read for scoring only.

Source: University of Utah, FRS localisation data set (Zenodo record 10962857, MIT licence). The folder is named by
FIXLEDGER_FIELD_DATA, or lies beside the project.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
import shapely

from tests.benchmarks.accuracy import centroid, log_distance_fit, strongest
from tests.campaign_runs import located

RESULT = Path(__file__).with_name("field.csv")
PROJECT = Path(__file__).resolve().parents[2]
LEVELS = (0.5, 0.8, 0.95)
BY_HAND = {"strongest": strongest, "centroid": centroid, "least_squares": log_distance_fit}
METHODS = ("ours", *BY_HAND)
ELEVEN, THIRTEEN, TOGETHER = "eleven unknown", "thirteen unknown", "together"
# (column of the table, words, bound, whether larger is better)
AIMS = (("median_ours_m", "median error [m]", 75.0, False), ("p90_ours_m", "nine in ten errors within [m]", 330.0, False),
        ("share_95", "share held by the 95 % regions", 0.90, True), ("median_region_95_ha", "median 95 % region [ha]", 45.0, False))
SURVEY = """
campaign: campus-462mhz
title: Campus, handheld radio at 462.7 MHz
receiver_log:
  files: {folder}/flights/*.csv
  columns: {{time_utc: time, latitude: receiver_lat, longitude: receiver_lon, strength_db: rss_db, noise_db: noise_floor_db}}
  time_zone: America/Denver
  not_heard: blank
  heard_above_noise_db: 3
tags: {folder}/tags.csv
beacons: {folder}/beacons.csv
"""


def data_folder() -> Path:
    """Where the measurements are."""
    return Path(os.environ.get("FIXLEDGER_FIELD_DATA", PROJECT.parent / "shared" / "field-data"))


def write_campaign(source: Path, into: Path, swapped: bool) -> pd.DataFrame:
    """A campaign folder with its survey file; returns the true sites of the unknown radios, index tag_id.

    Swapped, the unknown radios are the beacons, at the height of the given ones, since the truth file states none.
    """
    given, truth = pd.read_csv(source / "campus-462mhz" / "beacons.csv"), pd.read_csv(source / "campus-462mhz-truth.csv")
    known = truth.assign(height_above_ground_m=given["height_above_ground_m"].median(), tag_type=given["tag_type"].iloc[0]) if swapped else given
    unknown = given if swapped else truth
    shutil.copytree(source / "campus-462mhz" / "flights", into / "flights")
    known.to_csv(into / "beacons.csv", index=False)
    pd.DataFrame({"tag_id": unknown["tag_id"], "tag_type": given["tag_type"].iloc[0]}).to_csv(into / "tags.csv", index=False)
    (into / "survey.yml").write_text(SURVEY.format(folder=into), encoding="utf-8")
    return unknown.set_index("tag_id")[["latitude", "longitude"]]


def cases_of(source: Path, swapped: bool) -> pd.DataFrame:
    """One row per walk and unknown radio inside its box: error of every method [m], what the regions held, area of the 95 % region [ha]."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "campaign"
        folder.mkdir()
        truth = write_campaign(source, folder, swapped)
        return score(located(folder / "survey.yml", Path(name) / "out"), truth)


def score(workspace, truth: pd.DataFrame) -> pd.DataFrame:
    """The rows of cases_of for a computed workspace."""
    from pipeline.radio import Listening
    from pipeline.stages.ground_files import read_ground

    records, regions, projection = workspace.read_work("records"), workspace.read_work("regions"), read_ground(workspace).projection
    shapes = regions.set_index(["tag_id", "flight_id", "probability"]).geometry
    walks = workspace.read_work("track").groupby("flight_id")[["latitude", "longitude"]].agg(["min", "max"])
    rows = []
    for fix in workspace.read_table("fixes").itertuples():
        if fix.tag_id not in truth.index or not fix.records_heard:
            continue
        if not _inside(walks.loc[fix.flight_id], truth.loc[fix.tag_id]):
            continue
        site = np.array([float(value) for value in projection.forward(*truth.loc[fix.tag_id])])
        own = records[(records["tag_id"] == fix.tag_id) & (records["flight_id"] == fix.flight_id)]
        listening = Listening.from_records(own)
        places = {"ours": np.array(projection.forward(fix.best_latitude, fix.best_longitude), float), **{method: place(listening) for method, place in BY_HAND.items()}}
        rows.append({"tag_id": fix.tag_id, "flight_id": fix.flight_id, **{f"error_{method}_m": float(np.hypot(*(at - site))) for method, at in places.items()},
                     **{f"held_{round(100 * level)}": bool(shapes.loc[(fix.tag_id, fix.flight_id, level)].covers(shapely.Point(site))) for level in LEVELS},
                     "region_95_ha": float(fix.region_95_ha)})
    return pd.DataFrame(rows)


def _inside(walk: pd.Series, site: pd.Series) -> bool:
    return all(walk[axis, "min"] < site[axis] < walk[axis, "max"] for axis in ("latitude", "longitude"))


def summary(role: str, cases: pd.DataFrame) -> dict:
    """The line of a role: number of cases, how many the regions held, median and 90 % quantile of every method's error."""
    errors = {method: cases[f"error_{method}_m"] for method in METHODS}
    return {"role": role, "cases": len(cases), "median_ours_m": errors["ours"].median(), "p90_ours_m": errors["ours"].quantile(0.9),
            **{f"held_{round(100 * level)}": int(cases[f"held_{round(100 * level)}"].sum()) for level in LEVELS}, "median_region_95_ha": cases["region_95_ha"].median(),
            **{f"{what}_{method}_m": value for method in BY_HAND for what, value in (("median", errors[method].median()), ("p90", errors[method].quantile(0.9)))}}


def aims_reached(row) -> list[tuple[str, float, float, bool]]:
    """(words, aim, reached value, whether it is reached) for one line of the table."""
    values = {**dict(row), "share_95": row["held_95"] / row["cases"]}
    return [(words, aim, float(values[column]), bool(values[column] >= aim if larger else values[column] <= aim)) for column, words, aim, larger in AIMS]


def main() -> None:
    source = data_folder()
    if not source.is_dir():
        raise SystemExit("the field data are not on this machine; FIXLEDGER_FIELD_DATA names their folder")
    roles = {ELEVEN: cases_of(source, False), THIRTEEN: cases_of(source, True)}
    table = pd.DataFrame([summary(role, cases) for role, cases in {**roles, TOGETHER: pd.concat(roles.values())}.items()])
    table.to_csv(RESULT, index=False, float_format="%.4g")
    print(table.set_index("role").T.to_string(float_format="{:.1f}".format))
    for _, row in table.iterrows():
        for words, aim, value, reached in aims_reached(row):
            print(f"{row['role']}: {words}: {value:.3g}, aim {aim:g}: {'reached' if reached else 'not reached'}")


if __name__ == "__main__":
    main()
