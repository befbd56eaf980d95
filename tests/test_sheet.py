"""Maps described once: what a sheet takes, and what its two drawings have in common."""

import json
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_hex
from shapely.geometry import Point

from pipeline.figures import LIGHT, MapSheet, draw_twin, folium_map
from pipeline.figures.label_places import place_labels
from pipeline.figures.local_polynomial import fit_local_polynomials, terms
from pipeline.figures.relief import crop, lines_at, round_step, shaded_relief
from pipeline.figures.sheet import natural_order, size_classes
from pipeline.figures.sheet_folium import script_json
from pipeline.figures.sheet_payload import SheetPlaces, sheet_payload
from pipeline.figures.sheet_rasters import relief_overlay, searched_overlay
from pipeline.figures.sheet_twin import true_north_lean_deg
from pipeline.figures.style import figure_as_svg, settle
from pipeline.geodesy import choose_projection
from pipeline.report import Book
from pipeline.report.maps import map_html
from tests.browser import browser, opened
from tests.report_sample import AWKWARD_NAMES, full_sheet, hills, searched_sheet, track

HERE = choose_projection([57.2], [-4.1])


def cross(east=0.0, north=0.0, **more):
    return pd.DataFrame({"easting_m": [east], "northing_m": [north], **more})


def decoded(steps):
    return np.cumsum(np.array(steps), axis=0) / 1e6


def test_a_map_without_words_for_those_who_cannot_see_it_is_refused():
    with pytest.raises(ValueError, match="needs an alternative text"):
        MapSheet(HERE, alt="  ")


def test_a_map_with_nothing_on_it_says_so():
    with pytest.raises(ValueError, match="at least one layer"):
        MapSheet(HERE, alt="Nothing.").backdrop(hills()).extent_m()


def test_a_missing_column_is_named():
    with pytest.raises(ValueError, match="the fixes of a map lacks northing_m"):
        MapSheet(HERE, alt="A fix.").fixes(pd.DataFrame({"easting_m": [1.0]}))


def test_the_track_is_open_where_the_receiver_was_not_on_effort():
    parts = {line.flight_id: len(line.parts) for line in MapSheet(HERE, alt="Tracks.").track(track()).tracks}
    assert parts == {"flight 1": 2, "flight 2": 1}


def test_the_track_is_open_over_a_long_pause():
    flown = track(1).assign(on_effort=True)
    flown.loc[60:, "time_utc"] += pd.Timedelta(minutes=5)
    assert [len(part) for part in MapSheet(HERE, alt="A track.").track(flown).tracks[0].parts] == [60, 60]


def test_rows_without_a_place_are_left_out_and_the_callers_table_is_not_written_to():
    fixes = pd.concat([cross(tag_id="Hare 1"), cross(np.nan, np.nan, tag_id="Hare 2")], ignore_index=True)
    before = fixes.copy()
    sheet = MapSheet(HERE, alt="One fix.").fixes(fixes)
    assert sheet.tags() == ["Hare 1"]
    pd.testing.assert_frame_equal(fixes, before)


def test_the_extent_holds_every_mark_and_is_neither_tall_nor_thin():
    west, south, east, north = full_sheet(["Hare 1", "Hare 2"]).extent_m()
    assert west < -1150 and east > 1150 and south < -900 and north > 950
    assert 1.25 < (east - west) / (north - south) < 2.05
    west, south, east, north = MapSheet(HERE, alt="One fix.").fixes(cross()).extent_m()
    assert west < -100 and north > 100


def test_names_sort_by_their_numbers():
    assert sorted(["Hare 10", "hare 2", "Fox 1"], key=natural_order) == ["Fox 1", "hare 2", "Hare 10"]


def test_a_stronger_signal_never_has_a_smaller_mark():
    classes = size_classes(pd.Series([-120.0, -100.0, -80.0, -60.0, np.nan]))
    assert list(classes) == [0, 1, 3, 4, 0]


