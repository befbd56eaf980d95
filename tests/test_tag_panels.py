"""The section "Tag by tag": obvious panels, hostile names, what the page shows without scripts and on paper, and what it weighs."""

import io
import re
import xml.etree.ElementTree as ElementTree

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from PIL import Image
from shapely import affinity
from shapely.geometry import Point

from pipeline.columns import FIXES, TAGS, conform
from pipeline.figures.drawing import Drawing, Ink
from pipeline.figures.style import LIGHT
from pipeline.figures.tag_panel import LARGE, PanelMap, PanelStrengths, map_extent_m, tag_panel
from pipeline.radio import Corrections
from pipeline.report import Book
from pipeline.report.display import heading_html
from pipeline.report.sections import Facts, Folded, Jumps, Section
from pipeline.stages import tag_panel_words as say
from pipeline.stages import tag_panels
from pipeline.stages.search_circle import how_they_relate, search_circles, where_to_go_on
from pipeline.stages.silences import Silence, WHAT_TO_DO, battery_sentence
from pipeline.stages.tag_panels import PanelTables, addresses, earlier_fixes, flight_to_show, sections, tag_links
from tests.browser import browser, opened
from tests.radio_sample import line_path, signal_model
from tests.report_sample import AWKWARD_NAMES

HEAVIEST_PANEL_BYTES = 25_000
START = pd.Timestamp("2026-04-21T06:00", tz="UTC")
NO_WALK = pd.DataFrame({"tag_id": [], "flight_id": []})


def fix(tag_id, flight_id, status, *, day=0, place=(np.nan, np.nan), radius_m=np.nan, heard=0, listened=80, reason="As said."):
    return {"tag_id": tag_id, "flight_id": flight_id, "status": status, "status_reason": reason, "easting_m": place[0], "northing_m": place[1], "error_radius_50_m": radius_m / 2.2, "error_radius_95_m": radius_m,
            "region_95_ha": np.pi * radius_m**2 / 1e4, "records_listened": listened, "records_heard": heard, "time_start_utc": START + pd.Timedelta(days=day), "time_end_utc": START + pd.Timedelta(days=day, minutes=8)}


def fixes_of(*rows):
    return conform(pd.DataFrame(rows), FIXES)


def records_of(tag_id, flight_id, *, near=None):
    """Records along lines; those within 150 m of a place hear the tag."""
    east, north = line_path()
    apart = np.full(len(east), np.inf) if near is None else np.hypot(east - near[0], north - near[1])
    return pd.DataFrame({
        "flight_id": flight_id, "tag_id": tag_id, "record": np.arange(len(east)), "time_utc": START + pd.to_timedelta(6 * np.arange(len(east)), unit="s"), "easting_m": east, "northing_m": north,
        "height_above_ground_m": 80.0, "antenna_azimuth_grid_deg": np.nan, "heard": apart < 150.0, "strength_db": np.where(apart < 150.0, -70.0 - apart / 20.0, np.nan), "threshold_db": np.nan, "usable": True})


def tables_of(fixes, *, places=(), **changes):
    usable = {(row.tag_id, row.flight_id): records_of(row.tag_id, row.flight_id, near=(row.easting_m, row.northing_m) if row.records_heard else None) for row in fixes.itertuples() if row.records_listened}
    heard = fixes[fixes["records_heard"] > 0]
    evidence = {(row.tag_id, row.flight_id): {"records_listened": row.records_listened, "records_heard": row.records_heard, "effective_records": 7.0, "passes": 3, "places": 1, "main_place_share": 1.0, "bearings": 0, "sightings": 0}
                for row in heard.itertuples()}
    regions = {(row.tag_id, row.flight_id): {level: Point(row.easting_m, row.northing_m).buffer(row.error_radius_95_m * size) for level, size in ((0.5, 0.45), (0.8, 0.75), (0.95, 1.0))} for row in heard.itertuples()}
    values = {"fixes": fixes, "before": earlier_fixes(fixes), "usable": usable, "tracks": {flight: (np.stack(line_path(), axis=1),) for flight in fixes["flight_id"].unique()}, "regions": regions, "evidence": evidence,
              "places": pd.DataFrame(list(places), columns=["tag_id", "flight_id", "place", "share", "easting_m", "northing_m", "mirror_image"]), "kinds": {}, "fates": {}, "doubts": {}, "missing": {},
              "beliefs": pd.DataFrame(columns=["tag_id"]), "model": signal_model(), "corrections": Corrections(), "tag_address": addresses(fixes["tag_id"]), "flight_address": addresses(fixes["flight_id"])}
    return PanelTables(**(values | changes))


