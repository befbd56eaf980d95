"""The demo's pages as a reader's browser sees them, with the network off: wide, narrow, dark, printed, without scripts and from the keyboard."""

import pytest

from tests.browser import accessibility_faults, browser, drawn_maps, opened, overflow_px, overlapping, walked_by_tab

PAGES = {"index": 1, "1_quality_check": 1, "2_localisation": 2, "3_error_calibration": 1, "4_movement_summaries": 1, "appendix": 0}
LARGEST_BYTES = 5_000_000


@pytest.fixture(scope="module")
def chromium():
    with browser() as running:
        yield running


@pytest.mark.parametrize("width_px, dark", [(1400, False), (800, True), (400, False)])
@pytest.mark.parametrize("name, maps", PAGES.items())
def test_a_page_is_quiet_draws_its_maps_fits_its_window_and_has_no_accessibility_fault(chromium, demo_folder, name, maps, width_px, dark):
    with opened(chromium, demo_folder / f"{name}.html", width_px=width_px, dark=dark) as (page, seen):
        seen.assert_quiet()
        assert drawn_maps(page) == (maps, maps)
        assert overflow_px(page) == 0
        assert overlapping(page) == []
        assert accessibility_faults(page) == []


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_small_and_prints_its_maps_as_pictures(chromium, demo_folder, name, tmp_path):
    assert (demo_folder / f"{name}.html").stat().st_size < LARGEST_BYTES
    with opened(chromium, demo_folder / f"{name}.html", paper=True) as (page, _):
        shown = page.evaluate("Array.from(document.querySelectorAll('.leaflet-container')).filter(map => map.offsetParent !== null).length")
        heads = page.evaluate("Array.from(document.querySelectorAll('thead button')).every(head => getComputedStyle(head).display === 'contents')")
        page.pdf(path=tmp_path / "page.pdf", format="A4", prefer_css_page_size=True)
        assert overlapping(page) == []
        # the width of A4 between its margins, 176 mm; what is wider makes the browser print the whole page smaller
        page.set_viewport_size({"width": 665, "height": 979})
        assert overflow_px(page) == 0
    assert shown == 0
    assert heads, "heads of tables that are buttons are left out where Chromium repeats them on the next sheet"
    assert (tmp_path / "page.pdf").stat().st_size > 20_000


@pytest.mark.parametrize("table", ["fixes", "fate_triage", "retrieval_list", "not_found"])
def test_a_table_to_be_read_before_a_walk_is_not_cut_on_a_wide_screen(chromium, demo_folder, table):
    with opened(chromium, demo_folder / "2_localisation.html", width_px=1400) as (page, _):
        wide, room = page.evaluate(f"(box => [box.scrollWidth, box.clientWidth])(document.querySelector('#table-{table} .table-scroll'))")
        assert wide <= room + 1


@pytest.mark.parametrize("width_px", [800, 1000, 1200])
@pytest.mark.parametrize("name", [name for name in PAGES if name != "index"])
def test_the_contents_are_whole_in_a_window_of_900_px_height(chromium, demo_folder, name, width_px):
    with opened(chromium, demo_folder / f"{name}.html", width_px=width_px, height_px=900) as (page, _):
        long, room, wide = page.evaluate("(list => [list.scrollHeight, list.clientHeight, Math.max(...Array.from(list.querySelectorAll('a')).map(link => link.scrollWidth - link.clientWidth))])(document.querySelector('.contents'))")
        assert long <= room + 1 and wide <= 1


def test_links_between_the_pages_lead_somewhere(chromium, demo_folder):
    for name in PAGES:
        with opened(chromium, demo_folder / f"{name}.html") as (page, _):
            links = page.evaluate("Array.from(document.querySelectorAll('a[href]')).map(a => a.getAttribute('href')).filter(h => !h.startsWith('#'))")
        assert [link for link in links if not (demo_folder / link.split("#")[0]).exists()] == []


