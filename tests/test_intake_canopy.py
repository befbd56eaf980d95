"""Canopy heights in the survey CRS, and what is said of files that cannot be right."""

import json

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from intake_sample import codes, flight, read, said, write
from pipeline.geodesy import choose_projection
from pipeline.intake.canopy import read_canopy
from pipeline.intake.findings import Findings
from pipeline.messages import SurveyError

PROJECTION = choose_projection([57.2], [-4.1])
HERE = np.array([-500.0, -500.0, 500.0, 500.0])
# About 1.2 km by 1.1 km with the middle of the area in its centre.
WOOD = [[[-4.11, 57.195], [-4.09, 57.195], [-4.09, 57.205], [-4.11, 57.205], [-4.11, 57.195]]]


def raster(folder, height_m=18.0, *, crs="EPSG:4326", nodata=-9999, west=-4.2, name="canopy.tif"):
    """A raster in degrees with the same height everywhere, or as the function of its longitudes says; cells of about 60 by 110 m."""
    rows, columns, cell = 120, 200, 0.001
    longitude = np.tile(west + (np.arange(columns) + 0.5) * cell, (rows, 1))
    height = (height_m(longitude) if callable(height_m) else np.full(longitude.shape, height_m)).astype("float32")
    with rasterio.open(folder / name, "w", driver="GTiff", height=rows, width=columns, count=1, dtype="float32", crs=crs, transform=from_origin(west, 57.26, cell, cell), nodata=nodata) as out:
        out.write(height, 1)
    return folder / name


def layer(folder, *features, name="woods.geojson"):
    made = [{"type": "Feature", "properties": properties, "geometry": {"type": "Polygon", "coordinates": outline}} for outline, properties in features]
    return write(folder, name, json.dumps({"type": "FeatureCollection", "features": made}))


def canopy(path, findings=None):
    return read_canopy(path, path.name, PROJECTION, HERE, Findings() if findings is None else findings)


def at(one, easting_m, northing_m):
    return one.height_m[int((one.north_m - northing_m) / one.cell_m), int((easting_m - one.west_m) / one.cell_m)]


def test_a_raster_in_degrees_is_brought_into_the_survey_crs_as_it_is(tmp_path):
    one = canopy(raster(tmp_path, lambda longitude: np.where(longitude < -4.1, 12.0, 25.0)))
    assert (at(one, -300.0, 100.0), at(one, 300.0, 100.0)) == (12.0, 25.0)
    assert set(np.unique(one.height_m)) == {12.0, 25.0}


def test_only_what_is_near_the_flights_is_kept(tmp_path):
    one = canopy(raster(tmp_path))
    assert one.height_m.shape[1] * one.cell_m <= 5000 + 2 * one.cell_m


def test_it_is_told_how_much_of_the_surroundings_is_covered(tmp_path):
    findings = Findings()
    canopy(raster(tmp_path, lambda longitude: np.where(longitude < -4.1, 12.0, 0.5)), findings)
    told = said(findings, "canopy-covers")
    assert told.text == "Canopy heights are known for 100 % of the flights' surroundings; 50 % lie under canopy of 2 m or more, up to 12 m" and told.severity == "note"


def test_holes_are_no_canopy_and_are_told(tmp_path):
    findings = Findings()
    one = canopy(raster(tmp_path, lambda longitude: np.where(longitude < -4.105, 12.0, -9999)), findings)
    assert np.isnan(at(one, 300.0, 0.0)) and at(one, -450.0, 0.0) == 12.0
    told = said(findings, "canopy-covers")
    assert told.severity == "look" and "known for 35 %" in told.text and told.consequence == "Where no height is known, nothing is expected to grow"


def test_a_few_impossible_heights_count_as_open_and_are_told(tmp_path):
    findings = Findings()
    one = canopy(raster(tmp_path, lambda longitude: np.where(longitude < -4.12, -32768.0, 12.0), nodata=None), findings)
    told = said(findings, "canopy-heights")
    assert told.severity == "look" and "impossible canopy heights, -32768 to -32768 m" in told.text and told.done == "counted as open"
    assert np.isnan(one.height_m).any() and np.nanmin(one.height_m) == 12.0


def test_heights_above_the_sea_are_refused(tmp_path):
    findings = Findings()
    assert canopy(raster(tmp_path, lambda longitude: 300.0 + 100.0 * (longitude + 4.2)), findings) is None
    told = said(findings.blocking, "canopy-heights")
    assert "to 31" in told.text and told.remedy == "Give metres above the ground, 0 to 100; from a model of the surface subtract that of the ground"


