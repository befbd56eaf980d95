"""From an executed notebook to one page: numbers, anchors, refusals, and the same bytes every time."""

import re

import nbformat
import pytest

from pipeline.report import Book, ReportError, export_report, render_index, see
from pipeline.report.formulas import formula_to_mathml, words_to_html
from pipeline.report.numbering import number_headings, number_parts
from pipeline.report.page import refuse_network, refuse_silent_pictures
from tests.report_sample import sample_folder, sample_report


def notebook(*cells):
    for index, cell in enumerate(cells):
        cell["id"] = f"cell-{index}"
    return nbformat.v4.new_notebook(cells=list(cells))


def words(text):
    return nbformat.v4.new_markdown_cell(text)


def showing(*outputs, source="secret_source()"):
    return nbformat.v4.new_code_cell(source, outputs=list(outputs))


def part(made):
    return nbformat.v4.new_output("display_data", data=made._repr_mimebundle_())


def exported(*cells, **how):
    return export_report(notebook(*cells), **{"title": "Where the tags are", "campaign": "Invented valley", **how})


@pytest.fixture(scope="module")
def report():
    return (sample_folder() / "localisation.html").read_text(encoding="utf-8")


def test_a_report_has_one_title_a_language_landmarks_and_no_code(report):
    assert report.count("<h1") == 1 and '<html lang="en">' in report
    assert all(f"<{landmark}" in report for landmark in ("header", "main", "footer", "nav"))
    assert "show(part)" not in report and "config_path" not in report
    assert 'href="notebooks/2_localisation.ipynb"' in report


def test_parts_are_numbered_in_reading_order_and_references_follow(report):
    assert re.findall(r'<span class="number">([^<]+)</span>', report) == ["Map 1.", "Table 1.", "Figure 1.", "Map 2."]
    assert '<a class="see" href="#map-places">Map 1</a>' in report and '<a class="see" href="#table-sample-fixes">Table 1</a>' in report


def test_the_contents_lead_to_every_heading(report):
    anchors = re.findall(r'<li class="level-[23]"><a href="#([^"]+)"', report)
    assert anchors and all(f'id="{anchor}"' in report for anchor in anchors)


def test_every_id_is_given_once(report):
    body = re.sub(r"<script>.*?</script>", "", report, flags=re.S)
    ids = re.findall(r'\sid="([^"]+)"', body)
    assert len(ids) == len(set(ids))


def test_the_policy_lets_nothing_in_but_the_pages_own_scripts(report):
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', report).group(1)
    assert policy.startswith("default-src &#39;none&#39;; img-src data:") and policy.count("sha256-") == report.count("<script>")


def test_the_cautions_and_what_the_run_used_close_the_page(report):
    assert report.index("<main") < report.index("Before anyone acts on this") < report.index("What this run used")


def test_map_code_is_carried_once_and_only_where_a_map_is(report):
    assert report.count("Leaflet 1.9") == 1
    assert "fixledger.openSheet" not in exported(words("# Title\n\nText."))


def test_two_exports_have_the_same_bytes(report, tmp_path):
    assert sample_report(tmp_path) == report


def test_a_failed_cell_stops_the_export_or_is_told_in_a_banner():
    failed = showing(nbformat.v4.new_output("error", ename="ValueError", evalue="no <b>beacon</b>", traceback=["..."]))
    with pytest.raises(ReportError, match="1 cell.s. of the notebook failed"):
        exported(words("# Title"), failed)
    page = exported(words("# Title"), failed, partial=True)
    assert "This report is incomplete." in page and "ValueError: no &lt;b&gt;beacon&lt;/b&gt;" in page


def test_a_bare_picture_is_refused():
    with pytest.raises(ReportError, match="without alternative text"):
        exported(showing(nbformat.v4.new_output("display_data", data={"image/png": "aGFyZQ=="})))
    with pytest.raises(ValueError, match="no alternative text"):
        exported(words('<img src="data:image/png;base64,aGFyZQ==">'))


@pytest.mark.parametrize("html", ['<img alt="x" src="https://example.org/a.png">', '<script src="//example.org/a.js"></script>', '<link rel="stylesheet" href="https://example.org/a.css">', '<p style="background:url(https://example.org/a.png)">', '<style>@import "https://example.org/a.css";</style>', '<iframe src="http://example.org"></iframe>', '<svg aria-label="x"><image xlink:href="https://example.org/a.png"/></svg>'])
def test_a_reference_to_the_network_is_refused(html):
    with pytest.raises(ValueError, match="refers to the network"):
        refuse_network(html)


def test_a_plain_link_and_a_name_that_looks_like_one_are_no_request():
    refuse_network('<a href="https://example.org/paper">paper</a> src = //server')
    refuse_silent_pictures('<svg class="key" aria-hidden="true"></svg><svg role="img" aria-label="It falls."></svg>')


def test_a_reference_that_leads_nowhere_stops_the_export():
    with pytest.raises(ValueError, match="refers to table missing"):
        exported(showing(part(Book("t", "f").words("Head", f"See {see('table', 'missing')}."))))


def test_the_same_part_twice_is_refused():
    with pytest.raises(ValueError, match="appears twice"):
        number_parts('<span class="number" data-for="table:a">Table</span>' * 2)


def test_headings_alike_get_different_anchors():
    body, contents = number_headings("<h2>One & two</h2><h3>One &amp; two</h3><h4>Deep</h4>")
    assert [entry.id for entry in contents] == ["s-one-two", "s-one-two-2"] and 'id="s-deep"' in body


def test_a_first_level_heading_in_the_middle_is_lowered():
    assert words_to_html("# Head").startswith("<h2>Head</h2>")


def test_formulas_need_no_script_and_wrong_ones_are_refused():
    assert "<math" in formula_to_mathml("P - 10 n \\log_{10} d")
    with pytest.raises(ValueError, match="cannot be shown"):
        formula_to_mathml("\\unknowncommand{x}")


def test_titles_are_text():
    page = exported(words("Text."), title="<script>alert(1)</script>", campaign='a"b', links=[("x.html", "<i>x</i>", False)])
    assert "<script>alert" not in page and "<i>x" not in page


def test_an_unknown_status_is_refused():
    with pytest.raises(ValueError, match="draft, checked, final"):
        exported(words("Text."), status="done")


def test_the_index_answers_in_words_and_says_what_is_not_recorded():
    page = (sample_folder() / "index.html").read_text(encoding="utf-8")
    assert "Can I trust the positions, and where not?" in page and "51 of the 54" in page
    assert page.count("not recorded") == 3 and "The four reports" in page and "<b>4</b>to look at" in page
    assert "marked sensitive" in page and page.count("data:image/webp") >= 4


def test_the_index_has_room_for_five_steps():
    with pytest.raises(ValueError, match="5 next steps, got 6"):
        render_index(title="T", campaign="C", next_steps=["step"] * 6)


def test_the_index_of_a_campaign_that_found_nothing_is_still_a_page():
    page = render_index(title="T", campaign="C", opening=["No tag was heard."])
    assert "No tag was heard." in page and "Nothing was noticed" in page and "What to do next" not in page
