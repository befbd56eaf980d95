"""Names with markup, quotes, backslashes, dollars and letters from right to left, from the files of a campaign to every page, map, picture and layer."""

import json
import re
import sqlite3
import warnings
import xml.etree.ElementTree as ElementTree

import pandas as pd
import pytest

from tests.awkward_campaign import FLIGHTS, KINDS, PERMITS, SPECIES, TAGS, TITLE, write_awkward_campaign
from tests.browser import accessibility_faults, drawn_maps, opened, overflow_px
from tests.campaign_runs import with_pages

MAPS = {"1_quality_check": 1, "2_localisation": 2, "3_error_calibration": 1, "4_movement_summaries": 1, "index": 1, "appendix": 0}
ANIMALS, BEACONS = [TAGS[name] for name in TAGS if name[0] in "HG"], [TAGS[name] for name in TAGS if name[0] == "B"]
SAID = {
    "1_quality_check": [*TAGS.values(), *FLIGHTS.values()], "2_localisation": [*ANIMALS, *FLIGHTS.values(), KINDS["grouse backpack"]], "3_error_calibration": [*BEACONS, *FLIGHTS.values(), *KINDS.values()],
    "4_movement_summaries": ANIMALS, "index": [*PERMITS.values()], "appendix": [*SPECIES.values(), *KINDS.values()],
}
TEXTS = "Array.from(document.querySelectorAll(%r)).map(each => each.textContent)"


@pytest.fixture(scope="module")
def campaign(project, tmp_path_factory):
    folder = tmp_path_factory.mktemp("awkward {1} 'é'")
    with warnings.catch_warnings():
        warnings.filterwarnings("error", message="constrained_layout not applied")      # long names must not squeeze a figure to nothing
        return with_pages(write_awkward_campaign(project / "data" / "demo", folder / "campaign"), folder / "out")


def plain(text):
    """Text as a reader sees it: line ends are blanks."""
    return re.sub(r"\s+", " ", text).strip()


@pytest.mark.parametrize("name", MAPS)
def test_on_every_page_awkward_names_are_text_and_nothing_of_them_runs(running, campaign, name):
    dialogs = []
    with opened(running, campaign.path_to_read(f"{name}.html"), width_px=1400) as (page, seen):
        page.on("dialog", lambda dialog: (dialogs.append(dialog.message), dialog.dismiss()))
        page.reload()
        page.wait_for_timeout(200)
        seen.assert_quiet()
        assert dialogs == [] and page.evaluate("window.ran === undefined && window.policyViolations.length === 0")
        assert drawn_maps(page) == (MAPS[name], MAPS[name]) and overflow_px(page) == 0
        text = plain(page.evaluate("document.body.textContent"))
        assert [said for said in SAID[name] if plain(said) not in text] == []
        assert plain(TITLE) in plain(page.title()) and plain(TITLE) in text
        assert page.evaluate("document.querySelectorAll('main b, main i, main svg[onload], img[onerror], [src=x]').length") == page.evaluate("document.querySelectorAll('.traffic b').length")
        assert accessibility_faults(page) == []
        page.emulate_media(media="print")
        assert page.pdf(prefer_css_page_size=True).startswith(b"%PDF")


def test_names_in_heads_of_rows_are_whole_and_break_rather_than_push_the_figures_away(running, campaign):
    with opened(running, campaign.path_to_read("1_quality_check.html"), width_px=1400) as (page, _):
        assert set(TAGS.values()) <= set(page.evaluate(TEXTS % "#table-tags_heard tbody th"))
        # unbroken, the longest of these names takes 465 px, and a third of the figures lies beyond the edge
        assert page.evaluate("Math.max(...Array.from(document.querySelectorAll('figure.table[id] tbody th')).map(head => head.getBoundingClientRect().width))") < 350
        assert page.evaluate("Math.max(...Array.from(document.querySelectorAll('figure.table[id] .table-scroll')).map(box => box.scrollWidth - box.clientWidth))") < 60


