"""The same way on real measurements, from a survey file written as a user would. The truth is read for scoring only.

Source: University of Utah, FRS localisation data set (Zenodo record 10962857, MIT licence); see the licence beside the data.
"""

import numpy as np
import pandas as pd
import pytest
import shapely

from pipeline.geodesy import distance_azimuth

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


@pytest.fixture(scope="module")
def scored(field_data, tmp_path_factory):
    """Cases of the eleven radios never given to the model whose truth lies inside the box of the walk."""
    from pipeline.stages import localisation, quality_check
    from pipeline.stages.workspace import Workspace
    from pipeline.survey import load_survey

    folder = tmp_path_factory.mktemp("field")
    survey = folder / "survey.yml"
    survey.write_text(SURVEY.format(folder=field_data / "campus-462mhz"))
    workspace = Workspace(load_survey(survey), folder / "out", folder / "out")
    quality_check.compute(workspace)
    localisation.compute(workspace)
    return score(workspace, pd.read_csv(field_data / "campus-462mhz-truth.csv").set_index("tag_id"))


def score(workspace, truth):
    from pipeline.stages.ground_files import read_ground

    fixes, track, regions = workspace.read_table("fixes"), workspace.read_work("track"), workspace.read_work("regions")
    shapes, projection = regions.set_index(["tag_id", "flight_id", "probability"]).geometry, read_ground(workspace).projection
    rows = []
    for fix in fixes[fixes["tag_id"].isin(truth.index) & (fixes["records_heard"] > 0)].itertuples():
        latitude, longitude = truth.loc[fix.tag_id, ["latitude", "longitude"]]
        walk = track[track["flight_id"] == fix.flight_id]
        inside = walk["latitude"].min() < latitude < walk["latitude"].max() and walk["longitude"].min() < longitude < walk["longitude"].max()
        point = shapely.Point(*projection.forward(latitude, longitude))
        rows.append({"inside": inside, "error_m": distance_azimuth(fix.best_latitude, fix.best_longitude, latitude, longitude)[0],
                     "region_95_ha": fix.region_95_ha,
                     **{f"in_{level}": shapes.loc[(fix.tag_id, fix.flight_id, level)].contains(point) for level in (0.5, 0.8, 0.95)}})
    table = pd.DataFrame(rows)
    return table[table["inside"]]


def test_radios_never_given_to_the_model_are_located_and_their_regions_hold_them(scored, capsys):
    n = len(scored)
    held = {level: int(scored[f"in_{level}"].sum()) for level in (0.5, 0.8, 0.95)}
    with capsys.disabled():
        print(f"\nfield data, {n} cases inside the walk's box: median {scored['error_m'].median():.0f} m, "
              f"90 % within {np.quantile(scored['error_m'], 0.9):.0f} m; 50/80/95 % regions held {held[0.5]}, {held[0.8]}, {held[0.95]} of {n}; "
              f"median 95 % region {scored['region_95_ha'].median():.1f} ha")
    assert n >= 15
    assert scored["error_m"].median() <= 110
    assert held[0.95] >= 0.85 * n