def shown(tmp_path, fixes, walk=NO_WALK, **changes):
    return sections(Book(tmp_path / "tables", tmp_path / "figures"), tables_of(fixes, **changes), walk).report_html()


def section(html, name):
    return re.search(rf'<section class="own(?: handed-out)?" id="{name}">.*?</section>', html, re.S).group(0)


LOCATED = fix("H01", "a", "located", place=(40.0, 60.0), radius_m=120.0, heard=12)
SILENT = fix("H02", "a", "not heard", reason="Listened in 80 records and heard in none. This does not show that it has left or died.")


def test_a_located_tag_shows_its_radius_its_region_and_what_is_expected(tmp_path):
    html = section(shown(tmp_path, fixes_of(LOCATED)), "tag-h01")
    assert "H01: within 120\u00a0m of its fix of <span class=\"whole\">2026-04-21</span>, with probability 0.95</h3>" in html
    assert "within 120 m with probability 0.95" in html and "Heard in 12 of 80 records on 3 passes" in html and "worth about 7 independent ones" in html
    assert html.count("stroke-dasharray") == 1      # the 95 % region
    assert 'aria-label="Map and strengths of H01 in flight a: one region round the fix, 95\u00a0% radius 120 m. Heard in 12 of 80 records, worth about 7 independent ones."' in html


def test_a_tag_not_heard_has_no_region_and_says_so_with_what_was_searched(tmp_path):
    missing = {"H02": {"records_listened": 80, "prior_used": "anywhere in the study area alike", "adequacy_expected": 0.71, "adequacy_cautious": 0.62}}
    beliefs = pd.DataFrame([("H02", "stays, tag fresh", 0.25, 0.30, 0.45, 0.55)], columns=["tag_id", "prior", "missed", "outside", "silent", "missed_cautious"])
    html = section(shown(tmp_path, fixes_of(SILENT), missing=missing, beliefs=beliefs), "tag-h02")
    assert "not heard in the one flight that listened" in html and "so no region and no position" in html and "This does not show that it has left or died." in html
    assert LIGHT["fix"] not in html and "No region is drawn." in html and "with probability 0.95" not in html
    assert "80 records listened to it, and none heard it. Looked for anywhere in the study area alike, the flights would have heard it with probability 0.71 (expected), 0.62 (cautious)." in html
    assert "Who believed “stays, tag fresh” before takes it to be outside the ground with probability 0.30, silent with 0.45, and there but missed with 0.25 (0.55 cautious)." in html


def test_a_doubted_hit_gets_no_region_and_an_area_no_position(tmp_path):
    html = shown(tmp_path, fixes_of(fix("D01", "a", "suspect", place=(0.0, 0.0), radius_m=3000.0, heard=1), fix("H03", "a", "area only", place=(10.0, 10.0), radius_m=600.0, heard=6)))
    assert LIGHT["fix"] not in section(html, "tag-d01") and "It may not be this tag at all" in html
    assert "H03: an area of 110\u00a0ha, no position" in html and "No position is stated. The 95 % region covers 110 ha." in section(html, "tag-h03")


def test_a_tag_that_no_record_listened_to_is_no_absence(tmp_path):
    html = shown(tmp_path, fixes_of(fix("H09", "a", "not searched", listened=0)))
    assert "H09: not listened to, which is no absence" in html and "no mark on the map" in html


def test_second_places_are_numbered_and_told_with_their_probability(tmp_path):
    places = [("H04", "a", 1, 0.8, 0.0, 0.0, False), ("H04", "a", 2, 0.2, 200.0, 0.0, True)]
    html = section(shown(tmp_path, fixes_of(fix("H04", "a", "several places", place=(0.0, 0.0), radius_m=240.0, heard=9)), places=places), "tag-h04")
    assert "two places that fit, with their probabilities: 1 (0.80) and 2 (0.20)" in html and "mirror image" in html and ">2</text>" in html


