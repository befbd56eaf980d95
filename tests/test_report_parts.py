"""The parts of a report: words, tables, figures, messages, and the files they leave."""

import numpy as np
import pandas as pd
import pytest

from pipeline.figures.style import figure_as_png
from pipeline.messages import Message
from pipeline.exchange import write_csv_table
from pipeline.report import Book, Column, see
from pipeline.report.cells import cell_text, default_format
from pipeline.report.display import PART_MIMETYPE, shown
from pipeline.report.page import running_heads
from pipeline.report.picture import picture_html
from tests.report_sample import AWKWARD_NAMES, full_sheet, sample_figure


@pytest.fixture
def book(tmp_path):
    return Book(tmp_path / "tables", tmp_path / "figures")


def test_text_is_text_whatever_it_holds():
    assert shown("<b>bold</b> & 'so'") == "&lt;b&gt;bold&lt;/b&gt; &amp; &#x27;so&#x27;"


def test_a_reference_becomes_a_link_and_cannot_be_forged_by_plain_text():
    assert shown(f"as {see('table', 'fixes')} says") == 'as <a class="see" data-for="table:fixes" href="#table-fixes">table fixes</a> says'
    assert shown("as [table:fixes] says") == "as [table:fixes] says"
    with pytest.raises(ValueError, match="table, figure or map"):
        see("chapter", "one")


def test_an_answer_is_set_apart_and_a_heading_has_a_level_inside_the_page(book):
    assert 'class="words lead"' in book.answer("22 of 28.").report_html()
    assert "<h3>Two flights</h3>" in book.words("Two flights", level=3).report_html()
    with pytest.raises(ValueError, match="level 2, 3 or 4"):
        book.words("Title", level=1).report_html()


def test_a_table_has_heads_with_units_row_heads_and_figures_to_the_right(book, tmp_path):
    frame = pd.DataFrame({"tag_id": ["Hare 1", "Hare 2"], "error_m": [71.26, np.nan], "located": [True, False]})
    html = book.table("errors", frame, "Errors.", {"tag_id": ("Tag",), "error_m": ("Error", "m", ".0f"), "located": "Located"}).report_html()
    assert '<th scope="col"><button type="button">Tag</button></th>' in html
    assert '<th scope="col" class="figure-cell"><button type="button">Error</button><span class="unit">m</span></th>' in html
    assert '<th scope="row">Hare 1</th><td class="figure-cell">71</td><td>yes</td>' in html
    assert '<td class="figure-cell">\u2013</td><td>no</td>' in html
    assert 'href="tables/errors.csv"' in html
    assert (tmp_path / "tables" / "errors.csv").read_bytes() == b"tag_id,error_m,located\nHare 1,71.26,true\nHare 2,,false\n"


def test_files_that_the_notes_of_a_table_speak_of_are_linked_after_its_own(book):
    html = book.table("effort", pd.DataFrame({"flight_id": ["f1"]}), "Effort.", saved_as="effort.csv", beside=("flights.csv", "searched_area.csv")).report_html()
    assert [part.split('"')[0] for part in html.split('class="source" href="')[1:]] == ["tables/effort.csv", "tables/flights.csv", "tables/searched_area.csv"]


def test_a_long_table_says_how_many_rows_it_has(book):
    html = book.table("long", pd.DataFrame({"n": range(300)}), "Long.", most_rows=50).report_html()
    assert html.count("<tr>") == 51 and "The first 50 of 300 rows; all are in the file." in html


def test_an_empty_table_says_so(book):
    assert "No row." in book.table("empty", pd.DataFrame({"n": []}), "Empty.").report_html()


def test_a_table_that_lacks_a_column_names_it(book):
    with pytest.raises(ValueError, match="table 'fixes' lacks error_m; it has tag_id"):
        book.table("fixes", pd.DataFrame({"tag_id": ["Hare 1"]}), "Fixes.", {"error_m": Column("Error", "m")})


def test_a_table_already_saved_is_linked_and_not_written_again(book, tmp_path):
    html = book.table("positions", pd.DataFrame({"n": [1]}), "Positions.", saved_as="fixes.csv").report_html()
    assert 'href="tables/fixes.csv"' in html and not (tmp_path / "tables").exists()


def test_a_name_is_used_once_and_can_be_a_file(book):
    book.table("fixes", pd.DataFrame({"n": [1]}), "Once.")
    with pytest.raises(ValueError, match="already has a table of that name"):
        book.table("fixes", pd.DataFrame({"n": [1]}), "Twice.")
    with pytest.raises(ValueError, match="cannot name a file"):
        book.words(see("table", "../fixes"))


@pytest.mark.parametrize("value, chosen, text", [
    (71.26, ".1f", "71.3"), (-0.04, ".1f", "0.0"), (-3.0, ".1f", "\u22123.0"), (12345.6, ".3g", "12300"), (3, "d", "3"), (0.617, "share", "0.62"), (None, ".1f", "\u2013"), (None, "text", ""),
    (True, "flag", "yes"), (pd.Timestamp("2024-05-03T06:12:59Z"), "time", "2024-05-03 06:12"), (pd.Timestamp("2024-05-03"), "date", "2024-05-03"), (pd.NaT, "time", ""), (2.0, lambda value: f"{value:.0f} of 3", "2 of 3"),
])
def test_a_value_is_written_to_the_precision_it_has(value, chosen, text):
    assert cell_text(value, chosen) == text


