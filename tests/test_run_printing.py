"""Pages as PDF: what is on the sheets, when they are made again, and what is said where no browser is at hand. Read back with poppler's pdfinfo and pdftotext."""

import re
import shutil
import subprocess

import pytest

from pipeline.run import printing
from pipeline.run.commands import main
from pipeline.run.printing import NO_BROWSER, find_browser, print_page, print_pages, remove_outdated, without_dates
from tests.test_run_commands import ending, finished, survey  # noqa: F401


@pytest.fixture(scope="module")
def chromium():
    found = find_browser()
    if not found:
        pytest.skip("no Chromium on this machine, so no page was printed")
    if not shutil.which("pdftotext") or not shutil.which("pdfinfo"):
        pytest.skip("poppler's pdftotext and pdfinfo are not on this machine, so no PDF was read back")
    return found


def info(path):
    told = subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True).stdout
    return dict(line.split(":", 1) for line in told.splitlines() if ":" in line)


def sheets(path):
    """The text of each sheet."""
    return subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True).stdout.split("\f")[:-1]


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """A results folder with one small page."""
    folder = tmp_path_factory.mktemp("results")
    (folder / "index.html").write_text('<title>x</title><p>One sentence. <a href="tables/fixes.csv">the file</a> <a href="#here">below</a></p><p id="here">Here.</p>', encoding="utf-8")
    return folder


def test_the_dates_of_a_pdf_become_blanks_of_the_same_length():
    content = b"<< /Title (D:1)\n/CreationDate (D:20261125173724+00'00')\n/ModDate (D:20261125173724+00'00')>>"
    plain = without_dates(content)
    assert len(plain) == len(content) and b"2026" not in plain and b"/Title (D:1)" in plain


@pytest.mark.parametrize("name", ["1_quality_check", "2_localisation", "4_movement_summaries"])
def test_the_map_that_opens_a_report_stands_on_its_first_sheet_below_the_answer(chromium, demo_folder, name, tmp_path):
    print_page(demo_folder / f"{name}.html", tmp_path / "x.pdf", chromium)
    assert re.search(r"^\s*Map 1\.", sheets(tmp_path / "x.pdf")[0], re.M)


