"""Study area and terrain in the survey CRS."""

import json

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from intake_sample import codes, flight, read, said, write
from pipeline.geodesy import choose_projection
from pipeline.intake.findings import Findings
from pipeline.intake.ground import Terrain, read_study_area, read_terrain
from pipeline.messages import SurveyError

PROJECTION = choose_projection([57.2], [-4.1])
HERE = np.array([-500.0, -500.0, 500.0, 500.0])


def slope(folder, *, crs="EPSG:4326", hole=False, name="terrain.tif"):
    """A raster in degrees whose height is 1000 x (longitude + 4.2): about 1 m per 60 m eastward."""
    rows, columns, cell = 120, 200, 0.001
    west, north = -4.2, 57.26
    height = np.tile(1000 * ((np.arange(columns) + 0.5) * cell), (rows, 1)).astype("float32")
    if hole:
        height[:, 80:100] = -9999
    path = folder / name
    with rasterio.open(path, "w", driver="GTiff", height=rows, width=columns, count=1, dtype="float32", crs=crs, transform=from_origin(west, north, cell, cell), nodata=-9999) as raster:
        raster.write(height, 1)
    return path


def test_a_raster_in_degrees_is_brought_into_the_survey_crs(tmp_path):
    terrain = read_terrain(slope(tmp_path), "terrain.tif", PROJECTION, HERE, Findings())
    east, north = PROJECTION.forward([57.2, 57.205], [-4.1, -4.105])
    assert terrain.at(east, north) == pytest.approx([100, 95], abs=0.5)


def test_holes_are_blank_and_never_the_code_of_the_file(tmp_path):
    terrain = read_terrain(slope(tmp_path, hole=True), "terrain.tif", PROJECTION, HERE, Findings())
    assert np.isnan(terrain.at(*PROJECTION.forward(57.2, -4.11))) and np.nanmin(terrain.height_m) > 0


def test_only_the_ground_around_the_flights_is_kept(tmp_path):
    terrain = read_terrain(slope(tmp_path), "terrain.tif", PROJECTION, HERE, Findings())
    assert terrain.height_m.shape[1] * terrain.cell_m <= 11000 + 2 * terrain.cell_m


def test_a_model_of_another_place_is_told(tmp_path):
    findings = Findings()
    assert read_terrain(slope(tmp_path), "terrain.tif", choose_projection([40.0], [9.0]), HERE, findings) is None
    assert said(findings, "terrain-elsewhere").consequence == "Flat ground assumed"


def test_a_file_that_is_no_raster_stops_the_run(tmp_path):
    findings = Findings()
    assert read_terrain(write(tmp_path, "terrain.tif", "text"), "terrain.tif", PROJECTION, HERE, findings) is None
    assert "terrain-unreadable" in codes(findings.blocking)


def test_a_raster_without_crs_stops_the_run(tmp_path):
    findings = Findings()
    assert read_terrain(slope(tmp_path, crs=None), "terrain.tif", PROJECTION, HERE, findings) is None
    assert said(findings.blocking, "terrain-crs").text == "The raster names no CRS"


def test_heights_between_cell_centres_are_interpolated():
    terrain = Terrain(np.array([[0.0, 10.0], [20.0, 30.0]]), 0.0, 200.0, 100.0)
    assert terrain.at(50, 150) == 0 and terrain.at(150, 50) == 30 and terrain.at(100, 100) == 15
    assert np.isnan(terrain.at(-1, 100)) and terrain.at(1, 199) == 0


def test_flat_ground_is_lit_evenly_and_a_slope_toward_the_sun_more():
    flat = Terrain(np.zeros((5, 5)), 0, 500, 100.0)
    assert np.allclose(flat.hillshade(), np.sin(np.radians(45)))
    faces_west = Terrain(np.tile(np.arange(5) * 50.0, (5, 1)), 0, 500, 100.0)
    assert faces_west.hillshade(270.0)[2, 2] > flat.hillshade(270.0)[2, 2] > faces_west.hillshade(90.0)[2, 2]


SQUARE = [[[-4.11, 57.19], [-4.09, 57.19], [-4.09, 57.21], [-4.11, 57.21], [-4.11, 57.19]]]


def area(folder, geometry):
    return write(folder, "area.geojson", json.dumps({"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {"name": "a"}, "geometry": geometry}]}))


def test_the_study_area_comes_in_the_survey_crs(tmp_path):
    intake = read(tmp_path, write(tmp_path, "f1.csv", flight(10)), study_area_file=area(tmp_path, {"type": "Polygon", "coordinates": SQUARE}))
    assert intake.study_area.crs == intake.projection.crs
    assert intake.study_area.area.iloc[0] / 1e4 == pytest.approx(269, abs=2)


def test_a_study_area_without_a_polygon_stops_the_run(tmp_path):
    findings = Findings()
    assert read_study_area(area(tmp_path, {"type": "Point", "coordinates": [-4.1, 57.2]}), "area.geojson", findings) is None
    assert said(findings.blocking, "study-area-empty").text == "No polygon in it"


def test_an_outline_that_crosses_itself_is_mended_and_told(tmp_path):
    findings = Findings()
    bow = [[[-4.11, 57.19], [-4.09, 57.21], [-4.09, 57.19], [-4.11, 57.21], [-4.11, 57.19]]]
    mended = read_study_area(area(tmp_path, {"type": "Polygon", "coordinates": bow}), "area.geojson", findings)
    assert mended.geometry.is_valid.all() and said(findings, "study-area-invalid").done == "mended"


def test_a_broken_study_area_stops_the_run_with_its_name(tmp_path):
    with pytest.raises(SurveyError, match="area.geojson: Cannot be read as a map layer"):
        read(tmp_path, write(tmp_path, "f1.csv", flight(10)), study_area_file=write(tmp_path, "area.geojson", "{"))