def test_the_kind_of_a_column_chooses_its_format():
    frame = pd.DataFrame({"a": [True], "b": [1], "c": [1.5], "d": ["x"], "e": pd.to_datetime(["2024-05-03"], utc=True)})
    assert [default_format(frame[name]) for name in frame] == ["flag", "d", ".3g", "text", "time"]


def test_a_csv_keeps_full_precision_and_times_in_utc(tmp_path):
    frame = pd.DataFrame({"time_utc": pd.to_datetime(["2024-05-03T06:12:30.5Z", None], utc=True), "value": [0.1 + 0.2, np.nan], "n": pd.array([1, None], dtype="Int64")})
    write_csv_table(tmp_path / "t.csv", frame)
    assert (tmp_path / "t.csv").read_text() == "time_utc,value,n\n2024-05-03T06:12:30.5Z,0.30000000000000004,1\n,,\n"


def test_a_figure_needs_words_for_those_who_cannot_see_it(book):
    with pytest.raises(ValueError, match="needs an alternative text"):
        book.figure("strength", sample_figure(), "Strength.", " ")


def test_a_figure_takes_its_colours_from_the_page_and_leaves_two_files(book, tmp_path):
    html = book.figure("strength", sample_figure(), "Strength.", 'It "falls".').report_html()
    assert 'role="img" aria-label="It &quot;falls&quot;."' in html and "var(--heard, #2b6c99)" in html and "<metadata" not in html
    assert sorted(path.name for path in (tmp_path / "figures").iterdir()) == ["strength.png", "strength.svg"]


def test_a_heavy_figure_is_shown_as_a_picture():
    assert picture_html("<svg>" + "x" * 400_000 + "</svg>", figure_as_png(sample_figure()), "Many marks.", "heavy").startswith('<img class="drawn" alt="Many marks."')


def test_a_figure_is_saved_with_the_same_bytes_twice(tmp_path):
    for folder in ("one", "two"):
        Book(tmp_path, tmp_path / folder).figure("strength", sample_figure(), "Strength.", "It falls.")
    for name in ("strength.svg", "strength.png"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_messages_come_worst_first_with_their_words():
    book = Book("tables", "figures")
    html = book.messages([Message("note", "mended", "rows were doubled", done="counted once"), Message("stop", "no-position", "no position", file="a.csv", line=3)]).report_html()
    assert html.index("<strong>Stop</strong>") < html.index("<strong>Note</strong>")
    assert "a.csv line 3" in html and "Done: counted once." in html


@pytest.mark.parametrize("value, seen", [("-86 dB", "−86 dB"), ("-115.0 dB", "−115.0 dB"), ("-9999", "-9999"), ("0429-b", "0429-b"), ("-a", "-a")])
def test_a_measured_value_of_a_message_has_the_true_minus_sign_and_text_of_a_file_stays_as_written(book, value, seen):
    assert f"<code>{seen}</code>" in book.messages([Message("look", "code", "Text", value=value)]).report_html().replace("\u00a0", " ")


def test_many_messages_of_one_rule_are_counted():
    html = Book("tables", "figures").messages([Message("look", "ceiling", f"row {row}") for row in range(40)], file="tables/messages.csv").report_html()
    assert html.count("<strong>Look</strong>") == 5 and "35 more of the kind ceiling." in html and "tables/messages.csv" in html


def test_no_message_is_said_in_words():
    assert "Nothing was noticed." in Book("tables", "figures").messages([]).report_html()


def test_every_part_shows_itself_in_jupyterlab_too(book):
    for part in (book.words("A finding", "Text."), book.table("t", pd.DataFrame({"n": [1]}), "T."), book.figure("f", sample_figure(), "F.", "A."), book.messages([])):
        bundle = part._repr_mimebundle_()
        assert bundle["text/html"].startswith("<style>") and "0x" not in bundle["text/plain"]
    shown_map = book.map("places", full_sheet(["Hare 1"]), "Places.")._repr_mimebundle_()
    assert shown_map["text/html"].startswith("<iframe title=") and "http" not in shown_map[PART_MIMETYPE].split("<script>")[0].replace("http://www.w3.org", "")


def test_awkward_names_stay_text_in_every_part(book):
    frame = pd.DataFrame({"tag_id": list(AWKWARD_NAMES)})
    parts = [book.table("names", frame, AWKWARD_NAMES[5]), book.words(AWKWARD_NAMES[3], *AWKWARD_NAMES), book.messages([Message("look", "name", name, file=name, value=name) for name in AWKWARD_NAMES])]
    for part in parts:
        html = part.report_html()
        assert "<script>" not in html and "<b>bold" not in html


def test_the_running_head_cannot_leave_its_string():
    rules = running_heads('Where "tags" are</style>', "a\\b\n}")
    assert '"tags"' not in rules and "</style>" not in rules and "\n" not in rules and "}" not in rules.split('content:"')[1].split('"')[0]


def test_a_number_keeps_its_unit_on_the_line_of_a_heading(book):
    html = book.words("Errors of 240 m and 95 % of 12 minutes").report_html()
    assert "240\u00a0m and 95\u00a0% of 12 minutes" in html