def test_a_tag_to_be_fetched_is_named_once_and_a_second_place_carries_its_number():
    labels = [(label.text, label.kind) for label in full_sheet(["Hare 1", "Hare 2"]).labels()]
    assert labels == [("Hare 2", "fetch"), ("Hare 1", "fix"), ("Hare 1 (2)", "fix"), ("Beacon A", "beacon"), ("Beacon B", "beacon"), ("Beacon C", "beacon")]


def test_the_legend_names_what_is_on_the_map_and_nothing_else():
    assert [symbol for symbol, _ in searched_sheet().legend()] == ["searched", "area", "track"]
    assert {symbol for symbol, _ in full_sheet(["Hare 1", "Hare 2"]).legend()} >= {"heard", "silent", "saturated", "fix", "second", "region 50", "region 80", "region 95", "beacon", "fetch"}


def test_the_circle_to_search_belongs_to_the_sheet_its_extent_and_its_twin():
    sheet = MapSheet(HERE, alt="A tag to look for.").fetch(cross(tag_id="Hare 1", search_radius_m=900.0))
    (tag_id, outline), = sheet.search_circles()
    assert tag_id == "Hare 1" and np.hypot(*outline.T) == pytest.approx(900.0)
    west, south, east, north = sheet.extent_m()
    assert west < -900.0 and east > 900.0 and south < -900.0 and north > 900.0
    assert [symbol for symbol, _ in sheet.legend()] == ["fetch", "search circle"]
    drawn = [artist for artist in draw_twin(sheet).axes[0].patches if len(artist.get_path().vertices) > 70]
    assert len(drawn) == 1 and to_hex(drawn[0].get_edgecolor()) == LIGHT["fetch"] and drawn[0].get_linestyle() not in ("-", "solid")
    assert MapSheet(HERE, alt="A tag.").fetch(cross(tag_id="Hare 1")).search_circles() == []


@pytest.mark.parametrize("latitude, longitude", [(57.2, -4.1), (-41.3, 174.8), (0.0, 0.0), (-17.0, 179.999), (71.0, -179.99)])
def test_the_page_computes_grid_coordinates_to_half_a_metre(latitude, longitude):
    projection = choose_projection([latitude], [longitude])
    told = fit_local_polynomials(projection, (-20000.0, -15000.0, 20000.0, 15000.0))
    east, north = 18000.0, -14000.0
    back_lat, back_lon = (float(value) for value in projection.inverse(east, north))
    middle_e, middle_n, middle_lat, middle_lon = told["middle"]
    lon = middle_lon + (back_lon - middle_lon + 180) % 360 - 180
    powers = terms(np.array((back_lat - middle_lat) / told["half"][1]), np.array((lon - middle_lon) / told["half"][2]))
    assert middle_e + powers @ told["forward"][0] == pytest.approx(east, abs=0.5)
    assert middle_n + powers @ told["forward"][1] == pytest.approx(north, abs=0.5)
    powers = terms(np.array((east - middle_e) / told["half"][0]), np.array((north - middle_n) / told["half"][0]))
    assert middle_lat + powers @ told["inverse"][0] == pytest.approx(back_lat, abs=5e-6)


def test_a_map_too_wide_for_the_page_to_compute_is_refused():
    with pytest.raises(ValueError, match="too wide"):
        fit_local_polynomials(HERE, (-3e6, -3e6, 3e6, 3e6))


def test_positions_reach_the_page_to_a_decimetre_also_across_the_antimeridian():
    projection = choose_projection([-17.0], [179.999])
    places = SheetPlaces(MapSheet(projection, alt="Two fixes.").fixes(pd.concat([cross(-900.0, 0.0), cross(900.0, 0.0)])))
    latitude, longitude = decoded(places.whole([-900.0, 900.0], [0.0, 0.0])).T
    assert 0 < longitude[1] - longitude[0] < 0.1
    east, north = projection.forward(latitude, longitude)
    assert np.allclose(east, [-900.0, 900.0], atol=0.15) and np.allclose(north, 0.0, atol=0.15)


