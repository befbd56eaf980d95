"""Which column of a file is which: declared names, the contract's own names, and hints for the missing ones."""

from __future__ import annotations

from typing import Mapping

from pipeline.intake.findings import Findings, did_you_mean, nearest


def find_columns(found: list[str], *, declared: Mapping[str, str], required, optional, file: str, setting: str, findings: Findings) -> dict[str, str] | None:
    """Standard name -> name in the file, for every column that is there; None when a required or declared one is missing.

    found : names in the header. declared : standard name -> name, only what differs from the standard.
    setting : where the names are declared, for the remedy ("receiver_log.columns"); "" where names cannot be declared.
    Every missing column is told with what was found and the nearest name.
    """
    names, complete = {}, True
    taken = {_same_name(declared.get(standard, standard), found) for standard in (*required, *optional)}
    for standard in (*required, *optional):
        wanted = declared.get(standard, standard)
        actual = _same_name(wanted, found)
        if actual is None:
            if standard in required or standard in declared:
                complete = False
                _tell_missing(standard, wanted, found, taken, file, setting, findings)
            continue
        if found.count(actual) > 1:
            complete = False
            findings.blocked("column-twice", f"column {actual!r} occurs {found.count(actual)} times", file=file, line=1, value=actual,
                             remedy="give every column a name of its own")
        names[standard] = actual
    return names if complete else None


def _same_name(wanted: str, found) -> str | None:
    """The name as it stands in the file: equal, or equal but for case and blanks when only one is."""
    if wanted in found:
        return wanted
    alike = {name for name in found if name.strip().casefold() == wanted.strip().casefold()}
    return alike.pop() if len(alike) == 1 else None


def _tell_missing(standard, wanted, found, taken, file, setting, findings) -> None:
    free = [name for name in found if name not in taken]
    asked = f"column {wanted!r}" + (f" (for {standard})" if wanted != standard else "") + " is missing"
    hint = did_you_mean(wanted, free) or did_you_mean(standard, free)
    example = nearest(wanted, free) or nearest(standard, free) or "Name in your file"
    remedy = f"name it in the survey file, {setting}: {{{standard}: {example}}}" if setting else f"head the column with {standard}"
    findings.blocked("column-missing", f"{asked}; found: {', '.join(found)}" + (f"; {hint}" if hint else ""), file=file, line=1, value=wanted,
                     consequence="the file cannot be read", remedy=remedy)


def tell_unused(found, used, optional_missing, *, file: str, setting: str, findings: Findings) -> None:
    """A note for each column that is not read but is named like a missing optional one."""
    for standard in optional_missing:
        alike = nearest(standard, [name for name in found if name not in used], cutoff=0.7)
        if alike:
            findings.note("column-unused", f"column {alike!r} is not used; is it {standard}?", file=file, line=1, value=alike,
                          remedy=f"if so, {setting}: {{{standard}: {alike}}}")
