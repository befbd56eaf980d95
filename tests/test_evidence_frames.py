"""How fixes came about: which are shown, what the table says of every moment, and outlines of few corners."""

from dataclasses import dataclass
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from pipeline.calibration import Heard, Widening
from pipeline.geodesy import choose_projection
from pipeline.location import Task, locate
from pipeline.stages import evidence_frames
from pipeline.stages.evidence_frames import chosen_fixes, few_corners, write_evidence_frames
from tests.radio_sample import heard_along, line_path, listening, signal_model

BEGAN = pd.Timestamp("2024-05-03T06:00", tz="UTC")
PATH = line_path(600.0)


@dataclass
class Models:
    """Models that saw every beacon there is."""

    model = signal_model()

    def for_place(self, place_id):
        return self

    def drawn(self, place_id):
        return (self.model,)


class Shelf:
    """A workspace that keeps what is written."""

    def __init__(self, tags, walk_m=0.0):
        self.work = {"tags": tags, "flights": pd.DataFrame({"flight_id": ["a", "b"], "start_utc": BEGAN})}
        self.tables = {}
        self.survey = SimpleNamespace(localisation=SimpleNamespace(walk_m=walk_m, search_margin_m=1200.0))

    def read_work(self, name):
        return self.work[name]

    def write_work(self, name, frame):
        self.work[name] = frame

    def write_table(self, name, frame):
        self.tables[name] = frame


def fix(tag_id, flight_id="a", status="located", truth=None, seed=1, silent=False):
    strength = np.full(80, np.nan) if silent else heard_along(PATH, (100.0, 50.0), signal_model(), np.random.default_rng(seed), -18.0)
    heard = Heard(tag_id, flight_id, "collar", listening(*PATH, strength), truth=truth)
    return SimpleNamespace(heard=heard, status=status, located=locate(Task(heard.listening, signal_model(), (signal_model(),), "collar", 1200.0, 1200.0)))


def records_of(item):
    """A record every 6 s, the first 12 s after the flight began, and one at the end that no fix may use."""
    count = len(item.heard.listening)
    return pd.DataFrame({"tag_id": item.heard.tag_id, "flight_id": item.heard.flight_id, "record": np.arange(count + 1), "usable": [True] * count + [False],
                         "time_utc": BEGAN + pd.to_timedelta(12 + 6 * np.arange(count + 1), unit="s")})


@pytest.fixture(scope="module")
def shelf():
    fixed = [fix("H1"), fix("B1", truth=(0.0, 0.0))]
    found = Shelf(pd.DataFrame({"tag_id": ["H1", "B1"], "role": ["animal", "beacon"]}))
    write_evidence_frames(found, fixed, pd.concat([records_of(item) for item in fixed]), Models(), Widening(0.9, {}, 0), choose_projection([57.2], [-4.1]))
    return found, fixed[0]


def test_the_last_row_of_a_fix_is_the_fix(shelf):
    table, item = shelf[0].tables["region_frames"], shelf[1]
    last = table.iloc[-1]
    assert set(table["tag_id"]) == {"H1"} and list(table["frame"]) == list(range(1, len(table) + 1))
    assert last["region_95_ha"] == item.located.posterior.region_area_ha(0.95) and last["error_radius_95_m"] == item.located.posterior.radius_m(0.95)
    assert (last["records_listened"], last["records_heard"]) == (80, item.heard.listening.heard.sum())


def test_a_row_has_the_time_of_its_last_record_and_the_minutes_since_the_flight_began(shelf):
    table, heard = shelf[0].tables["region_frames"], shelf[1].heard.listening.heard
    assert (table["time_utc"] == BEGAN + pd.to_timedelta(12 + 6 * (table["records_listened"].to_numpy() - 1), unit="s")).all()
    assert np.allclose(table["minutes_flown"], (12 + 6 * (table["records_listened"] - 1)) / 60)
    assert list(table["records_heard"]) == [heard[:count].sum() for count in table["records_listened"]] and table["records_heard"].iloc[0] == 1


def test_outlines_hold_the_area_of_the_table(shelf):
    outlines = shelf[0].work["region_frames"].merge(shelf[0].tables["region_frames"], on=["tag_id", "flight_id", "frame"])
    assert len(outlines) == 2 * outlines["frame"].max()
    for row in outlines.itertuples():
        # the inner region has some 15 cells, the outer 60 or more: so far may the line between cell centres be from their sum
        stated_ha, off = (row.region_50_ha, 0.2) if row.probability == 0.5 else (row.region_95_ha, 0.1)
        assert row.geometry.area / 1e4 == pytest.approx(stated_ha, rel=off)


def test_only_animals_with_a_position_are_shown_and_none_that_may_walk():
    fixed = [fix("H1"), fix("H2", status="area only"), fix("H3", status="several places"), fix("D1"), fix("B1", truth=(0.0, 0.0)), fix("H4", silent=True)]
    assert [item.heard.tag_id for item in chosen_fixes(fixed, {"D1", "B1"})] == ["H1", "H3"]
    assert chosen_fixes(fixed, set(), walk_m=100.0) == []


def test_of_too_many_fixes_every_animal_keeps_its_best(monkeypatch):
    monkeypatch.setattr(evidence_frames, "MOST_FIXES", 2)
    fixed = [fix(tag, flight, seed=seed) for seed, (tag, flight) in enumerate([("H1", "a"), ("H1", "b"), ("H2", "a"), ("H2", "b")])]
    radius = [item.located.posterior.radius_m(0.95) for item in fixed]
    best = [min((0, 1), key=lambda at: radius[at]), min((2, 3), key=lambda at: radius[at])]
    assert chosen_fixes(fixed, set()) == [fixed[at] for at in best]


def test_nothing_to_show_leaves_an_empty_table():
    shelf = Shelf(pd.DataFrame({"tag_id": ["B1"], "role": ["beacon"]}))
    write_evidence_frames(shelf, [], records_of(fix("B1")), Models(), Widening(1.0, {}, 0), choose_projection([57.2], [-4.1]))
    assert shelf.tables["region_frames"].empty and isinstance(shelf.work["region_frames"], gpd.GeoDataFrame)


def test_an_outline_keeps_its_area_and_loses_corners_and_crumbs():
    blob = shapely.Point(0, 0).buffer(100.0, quad_segs=60)
    plain = few_corners(shapely.MultiPolygon([blob, shapely.Point(500, 0).buffer(5.0)]))
    assert len(plain.geoms) == 1 and shapely.get_num_coordinates(plain) < 30
    assert plain.area == pytest.approx(blob.area, rel=0.05)