def test_records_of_several_tags_wait_for_a_choice_and_lose_nothing_on_the_way():
    sheet = full_sheet(["Hare 1", "Hare 2", "Hare 3"])
    told = sheet_payload(sheet, SheetPlaces(sheet))
    assert told["recordsWait"] is True
    marks = sheet.record_marks
    for group in told["records"]["groups"]:
        own = marks[marks["tag_id"] == told["tags"][group["tag"]]]
        assert len(group["heard"]) == own["heard"].sum()
        assert sum(group["silent"][1::2]) == (~own["heard"]).sum()
    assert len(told["records"]["at"]) == len(track())


def test_text_that_would_end_a_script_stays_text():
    said = script_json({"name": "</script><!-- \u2028 &"})
    assert "<" not in said and ">" not in said and "\u2028" not in said
    assert json.loads(said) == {"name": "</script><!-- \u2028 &"}


def test_names_travel_as_data_only():
    chart = folium_map(full_sheet(list(AWKWARD_NAMES)), "awkward")
    root = chart.get_root()
    root.render()
    script = root.script.render()
    assert "</script" not in script and "<b>" not in script


def test_the_same_map_has_the_same_bytes():
    def drawn():
        root = folium_map(full_sheet(["Hare 1", "Hare 2"]), "twice").get_root()
        root.render()
        return root.html.render() + root.script.render()

    assert drawn() == drawn()


def test_the_twin_has_the_same_bytes_twice_and_its_words_stay_words():
    def drawn():
        figure = draw_twin(full_sheet(["Hare $1$", "Hare 2"]))
        settle(figure)
        return figure_as_svg(figure)

    first = drawn()
    assert first == drawn()
    assert "Hare $1$" in first and "true north" in first and LIGHT["fix"] in first


def test_true_north_leans_east_of_grid_north_on_the_western_side():
    # west of the central meridian the meridians converge toward it: true north points to the right of grid north
    assert true_north_lean_deg(HERE, -20000.0, 0.0) > 0.2
    assert abs(true_north_lean_deg(HERE, 0.0, 0.0)) < 0.01


def test_relief_and_searched_ground_lie_where_they_should():
    overlay = searched_overlay(searched_sheet())
    latitude, longitude = HERE.inverse(np.array([-1500.0, 1500.0]), np.array([-1200.0, 1200.0]))
    assert overlay.bounds_deg == pytest.approx((latitude[0], longitude[0], latitude[1], longitude[1]), abs=1e-3)
    assert relief_overlay(searched_sheet()) is None
    assert relief_overlay(full_sheet(["Hare 1"])).data_uri.startswith("data:image/webp;base64,")


def test_a_slope_facing_the_light_is_brighter_and_a_hole_is_transparent():
    rows, columns = np.mgrid[0:40, 0:40]
    ridge = -np.abs(rows + columns - 39.0) * 4.0
    ridge[0, 39] = np.nan
    picture = shaded_relief(ridge, 10.0)
    assert picture[10, 10, 0] > picture[30, 30, 0]
    assert picture[0, 39, 3] == 0 and picture[5, 5, 3] == 255


def test_the_ragged_rim_of_a_turned_terrain_model_is_left_out_and_a_hole_inside_stays():
    heights = np.arange(1600.0).reshape(40, 40)
    heights[0, 10:30], heights[:, -1], heights[20, 20] = np.nan, np.nan, np.nan
    cropped, west, north, cell = crop(SimpleNamespace(height_m=heights, west_m=0.0, north_m=400.0, cell_m=10.0), (0.0, 0.0, 400.0, 400.0))
    assert cropped.shape == (39, 39) and (west, north, cell) == (0.0, 390.0, 10.0) and np.isnan(cropped).sum() == 1 and np.isnan(cropped[19, 20])


