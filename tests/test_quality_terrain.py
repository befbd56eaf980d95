"""Holes and edges of the terrain model, under the tracks and near them."""

import numpy as np
import pandas as pd

from pipeline.intake import Terrain
from pipeline.quality import terrain_findings


def model(half_m=3000.0, hole=None):
    """A level model of 50 m cells, square about the origin, with a square hole (west, south, east, north)."""
    cells = int(2 * half_m / 50.0)
    height = np.full((cells, cells), 200.0)
    if hole is not None:
        middle = -half_m + 50.0 * (np.arange(cells) + 0.5)
        east, north = np.meshgrid(middle, -middle)
        height[(east > hole[0]) & (north > hole[1]) & (east < hole[2]) & (north < hole[3])] = np.nan
    return Terrain(height, -half_m, half_m, 50.0)


def line(reach_m=500.0, flight="a"):
    """Eleven records from west to east through the origin."""
    east = np.linspace(-reach_m, reach_m, 11)
    return pd.DataFrame({"flight_id": flight, "easting_m": east, "northing_m": 0.0 * east})


def told(*arguments):
    return {message.code: message for message in terrain_findings(*arguments)}


def test_a_model_that_knows_all_ground_is_said_to():
    messages = told(model(), line(), 1000.0)
    assert list(messages) == ["terrain-covers"] and "within 1,000 m" in messages["terrain-covers"].text and "cells of 50 m" in messages["terrain-covers"].text


def test_ground_beyond_the_edge_is_told_with_its_share():
    """Within 1000 m of a line of 1000 m there are 2000 x 1000 + pi 1000^2 = 5.14 km2; a model of 800 m half side knows 2.56 of them."""
    message = told(model(800.0), line(), 1000.0)["terrain-edge"]
    assert message.severity == "look" and "50 % of the ground within 1,000 m" in message.text
    assert abs(float(message.value.removesuffix(" %")) - 100.0 * (1.0 - 2.56 / (2.0 + np.pi))) < 2.0
    assert "No record was made above such ground" in message.text


def test_records_over_a_hole_are_counted_by_flight():
    """A hole of 300 m half side about the origin lies under the records at -200 to 200 m."""
    messages = told(model(hole=(-300.0, -300.0, 300.0, 300.0)), pd.concat([line(), line(flight="b").iloc[:2]]), 1000.0)
    assert list(messages) == ["terrain-holes"]
    assert "7 of 13 records" in messages["terrain-holes"].text and "(a: 7)" in messages["terrain-holes"].text and messages["terrain-holes"].severity == "look"


def test_a_small_hole_beside_the_track_is_a_note():
    message = told(model(hole=(600.0, 600.0, 800.0, 800.0)), line(), 1000.0)["terrain-holes"]
    assert message.severity == "note" and 0.0 < float(message.value.removesuffix(" %")) < 2.0


def test_corners_that_a_turned_model_leaves_blank_count_as_its_edge():
    turned = model(hole=(700.0, 700.0, 3001.0, 3001.0))
    assert list(told(turned, line(), 1000.0)) == ["terrain-edge"]


def test_nothing_is_said_without_a_model_or_without_a_position():
    assert told(None, line(), 1000.0) == {}
    assert told(model(), line().assign(easting_m=np.nan), 1000.0) == {}