def test_a_map_finds_names_and_says_them_in_its_tips_its_words_and_its_choice_of_flights(running, campaign):
    with opened(running, campaign.path_to_read("2_localisation.html"), width_px=1400) as (page, seen):
        placed = campaign.read_table("fixes").query("status == 'located'")
        names = sorted(set(placed["tag_id"]) & set(ANIMALS))
        assert len(names) >= 2 and set(names) <= {re.sub(r" 20\d\d-\d\d-\d\d$", "", label.replace("\u2068", "").replace("\u2069", "")) for label in page.evaluate(TEXTS % ".map-words span")}
        for name in names:
            page.fill(".find input", name)
            assert page.text_content(".said").strip("\u2068").startswith(name)
            assert set(page.evaluate(TEXTS % ".retrace option")) <= set(FLIGHTS.values()) and page.locator(".retrace option").count() >= 1
            page.focus(".retrace input")
            page.keyboard.press("Home")
            assert plain(name) in plain(page.text_content(".retrace-said"))
            page.evaluate("() => { const range = document.querySelector('.retrace input'); range.value = range.max; range.dispatchEvent(new Event('input', { bubbles: true })); }")
            assert f"{name.strip()} heard in" in page.text_content(".retrace-said").replace("\u2069", "").replace("\u2068", "")
            page.keyboard.press("Escape")
        for beacon in BEACONS:
            page.fill(".find input", beacon)
            assert page.text_content(".retrace-hint").replace("\u2068", "").replace("\u2069", "") == f"No flight of {beacon.lstrip(chr(0x202e))} can be retraced: that is kept for the positions of animals."
        page.fill(".find input", "")
        words = page.evaluate("fixledger.opened[0].fields.flatMap(field => field.marks).filter(mark => mark.words && typeof mark.words !== 'function').map(mark => mark.words[0])")
        assert set(names) <= set(words)
        at = page.evaluate(f"""() => {{ document.querySelector('.folium-map').scrollIntoView({{block: 'center'}});
            const sheet = fixledger.opened[0], mark = sheet.fields.flatMap(field => field.marks).find(each => each.words && each.words[0] === {json.dumps(names[0])}), box = sheet.map.getContainer().getBoundingClientRect();
            const point = sheet.map.latLngToContainerPoint(mark.place); return [box.x + point.x, box.y + point.y]; }}""")
        page.mouse.move(*at)
        assert plain(names[0]) in plain(page.text_content(".map-tip")) and page.locator(".map-tip img, .map-tip script").count() == 0
        seen.assert_quiet()
        assert page.evaluate("window.ran === undefined")


def test_names_from_right_to_left_leave_the_figures_after_them_where_they_belong(running, campaign):
    hebrew = next(name for name in ANIMALS if name.startswith("\u05d0"))
    with opened(running, campaign.path_to_read("2_localisation.html"), width_px=1400) as (page, _):
        # of the caption "<name> in flight ...: ..., heard in 12 of 90 records" every word begins to the right of the one before, or on a later line
        ordered = page.evaluate("""name => Array.from(document.querySelectorAll('figcaption')).filter(each => each.textContent.includes(name + ' in flight')).map(caption => {
            const boxes = [], walker = document.createTreeWalker(caption, NodeFilter.SHOW_TEXT);
            for (let node = walker.nextNode(); node; node = walker.nextNode()) for (const word of node.textContent.matchAll(/[A-Za-z0-9]+/g)) {
                const range = document.createRange(); range.setStart(node, word.index); range.setEnd(node, word.index + 1);
                const box = range.getBoundingClientRect(); boxes.push([Math.round(box.top / 8), box.left]); }
            return boxes.every((box, at) => !at || box[0] > boxes[at - 1][0] || box[1] > boxes[at - 1][1]); })""", hebrew)
        assert ordered and all(ordered)
        # a mark that turns the direction turns itself only
        turned = page.evaluate("Array.from(document.querySelectorAll('main *')).filter(each => each.childElementCount === 0 && each.textContent.includes('\\u202e') && each.tagName !== 'BDI' && !each.closest('svg, .sheet, script')).length")
        assert turned == 0


def test_alternative_texts_have_the_names_and_pictures_are_well_formed(running, campaign):
    with opened(running, campaign.path_to_read("2_localisation.html")) as (page, _):
        alts = page.evaluate("Array.from(document.querySelectorAll('svg[role=img], img')).map(each => each.getAttribute('aria-label') || each.getAttribute('alt'))")
    assert all(any(name in alt for alt in alts if alt) for name in ANIMALS)
    pictures = sorted(campaign.figures.glob("*.svg"))
    assert len(pictures) > 20
    for path in pictures:
        root = ElementTree.parse(path).getroot()
        assert not any(element.tag.endswith("}script") or any(key.startswith("on") for key in element.attrib) for element in root.iter())
        assert re.fullmatch(r"[a-z0-9_-]+\.svg", path.name)
    drawn = "".join("".join(ElementTree.parse(path).getroot().itertext()) for path in pictures)
    assert all(name in drawn for name in ANIMALS)


def test_layers_and_files_for_a_receiver_hold_the_names_as_they_are(campaign):
    with sqlite3.connect(campaign.path_to_read("results.gpkg")) as layers:
        assert {row[0] for row in layers.execute("select distinct tag_id from fixes")} >= set(ANIMALS)
        assert {row[0] for row in layers.execute("select distinct flight_id from tracks")} == set(FLIGHTS.values())
    walk = campaign.read_table("retrieval_list")
    assert len(walk) >= 1
    spots = json.loads(campaign.path_to_read("tables/search_areas.geojson").read_text(encoding="utf-8"))
    track = ElementTree.parse(campaign.path_to_read("tables/search_areas.gpx"))
    for tag_id in walk.loc[walk["easting_m"].notna(), "tag_id"]:
        assert any(tag_id in str(feature["properties"].values()) or tag_id in feature["properties"].values() for feature in spots["features"])
        assert any(tag_id in (element.text or "") for element in track.iter())
    assert set(pd.read_csv(campaign.path_to_read("tables/fixes.csv"), dtype=str, keep_default_na=False)["tag_id"]) >= set(ANIMALS)
