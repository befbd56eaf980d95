"""Delimited text files as tables of text: encoding, separator, decimal sign and damaged lines found and told, never guessed silently."""

from __future__ import annotations

import csv
import hashlib
import io
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.intake.findings import Findings
from pipeline.intake.log_format import TextFormat

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
_SAMPLE_LINES = 300
_DECIMAL_COMMA = re.compile(r"^\s*[-+]?\d+,\d+\s*$")


@dataclass(frozen=True)
class DelimitedFile:
    """A text table as it stands in a file.

    table : every cell as text (blank = ""), the columns named as in the header; row i stands in line `lines[i]` of the file.
    """

    name: str
    encoding: str
    delimiter: str
    decimal: str
    table: pd.DataFrame
    lines: np.ndarray


def sha256_of(content: bytes) -> str:
    """SHA-256 of the bytes as hexadecimal text."""
    return hashlib.sha256(content).hexdigest()


def read_delimited(path: Path, name: str, text_format: TextFormat, findings: Findings, *, expected=(), required=True, may_be_empty=False) -> DelimitedFile | None:
    """Read a delimited text file as text, or say why not and return None.

    expected : names of columns that the header should hold; they decide between separators that would both fit.
    required : whether a file that cannot be used blocks the run (a register) or is left out (one log of several).
    may_be_empty : a header without records is a table without rows.
    """
    refuse = findings.blocked if required else findings.left_out
    try:
        content = path.read_bytes()
    except OSError as error:
        refuse("file-unreadable", f"cannot be read: {error.strerror}", file=name, remedy="check the path and the permissions")
        return None
    if not content.strip(b"\0\r\n\t "):
        refuse("file-empty", f"File has {len(content)} bytes and nothing in them" if content else "File has 0 bytes",
               file=name, remedy="copy it again from the card", done="file left out")
        return None
    decoded = _decode(content, name, text_format.encoding, findings)
    if decoded is None:
        return None
    text, encoding = decoded
    return _parse(text.split("\n"), name, encoding, text_format, findings, expected, refuse, may_be_empty)


def _decode(content: bytes, name: str, declared: str | None, findings: Findings):
    """Text of the bytes with plain line ends, and the name of the encoding."""
    padding = len(content) - len(content.rstrip(b"\0"))
    encoding = declared or _encoding_of(content.rstrip(b"\0"))
    if padding > 1 and not encoding.startswith("utf-16"):
        findings.look("file-padded", f"{padding} NUL bytes at the end", file=name, consequence="the card lost power while writing; the last records may be missing",
                      done="NUL bytes ignored")
        content = content.rstrip(b"\0")
    try:
        text = content.decode(encoding)
    except (UnicodeDecodeError, LookupError) as error:
        findings.blocked("encoding-wrong", f"cannot be read as {encoding}: {error}", file=name, value=encoding,
                         remedy="remove the setting encoding, or name the right one")
        return None
    if encoding not in ("utf-8", declared):
        findings.note("encoding-found", f"Read as {encoding}", file=name, value=encoding, done="the original is unchanged")
    return text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n"), encoding


def _encoding_of(content: bytes) -> str:
    if content.startswith(b"\xef\xbb\xbf"):
        return "utf-8-sig"
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    head = content[:2000]
    if len(head) >= 4 and head[1::2].count(0) > 0.6 * len(head[1::2]):
        return "utf-16-le"
    if len(head) >= 4 and head[0::2].count(0) > 0.6 * len(head[0::2]):
        return "utf-16-be"
    try:
        content.decode("utf-8")
        return "utf-8"
    except UnicodeDecodeError:
        # bytes 0x80-0x9f are letters and signs in the Windows code page and control characters in Latin-1
        return "cp1252" if re.search(rb"[\x80-\x9f]", content) else "latin-1"


def _parse(lines, name, encoding, text_format, findings, expected, refuse, may_be_empty) -> DelimitedFile | None:
    ended = lines[-1] == ""
    header_at = next(i for i, line in enumerate(lines) if line.strip() and not line.lstrip().startswith("#"))
    body = [i for i in range(header_at + 1, len(lines)) if lines[i].strip()]
    if not body and may_be_empty:
        header = [cell.strip().strip('"') for cell in lines[header_at].split(_delimiter_of([lines[header_at]], expected) or ",")]
        return DelimitedFile(name, encoding, ",", ".", pd.DataFrame(columns=header, dtype="str"), np.zeros(0, dtype=int))
    if not body:
        refuse("file-header-only", "Header but no records", file=name, line=header_at + 1,
               consequence="nothing to read", remedy="the receiver may not have started; remove the file or copy it again", done="file left out")
        return None
    delimiter = text_format.delimiter or _delimiter_of([lines[header_at], *(lines[i] for i in body[:_SAMPLE_LINES])], expected)
    if delimiter is None:
        findings.blocked("delimiter-unclear", f"Delimiter differs within file, see line {body[0] + 1}", file=name, line=body[0] + 1,
                         value=lines[header_at][:80], remedy="set delimiter in the survey file, or use the raw file")
        return None
    good = _whole_lines(lines, header_at, body, delimiter, ended, name, findings)
    if good is None:
        return None
    if not good:
        refuse("file-no-records", "No complete record in it", file=name, remedy="copy it again from the card", done="file left out")
        return None
    cells = _separators_in(lines[header_at], delimiter)
    records = (lines[i].rstrip()[:-1] if lines[i].count(delimiter) > cells and '"' not in lines[i] else lines[i] for i in good)
    table = pd.read_csv(io.StringIO("\n".join([lines[header_at], *records])), sep=delimiter, dtype=str,
                        keep_default_na=False, na_filter=False, skipinitialspace=True, index_col=False, skip_blank_lines=False)
    table.columns = [str(column).strip() for column in table.columns]
    decimal = text_format.decimal or _decimal_of(table, delimiter)
    return DelimitedFile(name, encoding, delimiter, decimal, table, np.asarray(good) + 1)