def test_a_tag_found_on_the_ground_has_a_mark_of_its_own_on_the_map_its_twin_and_in_the_legend():
    sheet = MapSheet(HERE, alt="A tag found.").fixes(cross(tag_id="Hare 1")).found(cross(300.0, 0.0, tag_id="Hare 1", note="found dead"))
    assert [symbol for symbol, _ in sheet.legend()] == ["fix", "found"] and [label.text for label in sheet.labels()] == ["Hare 1"]
    told = sheet_payload(sheet, SheetPlaces(sheet))
    assert told["found"]["note"] == ["found dead"] and told["fetch"] is None and sheet.extent_m()[2] > 300.0
    without = MapSheet(HERE, alt="A tag.").fixes(cross(tag_id="Hare 1"))
    of_its_colour = [sum(to_hex(line.get_markeredgecolor()) == LIGHT["fetch"] for line in draw_twin(each).axes[0].lines) for each in (sheet, without)]
    assert of_its_colour == [1, 0]


def test_a_contour_runs_where_the_level_is():
    east, south = np.meshgrid(np.arange(-10, 11), np.arange(-10, 11))
    (line,) = lines_at(np.hypot(east, south).astype(float), -105.0, 105.0, 10.0, 5.0)
    assert np.allclose(np.hypot(*line.T), 50.0, atol=1.0)


def test_steps_are_round():
    assert [round_step(rough) for rough in (0.7, 1.0, 3.0, 130.0, 501.0)] == [1.0, 1.0, 5.0, 200.0, 1000.0]


def test_labels_never_lie_on_marks_or_on_each_other():
    places = place_labels([("Hare 1", (50.0, 50.0), 7.0), ("Hare 2", (55.0, 52.0), 7.0), ("Hare 3", (52.0, 48.0), 7.0)], [(50.0, 50.0), (55.0, 52.0), (52.0, 48.0)], (100.0, 100.0))
    assert len({place for place in places if place}) == len([place for place in places if place])
    assert place_labels([("far too long a name for this map", (5.0, 5.0), 7.0)], [], (40.0, 40.0)) == [None]


def test_regions_without_ground_are_left_out():
    empty = gpd.GeoDataFrame([{"tag_id": "Hare 1", "flight_id": "f", "probability": 0.5, "geometry": Point(0, 0).buffer(0)}])
    assert MapSheet(HERE, alt="Nothing.").regions(empty).region_shapes is None


def test_regions_of_too_many_fixes_wait_for_a_tag_and_the_caption_says_so(monkeypatch, tmp_path):
    sheet = full_sheet(["Hare 1", "Hare 2", "Hare 3"])
    assert not sheet.regions_wait_for_a_tag() and sheet.waiting_words() == "" and not sheet_payload(sheet, SheetPlaces(sheet))["regionsWait"]
    assert drawn_regions(sheet) == 9
    monkeypatch.setattr("pipeline.figures.sheet.MOST_FIXES_WITH_REGIONS", 2)
    assert sheet_payload(sheet, SheetPlaces(sheet))["regionsWait"] is True and drawn_regions(sheet) == 0
    html = Book(tmp_path / "tables", tmp_path / "figures").map("crowded", sheet, "All hares.").report_html()
    assert "All hares. The regions of 3 fixes would cover each other" in html
    assert "80 % region" not in (tmp_path / "figures" / "crowded.svg").read_text(encoding="utf-8")


def drawn_regions(sheet):
    """Outlines of regions on the printed map: patches in the colour of fixes."""
    return sum(to_hex(patch.get_edgecolor()) == LIGHT["fix"] for patch in draw_twin(sheet).axes[0].patches)


def test_regions_that_wait_show_with_their_tag_and_go_with_it(monkeypatch, tmp_path):
    monkeypatch.setattr("pipeline.figures.sheet.MOST_FIXES_WITH_REGIONS", 2)
    file, shown = tmp_path / "map.html", "Array.from(document.querySelectorAll('path.region')).filter(path => getComputedStyle(path).display !== 'none').length"
    file.write_text(map_html(full_sheet(["Hare 1", "Hare 2", "Hare 3"]), "crowded", '<img alt="As printed." src="data:,">')[1], encoding="utf-8")
    with browser() as running, opened(running, file) as (page, seen):
        assert page.evaluate(shown) == 0
        page.fill(".find input", "Hare 2")
        assert page.evaluate(shown) == 3
        page.fill(".find input", "")
        assert page.evaluate(shown) == 0
        assert seen.errors == []
