"""Files for other programs: what they hold, and that nothing is lost on the way."""

import math
import re
import sqlite3

import geopandas as gpd
import pandas as pd
import pyproj
import pytest
from shapely.geometry import LineString, Point, Polygon

from pipeline.columns import FIXES, conform
from pipeline.exchange import csv_text, read_csv_table, write_csv_table, write_results

LOCAL = pyproj.CRS.from_proj4("+proj=tmerc +lat_0=57.2 +lon_0=-4.1 +k=1 +x_0=0 +y_0=0 +datum=WGS84 +units=m")
SQUARE = Polygon([(0, 0), (100, 0), (100, 100), (0, 100)])


def layers(crs=LOCAL):
    time = pd.to_datetime(["2027-04-12T06:31:06.5Z"])
    return {
        "fixes": gpd.GeoDataFrame({"tag_id": pd.Series(["07"], dtype="string"), "time_start_utc": time,
                                   "records_heard": pd.Series([4], dtype="Int64")}, geometry=[Point(10, 20)], crs=crs),
        "regions": gpd.GeoDataFrame({"tag_id": ["07"], "flight_id": ["f1"], "probability": [0.95]}, geometry=[SQUARE], crs=crs),
        "tracks": gpd.GeoDataFrame({"flight_id": ["f1"]}, geometry=[LineString([(0, 0), (50, 80)])], crs=crs),
        "searched": gpd.GeoDataFrame({"probability": [0.5]}, geometry=[SQUARE], crs=crs),
        "beacons": gpd.GeoDataFrame({"tag_id": ["b1"]}, geometry=[Point(1.25, -2.5)], crs=crs),
    }


def test_a_number_in_a_csv_reads_back_to_the_same_double(tmp_path):
    values = [0.1 + 0.2, math.pi * 1e-17, 1e22, -0.0, float("nan")]
    path = write_csv_table(tmp_path / "deep" / "t.csv", pd.DataFrame({"error_m": values}))
    back = read_csv_table(path, {"error_m": "float"})["error_m"].tolist()
    assert back[:4] == values[:4] and math.isnan(back[4])


def test_a_csv_has_z_times_blank_for_missing_and_lower_case_flags():
    table = pd.DataFrame({
        "time_utc": pd.to_datetime(["2027-04-12T06:31:06Z", "2027-04-12T06:31:06.5Z", None], utc=True, format="ISO8601"),
        "heard": [True, False, True],
        "records": pd.Series([3, None, 0], dtype="Int64"),
        "place": ["a, b", None, "Übergang"],
    })
    assert csv_text(table) == ("time_utc,heard,records,place\n"
                               '2027-04-12T06:31:06Z,true,3,"a, b"\n'
                               "2027-04-12T06:31:06.5Z,false,,\n"
                               ",true,0,Übergang\n")


def test_a_tag_called_007_keeps_its_zeros_and_a_false_flag_stays_false(tmp_path):
    path = write_csv_table(tmp_path / "t.csv", pd.DataFrame({"tag_id": ["007"], "decoy": [False]}))
    assert read_csv_table(path).to_dict("list") == {"tag_id": ["007"], "decoy": [False]}
    assert read_csv_table(path, {"decoy": "flag", "tag_id": "text"}).to_dict("list") == {"decoy": [False], "tag_id": ["007"]}


def test_a_table_of_the_contract_survives_the_round_trip(tmp_path):
    fixes = conform(pd.DataFrame({"tag_id": ["07", "NA"], "latitude": [57.123456789012345, None],
                                  "time_start_utc": ["2027-04-12T06:31:06.123456Z", None], "records_heard": [3, 0]}), FIXES)
    path = write_csv_table(tmp_path / "fixes.csv", fixes)
    pd.testing.assert_frame_equal(read_csv_table(path, FIXES), fixes)


def test_results_are_a_valid_geopackage_with_the_five_layers(tmp_path):
    path = write_results(tmp_path / "results.gpkg", **layers())
    with sqlite3.connect(path) as database:
        assert database.execute("pragma application_id").fetchone() == (0x47504B47,)
        assert database.execute("pragma user_version").fetchone()[0] >= 10200
        assert database.execute("pragma integrity_check").fetchone() == ("ok",)
        names = {row[0] for row in database.execute("select table_name from gpkg_contents where data_type = 'features'")}
        assert database.execute("select geom from beacons").fetchone()[0][:2] == b"GP"
    assert names == {"fixes", "regions", "tracks", "searched", "beacons"}


def test_a_crs_without_a_code_survives_and_coordinates_are_exact(tmp_path):
    path = write_results(tmp_path / "results.gpkg", **layers())
    beacons = gpd.read_file(path, layer="beacons")
    assert beacons.crs == LOCAL
    assert (beacons.geometry[0].x, beacons.geometry[0].y) == (1.25, -2.5)
    fixes = gpd.read_file(path, layer="fixes")
    assert fixes["time_start_utc"][0] == pd.Timestamp("2027-04-12T06:31:06.5Z") and fixes["tag_id"][0] == "07"


def test_an_empty_layer_is_written_with_its_columns(tmp_path):
    empty = {name: layer.iloc[:0] for name, layer in layers().items()}
    path = write_results(tmp_path / "results.gpkg", **empty)
    assert list(gpd.read_file(path, layer="regions").columns) == ["tag_id", "flight_id", "probability", "geometry"]
    assert len(gpd.read_file(path, layer="tracks")) == 0


def test_a_fix_without_a_position_keeps_its_row(tmp_path):
    given = layers()
    given["fixes"].loc[0, "geometry"] = None
    path = write_results(tmp_path / "results.gpkg", **given)
    assert gpd.read_file(path, layer="fixes")["tag_id"].tolist() == ["07"]


def test_equal_results_are_equal_bytes(tmp_path):
    one = write_results(tmp_path / "a" / "results.gpkg", **layers())
    two = write_results(tmp_path / "a b {c} é" / "results.gpkg", **layers())
    assert one.read_bytes() == two.read_bytes()
    assert one.read_bytes() == write_results(one, **layers()).read_bytes()


def test_layers_in_different_crs_are_refused(tmp_path):
    given = layers() | {"tracks": layers("EPSG:32630")["tracks"]}
    with pytest.raises(ValueError, match=re.escape("layers in another CRS than fixes (unknown): tracks")):
        write_results(tmp_path / "results.gpkg", **given)
    with pytest.raises(ValueError, match="layers without a CRS: beacons"):
        write_results(tmp_path / "results.gpkg", **(layers() | {"beacons": layers(None)["beacons"]}))