def test_other_reasons_for_a_pulse_rate_are_repeated_from_the_table(tmp_path):
    fates = {"H01": {"class": "Check soon", "why": "Mortality rate in 9 records.", "other_explanations": "resting animal; dropped tag"}}
    assert "Other reasons for the pulse rate: resting animal; dropped tag." in shown(tmp_path, fixes_of(LOCATED), fates=fates)


@pytest.mark.parametrize("east_m, said", [(100.0, "no farther than the radii allow without a move"), (900.0, "900 m to the east")])
def test_the_fix_before_is_told_with_its_distance_and_side(tmp_path, east_m, said):
    before = fix("H01", "a", "located", place=(east_m, 0.0), radius_m=150.0, heard=10)
    now = fix("H01", "b", "located", day=8, place=(0.0, 0.0), radius_m=120.0, heard=12)
    assert said in shown(tmp_path, fixes_of(before, now))
    assert earlier_fixes(fixes_of(before, now))["H01", "b"].flight_id == "a" and ("H01", "a") not in earlier_fixes(fixes_of(before, now))


def test_the_flight_that_tells_most_comes_first_and_a_walk_before_all():
    rows = fixes_of(fix("H01", "a", "not heard"), fix("H01", "b", "located", radius_m=200.0), fix("H01", "c", "located", radius_m=90.0), fix("H01", "d", "area only", radius_m=20.0))
    assert rows["flight_id"][flight_to_show(rows, NO_WALK)] == "c"
    assert rows["flight_id"][flight_to_show(rows, pd.DataFrame({"tag_id": ["H01"], "flight_id": ["b"]}))] == "b"
    silent = fixes_of(fix("H01", "a", "not heard", listened=10), fix("H01", "b", "not heard", listened=90))
    assert flight_to_show(silent, NO_WALK) == 1


def test_hostile_tag_names_appear_as_text_and_each_has_its_own_address(tmp_path):
    html = shown(tmp_path, fixes_of(*[fix(name, "a/../b", "located", place=(0.0, 0.0), radius_m=100.0, heard=9) for name in (*AWKWARD_NAMES, "h 1", "H-1")]))
    ElementTree.fromstring("<body>" + html.replace(" open>", ">").replace(" download>", ">") + "</body>")
    assert "<script" not in html and "<b>" not in html and "&lt;b&gt;bold&lt;/b&gt;: within" in html
    ids = re.findall(r' id="([^"]+)"', html)
    assert len(ids) == len(set(ids)) and {"tag-h-1", "tag-h-1-2"} <= set(ids)
    assert all(re.fullmatch(r"[a-z0-9_-]+\.(svg|png)", path.name) for path in (tmp_path / "figures").iterdir())
    for path in (tmp_path / "figures").glob("*.svg"):
        ElementTree.parse(path)


def test_links_lead_to_the_sections_of_all_tags_but_beacons_and_decoys():
    fixes, tags = fixes_of(fix("B1", "a", "located"), fix("D1", "a", "not heard"), fix("b 1", "a", "located"), fix("H1", "a", "located")), conform(pd.DataFrame({"tag_id": ["B1", "D1"], "role": ["beacon", "decoy"]}), TAGS)
    assert tag_links(["H1", "b 1"], fixes, tags) == ["tag-h1", "tag-b-1"]


def test_in_a_large_campaign_the_page_holds_one_picture_a_tag_and_links_to_the_others(tmp_path, monkeypatch):
    two = fixes_of(LOCATED, fix("H01", "b", "not heard", day=8), fix("H01", "c", "not heard", day=9))
    assert shown(tmp_path / "all", two).count("<figure") == 1 + 3
    monkeypatch.setattr(tag_panels, "MOST_IN_PAGE", 2)
    html = shown(tmp_path / "few", two)
    assert html.count("<figure") == 1 + 1 and "2 pictures, are files beside it" in html and "b not heard and c not heard" in html
    assert 'href="figures/tag-h01_b.svg"' in html and 'href="figures/tag-h01_c.svg"' in html
    written = {path.name for path in (tmp_path / "few" / "figures").iterdir()}
    assert {"tag-h01_a.svg", "tag-h01_a.png", "tag-h01_b.svg", "tag-h01_c.svg"} <= written and "tag-h01_b.png" not in written
    assert (tmp_path / "few" / "figures" / "tag-h01_b.svg").read_bytes() == (tmp_path / "all" / "figures" / "tag-h01_b.svg").read_bytes()


