"""Reports as a reader's browser shows them, with the network off."""

import io
import re

import numpy as np
import pytest
from PIL import Image

from pipeline.geodesy import choose_projection
from pipeline.report import Book
from tests.browser import accessibility_faults, drawn_maps, opened, overflow_px
from tests.report_sample import AWKWARD_NAMES, full_sheet, sample_folder, sample_report


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """The sample report, its index, and a report whose tags have awkward names."""
    folder = sample_folder()
    (folder / "awkward.html").write_text(sample_report(tmp_path_factory.mktemp("awkward"), list(AWKWARD_NAMES)), encoding="utf-8")
    return folder


def mark_count(page, kind):
    """Marks of a kind drawn on the first map: strokes of its path."""
    return page.evaluate(f"(document.querySelector('path.{kind}').getAttribute('d').replace('M0 0', '').match(/M/g) || []).length")


def shown_share(page):
    """Share of the first map's width or height, the larger, that its sheet takes up; 0 when the sheet is not in its middle."""
    return page.evaluate("""() => { const sheet = fixledger.opened[0], map = sheet.map, box = map.getContainer();
        const a = map.latLngToContainerPoint(sheet.told.bounds[0]), b = map.latLngToContainerPoint(sheet.told.bounds[1]);
        const centred = Math.abs((a.x + b.x) / 2 - box.clientWidth / 2) < 5 && Math.abs((a.y + b.y) / 2 - box.clientHeight / 2) < 5;
        return centred ? Math.max((b.x - a.x) / box.clientWidth, (a.y - b.y) / box.clientHeight) : 0; }""")


@pytest.mark.parametrize("name, maps", [("localisation", 2), ("index", 1)])
@pytest.mark.parametrize("width_px, dark", [(1300, False), (1300, True), (400, False)])
def test_a_page_asks_for_nothing_draws_its_maps_and_is_accessible(running, pages, name, maps, width_px, dark):
    with opened(running, pages / f"{name}.html", width_px=width_px, dark=dark) as (page, seen):
        seen.assert_quiet()
        assert drawn_maps(page) == (maps, maps)
        assert overflow_px(page) == 0
        assert accessibility_faults(page) == []


def test_awkward_names_appear_as_text_run_nothing_and_break_no_map(running, pages):
    with opened(running, pages / "awkward.html") as (page, seen):
        seen.assert_quiet()
        assert drawn_maps(page) == (2, 2)
        assert page.title() == "Where the tags are \u00b7 Invented valley, spring 2024"
        words = page.evaluate("Array.from(document.querySelectorAll('.map-words span')).map(word => word.textContent)")
        assert set(AWKWARD_NAMES) <= set(words)
        heads = page.evaluate("Array.from(document.querySelectorAll('tbody th')).map(head => head.textContent)")
        assert heads == list(AWKWARD_NAMES)
        assert page.evaluate("document.querySelectorAll('.map-words b, tbody b').length") == 0
        page.fill(".find input", AWKWARD_NAMES[5])
        assert AWKWARD_NAMES[5] in page.text_content(".said")
        seen.assert_quiet()


def best_place(index):
    """The words for the place of the sample's tag of this number out of six, by PROJ: the page computes it from polynomials of its own."""
    turn = 2 * np.pi * index / 6 + 0.4
    east, north = 720 * np.cos(turn), 520 * np.sin(turn)
    latitude, longitude = (float(value) for value in choose_projection([57.2], [-4.1]).inverse(east, north))
    return f"best place at {latitude:.5f}\u00b0 N {-longitude:.5f}\u00b0 W grid {east:.0f} E {north:.0f} N".replace("-", "\u2212")


