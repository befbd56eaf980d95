"""The demo's pages as a reader's browser sees them, with the network off: wide, narrow, dark and printed."""

import pytest

from tests.browser import accessibility_faults, browser, drawn_maps, opened, overflow_px

PAGES = {"index": 1, "1_quality_check": 1, "2_localisation": 2, "3_error_calibration": 1, "4_movement_summaries": 1, "appendix": 0}
LARGEST_BYTES = 5_000_000


@pytest.fixture(scope="module")
def chromium():
    with browser() as running:
        yield running


@pytest.mark.parametrize("width_px, dark", [(1300, False), (1300, True), (400, False)])
@pytest.mark.parametrize("name, maps", PAGES.items())
def test_a_page_is_quiet_draws_its_maps_fits_its_window_and_has_no_accessibility_fault(chromium, demo_folder, name, maps, width_px, dark):
    with opened(chromium, demo_folder / f"{name}.html", width_px=width_px, dark=dark) as (page, seen):
        seen.assert_quiet()
        assert drawn_maps(page) == (maps, maps)
        assert overflow_px(page) == 0
        assert accessibility_faults(page) == []


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_small_and_prints_its_maps_as_pictures(chromium, demo_folder, name, tmp_path):
    assert (demo_folder / f"{name}.html").stat().st_size < LARGEST_BYTES
    with opened(chromium, demo_folder / f"{name}.html", paper=True) as (page, _):
        shown = page.evaluate("Array.from(document.querySelectorAll('.leaflet-container')).filter(map => map.offsetParent !== null).length")
        heads = page.evaluate("Array.from(document.querySelectorAll('thead button')).every(head => getComputedStyle(head).display === 'contents')")
        page.pdf(path=tmp_path / "page.pdf", format="A4", prefer_css_page_size=True)
    assert shown == 0
    assert heads, "heads of tables that are buttons are left out where Chromium repeats them on the next sheet"
    assert (tmp_path / "page.pdf").stat().st_size > 20_000


def test_links_between_the_pages_lead_somewhere(chromium, demo_folder):
    for name in PAGES:
        with opened(chromium, demo_folder / f"{name}.html") as (page, _):
            links = page.evaluate("Array.from(document.querySelectorAll('a[href]')).map(a => a.getAttribute('href')).filter(h => !h.startsWith('#'))")
        assert [link for link in links if not (demo_folder / link.split("#")[0]).exists()] == []