def test_no_tag_gives_no_section(tmp_path):
    assert shown(tmp_path, fixes_of(LOCATED).iloc[:0]) == '<div class="words"></div>'


def test_a_map_holds_the_region_whole_and_shows_it_no_smaller_than_can_be_read():
    region, far = Point(100.0, -50.0).buffer(60.0), np.array([[3000.0, 0.0], [-2500.0, 400.0]])
    west, south, east, north = map_extent_m(PanelMap((), far, np.zeros(2, int), np.zeros((0, 2)), {0.95: region}, (100.0, -50.0)))
    assert west < 40 and east > 160 and south < -110 and north > 10 and east - west == pytest.approx(north - south)
    assert 120.0 / (east - west) > 0.1
    whole = map_extent_m(PanelMap((), np.zeros((0, 2)), np.zeros(0, int), far))
    assert whole[0] < -2500 and whole[2] > 3000


def crowded(records=1500):
    """A panel with far more records than a flight has and regions with ragged rims."""
    generator = np.random.default_rng(4)
    path = np.cumsum(generator.normal(0, 15, (records, 2)), axis=0)
    heard = np.arange(records) % 3 == 0
    ragged = {level: Point(0, 0).buffer(300 * level, quad_segs=200) for level in (0.5, 0.8, 0.95)}
    strength = np.where(heard, generator.normal(-90, 8, records), np.nan)
    where = PanelMap((path,), path[heard], generator.integers(0, 5, heard.sum()), path[~heard], ragged, (0.0, 0.0))
    return tag_panel("crowded", where, PanelStrengths(np.arange(records) / 10.0, strength, np.full(records, -105.0), generator.normal(-100, 10, records), 6.0))


def test_a_panel_is_the_same_at_every_drawing_in_both_forms():
    assert crowded(200).as_svg() == crowded(200).as_svg() and crowded(200).as_png() == crowded(200).as_png()


def test_marks_that_crowd_are_thinned_and_nothing_leaves_the_frame():
    few, many = len(crowded(300).as_svg()), len(crowded(3000).as_svg())
    assert many < 6 * few
    points = np.array([(x, y) for x, y in re.findall(r"M(-?\d+) (-?\d+)", crowded().as_svg())], float) / 10
    assert points.min() > -10 and (points <= np.array([LARGE.width_pt, crowded().height_pt]) + 10).all()


def test_a_drawing_puts_a_hole_where_a_ring_runs_the_other_way():
    drawing = Drawing(72.0, 72.0)
    outer, inner = np.array([[6, 6], [66, 6], [66, 66], [6, 66]]), np.array([[26, 26], [26, 46], [46, 46], [46, 26]])
    drawing.strokes([outer, inner], Ink("", "ink"), closed=True)
    picture = np.asarray(Image.open(io.BytesIO(drawing.as_png(72))).convert("L"))
    assert picture.shape == (72, 72) and picture[36, 36] == 255 and picture[15, 15] < 60 and picture[2, 2] == 255


def test_the_png_of_a_crowded_panel_keeps_white_paper_and_the_inks_in_few_colours():
    picture = Image.open(io.BytesIO(crowded(800).as_png()))
    colours = np.array([colour for _, colour in picture.convert("RGB").getcolors(128)])        # None, and so an error, with more than 128
    assert picture.mode == "P" and [255, 255, 255] in colours.tolist()
    for role in ("heard", "silent", "fix", "ink"):
        ink = [int(LIGHT[role][start:start + 2], 16) for start in (1, 3, 5)]
        assert np.abs(colours - ink).max(axis=1).min() <= 12, role


