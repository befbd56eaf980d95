"""Going over a flight or the dates of an animal as a reader does: by pointer, keyboard and play button, with the network off."""

import re

import nbformat
import pytest

from pipeline.report import Book, export_report
from tests.browser import accessibility_faults, opened, overflow_px
from tests.report_sample import AWKWARD_NAMES
from tests.retrace_sample import dated_sheet, flight_sheet

NAMES = ["Hare 1", "Hare 2", "Hare 3"]
MOMENT = ".retrace input[type=range]"


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """flight.html and dates.html, and both with awkward names."""
    folder = tmp_path_factory.mktemp("retrace")
    for name, sheet in (("flight", flight_sheet(NAMES)), ("dates", dated_sheet(NAMES)), ("awkward-flight", flight_sheet(list(AWKWARD_NAMES[3:]))), ("awkward-dates", dated_sheet(list(AWKWARD_NAMES[5:])))):
        part = Book(folder, folder).map(name, sheet, "A map.")
        cells = [nbformat.v4.new_markdown_cell("# Retraced"), nbformat.v4.new_code_cell("show(part)", outputs=[nbformat.v4.new_output("display_data", data=part._repr_mimebundle_())])]
        (folder / f"{name}.html").write_text(export_report(nbformat.v4.new_notebook(cells=cells), title="Retraced", campaign="Invented"), encoding="utf-8")
        (folder / f"{name}-alone.html").write_text(part.alone_html, encoding="utf-8")
    return folder


def move(page, value):
    """The range set by script, as dragging it would."""
    page.evaluate("([range, value]) => { range.value = value; range.dispatchEvent(new Event('input', { bubbles: true })); }", [page.query_selector(MOMENT), value])


def wait_for(page, value):
    """Until the range has come to a value or gone beyond it; by asking again, since the page's policy lets no test wait inside it."""
    for _ in range(200):
        if shown(page)["value"] >= value:
            return
        page.wait_for_timeout(40)
    raise AssertionError(f"the range stands at {shown(page)['value']} and not at {value}")


def shown(page):
    """Where the receiver is, area of the drawn 0.95 region in hectares, marks shown, and the words."""
    return page.evaluate("""() => { const sheet = fixledger.opened[0], run = sheet.retrace.run;
        const area = ring => Math.abs(ring.map(place => sheet.grid.metres(place)).reduce((sum, a, i, all) => { const b = all[(i + 1) % all.length]; return sum + a[0] * b[1] - a[1] * b[0]; }, 0) / 2);
        const marks = field => (field.getElement().getAttribute('d').replace('M0 0', '').match(/M/g) || []).length;
        return { at: run.layers ? sheet.grid.metres(run.receiver.marks[0].place) : null, hectares: run.layers ? run.wide.getLatLngs().flat().reduce((sum, ring) => sum + (ring.length ? area(ring) : 0), 0) / 1e4 : null,
            marks: run.layers ? run.fields.map(marks) : null, said: document.querySelector('.retrace-said').textContent, clock: document.querySelector('.retrace-clock').textContent,
            spoken: document.querySelector('.retrace input').getAttribute('aria-valuetext'), value: Number(document.querySelector('.retrace input').value) }; }""")


def test_before_a_tag_is_chosen_the_control_says_what_to_do(running, pages):
    with opened(running, pages / "flight.html") as (page, seen):
        assert page.locator(".retrace-hint").is_visible() and not page.locator(MOMENT).is_visible()
        page.fill(".find input", "Hare 3")
        assert page.text_content(".retrace-hint") == "No flight of Hare 3 can be retraced: that is kept for the positions of animals."
        page.fill(".find input", "Hare 1")
        assert not page.locator(".retrace-hint").is_visible() and page.get_by_label("Moment of the flight").is_visible()
        assert page.evaluate("Array.from(document.querySelectorAll('.retrace option')).map(option => option.textContent)") == ["flight 1", "flight 2"]
        assert accessibility_faults(page) == []
        seen.assert_quiet()


