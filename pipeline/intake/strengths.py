"""Strengths and their absence: which cells say "not heard", which values are codes nobody declared, which are at the top of the scale."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.intake.findings import Findings
from pipeline.intake.log_format import BLANK, LogFormat
from pipeline.intake.numbers import parse_numbers
from pipeline.wording import printed

_USUAL_CODES = (0.0, -150.0, 255.0, -999.0, 999.0, -200.0, -128.0, -127.0, -9999.0)
_MISSING_TEXT = ("", "nan", "na", "null", "none")


@dataclass(frozen=True)
class Strengths:
    """strength_db : received strength, NaN = listened and not heard. listened : False where the cell says that nobody listened."""

    strength_db: np.ndarray
    listened: np.ndarray


def read_strengths(cells: pd.Series, *, log_format: LogFormat, decimal: str, file: str, column: str, lines: np.ndarray, findings: Findings) -> Strengths:
    """Strengths of one file from its cells, every code for "not heard" turned into NaN and counted.

    A value that looks like an undeclared code blocks the run: absence read as a number moves fixes by kilometres.
    """
    blank = cells.str.casefold().isin(_MISSING_TEXT).to_numpy()
    declared = log_format.not_heard
    codes = () if declared in (None, BLANK) else tuple(str(code) for code in declared if str(code) != BLANK)
    coded = _equal_to(cells, codes, decimal)
    listened = ~_equal_to(cells, log_format.not_listened, decimal)
    blank_means_not_heard = declared in (None, BLANK) or BLANK in declared
    if blank.any() and not blank_means_not_heard:
        if log_format.layout == "wide":
            listened &= ~blank
        else:
            findings.look("strength-blank", f"{int(blank.sum()):,d} blank strengths, but not_heard lists only codes", file=file, line=int(lines[np.argmax(blank)]),
                          consequence="blank could also mean not listened to", remedy="add blank to receiver_log.not_heard", done="read as not heard")
    if coded.any():
        findings.changed("code for not heard", int(coded.sum()), ", ".join(codes), "not heard")
    text = cells.where(~(blank | coded | ~listened), "")
    _ask_about_words(text, file, column, lines, findings)
    values = parse_numbers(text, decimal=decimal, file=file, column=column, lines=lines, findings=findings, consequence="read as not heard")
    _ask_about_codes(values, log_format, file, column, lines, findings)
    return Strengths(values, listened)


def _equal_to(cells: pd.Series, codes, decimal: str) -> np.ndarray:
    """Whether a cell is one of the codes, as text or as the same number."""
    if not codes:
        return np.zeros(len(cells), dtype=bool)
    same = cells.isin([str(code) for code in codes]).to_numpy()
    numbers = pd.to_numeric(pd.Series([str(code) for code in codes]), errors="coerce").dropna().tolist()
    if numbers:
        plain = cells.str.replace(",", ".", regex=False) if decimal == "," else cells
        same = same | pd.to_numeric(plain, errors="coerce").isin(numbers).to_numpy()
    return same


def _ask_about_words(text: pd.Series, file, column, lines, findings) -> None:
    """A cell without any digit is a code: it is asked about when nobody declared it."""
    words = ((text != "") & ~text.str.contains(r"\d", regex=True)).to_numpy()
    if words.any():
        for word, count in text[words].value_counts().sort_index().items():
            _ask(str(word), count / len(text), int(lines[np.argmax((text == word).to_numpy())]), file, column, findings)


def _ask_about_codes(values: np.ndarray, log_format: LogFormat, file, column, lines, findings) -> None:
    """A value at one end of the scale, far from all others, that occurs again and again is asked about."""
    heard = values[~np.isnan(values)]
    if len(heard) < 5:
        return
    distinct, counts = np.unique(heard, return_counts=True)
    for end, neighbour in ((0, 1), (-1, -2)):
        value = float(distinct[end])
        apart = abs(value - distinct[neighbour]) if len(distinct) > 1 else np.inf
        share = counts[end] / len(values)
        usual = value in _USUAL_CODES and apart > 6 and counts[end] >= 3
        if value not in log_format.heard_codes and (usual or (share > 0.05 and counts[end] >= 10 and 20 < apart < np.inf)):
            _ask(f"{value:g}", share, int(lines[np.argmax(values == value)]), file, column, findings)


def _ask(value: str, share: float, line: int, file, column, findings) -> None:
    findings.blocked("strength-code", f"Value {value} occurs {100 * share:.{0 if share >= 0.01 else 2}f}% in {column!r}; is it 'not heard'?", file=file, line=line, value=value,
                     consequence="absence read as a strength moves fixes by kilometres",
                     remedy=f"set receiver_log.not_heard: [{value}], or heard_codes: [{value}] if it is a real strength")


def look_at_scales(records: pd.DataFrame, findings: Findings) -> None:
    """Told per campaign: strengths on two scales (blocks), and strengths that pile up at the top of the scale (marked).

    records : rows with flight_id and strength_db.
    """
    heard = records[records["strength_db"].notna()]
    if heard.empty:
        return
    span = heard.groupby("flight_id", sort=True)["strength_db"].agg(["min", "median", "max", "size"])
    span = span[span["size"] >= 20]
    if len(span) > 1:
        order = span.sort_values("median")
        gaps = order["min"].to_numpy()[1:] - np.maximum.accumulate(order["max"].to_numpy())[:-1]
        if gaps.max() > 10:
            cut = int(np.argmax(gaps)) + 1
            low, high = order.iloc[:cut], order.iloc[cut:]
            findings.blocked("strength-scale", f"Scale differs between flights: {printed(low['min'].min(), ',g')} to {printed(low['max'].max(), ',g')} dB in {', '.join(low.index)}, "
                             f"{printed(high['min'].min(), ',g')} to {printed(high['max'].max(), ',g')} dB in {', '.join(high.index)}", consequence="strengths cannot be compared",
                             remedy="analyse the flights of each scale as a campaign of its own")
    _look_at_top(heard["strength_db"].to_numpy(), findings)


def _look_at_top(strengths_db: np.ndarray, findings: Findings) -> None:
    distinct, counts = np.unique(strengths_db, return_counts=True)
    if len(strengths_db) < 50 or len(distinct) < 10:
        return
    share = counts[-1] / len(strengths_db)
    if share >= 0.02 and counts[-1] > 3 * counts[-6:-1].max():
        findings.look("strength-saturated", f"{100 * share:.0f}% at maximum ({printed(distinct[-1], ',g')} dB)", value=f"{distinct[-1]:g}",
                      consequence="near positions less certain: the receiver cannot tell how strong these were", remedy="lower the gain next time")


def look_at_thresholds(records: pd.DataFrame, heard_above_noise_db: float | None, findings: Findings) -> None:
    """Told: a stated margin above the noise without any noise in the log, or one that many heard strengths contradict.

    records : rows with heard, strength_db and threshold_db.
    """
    if heard_above_noise_db is None:
        return
    margin = f"heard_above_noise_db: {heard_above_noise_db:g}"
    if records["threshold_db"].isna().all():
        findings.look("noise-missing", f"{margin}, but the log holds no noise_db", consequence="no record has a threshold of its own",
                      remedy="map the column of the noise level, or remove the setting")
        return
    heard = records[records["heard"] & records["threshold_db"].notna()]
    below = float((heard["strength_db"] < heard["threshold_db"]).mean()) if len(heard) else 0.0
    # records near the threshold scatter round it; a quarter below it is no scatter
    if below > 0.25:
        findings.look("threshold-contradicted", f"{margin}, but {100 * below:.0f}% of the heard strengths lie below it", value=f"{heard_above_noise_db:g}",
                      consequence="silence is taken to say too much", remedy="set the margin at which the receiver really calls a tag heard")