def test_words_of_a_drawing_are_text_whatever_they_hold():
    drawing = Drawing(100.0, 20.0)
    drawing.words("<b>\x00 & \n O'Brien", 1.0, 10.0, size_pt=8.0)
    assert "".join(ElementTree.fromstring(drawing.as_svg()).itertext()).strip() == "<b> & O'Brien"


def test_parts_that_hold_parts_escape_what_they_are_given():
    html = "".join(part.report_html() for part in (Section("tag-x", "<i>", [Facts([("<u>", "<s>"), ("left out", " ")])]), Jumps('a"b', [("tag-x", "<x>", "<y>")]), Folded("<z>", [])))
    assert not re.search("<[iusxyz]>", html) and "left out" not in html and 'aria-label="a&quot;b"' in html


@pytest.mark.parametrize("status, said", [("heard once", "H1: one hit in one record, which may be false; no position"), ("several places", "H1: fits more than one place"), ("not heard", "H1: not heard in any of six flights that listened")])
def test_headings_are_findings(status, said):
    assert say.heading("H1", next(fixes_of(fix("H1", "a", status)).itertuples()), 6) == said


def test_the_heading_of_a_tag_names_its_newest_position_beside_its_best_where_that_is_of_another_day():
    best, same_day, later, unclear = fixes_of(fix("H1", "a", "located", radius_m=52.0), fix("H1", "b", "located", radius_m=90.0, day=0.02), fix("H1", "c", "located", radius_m=74.0, day=8),
                                              fix("H1", "d", "several places", radius_m=300.0, day=8.02)).itertuples()
    first, second = f"{START:%Y-%m-%d}", f"{START + pd.Timedelta(days=8):%Y-%m-%d}"
    alone = f"H1: within 52 m of its fix of {first}, with probability 0.95"
    assert say.heading("H1", best, 4) == say.heading("H1", best, 4, latest=best) == say.heading("H1", best, 4, latest=same_day) == alone
    assert say.heading("H1", best, 4, latest=later) == f"H1: best fix {first}, within 52 m; newest {second}, within 74 m; with probability 0.95"
    assert say.heading("H1", best, 4, latest=unclear) == f"H1: best fix {first}, within 52 m; newest {second}, several places; with probability 0.95"


def test_a_heading_says_no_date_twice_and_a_date_in_it_stays_whole():
    best, later = fixes_of(fix("H9", "a", "located", radius_m=140.0), fix("H9", "b", "located", radius_m=150.0, day=8)).itertuples()
    first, second = f"{START:%Y-%m-%d}", f"{START + pd.Timedelta(days=8):%Y-%m-%d}"
    assert say.heading("H9", best, 4, silent_since=first) == f"H9: within 140 m of its fix of {first}, with probability 0.95; silent since then"
    assert say.heading("H9", best, 4, silent_since=second) == f"H9: within 140 m of its fix of {first}, with probability 0.95; silent since {second}"
    assert say.heading("H9", best, 4, silent_since=second, latest=later).endswith("; with probability 0.95; silent since then")
    dead = {"class": "Confirmed dead", "why": f"Found dead on {first}. More."}
    assert say.heading("H9", best, 4, dead) == f"H9: found dead on {first}; within 140 m of its fix of that day, with probability 0.95"
    assert heading_html("a < b on 2026-04-21") == 'a &lt; b on <span class="whole">2026-04-21</span>' and heading_html("flight 0421-a of 12026-04-21") == "flight 0421-a of 12026-04-21"


def test_an_animal_that_fell_silent_has_what_to_do_in_its_section_in_the_words_of_the_index(tmp_path):
    gone, missed = (Silence("H01", "a", START, 1, 2, chances, 2, chances) for chances in ((0.95, 0.97), (0.3, 0.5)))
    html = section(shown(tmp_path, fixes_of(LOCATED), silent={"H01": gone}, battery={"H01": 0.25}), "tag-h01")
    assert f"<dt>What to do</dt><dd>Search for it: {WHAT_TO_DO}. {battery_sentence({'H01': 0.25})}</dd>" in html and "25 %" in html
    assert say.what_to_do(missed, {}) == say.what_to_do(None, {}) == "" and "What to do" not in shown(tmp_path / "heard", fixes_of(LOCATED), silent={"H01": missed})