def _delimiter_of(sample, expected) -> str | None:
    """The separator that splits header and records into equally many cells; of several, the one whose header holds the expected names."""
    candidates = []
    for rank, delimiter in enumerate(DELIMITERS):
        cells = sample[0].count(delimiter)
        agreeing = sum(line.count(delimiter) == cells for line in sample[1:])
        names = {cell.strip().strip('"') for cell in sample[0].split(delimiter)}
        known = len(names & set(expected))
        if cells and (agreeing >= 0.6 * (len(sample) - 1) or known >= 3):
            candidates.append((known, agreeing, cells, -rank, delimiter))
    if candidates:
        return max(candidates)[-1]
    # a table of one column has no separator at all
    return "," if not any(delimiter in line for line in sample for delimiter in DELIMITERS) else None


def _whole_lines(lines, header_at, body, delimiter, ended, name, findings):
    """Numbers of the lines that have as many cells as the header; the others are told and left out."""
    cells = _separators_in(lines[header_at], delimiter)
    counts = np.array([_separators_in(lines[i], delimiter) for i in body])
    long, short = counts > cells, counts < cells
    # a separator at the end of every record but not of the header is harmless
    if (counts == cells + 1).all() and all(lines[i].rstrip().endswith(delimiter) for i in body):
        return body
    if long.mean() > 0.5:
        first = body[int(np.argmax(long))]
        findings.blocked("delimiter-decimal", f"Cannot tell 48,123 from two columns: {counts[long][0] + 1} cells under {cells + 1} headings" if delimiter == ","
                         else f"{counts[long][0] + 1} cells under {cells + 1} headings", file=name, line=first + 1, value=lines[first][:80],
                         remedy="save the log with another separator than the comma, or give every column a heading")
        return None
    unfinished = not ended and (short[-1] or _cut_short([lines[i] for i in body], delimiter))
    if unfinished:
        findings.note("last-line-incomplete", "Last line incomplete, 1 record dropped", file=name, line=body[-1] + 1, value=lines[body[-1]][:80],
                      consequence="one record less", remedy="check power loss", done="line dropped")
        findings.changed("incomplete last line dropped", 1, lines[body[-1]][:80], "")
    wrong = long | short
    wrong[-1] &= not unfinished
    if wrong.any():
        first = body[int(np.argmax(wrong))]
        findings.look("line-damaged", f"{int(wrong.sum())} line{'s' if wrong.sum() > 1 else ''} with {_cell_count(counts[np.argmax(wrong)])} instead of {cells + 1} cells",
                      file=name, line=first + 1, value=lines[first][:80], consequence="these records are missing",
                      remedy="copy the file again from the card", done="lines dropped")
        findings.changed("damaged lines dropped", int(wrong.sum()), f"first: line {first + 1}", "")
    keep = ~(long | short)
    keep[-1] &= not unfinished
    return [line for line, kept in zip(body, keep) if kept]


def _separators_in(line: str, delimiter: str) -> int:
    """Separators of a line that stand outside quotation marks; -1 when a cell's quotation mark is never closed."""
    if '"' not in line:
        return line.count(delimiter)
    try:
        return len(next(csv.reader([line], delimiter=delimiter, strict=True))) - 1
    except csv.Error:
        return -1


def _cell_count(separators: int) -> str:
    return str(separators + 1) if separators >= 0 else "an open quotation mark"


def _cut_short(records, delimiter) -> bool:
    """Whether the last cell of a file without a final line end is shorter than that cell ever was before."""
    last = records[-1].rsplit(delimiter, 1)[-1]
    others = [len(cell) for cell in (record.rsplit(delimiter, 1)[-1] for record in records[-_SAMPLE_LINES:-1]) if cell]
    return bool(last) and bool(others) and len(last) < min(others)


def _decimal_of(table: pd.DataFrame, delimiter: str) -> str:
    """"," when cells such as "48,123" stand in the table and the comma does not separate cells, else "."."""
    if delimiter == ",":
        return "."
    sample = table.head(_SAMPLE_LINES)
    return "," if any(sample[column].str.match(_DECIMAL_COMMA).any() for column in sample.columns) else "."