def test_the_circle_to_search_is_on_the_map_in_its_own_line_and_fades_with_its_tag(running, pages):
    with opened(running, pages / "localisation.html") as (page, seen):
        circle = page.locator("path.search-circle")
        assert circle.count() == 1 and page.locator(".legend li", has_text="circle to search on foot").count() == 1
        assert circle.evaluate("path => getComputedStyle(path).strokeDasharray") != page.locator("path.region.p95").first.evaluate("path => getComputedStyle(path).strokeDasharray")
        assert circle.evaluate("path => getComputedStyle(path).stroke") != page.locator("path.region.p95").first.evaluate("path => getComputedStyle(path).stroke")
        # 340 m across on the scale of the map
        across = page.evaluate("""() => { const map = fixledger.opened[0].map, bounds = fixledger.opened[0].circles[0].getBounds();
            return map.distance(L.latLng(bounds.getCenter().lat, bounds.getWest()), L.latLng(bounds.getCenter().lat, bounds.getEast())); }""")
        assert across == pytest.approx(340.0, rel=0.005)
        page.fill(".find input", "hare 05")
        assert "faded" in circle.get_attribute("class")
        page.fill(".find input", "hare 02")
        assert "faded" not in circle.get_attribute("class")
        seen.assert_quiet()


def test_typing_a_name_brings_one_tag_to_the_front(running, pages):
    with opened(running, pages / "localisation.html") as (page, seen):
        assert mark_count(page, "mark-heard") == 0 and mark_count(page, "mark-fix") == 12
        page.fill(".find input", "hare 05")
        assert page.text_content(".said") == f"Hare 05: {best_place(4)}; 95 % radius 202 m"
        assert page.text_content(".pointer").startswith("Middle of the map, not of a tag:  57.")
        assert mark_count(page, "mark-heard") > 5 and mark_count(page, "mark-fix") == 2
        assert page.evaluate("document.querySelectorAll('path.region.faded').length") == 15
        page.fill(".find input", "hare")
        page.press(".find input", "Enter")
        assert page.text_content(".said") == "6 tags have this in their name; type more."
        page.press(".find input", "Escape")
        assert mark_count(page, "mark-fix") == 12 and page.evaluate("document.querySelectorAll('path.region.faded').length") == 0
        seen.assert_quiet()


def test_a_name_in_a_table_chooses_its_tag_on_the_map_above(running, pages):
    with opened(running, pages / "localisation.html") as (page, _):
        page.get_by_role("button", name="Hare 03").click()
        assert page.text_content(".said") == f"Hare 03: {best_place(2)}; 95 % radius 146 m"
        assert page.evaluate("document.activeElement.value") == "Hare 03"


def test_a_map_stands_alone_in_a_frame_of_jupyterlab(running, tmp_path):
    part = Book(tmp_path, tmp_path).map("alone", full_sheet(["Hare 1", "Hare 2"]), "Alone.")
    (tmp_path / "alone.html").write_text(part.alone_html, encoding="utf-8")
    with opened(running, tmp_path / "alone.html") as (page, seen):
        seen.assert_quiet()
        assert drawn_maps(page) == (1, 1)
        assert shown_share(page) > 0.6


def test_a_map_shows_the_whole_sheet_at_first_and_after_the_window_has_changed(running, pages):
    with opened(running, pages / "localisation.html") as (page, _):
        assert shown_share(page) > 0.6
        for width_px in (500, 1300, 700, 1300):
            page.set_viewport_size({"width": width_px, "height": 800})
            page.wait_for_timeout(200)
            assert shown_share(page) > 0.6, width_px


def test_measuring_gives_distance_and_bearing_by_pointer_and_by_keyboard(running, pages):
    with opened(running, pages / "localisation.html") as (page, _):
        page.click(".measure")
        page.evaluate("document.querySelector('.folium-map').scrollIntoView({block: 'center'})")
        box = page.locator(".folium-map").first.bounding_box()
        bar_px, bar_words = page.evaluate("[document.querySelector('.map-scale .bar').getBoundingClientRect().width, document.querySelector('.map-scale .words').textContent]")
        middle_x, middle_y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.click(middle_x - bar_px / 2, middle_y)
        page.mouse.click(middle_x + bar_px / 2, middle_y)
        said = page.text_content(".said")
        metres, bearing = re.fullmatch(r"(\d+) m, bearing (\d+)\u00b0 true", said).groups()
        assert bar_words == "500 m" and abs(int(metres) - 500) <= 8 and int(bearing) == 90
        page.locator(".folium-map").first.focus()
        page.keyboard.press("Enter")
        assert "in 2 legs" in page.text_content(".said")
        page.keyboard.press("Escape")
        assert page.get_attribute(".measure", "aria-pressed") == "false"