# The demo's page


@pytest.fixture(scope="module")
def page_file(demo_folder):
    return demo_folder / "2_localisation.html"


def test_every_animal_of_the_demo_and_no_other_tag_has_a_section_and_every_link_inside_the_page_leads_somewhere(demo_folder, page_file):
    html = page_file.read_text(encoding="utf-8")
    tags = pd.read_parquet(demo_folder / "work" / "tags.parquet")
    names = set(re.findall(r'<section class="own(?: handed-out)?" id="tag-([a-z0-9-]+)"', html))
    assert names == set(tags.loc[~tags["role"].isin(["beacon", "decoy"]), "tag_id"].str.lower())
    written = re.sub(r"<script>.*?</script>", "", html, flags=re.S)      # the map code makes links of its own
    assert set(re.findall(r'href="#([^"]+)"', written)) <= set(re.findall(r'\bid="([^"]+)"', html))


def test_no_picture_of_the_demo_weighs_more_than_it_may(demo_folder, page_file):
    pictures = re.findall(r'<figure class="picture" id="figure-tag-.*?</figure>', page_file.read_text(encoding="utf-8"), re.S)
    assert pictures and max(map(len, pictures)) < HEAVIEST_PANEL_BYTES
    assert {path.stem for path in (demo_folder / "figures").glob("tag-*.svg")} == {path.stem for path in (demo_folder / "figures").glob("tag-*.png")}


OPEN = "Array.from(document.querySelectorAll('details.folded')).map(part => part.open)"


def test_other_flights_are_folded_on_the_screen_and_shown_on_paper_and_without_scripts(page_file):
    with browser() as chromium:
        with opened(chromium, page_file) as (page, seen):
            assert page.evaluate(OPEN) and not any(page.evaluate(OPEN))
            page.locator("details.folded summary").first.click()
            page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
            assert all(page.evaluate(OPEN))
            page.evaluate("window.dispatchEvent(new Event('afterprint'))")
            assert sum(page.evaluate(OPEN)) == 1, "what the reader opened stays open"
            seen.assert_quiet()
        with opened(chromium, page_file, paper=True) as (page, _):
            breaks = page.evaluate("Array.from(document.querySelectorAll('section.own')).map(part => [part.querySelector('dt').textContent === 'To carry on the walk', getComputedStyle(part).breakBefore, getComputedStyle(part).breakAfter])")
            assert {tuple(each) for each in breaks} == {(True, "page", "page"), (False, "auto", "auto")}, "what is taken along to a tag stands on sheets of its own, and the others flow"
        with opened(chromium, page_file, scripts=False) as (page, _):
            assert page.locator("details.folded:not([open])").count() == 0 and page.locator("details.folded").count() > 0


def test_a_region_cut_by_the_edge_of_the_ground_looked_at_says_so_under_and_for_its_picture(tmp_path):
    fixes = fixes_of(fix("H12", "a", "heard once", place=(0.0, 0.0), radius_m=3000.0, heard=1))
    evidence = {("H12", "a"): {"records_listened": 80, "records_heard": 1, "effective_records": 1.0, "passes": 1, "places": 1, "main_place_share": 1.0, "bearings": 0, "sightings": 0, "edge_probability": 0.11}}
    html, said = section(shown(tmp_path, fixes, evidence=evidence), "tag-h12"), "The region ends at the edge of the ground looked at"
    assert html.count(said) == 3 and "95\u00a0% region 2,800 ha, no position" in html and said in re.search('aria-label="Map and strengths[^"]*"', html).group(0)
    assert said not in shown(tmp_path / "whole", fixes, evidence={("H12", "a"): evidence["H12", "a"] | {"edge_probability": 0.01}})