def test_a_flight_that_is_chosen_shows_its_own_region_at_once_and_not_that_of_another(running, pages):
    with opened(running, pages / "flight.html") as (page, seen):
        page.fill(".find input", "Hare 1")
        assert shown(page)["hectares"] is None and page.locator(".retrace-leave").is_disabled()
        page.select_option(".retrace select", index=1)
        at_once = shown(page)
        assert at_once["hectares"] > 0 and "Hare 1 heard in" in at_once["said"] and page.locator(".retrace-leave").is_enabled()
        last = page.evaluate("Number(document.querySelector('.retrace input').max)")
        assert at_once["value"] == last
        move(page, last - 1)
        move(page, last)
        assert shown(page)["hectares"] == at_once["hectares"]
        page.click(".retrace-leave")
        assert shown(page)["hectares"] is None
        seen.assert_quiet()


def test_moving_the_range_moves_the_receiver_and_the_region_and_says_so(running, pages):
    with opened(running, pages / "flight.html") as (page, seen):
        page.fill(".find input", "Hare 1")
        move(page, 0)
        first = shown(page)
        assert first["said"] == "Hare 1 has not been heard yet in flight 1: no region can be drawn." and first["hectares"] == 0
        move(page, 40)
        wide = shown(page)
        # the receiver is where track() has it at that record: radius 500 + 350 sin(turn / 2) round (-250, 0), flattened
        turn = 40 / 119 * 4 * 3.141592653589793
        radius = 500 + 350 * page.evaluate(f"Math.sin({turn} / 2)")
        assert wide["at"] == pytest.approx([radius * page.evaluate(f"Math.cos({turn})") - 250, radius * page.evaluate(f"Math.sin({turn})") * 0.8], abs=1.5)
        assert wide["said"] == ("Hare 1 heard in 10 of its first 30 records. With probability 0.95 it is inside 250 ha, within 900 m of the middle of that region."
                                " The region reaches the edge of the ground looked at; it is larger than said.")
        assert wide["clock"] == wide["spoken"] == "06:04:00 UTC \u00b7 minute 4.0 \u00b7 record 41 of 120"
        move(page, 119)
        last = shown(page)
        assert last["said"] == "Hare 1 heard in 40 of its first 120 records. With probability 0.95 it is inside 3.1 ha, within 100 m of the middle of that region."
        # polygons of 16 corners in discs of 900 and 100 m
        assert wide["hectares"] == pytest.approx(8 * 0.9**2 * 100 * 0.38268, rel=0.02) and last["hectares"] == pytest.approx(8 * 0.38268, rel=0.03)
        assert wide["at"] != first["at"]
        seen.assert_quiet()


def test_marks_appear_as_they_were_heard(running, pages):
    with opened(running, pages / "flight.html") as (page, _):
        page.fill(".find input", "Hare 2")
        counts = []
        for value in (0, 30, 119):
            move(page, value)
            counts.append(sum(shown(page)["marks"]))
        assert counts == [1, 31, 120]