def test_keys_pressed_one_after_another_while_measuring_all_count_and_what_is_said_of_the_tag_stays(running, pages):
    with opened(running, pages / "localisation.html") as (page, _):
        page.fill(".find input", "Hare 05")
        chosen = page.text_content(".said")
        page.click(".measure")
        page.locator(".folium-map").first.focus()
        for key in ("Enter", "ArrowRight", "ArrowRight", "ArrowRight", "Enter"):
            page.keyboard.press(key)
        # three steps of 80 px, the way Leaflet moves by a key
        metres_px = page.evaluate("(() => { const map = fixledger.opened[0].map, at = x => map.containerPointToLatLng([x, 200]); return fixledger.opened[0].grid.leg(at(0), at(240)).metres; })()")
        said = page.text_content(".said")
        assert abs(int(re.match(r"(\d+) m, bearing", said).group(1)) - metres_px) <= 2 and said.endswith(chosen)
        page.keyboard.press("Escape")
        assert page.text_content(".said") == chosen


def test_on_a_phone_the_list_of_what_is_shown_lies_within_the_page(running, pages):
    with opened(running, pages / "localisation.html", width_px=400) as (page, _):
        page.click(".themes summary")
        left, right = page.evaluate("(() => { const box = document.querySelector('.theme-list').getBoundingClientRect(); return [box.left, box.right]; })()")
        assert 0 <= left and right <= 400 and right - left > 250


def test_what_stood_under_the_pointer_goes_when_another_tag_is_chosen(running, pages):
    with opened(running, pages / "localisation.html") as (page, _):
        page.locator(".folium-map").first.hover()
        at = page.evaluate("""() => { const sheet = fixledger.opened[0], field = sheet.fields.find(f => f.options.className === 'mark-fix'), box = sheet.map.getContainer().getBoundingClientRect();
            const point = sheet.map.latLngToContainerPoint(field.marks[4].place); return [box.x + point.x, box.y + point.y]; }""")
        page.mouse.move(*at)
        assert page.text_content(".map-tip").startswith("Hare 05")
        page.fill(".find input", "Hare 03")
        page.wait_for_timeout(400)      # it fades
        assert not any(words.startswith("Hare 05") for words in page.locator(".map-tip").all_text_contents())


def test_the_pointer_has_coordinates_and_a_mark_has_words(running, pages):
    with opened(running, pages / "localisation.html") as (page, _):
        page.locator(".folium-map").first.hover()
        assert re.fullmatch(r"Pointer  57\.\d{5}\u00b0 N  4\.\d{5}\u00b0 W   grid \u2212?\d+ E  \u2212?\d+ N", page.text_content(".pointer"))
        at = page.evaluate("""() => { const sheet = fixledger.opened[0], field = sheet.fields.find(f => f.options.className === 'mark-fix'), box = sheet.map.getContainer().getBoundingClientRect();
            const point = sheet.map.latLngToContainerPoint(field.marks[4].place); return [box.x + point.x, box.y + point.y, field.marks[4].words]; }""")
        page.mouse.move(at[0], at[1])
        assert page.text_content(".map-tip").startswith(at[2][0])


def test_the_scale_is_changed_by_buttons_with_words(running, pages):
    with opened(running, pages / "localisation.html") as (page, _):
        scales = [page.evaluate("fixledger.opened[0].map.getZoom()")]
        for name in ("Closer", "Wider"):
            page.get_by_role("button", name=name).first.click()
            page.wait_for_timeout(600)  # the map moves there in a quarter of a second
            scales.append(page.evaluate("fixledger.opened[0].map.getZoom()"))
        assert scales[1] > scales[0] and abs(scales[2] - scales[0]) < 1e-9


def test_layers_are_themes_that_can_be_hidden(running, pages):
    with opened(running, pages / "localisation.html") as (page, _):
        page.click(".themes summary")
        themes = page.evaluate("Array.from(document.querySelector('.theme-list').children).map(label => label.textContent)")
        assert themes == ["Relief", "Metric grid", "Study area", "Flight tracks", "Heard and not heard", "Regions and places", "Beacons", "To look for on foot", "Names"]
        page.get_by_label("Beacons").first.uncheck()
        assert page.locator("path.mark-beacon").count() == 0