def test_the_sheets_of_a_report_are_numbered_and_hold_the_last_row_of_a_long_table_under_a_repeated_head(chromium, demo_folder, tmp_path):
    print_page(demo_folder / "2_localisation.html", tmp_path / "x.pdf", chromium)
    found, text = info(tmp_path / "x.pdf"), sheets(tmp_path / "x.pdf")
    count = int(found["Pages"])
    assert count > 1 and found["Page size"].strip().endswith("(A4)")
    assert [bool(re.search(rf"Page {number} of {count}\b", sheet)) for number, sheet in enumerate(text, start=1)] == [True] * count
    html = (demo_folder / "2_localisation.html").read_text(encoding="utf-8")
    table = html[html.index('id="table-fixes"'):].split("</table>")[0]
    tag, flight = (re.sub("<[^>]+>", "", cell) for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", table.rsplit("<tr>", 1)[1])[:2])
    on_sheets = [sheet for sheet in text if re.search(r"^\s*Tag\s+Flight\s+", sheet, re.M)]
    assert len(on_sheets) > 1, "the table is longer than a sheet, and its head stands on each"
    assert any(re.search(rf"^\s*{re.escape(tag)}\s+{re.escape(flight)}\s", sheet, re.M) for sheet in on_sheets), f"the last row, {tag} in {flight}, is missing"


def test_maps_stand_on_the_sheets_as_pictures_and_their_controls_do_not(chromium, demo_folder, tmp_path):
    print_page(demo_folder / "index.html", tmp_path / "x.pdf", chromium)
    text = "\n".join(sheets(tmp_path / "x.pdf"))
    assert "Each animal at its newest position" in text
    assert "Find a tag" not in text


def test_a_page_printed_twice_gives_the_same_bytes_and_names_no_folder_of_the_machine(chromium, small, tmp_path):
    print_page(small / "index.html", tmp_path / "a.pdf", chromium)
    print_page(small / "index.html", tmp_path / "b.pdf", chromium)
    content = (tmp_path / "a.pdf").read_bytes()
    assert content == (tmp_path / "b.pdf").read_bytes()
    assert b"file:" not in content and b"fixledger-print" not in content and b"/Date" not in content
    assert "CreationDate" not in info(tmp_path / "a.pdf")


def test_a_pdf_is_made_once_and_again_when_its_page_has_changed(chromium, small):
    assert print_pages(small, chromium).made == ("pdf/index.pdf",)
    first = (small / "pdf" / "index.pdf").stat().st_mtime_ns
    again = print_pages(small, chromium)
    assert (again.made, again.kept) == ((), ("pdf/index.pdf",)) and (small / "pdf" / "index.pdf").stat().st_mtime_ns == first
    (small / "index.html").write_text("<title>x</title><p>Another sentence.</p>", encoding="utf-8")
    assert print_pages(small, chromium).made == ("pdf/index.pdf",)
    assert "Another sentence." in sheets(small / "pdf" / "index.pdf")[0]


def results_with_pdf(folder):
    (folder / "pdf").mkdir()
    (folder / "index.html").write_text("old", encoding="utf-8")
    (folder / "pdf" / "index.pdf").write_bytes(b"%PDF")
    printing._write_hashes(folder, {"index.html": printing.file_sha256(folder / "index.html")})
    return folder


def test_a_pdf_that_no_longer_fits_its_page_is_removed_and_one_that_does_stays(tmp_path):
    folder = results_with_pdf(tmp_path)
    assert remove_outdated(folder) == [] and (folder / "pdf" / "index.pdf").exists()
    (folder / "index.html").write_text("new", encoding="utf-8")
    assert remove_outdated(folder) == ["pdf/index.pdf was removed: its page has changed since. With --pdf it is made again."]
    assert not (folder / "pdf" / "index.pdf").exists() and remove_outdated(folder) == []


def test_a_browser_that_fails_is_named_and_leaves_no_outdated_pdf(tmp_path):
    folder = results_with_pdf(tmp_path)
    (folder / "index.html").write_text("new", encoding="utf-8")
    printed = print_pages(folder, shutil.which("false"))
    assert printed.made == () and "index.html could not be made a PDF" in printed.told[0] and not (folder / "pdf" / "index.pdf").exists()


def test_a_run_counts_the_pdfs_that_it_made_and_those_that_still_fit(survey, ending, tmp_path, monkeypatch, capsys):  # noqa: F811
    ending(finished(tmp_path))
    monkeypatch.setattr(printing, "find_browser", lambda: "browser")
    monkeypatch.setattr(printing, "print_pages", lambda folder, browser: printing.Printed(made=("pdf/index.pdf",), kept=("pdf/a.pdf", "pdf/b.pdf"), told=("One failed.",)))
    assert main(["run", str(survey), "--pdf"]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[1:4] == [f"1 PDF made in {tmp_path / 'out' / 'pdf'}.", f"2 PDFs fitting as they are in {tmp_path / 'out' / 'pdf'}.", "One failed."]


@pytest.mark.usefixtures("survey")
def test_without_a_browser_a_run_says_what_to_do_and_ends_as_it_would_have(survey, ending, tmp_path, monkeypatch, capsys):  # noqa: F811
    ending(finished(tmp_path))
    monkeypatch.setattr(printing, "find_browser", lambda: None)
    assert main(["run", str(survey), "--pdf"]) == 0
    assert NO_BROWSER in capsys.readouterr().out.splitlines()


def test_a_browser_that_is_not_on_the_path_can_be_named(monkeypatch, tmp_path):
    own = tmp_path / "my browser"
    own.write_text("#!/bin/sh\n")
    own.chmod(0o755)
    monkeypatch.setenv("FIXLEDGER_BROWSER", str(own))
    assert find_browser() == str(own)


def test_the_help_of_run_says_what_the_pdf_needs(capsys):
    assert main(["run", "--help"]) == 0
    assert "pdf/NAME.pdf" in " ".join(capsys.readouterr().out.split())
