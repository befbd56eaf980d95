"""Numbers as a sentence or a table cell says them: to the precision they have, counts with their noun, names in a row."""

from __future__ import annotations

import math

SMALL_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def number_word(count: int) -> str:
    """Small numbers in words, larger ones in figures."""
    return SMALL_NUMBERS[count] if count < len(SMALL_NUMBERS) else f"{count}"


def counted(count: int, noun: str, several: str = "") -> str:
    """"1 beacon", "54 fixes"."""
    return f"{count:,d} {noun if count == 1 else several or noun + 's'}"


def printed(value: float, form: str = ",.0f") -> str:
    """A number as a sentence prints it: thousands set apart, the true minus sign: 9647 -> "9,647", -86 -> "−86". form : a format of Python's, such as ",g"."""
    return format(value, form).replace("-", "\u2212")


def two_figures(value: float) -> str:
    """A length or area to the two figures it has: 181.3 -> "180", 1234 -> "1,200", 0.0342 -> "0.034"."""
    rounded = float(f"{float(value):.2g}")
    return f"{rounded:,.0f}" if abs(rounded) >= 10 or rounded == 0 else f"{rounded:g}"


def rounded_up(value: float) -> str:
    """An upper bound to two figures, never below it: 152.6 -> "160", 150 -> "150"."""
    step = 10.0 ** (math.floor(math.log10(value)) - 1) if value > 0 else 1.0
    return two_figures(math.ceil(round(float(value) / step, 9)) * step)


def as_printed_m(length_m: float) -> float:
    """The length that `two_figures` prints, as a number, so that what is drawn and added up is what is said. [m]"""
    return float(f"{float(length_m):.2g}")


def listed(names, most: int = 8) -> str:
    """"a", "a and b", "a, b and c"; of more than `most`, the first ones and how many follow."""
    names = [str(name) for name in names]
    if len(names) > most:
        names = [*names[:most - 1], f"{len(names) - most + 1} more"]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else ""


def as_given(value) -> str:
    """Text that is set like a figure."""
    return str(value)