def test_the_circle_to_search_is_drawn_whole_with_the_region_and_told_apart_from_it(tmp_path):
    # a region of 300 m from south to north, pushed 60 m north of the middle of a circle of 100 m: it reaches 210 m
    from_south_to_north = Point(0.0, 60.0).buffer(1.0)
    region = affinity.scale(from_south_to_north, 50.0, 150.0)
    walk = pd.DataFrame({"tag_id": ["H01"], "flight_id": ["a"], "easting_m": [0.0], "northing_m": [0.0], "error_radius_95_m": [100.0], "region_95_ha": [2.4], "note": ["Search the circle of 100 m."]})
    circles = search_circles(walk, gpd.GeoDataFrame({"tag_id": ["H01"], "flight_id": ["a"], "probability": [0.95]}, geometry=[region]))
    html = section(shown(tmp_path, fixes_of(fix("H01", "a", "located", place=(0.0, 0.0), radius_m=100.0, heard=12), fix("H01", "b", "located", day=1, place=(0.0, 0.0), radius_m=120.0, heard=12)).assign(latitude=57.2, longitude=-4.1), walk, circles=circles), "tag-h01")
    assert "go on 110 m beyond it to the north" in where_to_go_on(circles["H01"]) and "each hold the tag with probability 0.95" in html
    assert circles["H01"].sides == ("north",)      # to the south it ends at 90 m, within the circle
    first, others = html.split("<details", 1)
    assert first.count("Middle of the circle: 57.20000° N 4.10000° W grid 0 E 0 N.") == 1 and "Middle of the circle" not in others      # whoever takes the picture along has the place with it
    assert first.count("stroke-dasharray") == 2 and LIGHT["fetch"] in first and "is the circle to search on foot, 100 m" in first
    assert LIGHT["fetch"] not in others      # the circle belongs to the flight to walk by alone
    west, south, east, north = map_extent_m(PanelMap((), np.zeros((0, 2)), np.zeros(0, int), np.zeros((0, 2)), {0.95: region}, (0.0, 0.0), search=(0.0, 0.0, 100.0)))
    assert west <= -100.0 and east >= 100.0 and south <= -100.0 and north >= 210.0


def test_every_side_on_which_the_region_reaches_beyond_the_circle_is_named_the_farthest_first():
    walk = pd.DataFrame({"tag_id": ["A"], "flight_id": ["a"], "easting_m": [10.0], "northing_m": [0.0], "error_radius_95_m": [100.0], "region_95_ha": [3.0], "note": [""]})
    from_west_to_east = affinity.scale(Point(0.0, 0.0).buffer(1.0), 150.0, 60.0)
    circle = search_circles(walk, gpd.GeoDataFrame({"tag_id": ["A"], "flight_id": ["a"], "probability": [0.95]}, geometry=[from_west_to_east]))["A"]
    assert circle.sides == ("west", "east") and circle.reach_m == pytest.approx(160.0)
    assert where_to_go_on(circle) == "Search the circle of 100 m round it; where it holds nothing, go on up to 60 m beyond it to the west and east, where the 95 % region ends."


def test_lengths_on_the_card_add_up_as_they_are_printed():
    walk = pd.DataFrame({"tag_id": ["A"], "flight_id": ["a"], "easting_m": [0.0], "northing_m": [0.0], "error_radius_95_m": [156.4], "region_95_ha": [3.0], "note": [""]})
    circle = search_circles(walk, gpd.GeoDataFrame({"tag_id": ["A"], "flight_id": ["a"], "probability": [0.95]}, geometry=[affinity.scale(Point(0.0, 0.0).buffer(1.0), 60.0, 193.0)]))["A"]
    assert (circle.radius_m, circle.reach_m) == (160.0, 190.0) and "circle of 160 m" in where_to_go_on(circle) and "go on up to 30 m beyond" in where_to_go_on(circle)


def test_a_circle_that_holds_the_region_says_so_and_one_without_a_place_is_none():
    walk = pd.DataFrame({"tag_id": ["A", "B"], "flight_id": ["a", "a"], "easting_m": [0.0, np.nan], "northing_m": [0.0, np.nan], "error_radius_95_m": [100.0, np.nan], "region_95_ha": [0.8, np.nan], "note": ["", ""]})
    circles = search_circles(walk, gpd.GeoDataFrame({"tag_id": ["A"], "flight_id": ["a"], "probability": [0.95]}, geometry=[Point(0.0, 0.0).buffer(50.0)]))
    assert set(circles) == {"A"} and "the region lies within the circle." in where_to_go_on(circles["A"]) and how_they_relate(None) == ""
