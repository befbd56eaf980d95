"""Delimited text files."""

import pytest

from intake_sample import codes, said, write
from pipeline.intake.delimited import read_delimited
from pipeline.intake.findings import Findings
from pipeline.intake.log_format import TextFormat

NAMES = ("time_utc", "latitude", "tag_id")
LINES = "time_utc,latitude,tag_id\n2027-04-25T10:00:00Z,57.2,t1\n2027-04-25T10:00:06Z,57.3,t2\n"


def read(folder, content, *, required=False, encoding="utf-8", **text_format):
    findings = Findings()
    path = write(folder, "log.csv", content, encoding=encoding) if isinstance(content, str) else folder / "log.csv"
    if isinstance(content, bytes):
        path.write_bytes(content)
    return read_delimited(path, "log.csv", TextFormat(**text_format), findings, expected=NAMES, required=required), findings


def test_a_plain_file_gives_text_and_line_numbers(tmp_path):
    file, findings = read(tmp_path, LINES)
    assert (file.encoding, file.delimiter, file.decimal) == ("utf-8", ",", ".") and findings.messages == []
    assert list(file.table["latitude"]) == ["57.2", "57.3"] and list(file.lines) == [2, 3]


@pytest.mark.parametrize("sep", [";", "\t", "|"])
def test_other_separators_are_found(tmp_path, sep):
    file, _ = read(tmp_path, LINES.replace(",", sep))
    assert file.delimiter == sep and list(file.table["tag_id"]) == ["t1", "t2"]


def test_decimal_commas_are_found_where_the_comma_is_no_separator(tmp_path):
    file, _ = read(tmp_path, LINES.replace(",", ";").replace("57.", "57,"))
    assert (file.delimiter, file.decimal) == (";", ",")


def test_a_decimal_comma_between_commas_stops_the_run(tmp_path):
    file, findings = read(tmp_path, LINES.replace("57.", "57,"))
    message = said(findings.blocking, "delimiter-decimal")
    assert file is None and message.text.startswith("Cannot tell 48,123 from two columns") and message.line == 2


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "latin-1", "cp1252"])
def test_other_encodings_are_read_and_told(tmp_path, encoding):
    file, findings = read(tmp_path, LINES.replace("t1", "Schn\u00fcffler"), encoding=encoding)
    assert list(file.table["tag_id"]) == ["Schn\u00fcffler", "t2"]
    assert list(file.table.columns)[0] == "time_utc"
    assert said(findings, "encoding-found").text == f"Read as {'latin-1' if encoding == 'cp1252' else encoding}"


def test_utf_16_without_a_mark_is_read(tmp_path):
    assert list(read(tmp_path, LINES.encode("utf-16-le"))[0].table["tag_id"]) == ["t1", "t2"]


def test_a_wrong_declared_encoding_stops_the_run(tmp_path):
    path, findings = write(tmp_path, "log.csv", LINES.replace("t1", "\u00fc")), Findings()
    assert read_delimited(path, "log.csv", TextFormat(encoding="ascii"), findings) is None
    assert said(findings.blocking, "encoding-wrong").text.startswith("Cannot be read as ascii")


def test_an_empty_file_is_left_out(tmp_path):
    file, findings = read(tmp_path, b"")
    message = said(findings, "file-empty")
    assert file is None and message.text == "File has 0 bytes" and message.remedy == "Copy it again from the card" and findings.blocking == []


def test_a_header_without_records_is_left_out(tmp_path):
    file, findings = read(tmp_path, "time_utc,latitude,tag_id\n\n")
    assert file is None and said(findings, "file-header-only").text == "Header but no records"


def test_an_incomplete_last_line_is_dropped(tmp_path):
    file, findings = read(tmp_path, LINES + "2027-04-25T10:00:12Z,57.")
    message = said(findings, "last-line-incomplete")
    assert len(file.table) == 2 and (message.text, message.line, message.severity) == ("Last line incomplete, 1 record dropped", 4, "note")


def test_a_last_cell_cut_short_is_dropped_too(tmp_path):
    file, findings = read(tmp_path, LINES + "2027-04-25T10:00:12Z,57.4,t")
    assert len(file.table) == 2 and codes(findings) == ["last-line-incomplete"]


def test_a_complete_last_line_without_a_line_end_is_kept(tmp_path):
    file, findings = read(tmp_path, LINES.rstrip("\n"))
    assert len(file.table) == 2 and findings.messages == []


def test_damaged_lines_are_dropped_and_told_with_their_number(tmp_path):
    good = "2027-04-25T10:00:12Z,57.4,t1\n"
    file, findings = read(tmp_path, LINES + "2027-04-25T10:0\n" + good * 5)
    message = said(findings, "line-damaged")
    assert len(file.table) == 7 and message.line == 4 and message.text == "1 line with 1 instead of 3 cells"
    assert list(file.lines) == [2, 3, 5, 6, 7, 8, 9]


def test_a_separator_that_changes_within_the_file_is_told(tmp_path):
    _, findings = read(tmp_path, LINES + LINES.split("\n", 1)[1].replace(",", ";"))
    assert said(findings, "line-damaged").line == 4


def test_no_separator_that_fits_stops_the_run(tmp_path):
    file, findings = read(tmp_path, "time latitude\n2027;57,1;3\n2028;57,1\n")
    assert file is None and "Delimiter differs within file, see line 2" == said(findings.blocking, "delimiter-unclear").text


def test_quoted_cells_may_hold_the_separator(tmp_path):
    file, findings = read(tmp_path, LINES.replace("t1", '"t1, old"'))
    assert list(file.table["tag_id"]) == ["t1, old", "t2"] and findings.messages == []


def test_a_separator_at_the_end_of_every_record_is_harmless(tmp_path):
    file, _ = read(tmp_path, "time_utc,latitude,tag_id\na,1,t1,\nb,2,t2,\n")
    assert list(file.table["tag_id"]) == ["t1", "t2"]


def test_comment_lines_above_the_header_are_skipped(tmp_path):
    file, _ = read(tmp_path, "# receiver 7, firmware 2\n\n" + LINES)
    assert list(file.lines) == [4, 5]


def test_nul_bytes_at_the_end_are_told(tmp_path):
    file, findings = read(tmp_path, LINES.encode() + b"\0" * 512)
    assert len(file.table) == 2 and said(findings, "file-padded").text == "512 NUL bytes at the end"


def test_windows_and_old_line_ends_are_read(tmp_path):
    assert len(read(tmp_path, LINES.replace("\n", "\r\n"))[0].table) == 2
    assert len(read(tmp_path, LINES.replace("\n", "\r"))[0].table) == 2


def test_a_missing_file_is_told(tmp_path):
    findings = Findings()
    assert read_delimited(tmp_path / "none.csv", "none.csv", TextFormat(), findings) is None
    assert "No such file" in said(findings.blocking, "file-unreadable").text


def test_an_open_quotation_mark_damages_its_own_line_only(tmp_path):
    file, findings = read(tmp_path, LINES + '2027-04-25T10:00:12Z,"57.4,t3\n' + LINES.split("\n", 1)[1] * 2)
    assert len(file.table) == 6 and said(findings, "line-damaged").text == "1 line with an open quotation mark instead of 3 cells"


def test_a_file_without_a_complete_record_is_left_out(tmp_path):
    file, findings = read(tmp_path, "time_utc,latitude,tag_id\n2027-04")
    assert file is None and "file-no-records" in codes(findings) and findings.blocking == []
