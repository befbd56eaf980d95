"""A small campaign with woods named in its survey file, all stages from files to pages."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import shapely

from pipeline.radio import Canopy
from pipeline.search import GroundSearch, search_grid
from pipeline.stages import error_calibration, index, localisation, movement_summaries, quality_check
from pipeline.stages.calibration_report import CalibrationReport
from pipeline.stages.instruments import read_corrections
from pipeline.stages.workspace import Workspace
from pipeline.survey import load_survey
from tests.radio_sample import line_path, listening, signal_model

TAGS_KEPT = ["H01", "G01", "B01", "B02", "B04", "B05", "B06", "B08"]
HEIGHT_M = 14
# Degrees west, south, east, north: round the middle of the demo's area with beacon B05, and east of it.
WOODS = ((-4.106, 57.195, -4.094, 57.203), (-4.088, 57.189, -4.080, 57.204))


def box(west, south, east, north) -> dict:
    outline = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    return {"type": "Feature", "properties": {"canopy_height_m": HEIGHT_M}, "geometry": {"type": "Polygon", "coordinates": [outline]}}


@pytest.fixture(scope="module")
def wooded(project, tmp_path_factory) -> Workspace:
    """One flight of the demo with beacons and two invented woods."""
    folder = tmp_path_factory.mktemp("wooded")
    (folder / "flights").mkdir()
    rows = pd.read_csv(project / "data" / "demo" / "flights" / "0421-b.csv", dtype=str)
    rows[rows["tag_id"].isin(TAGS_KEPT)].to_csv(folder / "flights" / "a.csv", index=False)
    beacons = pd.read_csv(project / "data" / "demo" / "beacons.csv", dtype=str)
    beacons[beacons["tag_id"].isin(TAGS_KEPT)].to_csv(folder / "beacons.csv", index=False)
    (folder / "woods.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [box(*wood) for wood in WOODS]}))
    (folder / "survey.yml").write_text("campaign: wooded\ntitle: A campaign with woods\nreceiver_log: {files: flights/*.csv, time_zone: UTC, not_heard: blank}\n"
                                       "beacons: beacons.csv\ncanopy: woods.geojson\n")
    workspace = Workspace(load_survey(folder / "survey.yml"), folder / "out", folder / "out")
    quality_check.compute(workspace)
    localisation.compute(workspace)
    return workspace


def test_the_quality_check_says_how_much_lies_under_canopy(wooded):
    messages = wooded.read_work("messages").set_index("code")["text"]
    assert messages["canopy-covers"].startswith("Canopy heights are known for 100 % of the flights' surroundings; ") and messages["canopy-covers"].endswith("up to 14 m")


def test_the_loss_per_metre_is_a_parameter_with_prior_error_and_unit(wooded):
    row = wooded.read_table("signal_model").set_index("parameter").loc["canopy_db_per_m"]
    assert row["unit"] == "dB/m" and row["value"] > 0 and row["standard_error"] > 0 and 0 < row["prior_share"] <= 1
    # ITU-R P.833-9 figure 2 gives 0.058 dB/m at 150.6 MHz, the middle of the prior.
    assert np.sqrt(row["prior_low_95"] * row["prior_high_95"]) == pytest.approx(0.0577, abs=0.0003)
    assert row["prior_low_95"] < row["value"] < row["prior_high_95"]
    models = wooded.read_json("signal_models")
    assert models["whole"]["canopy_db_per_m"] == pytest.approx(row["value"], rel=1e-3) and models["whole"]["canopy_most_db"] == pytest.approx(10.96, abs=0.02)


def test_later_stages_read_the_ways_that_were_used(wooded):
    corrections, track = read_corrections(wooded)(), wooded.read_work("track")
    (flight_id, along), = corrections.canopy.items()
    flown = track[(track["flight_id"] == flight_id) & track["easting_m"].notna()]
    middle = flown[["easting_m", "northing_m"]].mean()
    records = wooded.read_work("records")
    beacon = records[records["tag_id"] == "B05"]
    ways = corrections.listening(beacon).canopy.way_m([middle["easting_m"]], [middle["northing_m"]])[:, 0]
    assert len(ways) == beacon["usable"].sum() and len(along) == len(flown) and ways.max() > HEIGHT_M


def test_the_reports_say_what_was_found_of_it_and_what_it_is_worth(wooded):
    report = CalibrationReport(wooded, error_calibration.compute(wooded))
    page = "".join(getattr(report, part)().report_html() for part in ("signal_model", "instruments", "worth"))
    assert "loss per metre of canopy at first" in page and "loss in canopy" in page and "a way through canopy takes at most 11 dB" in page
    worth = wooded.read_table("worth_of_corrections").set_index("left_out")
    assert {"nothing", "canopy"} <= set(worth.index) and worth.loc["canopy", "fixes"] == worth.loc["nothing", "fixes"]
    movement_summaries.compute(wooded)
    index.build(wooded)
    assert "loss in vegetation is in the model by the canopy heights given" in wooded.path_to_read("index.html").read_text()


def test_ground_under_canopy_is_searched_less():
    """A wood of 25 m over the northern half of a square flown in five lines; the same flight without it hears more there, and as much elsewhere."""
    flight = listening(*line_path())
    height = np.zeros((120, 120))
    height[:55] = 25.0
    wooded_flight = replace(flight, canopy=Canopy(height, -1200.0, 1200.0, 20.0).along(flight, (-1200.0, -1200.0, 1200.0, 1200.0)))
    grid = search_grid(shapely.box(-1000, -1000, 1000, 1000), most_cells=200)
    search = GroundSearch(signal_model(power_mean_db={"collar": -32.0}, canopy_db_per_m=0.1, canopy_most_db=10.9), grid)
    open_ground, under = (search.detection([each], "collar").expected for each in (flight, wooded_flight))
    lost, north = open_ground - under, grid.northing_m
    print(f"probability of hearing: open {open_ground[north > 200].mean():.3f}, under canopy {under[north > 200].mean():.3f}")
    assert (lost > -1e-9).all() and lost[north > 200].mean() > 0.02 and lost[north < -700].max() < lost[north > 700].max()