def test_another_flight_is_another_run_and_leaving_puts_the_map_back(running, pages):
    with opened(running, pages / "flight.html") as (page, _):
        page.fill(".find input", "Hare 1")
        assert page.get_by_role("button", name="Leave the flight").is_disabled()
        before = page.evaluate("[document.querySelectorAll('path.region:not(.faded)').length, fixledger.opened[0].map.getZoom()]")
        chosen = page.text_content(".said")
        assert chosen.startswith("Hare 1: best place at 57.")
        move(page, 10)
        assert page.text_content(".said") == "Hare 1 in flight flight 1 alone, as it went on. Leave the flight to see the place stated for the tag."
        assert page.evaluate("Array.from(document.querySelectorAll('path.region.aside')).every(path => getComputedStyle(path).display === 'none') && document.querySelectorAll('path.region.aside').length") == 3
        first = shown(page)["at"]
        page.select_option(".retrace select", "flight 2")
        assert page.locator("path.mark-receiver").count() == 1 and shown(page)["value"] == page.evaluate("Number(document.querySelector('.retrace input').max)")
        move(page, 10)
        assert shown(page)["at"] != first
        page.get_by_role("button", name="Leave the flight").click()
        assert page.locator("path.mark-receiver, path.aside").count() == 0 and page.text_content(".retrace-said") == "" and page.text_content(".said") == chosen
        assert page.evaluate("[document.querySelectorAll('path.region:not(.faded)').length, fixledger.opened[0].map.getZoom()]") == before
        assert page.evaluate("document.activeElement.type") == "range"
        # the control is back at the flight that the map shows, and no moment of the flight that was left stands beside it
        assert page.evaluate("document.querySelector('.retrace select').value") == "flight 1" and page.text_content(".retrace-clock") == ""
        move(page, 10)
        page.fill(".find input", "")
        assert page.locator("path.mark-receiver, path.aside").count() == 0 and page.locator(".retrace-hint").is_visible()


def test_the_range_is_worked_from_the_keyboard(running, pages):
    with opened(running, pages / "flight.html") as (page, seen):
        page.fill(".find input", "Hare 1")
        page.focus(MOMENT)
        page.keyboard.press("Home")
        assert shown(page)["value"] == 0
        page.keyboard.press("ArrowRight")
        page.keyboard.press("ArrowRight")
        assert shown(page)["clock"].endswith("record 3 of 120")
        page.keyboard.press("PageUp")
        assert shown(page)["value"] > 5
        page.keyboard.press("End")
        assert shown(page)["clock"].endswith("record 120 of 120")
        page.keyboard.press("Escape")
        assert page.locator("path.mark-receiver").count() == 0
        seen.assert_quiet()


def test_play_goes_on_by_itself_and_pauses_and_nothing_plays_unasked(running, pages):
    with opened(running, pages / "flight.html") as (page, seen):
        page.emulate_media(reduced_motion="no-preference")
        page.fill(".find input", "Hare 1")
        page.wait_for_timeout(300)
        assert page.locator("path.mark-receiver").count() == 0
        page.focus(".retrace-play")
        page.keyboard.press("Enter")
        assert page.text_content(".retrace-play") == "Pause" and page.get_attribute(".retrace-play", "aria-pressed") == "true"
        wait_for(page, 4)
        page.keyboard.press("Space")
        assert page.text_content(".retrace-play") == "Play"
        held = shown(page)["value"]
        page.wait_for_timeout(500)
        assert 3 < held < 119 and shown(page)["value"] == held
        page.click(".retrace-play")
        wait_for(page, held + 1)
        move(page, 50)
        page.wait_for_timeout(400)
        assert shown(page)["value"] == 50 and page.text_content(".retrace-play") == "Play"
        move(page, 118)
        page.click(".retrace-play")
        wait_for(page, 119)
        assert page.text_content(".retrace-play") == "Play"
        seen.assert_quiet()


def test_for_less_motion_play_goes_from_moment_to_moment(running, pages):
    with opened(running, pages / "flight.html") as (page, _):       # this browser asks for less motion
        page.fill(".find input", "Hare 1")
        page.click(".retrace-play")
        assert shown(page)["value"] == 0
        wait_for(page, 1)
        assert shown(page)["value"] == 29


def test_what_is_said_changes_at_moments_only(running, pages):
    with opened(running, pages / "flight.html") as (page, _):
        page.fill(".find input", "Hare 1")
        page.evaluate("window.changes = 0; new MutationObserver(list => { window.changes += list.length; }).observe(document.querySelector('.retrace-said'), { childList: true, characterData: true, subtree: true })")
        for value in range(0, 120, 5):
            move(page, value)
        move(page, 119)
        page.wait_for_timeout(50)
        assert page.evaluate("window.changes") == 5       # nothing heard yet, then four moments
        assert page.get_attribute(".retrace-said", "aria-live") == "polite" and page.get_attribute(".retrace-clock", "aria-live") == "off"