@pytest.mark.parametrize("name, maps", PAGES.items())
def test_without_scripts_every_table_and_every_picture_is_there_and_twins_stand_for_the_maps(chromium, demo_folder, name, maps):
    with opened(chromium, demo_folder / f"{name}.html", scripts=False) as (page, seen):
        tables = page.evaluate("""Array.from(document.querySelectorAll('table')).filter(table => !table.closest('details:not([open])')).map(table => [
            table.closest('figure').textContent.slice(0, 40), Array.from(table.tBodies[0].rows).filter(row => row.checkVisibility() && row.getBoundingClientRect().height > 5).length, table.tBodies[0].rows.length, /No row\\./.test(table.closest('figure').textContent)])""")
        assert [table for table in tables if table[1] != table[2] or (table[1] == 0 and not table[3])] == []
        assert len(tables) >= (0 if name == "index" else 3)
        pictures = page.evaluate("Array.from(document.querySelectorAll('figure svg.drawn, figure img.drawn, .report-cards img')).map(each => { const box = each.getBoundingClientRect(); return [each.checkVisibility(), Math.round(box.width), Math.round(box.height)]; })")
        assert all(visible and width > 100 and height > 20 for visible, width, height in pictures) and len(pictures) >= maps
        assert page.locator(".twin").count() == maps and page.evaluate("Array.from(document.querySelectorAll('.twin')).every(twin => twin.checkVisibility())")
        assert page.evaluate("Array.from(document.querySelectorAll('.sheet-map, .sheet-bar, .retrace')).every(part => !part.checkVisibility())")
        assert page.evaluate("Array.from(document.querySelectorAll('details')).every(part => part.querySelector('summary').textContent.trim())")
        assert seen.requests == []


@pytest.mark.parametrize("name", PAGES)
def test_tab_reaches_everything_that_can_be_worked_and_shows_where_it_is_and_what_it_is(chromium, demo_folder, name):
    with opened(chromium, demo_folder / f"{name}.html") as (page, seen):
        never, unmarked, unnamed = walked_by_tab(page)
        assert (never, unmarked, unnamed) == ([], [], [])
        seen.assert_quiet()


def reach(page, selector):
    """Go to an element as Tab does, so that its focus mark shows."""
    page.locator(selector).first.focus()
    return page.keyboard


def test_the_localisation_report_can_be_worked_from_the_keyboard_alone(chromium, demo_folder):
    with opened(chromium, demo_folder / "2_localisation.html") as (page, seen):
        reach(page, ".find input").type("H01")
        assert page.text_content(".said").startswith("H01")
        range_ = ".retrace input[type=range]"
        reach(page, range_).press("Home")
        first = page.text_content(".retrace-clock")
        page.keyboard.press("ArrowRight")
        assert page.text_content(".retrace-clock") != first and "record 2 of" in page.text_content(".retrace-clock")
        page.keyboard.press("Escape")
        reach(page, ".themes summary").press("Enter")
        assert page.evaluate("document.querySelector('.themes').open")
        reach(page, ".theme-list input").press("Space")
        assert not page.is_checked(".theme-list input >> nth=0")
        page.keyboard.press("Escape")
        assert page.evaluate("!document.querySelector('.themes').open && document.activeElement.tagName === 'SUMMARY'")
        reach(page, ".measure").press("Enter")
        reach(page, ".folium-map").press("Enter")
        for _ in range(3):
            page.keyboard.press("ArrowRight")
            page.wait_for_timeout(350)
        page.keyboard.press("Enter")
        assert "bearing" in page.text_content(".said")
        page.keyboard.press("Escape")
        reach(page, ".as-picture").press("Space")
        assert page.locator(".twin").first.is_visible()
        reach(page, "#table-fixes thead th:nth-child(2) button").press("Enter")
        assert page.locator("#table-fixes th[aria-sort=ascending]").count() == 1
        folded = "details.folded summary"
        reach(page, folded).press("Enter")
        assert page.evaluate("document.querySelector('details.folded').open")
        reach(page, "#table-fixes tbody .find-tag").press("Enter")
        assert page.evaluate("document.activeElement === document.querySelector('.find input')")
        seen.assert_quiet()
