"""What beacons say of clocks and antenna before anything is located: a line per flight and messages for the quality check.

A quick look at all beacons at once. The localisation estimates the same anew, for each beacon without its own records.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd

from pipeline.calibration import Instruments
from pipeline.messages import Message
from pipeline.radio import Estimate
from pipeline.stages.instrument_report import bias_words, lag_words
from pipeline.wording import as_given, counted, listed

INSTRUMENTS = ["flight_id", "beacons", "lag_s", "lag_low_95_s", "lag_high_95_s", "azimuth_bias_deg", "azimuth_bias_se_deg", "drift_s", "drift_low_95_s", "drift_high_95_s",
               "azimuth_lag_s", "azimuth_lag_low_95_s", "azimuth_lag_high_95_s", "verdict"]
LAG_DONE, BIAS_DONE = "the localisation looks again and takes it out where it is clear", "the localisation takes it out"
_TOLD = "told, not taken out"


def instrument_rows(found: Instruments, flights) -> pd.DataFrame:
    """One row per flight, columns INSTRUMENTS; lags and drifts with their 95 % intervals, blank where no beacon was heard."""
    rows = []
    for flight in flights:
        numbers = [value for each in (found.lags.get(flight), found.drifts.get(flight), found.azimuth_lags.get(flight)) for value in _with_interval(each)]
        bias = (found.bias.value, found.bias.se) if found.bias and flight in found.lags else (np.nan, np.nan)
        rows.append([flight, found.beacons.get(flight, 0), *numbers[:3], *bias, *numbers[3:], verdict(found, flight)])
    return pd.DataFrame(rows, columns=INSTRUMENTS)


def _with_interval(estimate: Estimate | None) -> tuple[float, float, float]:
    return (np.nan, np.nan, np.nan) if estimate is None else (estimate.value, *estimate.interval_95)


def verdict(found: Instruments, flight: str) -> str:
    """What the clocks and the azimuth of one flight come to."""
    if flight not in found.lags:
        return "no beacon was heard: nothing tests its clocks and azimuth"
    said = [_without(words, done) for words, done in ((_lag(found, flight), LAG_DONE), (_drift(found, flight), _TOLD), (_azimuth_lag(found, flight), _TOLD)) if words]
    open_ends = [name for name, kept in (("lag", found.lags), ("drift", found.drifts), ("azimuth lag", found.azimuth_lags)) if flight in kept and not kept[flight].told]
    said += [f"{listed(open_ends)} cannot be told"] if open_ends else []
    return "; ".join(said) if said else "no clear lag"


def _lag(found: Instruments, flight: str) -> str:
    lag = found.lags[flight]
    if not lag.clear:
        return ""
    words = lag_words(_row(lag, found.beacons[flight]), LAG_DONE)
    if not found.could_be_azimuths(flight):
        return words
    other = found.azimuth_lags[flight].value
    return words.replace(f": {LAG_DONE}", f", or azimuths {abs(other):.0f} s {'after' if other > 0 else 'before'} them, which beacons cannot tell apart here: {LAG_DONE}")


def _row(lag: Estimate, beacons: int) -> SimpleNamespace:
    """A lag as a row of clock_lags."""
    return SimpleNamespace(lag_s=lag.value, applied_s=float(round(lag.value)) or np.sign(lag.value), beacons=beacons)


def _drift(found: Instruments, flight: str) -> str:
    drift, lag = found.drifts.get(flight), found.lags[flight]
    if drift is None or not drift.clear:
        return ""
    return f"the lag went from {_number(lag.value - drift.value / 2)} s at the start to {_number(lag.value + drift.value / 2)} s at the end: {_TOLD}"


def _azimuth_lag(found: Instruments, flight: str) -> str:
    lag = found.azimuth_lags.get(flight)
    if lag is None or not lag.clear:
        return ""
    return f"azimuths were stamped {abs(lag.value):.0f} s {'after' if lag.value > 0 else 'before'} the positions: {_TOLD}"


def instrument_messages(found: Instruments, declination_deg: float | None) -> list[Message]:
    """What was found of clocks and antenna, with its evidence; nothing is said where no beacon was heard, which other messages tell."""
    if not found.lags:
        return []
    messages = []
    for flight in found.lags:
        for code, words, done, estimate in (("clock-lag", _lag(found, flight), LAG_DONE, found.lags[flight]), ("clock-drift", _drift(found, flight), _TOLD, found.drifts.get(flight)),
                                            ("azimuth-lag", _azimuth_lag(found, flight), _TOLD, found.azimuth_lags.get(flight))):
            if words:
                messages.append(Message("look", code, f"Flight {flight}: {_without(words, done)} ({interval_words(estimate)}; {counted(found.beacons[flight], 'beacon')})",
                                        value=f"{_number(estimate.value)} s", consequence=_CONSEQUENCE[code], remedy=_REMEDY[code], done=done))
    return messages + _bias_message(found, declination_deg) + _agreement(found)


def _without(words: str, done: str) -> str:
    """What was found, without what is done about it; what the finding is the size of stays."""
    return words.replace(f": {done}", "")


_CONSEQUENCE = {"clock-lag": "Every strength belongs to another place of the track", "clock-drift": "The lag that is taken out is that of the middle of the flight",
                "azimuth-lag": "In fast turns directions are wrong by the turn of so many seconds"}
_REMEDY = {"clock-lag": "Set receiver and aircraft to the same clock before the flight", "clock-drift": "Let both clocks follow the satellites", "azimuth-lag": "Turn more slowly, or log the azimuth with the time it was measured"}


def _bias_message(found: Instruments, declination_deg: float | None) -> list[Message]:
    if found.bias is None or not found.bias.told:
        return []
    words = bias_words(found.bias.value, found.bias.se, declination_deg, BIAS_DONE)
    magnetic, clear = "are these azimuths magnetic?" in words, BIAS_DONE in words
    evidence = f"{_number(found.bias.value)} degrees, standard error {found.bias.se:.1f}; up to {max(found.beacons.values())} beacons in a flight, all flights together"
    text = f"{_capital(_without(words, BIAS_DONE))} ({evidence})" if clear else f"No azimuth bias is clear on beacons ({evidence})"
    return [Message("look" if magnetic else "note", "azimuth-bias", text, value=f"{_number(found.bias.value)} degrees",
                    remedy="Set receiver_log.azimuth_reference: magnetic if they count from magnetic north" if magnetic else "",
                    done=BIAS_DONE if clear else "carried with its error into every fix")]


def _agreement(found: Instruments) -> list[Message]:
    """The flights whose clocks agree, with how far off they could be."""
    quiet = {flight: lag for flight, lag in found.lags.items() if lag.told and not lag.clear}
    if not quiet:
        return []
    most = max(quiet.values(), key=lambda lag: max(map(abs, lag.interval_95)))
    return [Message("note", "clocks-agree", f"No clear lag between strengths and positions on beacons in {counted(len(quiet), 'flight')} ({listed(sorted(quiet))}); "
                    f"the widest 95 % interval of a lag reaches {max(map(abs, most.interval_95)):.1f} s", value=f"{max(map(abs, most.interval_95)):.1f} s")]


def interval_words(estimate: Estimate) -> str:
    """"4.2 s, 95 % interval 2.5 to 5.9 s"."""
    low, high = map(_number, estimate.interval_95)
    return f"{_number(estimate.value)} s, 95 % interval {low} to {high} s"


def _number(value: float) -> str:
    """One decimal, a true minus, no minus before nothing."""
    text = f"{value:.1f}"
    return ("0.0" if text == "-0.0" else text).replace("-", "\u2212")


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def instruments_checked(book, rows: pd.DataFrame):
    """The part of the quality report: a line per flight, under what it comes to."""
    if not rows["beacons"].any():
        return book.words("Nothing tests clocks and azimuths: no beacon was heard", "Whether strengths, positions and antenna azimuths carry the same time and the same north can be told on tags at known places, and only there.")
    frame = rows.assign(lag=_cells(rows, "lag"), drift=_cells(rows, "drift"), azimuth_lag=_cells(rows, "azimuth_lag"), bias=_biases(rows))
    table = book.table("instruments", frame, "Clocks and antenna on beacons, flight by flight.", {
        "flight_id": ("Flight", "", "text"), "beacons": ("Beacons", "heard", "d"), "lag": ("Clock lag", "s (95 %)", as_given), "drift": ("Drift", "s in the flight (95 %)", as_given),
        "azimuth_lag": ("Azimuth lag", "s (95 %)", as_given), "bias": ("Azimuth bias", "degrees (SE)", as_given), "verdict": ("What it comes to", "", "text")},
        saved_as="instruments.csv", notes="Clock lag: strengths stamped so much after positions; drift: lag at the end less lag at the start; azimuth lag: azimuths stamped so much after positions, "
        "looked for where the antenna turns by 5 degrees per second or more. The bias is shared by all flights and estimated beside the lags, which widens its standard error. Clear: three standard errors from nothing. All beacons were used at once; "
        "the localisation estimates lag and bias anew, for each beacon without its own records, and takes out what is clear there; the calibration report tests that on held-out beacons. "
        "Drift and azimuth lag are told and not taken out.")
    return book.together(book.words(checked_heading(rows)), table)


def _cells(rows: pd.DataFrame, name: str) -> list[str]:
    return ["–" if np.isnan(value) else f"{_number(value)} ({_number(low)} to {_number(high)})"
            for value, low, high in zip(rows[f"{name}_s"], rows[f"{name}_low_95_s"], rows[f"{name}_high_95_s"])]


def _biases(rows: pd.DataFrame) -> list[str]:
    return ["–" if np.isnan(value) else f"{_number(value)} ({error:.1f})" for value, error in zip(rows["azimuth_bias_deg"], rows["azimuth_bias_se_deg"])]


def checked_heading(rows: pd.DataFrame) -> str:
    """Which flights have something wrong."""
    clocks = [flight for flight, words in zip(rows["flight_id"], rows["verdict"]) if "strengths were stamped" in words or "the lag went" in words]
    azimuths = [flight for flight, words in zip(rows["flight_id"], rows["verdict"]) if "azimuths were stamped" in words]
    if not clocks and not azimuths:
        return "Clocks agree in every flight, as far as beacons can tell" if rows["beacons"].all() else "Clocks agree in the flights that heard beacons"
    heading = "; ".join(f"{words} in {listed(flights)}" for words, flights in (("strengths and positions follow different clocks", clocks), ("azimuths and positions follow different clocks", azimuths)) if flights)
    return f"{heading[0].upper()}{heading[1:]}"