def test_dates_show_one_position_strongly_and_earlier_ones_faintly(running, pages):
    with opened(running, pages / "dates.html") as (page, seen):
        page.fill(".find input", "Hare 1")
        move(page, 1)
        state = page.evaluate("""() => fixledger.opened[0].regionShapes.filter(shape => shape.tag === 0).map(shape => [shape.flight, shape.getElement().classList.contains('earlier'), shape.getElement().classList.contains('aside')])""")
        assert sorted({tuple(each) for each in state}) == [("f1", True, False), ("f2", False, False), ("f3", False, True)]
        assert page.evaluate("[fixledger.opened[0].retrace.run.before.marks.length, fixledger.opened[0].retrace.run.now.marks.length]") == [1, 1]
        assert page.text_content(".retrace-said") == "4 May 2024, <b>f2</b>" and page.locator(".retrace-said b").count() == 0
        assert page.text_content(".retrace-clock") == "position 2 of 3"
        assert page.evaluate("Array.from(document.querySelectorAll('.map-words span:not(.no-room)')).map(word => word.textContent).sort()") == ["Hare 1 1", "Hare 1 2"]
        page.get_by_role("button", name="Show all").click()
        assert page.locator("path.aside, path.earlier").count() == 0
        page.fill(".find input", "Hare 2")
        assert page.text_content(".retrace-hint") == "Hare 2 has fewer than two positions to go through."
        seen.assert_quiet()


@pytest.mark.parametrize("name", ["awkward-flight", "awkward-dates"])
def test_awkward_names_are_said_as_text_and_run_nothing(running, pages, name):
    tag = AWKWARD_NAMES[3 if name == "awkward-flight" else 5]
    with opened(running, pages / f"{name}.html") as (page, seen):
        page.fill(".find input", tag)
        move(page, 2)
        if name == "awkward-flight":
            move(page, 119)
            assert tag in page.text_content(".retrace-said")
        page.fill(".find input", AWKWARD_NAMES[6])
        assert AWKWARD_NAMES[6] in page.text_content(".retrace-hint")
        assert page.locator(".retrace b, .retrace script").count() == 0
        assert page.title().startswith("Retraced")
        seen.assert_quiet()


@pytest.mark.parametrize("width_px, dark", [(1300, True), (400, False)])
def test_the_control_fits_narrow_and_dark_windows(running, pages, width_px, dark):
    with opened(running, pages / "flight.html", width_px=width_px, dark=dark) as (page, seen):
        page.fill(".find input", "Hare 1")
        move(page, 60)
        assert overflow_px(page) == 0 and accessibility_faults(page) == []
        seen.assert_quiet()


def test_print_and_pages_without_scripts_show_the_twin_and_no_control(running, pages):
    with opened(running, pages / "flight.html", paper=True) as (page, _):
        assert page.locator(".twin").is_visible() and not page.locator(".retrace").is_visible()
    with opened(running, pages / "flight.html", scripts=False) as (page, _):
        assert page.locator(".twin").is_visible() and not page.locator(".retrace").is_visible()


def test_a_map_that_stands_alone_can_be_gone_over_as_well(running, pages):
    with opened(running, pages / "flight-alone.html") as (page, seen):
        page.fill(".find input", "Hare 1")
        move(page, 119)
        assert shown(page)["hectares"] == pytest.approx(3.06, rel=0.03)
        seen.assert_quiet()


def test_the_first_drawing_of_a_map_is_measured(running, pages):
    with opened(running, pages / "flight.html") as (page, _):
        measured = page.evaluate("performance.getEntriesByName('map drawn').map(entry => entry.duration)")
        assert len(measured) == 1 and re.fullmatch(r"\d+(\.\d+)?(e-\d+)?", str(measured[0]))
