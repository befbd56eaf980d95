"""What a run leaves, against the contract and against the demo's hidden truth, which the run never reads."""

import re

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from pipeline.columns import BEACON_ERRORS, FIXES, STATUSES
from pipeline.geodesy import distance_azimuth

REPORTS = ("1_quality_check", "2_localisation", "3_error_calibration", "4_movement_summaries")


@pytest.fixture(scope="module")
def fixes(demo_folder):
    return pd.read_csv(demo_folder / "tables" / "fixes.csv", dtype={"flight_id": str})


@pytest.fixture(scope="module")
def beacon_errors(demo_folder):
    return pd.read_csv(demo_folder / "tables" / "beacon_errors.csv", dtype={"flight_id": str})


@pytest.fixture(scope="module")
def truth(project):
    table = pd.read_csv(project / "data" / "demo-truth" / "positions.csv", dtype={"flight_id": str})
    return table.set_index(["tag_id", "flight_id"])


@pytest.fixture(scope="module")
def scored(fixes, truth, demo_folder):
    """Heard tags that are no beacons, 3 records or more, with their error and whether each region holds the truth."""
    regions = gpd.read_file(demo_folder / "results.gpkg", layer="regions")
    shapes = regions.set_index(["tag_id", "flight_id", "probability"]).geometry
    strongest = _strongest_positions(demo_folder)
    rows = []
    for fix in fixes[fixes["records_heard"] >= 3].itertuples():
        place = truth.loc[(fix.tag_id, fix.flight_id)]
        if place["role"] == "beacon" or not np.isfinite(place["latitude"]):
            continue
        point = gpd.GeoSeries([shapely.Point(place["longitude"], place["latitude"])], crs=4326).to_crs(regions.crs).iloc[0]
        at = strongest.loc[(fix.tag_id, fix.flight_id)]
        rows.append({
            "tag_id": fix.tag_id, "error_m": distance_azimuth(fix.best_latitude, fix.best_longitude, place["latitude"], place["longitude"])[0],
            "strongest_m": distance_azimuth(at["latitude"], at["longitude"], place["latitude"], place["longitude"])[0],
            **{f"in_{level}": shapes.loc[(fix.tag_id, fix.flight_id, level)].contains(point) for level in (0.5, 0.8, 0.95)},
        })
    return pd.DataFrame(rows)


def _strongest_positions(folder):
    records = pd.read_parquet(folder / "work" / "records.parquet")
    heard = records[records["usable"] & records["heard"]]
    return heard.loc[heard.groupby(["tag_id", "flight_id"])["strength_db"].idxmax()].set_index(["tag_id", "flight_id"])


def test_every_file_of_the_contract_is_there(demo_folder):
    expected = ["index.html", *(f"{name}.html" for name in REPORTS), "results.gpkg", "run.json", *(f"notebooks/{name}.ipynb" for name in REPORTS)]
    assert [name for name in expected if not (demo_folder / name).is_file()] == []
    assert {path.suffix for path in (demo_folder / "figures").iterdir()} == {".svg", ".png"}


def test_tables_have_the_columns_of_the_contract_and_no_others(fixes, beacon_errors):
    assert list(fixes.columns) == list(FIXES)
    assert list(beacon_errors.columns) == list(BEACON_ERRORS)


def test_there_is_one_row_for_every_tag_and_flight_that_was_listened_to(fixes, demo_folder):
    records = pd.read_parquet(demo_folder / "work" / "records.parquet", columns=["tag_id", "flight_id"]).drop_duplicates()
    assert len(fixes) == len(fixes[["tag_id", "flight_id"]].drop_duplicates())
    assert set(map(tuple, records.to_numpy())) <= set(zip(fixes["tag_id"], fixes["flight_id"]))


def test_a_stated_position_belongs_to_the_statuses_that_may_have_one(fixes):
    placed = fixes["status"].isin(["located", "several places"])
    assert set(fixes["status"]) <= set(STATUSES)
    for column in ("latitude", "longitude", "easting_m", "northing_m"):
        assert (fixes[column].notna() == placed).all()
    assert (fixes["best_latitude"].notna() == (fixes["records_heard"] > 0)).all()
    assert fixes["status_reason"].str.endswith(".").all()


def test_regions_of_every_heard_tag_are_in_the_geopackage(fixes, demo_folder):
    layers = set(gpd.list_layers(demo_folder / "results.gpkg")["name"])
    # The demo has a sighting on a day's afternoon, after its flights: a fix of the ground crew alone. A tag is not found, so blocks for a next flight are given.
    assert layers == {"fixes", "regions", "tracks", "searched", "beacons", "ground_fixes", "ground_regions", "next_flight"}
    regions = gpd.read_file(demo_folder / "results.gpkg", layer="regions")
    heard = fixes[fixes["records_heard"] > 0]
    assert set(zip(regions["tag_id"], regions["flight_id"])) == set(zip(heard["tag_id"], heard["flight_id"]))
    assert sorted(regions["probability"].unique()) == [0.5, 0.8, 0.95]
    wide = regions[regions["probability"] == 0.95].set_index(["tag_id", "flight_id"]).geometry.area / 1e4
    stated = heard.set_index(["tag_id", "flight_id"])["region_95_ha"]
    np.testing.assert_allclose(wide.loc[stated.index], stated, rtol=0.15)


def test_times_are_utc_with_z(fixes):
    times = fixes["time_start_utc"].dropna()
    assert times.map(lambda text: bool(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z", text))).all()


def test_fixes_beat_half_the_error_of_the_strongest_record(scored):
    assert len(scored) > 100
    assert scored["error_m"].median() <= 0.5 * scored["strongest_m"].median()


def test_the_regions_hold_the_hidden_truth_as_often_as_they_say(scored):
    assert 0.88 <= scored["in_0.95"].mean() <= 0.99
    assert 0.65 <= scored["in_0.8"].mean() <= 0.92
    assert 0.35 <= scored["in_0.5"].mean() <= 0.65


def test_both_mortality_tags_and_no_other_are_called_so(fixes, truth):
    called = set(fixes.loc[fixes["fate"] == "mortality", "tag_id"])
    assert called == set(truth.reset_index().query("mode == 'mortality'")["tag_id"])
    assert len(called) == 2


def test_decoys_are_never_located(fixes, project):
    tags = pd.read_csv(project / "data" / "demo" / "tags.csv")
    decoys = fixes[fixes["tag_id"].isin(tags.loc[tags["decoy"].fillna(False).astype(bool), "tag_id"])]
    assert len(decoys) == 12
    assert set(decoys["status"]) <= {"not heard", "suspect"}


def test_errors_of_beacons_are_those_against_the_register(beacon_errors):
    distance = [distance_azimuth(row.true_latitude, row.true_longitude, row.latitude, row.longitude)[0] for row in beacon_errors.itertuples()]
    np.testing.assert_allclose(beacon_errors["error_m"], distance, rtol=2e-3)
    np.testing.assert_allclose(np.hypot(beacon_errors["error_east_m"], beacon_errors["error_north_m"]), beacon_errors["error_m"])
    assert beacon_errors[["level_before", "level_after"]].apply(lambda levels: levels.between(0, 1).all()).all()


def test_inputs_were_not_written_to(demo_folder, project):
    """The run's own hashes of its inputs are those of the committed files."""
    import hashlib
    import json

    named = json.loads((demo_folder / "run.json").read_text())
    hashes = json.dumps(named)
    for path in sorted((project / "data" / "demo" / "flights").glob("*.csv")):
        assert hashlib.sha256(path.read_bytes()).hexdigest() in hashes
