"""What a single setting must satisfy, and what is said when it does not."""

from __future__ import annotations

import glob
import os
import re
from difflib import get_close_matches
from pathlib import Path

from pydantic import AfterValidator, ValidationInfo
from pydantic_core import PydanticCustomError

_SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", "\\t": "\t"}


def _fault(code: str, text: str):
    # braces would be taken for a template by pydantic
    return PydanticCustomError(code, "{text}", {"text": text})


def existing(value: str, info: ValidationInfo) -> Path:
    """The path, made absolute; the file must exist when the folder of the survey file is known."""
    if not isinstance(value, str) or not value.strip():
        raise _fault("path_wrong", f"must be the name of a file (got {value!r})")
    folder = (info.context or {}).get("folder")
    if folder is None:
        return Path(value)
    path = Path(folder) / value
    if not _is_file(path):
        raise _fault("file_missing", f"no file {value!r}" + _nearby(path))
    return path


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):
        # longer than the system allows, or with a NUL character in it
        return False


def _nearby(path: Path) -> str:
    """What lies in the folder that was named, for a mistyped file name."""
    if os.path.isdir(path):
        return " (it is a folder)"
    if not os.path.isdir(path.parent):
        return f"; there is no folder {path.parent.name!r}"
    close = get_close_matches(path.name, sorted(entry.name for entry in path.parent.iterdir()), n=1)
    return f"; did you mean {close[0]!r}?" if close else ""


def as_list(value):
    """One text stands for a list of one."""
    return [value] if isinstance(value, str) else value


def matching(patterns: list[str], info: ValidationInfo) -> list[str]:
    """Patterns of files, each of which must match a file when the folder of the survey file is known."""
    folder = (info.context or {}).get("folder")
    if folder is not None:
        for pattern in patterns:
            if "\0" in pattern or not any(_is_file(Path(found)) for found in glob.glob(str(Path(glob.escape(str(folder))) / pattern), recursive=True)):
                raise _fault("files_missing", f"no file matches {pattern!r}")
    return patterns


def folder_safe(value: str) -> str:
    """A name that can be a folder on any system."""
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]*", value) or value.endswith("."):
        raise _fault("name_unsafe", f"must be a name that any system takes for a folder: letters, digits, '-', '_' and '.', beginning with a letter or digit (got {value!r})")
    return value


def metric_crs(value: str) -> str:
    """A projected CRS in metres."""
    import pyproj

    try:
        crs = pyproj.CRS.from_user_input(value)
    except pyproj.exceptions.CRSError:
        raise _fault("crs_unknown", f"no such coordinate reference system (got {value!r}); for example EPSG:32632") from None
    if not crs.is_projected or any(axis.unit_name not in ("metre", "meter") for axis in crs.axis_info[:2]):
        raise _fault("crs_not_metric", f"must be a projected CRS in metres; {value} is {crs.name!r}. Leave it out and a local one is chosen")
    return value


def any_crs(value: str) -> str:
    """A CRS that exists."""
    import pyproj

    try:
        pyproj.CRS.from_user_input(value)
    except pyproj.exceptions.CRSError:
        raise _fault("crs_unknown", f"no such coordinate reference system (got {value!r}); for example EPSG:32632") from None
    return value


def known_zone(value: str) -> str:
    """A time zone of the IANA list, UTC or GPS."""
    from zoneinfo import ZoneInfo, available_timezones

    if value.upper() in ("UTC", "GPS", "GMT", "Z"):
        return value.upper()
    try:
        ZoneInfo(value)
    except (KeyError, ValueError, OSError):
        close = get_close_matches(value, sorted(available_timezones()), n=1)
        raise _fault("zone_unknown", f"no such time zone (got {value!r}); " + (f"did you mean {close[0]!r}?" if close else "for example UTC or Europe/Berlin")) from None
    return value


def codes(value):
    """"blank", or a list of codes; a near miss of the word is no code."""
    if isinstance(value, str) and value != "blank":
        if get_close_matches(value.lower(), ["blank", "empty"], n=1, cutoff=0.7):
            raise _fault("not_heard", f"must be blank or a list of codes such as [0, -150] (got {value!r}); did you mean 'blank'?")
        return [value]
    if not isinstance(value, (str, list)):
        raise _fault("not_heard", f"must be blank or a list of codes such as [0, -150] (got {value!r})")
    return value


def separator(value):
    """A separator, or its name in words."""
    sign = _SEPARATORS.get(value, value) if isinstance(value, str) else None
    if sign not in _SEPARATORS.values():
        raise _fault("separator_unknown", f"must be comma, semicolon, tab or bar (got {value!r})")
    return sign


def column_names(allowed):
    """A check that every name mapped is a column of the contract."""

    def check(names: dict[str, str]) -> dict[str, str]:
        for name in names:
            if name not in allowed:
                close = get_close_matches(name, allowed, n=1, cutoff=0.5)
                raise _fault("column_unknown", f"{name!r} is no column of the contract; " + (f"did you mean {close[0]!r}?" if close else f"known: {', '.join(allowed)}"))
        return names

    return AfterValidator(check)


def two_or_more(names: list[str]) -> list[str]:
    """Names, at least two of them and each once."""
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise _fault("name_twice", f"names {', '.join(map(repr, twice))} more than once")
    if len(names) < 2:
        raise _fault("names_too_few", f"must name two or more (got {names!r})")
    return names


def date_format(value: str) -> str:
    """A known way to write dates, or a pattern."""
    known = ("day first", "month first", "unix seconds", "unix milliseconds", "gps seconds")
    if value not in known and "%" not in value:
        raise _fault("date_format_unknown", f"must be {', '.join(known)} or a pattern such as '%d.%m.%Y %H:%M:%S' (got {value!r})")
    return value