def test_a_table_wider_than_the_page_shows_a_shade_where_it_goes_on_until_it_is_scrolled_there(running, pages):
    with opened(running, pages / "localisation.html", width_px=400) as (page, _):
        box = page.locator(".table-scroll").first
        box.evaluate("box => box.scrollIntoView({ block: 'center' })")
        at_first, far = box.screenshot(), box.evaluate("box => { box.scrollLeft = box.scrollWidth; return box.scrollLeft; }")
        assert far > 50
        assert shade_at(at_first, "right") < 0.9 * shade_at(at_first, "left")
        at_last = box.screenshot()
        assert shade_at(at_last, "left") < 0.9 * shade_at(at_last, "right")


def shade_at(picture, side):
    """Brightness, 0 to 1, of the lightest pixel in the two columns at one side of a picture: dark where a shade lies over the paper."""
    grey = np.asarray(Image.open(io.BytesIO(picture)).convert("L"), float) / 255.0
    return float((grey[4:-4, -2:] if side == "right" else grey[4:-4, :2]).max())


def test_a_table_sorts_by_its_heads_with_figures_as_figures(running, pages):
    with opened(running, pages / "localisation.html") as (page, _):
        head = page.locator("thead button", has_text="Records heard")
        head.click()
        head.click()
        column = page.evaluate("Array.from(document.querySelectorAll('tbody tr')).map(row => +row.cells[5].textContent)")
        assert column == sorted(column, reverse=True)
        assert page.locator("th[aria-sort=descending]").count() == 1


def test_without_scripts_the_twin_takes_the_place_of_the_map(running, pages):
    with opened(running, pages / "localisation.html", scripts=False) as (page, seen):
        assert page.locator(".twin").first.is_visible() and not page.locator(".sheet-map").first.is_visible()
        assert page.locator("tbody tr").count() == 6
        assert seen.requests == []


def test_print_shows_twins_on_white_also_for_a_dark_screen(running, pages):
    with opened(running, pages / "localisation.html", dark=True, paper=True) as (page, _):
        assert page.locator(".twin").first.is_visible() and not page.locator(".sheet-map").first.is_visible()
        assert page.evaluate("getComputedStyle(document.body).color") == "rgb(34, 38, 46)"
        assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgb(255, 255, 255)"
        assert page.pdf(prefer_css_page_size=True).count(b"/Type /Page\n") in range(3, 8)


def test_the_index_has_its_next_steps_above_the_map_and_on_paper_lines_to_sign_on_the_first_sheet(running, pages):
    with opened(running, pages / "index.html") as (page, _):
        assert page.locator(".next").bounding_box()["y"] < page.locator(".sheet").bounding_box()["y"]
        assert not page.locator(".signature").is_visible()
    with opened(running, pages / "index.html", paper=True) as (page, _):
        assert page.locator(".signature").is_visible() and page.locator(".signature dt").all_text_contents() == ["Read by (name)", "Date", "Signature"]
        assert page.locator(".signature").bounding_box()["y"] < page.locator(".twin").bounding_box()["y"]


def test_on_paper_the_map_of_the_index_is_as_wide_as_the_sheet_and_that_of_a_report_leaves_room_for_its_answer_above(running, pages):
    with opened(running, pages / "index.html", paper=True, width_px=665) as (page, _):    # A4 less its margins
        assert page.locator(".twin .drawn").first.bounding_box()["width"] > 0.97 * page.evaluate("document.querySelector('main').clientWidth")
    with opened(running, pages / "localisation.html", paper=True, width_px=665) as (page, _):
        box = page.locator(".twin .drawn").first.bounding_box()
        # of the 259 mm of a sheet, at 96 px to the inch, between a third and two fifths
        assert 86.0 < box["height"] * 25.4 / 96.0 < 104.0 and box["width"] <= 665.0


def test_pages_stay_small(pages):
    assert (pages / "localisation.html").stat().st_size < 1_800_000
    assert (pages / "index.html").stat().st_size < 1_300_000