def test_the_noise_of_a_difference_of_surfaces_counts_as_no_canopy(tmp_path):
    findings = Findings()
    assert not canopy(raster(tmp_path, -0.4), findings).height_m.any()
    assert codes(findings) == ["canopy-covers"] and said(findings, "canopy-covers").remedy == "Check the file, if there are woods"


def test_a_raster_elsewhere_is_left_out(tmp_path):
    findings = Findings()
    assert canopy(raster(tmp_path, west=9.0), findings) is None
    assert said(findings, "canopy-elsewhere").text == "The canopy raster does not cover the flights"


def test_files_that_cannot_be_read_stop_the_run(tmp_path):
    findings = Findings()
    assert canopy(write(tmp_path, "canopy.tif", "text"), findings) is None and canopy(write(tmp_path, "woods.geojson", "{"), findings) is None
    assert codes(findings.blocking) == ["canopy-unreadable", "canopy-unreadable"] and "tmp" not in " ".join(message.text for message in findings.blocking)


def test_a_raster_without_crs_stops_the_run(tmp_path):
    findings = Findings()
    assert canopy(raster(tmp_path, crs=None), findings) is None
    assert said(findings.blocking, "canopy-crs").text == "The raster names no CRS"


def test_polygons_are_woods_with_open_ground_between_and_the_higher_counts(tmp_path):
    inner = [[[-4.104, 57.197], [-4.096, 57.197], [-4.096, 57.203], [-4.104, 57.203], [-4.104, 57.197]]]
    findings = Findings()
    one = canopy(layer(tmp_path, (inner, {"canopy_height_m": 30}), (WOOD, {"canopy_height_m": 15})), findings)
    assert (at(one, 0.0, 0.0), at(one, -500.0, 0.0), at(one, 1500.0, 0.0)) == (30.0, 15.0, 0.0)
    # 0.02 by 0.01 degrees at 57.2 degrees north: 1.209 km by 1.114 km on the WGS 84 ellipsoid.
    assert (one.height_m > 0).sum() * one.cell_m**2 / 1e6 == pytest.approx(1.209 * 1.114, rel=0.01)
    assert "known for 100 %" in said(findings, "canopy-covers").text


def test_a_geopackage_is_read_as_polygons(tmp_path):
    import geopandas

    geopandas.read_file(layer(tmp_path, (WOOD, {"canopy_height_m": 15}))).to_crs(3857).to_file(tmp_path / "woods.gpkg")
    assert at(canopy(tmp_path / "woods.gpkg"), 0.0, 0.0) == 15.0


@pytest.mark.parametrize("features, code, text", [
    ([(WOOD, {"height": 15})], "canopy-column", "No attribute canopy_height_m"),
    ([], "canopy-empty", "No polygon in it"),
    ([(WOOD, {"canopy_height_m": 250})], "canopy-heights", "1 of 1 polygons have impossible canopy heights, 250 to 250 m"),
    ([(WOOD, {"canopy_height_m": -3})], "canopy-heights", "1 of 1 polygons have impossible canopy heights, -3 to -3 m"),
])
def test_polygons_that_say_nothing_stop_the_run(tmp_path, features, code, text):
    findings = Findings()
    assert canopy(layer(tmp_path, *features), findings) is None
    assert said(findings.blocking, code).text == text


def test_polygons_without_a_height_are_told_and_left_open(tmp_path):
    findings = Findings()
    east = [[[lon + 0.05, lat] for lon, lat in WOOD[0]]]
    one = canopy(layer(tmp_path, (WOOD, {"canopy_height_m": 15}), (east, {"canopy_height_m": None})), findings)
    assert at(one, 0.0, 0.0) == 15.0 and said(findings, "canopy-blank").text == "1 of 2 polygons have no canopy_height_m"


def test_polygons_elsewhere_are_left_out(tmp_path):
    findings = Findings()
    far = [[[lon + 3.0, lat] for lon, lat in WOOD[0]]]
    assert canopy(layer(tmp_path, (far, {"canopy_height_m": 15})), findings) is None
    assert said(findings, "canopy-elsewhere").consequence == "No loss in vegetation is taken into account"


def test_a_campaign_reads_its_canopy_and_a_fault_in_it_stops_the_run(tmp_path):
    log = write(tmp_path, "f1.csv", flight(10))
    assert read(tmp_path, log).canopy is None
    assert (read(tmp_path, log, canopy_file=raster(tmp_path)).canopy.height_m == 18.0).all()
    with pytest.raises(SurveyError, match="woods.geojson: No attribute canopy_height_m"):
        read(tmp_path, log, canopy_file=layer(tmp_path, (WOOD, {"height": 15})))
