"""A survey file read and checked: the settings, or every fault at once."""

from __future__ import annotations

import difflib
from pathlib import Path

import yaml
from pydantic import ValidationError

from pipeline.messages import Message, SurveyError
from pipeline.survey.model import LOG_COLUMNS, Survey, all_settings, settings_at
from pipeline.survey.yaml_lines import YamlFile, read_yaml


def load_survey(path) -> Survey:
    """The settings of a survey file, its paths made absolute. Raises SurveyError with every fault: unknown names with the nearest known one,
    missing settings, values out of range, files that do not exist."""
    path = Path(path).absolute()
    file = _read(path)
    messages = [_message(path, "setting-twice", f"{_dotted(twice)}: written twice", file.lines.get(twice), remedy="Keep one of the two") for twice in file.twice]
    survey = None
    if not isinstance(file.values, dict):
        messages.append(_message(path, "survey-empty", "no settings in the file", remedy="Make a new one with: python3 -m pipeline new FOLDER"))
    else:
        try:
            survey = Survey.model_validate(_without_blanks(file.values), context={"folder": path.parent})
        except ValidationError as error:
            messages += _faults(error, path, file)
    if messages:
        raise SurveyError(sorted(messages, key=lambda message: message.line or 0))
    survey._file = path
    return survey


def setting_line(path, place: tuple) -> int | None:
    """The line of a survey file in which a setting stands, such as ("localisation", "joined_flights", 0); of what holds it where it has no line of its own."""
    lines = _read(Path(path)).lines
    return next((lines[place[:end]] for end in range(len(place), 0, -1) if place[:end] in lines), None)


def _read(path: Path) -> YamlFile:
    try:
        content = path.read_bytes()
    except OSError as error:
        raise SurveyError([_message(path, "survey-unreadable", f"cannot be read: {error.strerror}", remedy="Make one with: python3 -m pipeline new FOLDER")]) from None
    try:
        text = content.decode("utf-16" if content[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("cp1252", errors="replace")
    try:
        return read_yaml(text)
    except yaml.YAMLError as error:
        raise SurveyError([_syntax_fault(path, error)]) from None


def _syntax_fault(path: Path, error: yaml.YAMLError) -> Message:
    mark = getattr(error, "problem_mark", None)
    problem = getattr(error, "problem", None) or str(error).splitlines()[0]
    remedy = "Indent with blanks, not tabs" if "\\t" in problem else "Check colons, indentation and quotation marks in this line and the one before"
    return _message(path, "yaml-syntax", f"not valid YAML: {problem}" + (f", column {mark.column + 1}" if mark else ""), mark.line + 1 if mark else None, remedy=remedy)


def _message(path: Path, code: str, text: str, line: int | None = None, value: str = "", remedy: str = "") -> Message:
    return Message("stop", code, text, file=path.name, line=line, value=value, remedy=remedy)


def _without_blanks(values: dict) -> dict:
    """Settings that are written but left blank count as left out."""
    return {name: _without_blanks(value) if isinstance(value, dict) else value for name, value in values.items() if value is not None}


def _dotted(path) -> str:
    return ".".join(str(part) for part in path)


def _faults(error: ValidationError, path: Path, file: YamlFile) -> list[Message]:
    """The faults of a validation in words, one per setting."""
    messages = {}
    for fault in error.errors(include_url=False):
        place = _place(fault, file.values)
        line = next((file.lines[place[:i]] for i in range(len(place), 0, -1) if place[:i] in file.lines), None)
        got = fault.get("input")
        shown = str(got) if isinstance(got, (str, int, float)) else ""
        code = _CODES.get(fault["type"], "setting-wrong")
        # a setting with alternatives fails once for each: the first tells enough
        messages.setdefault((place, code), _message(path, code, f"{_dotted(place)}: {_words(fault, place)}", line, shown, _remedy(place, code)))
    # a group is not to blame for what is wrong inside it
    inner = {place[:i] for place, _ in messages for i in range(1, len(place))}
    return [message for (place, _), message in messages.items() if place not in inner]


_CODES = {"missing": "setting-missing", "extra_forbidden": "setting-unknown", "file_missing": "file-missing", "files_missing": "file-missing"}


def _place(fault, values) -> tuple:
    """The path of the faulty setting as written in the file: pydantic's own also names the alternatives it tried."""
    place = []
    for part in fault["loc"]:
        if isinstance(values, dict) and part in values or isinstance(values, list) and isinstance(part, int) and part < len(values):
            values = values[part]
            place.append(part)
    # a setting that is missing stands nowhere, unless it was left blank
    return tuple(fault["loc"]) if fault["type"] == "missing" else tuple(place)


def _words(fault, place) -> str:
    kind, got, context = fault["type"], fault.get("input"), fault.get("ctx", {})
    if kind == "missing":
        return "required setting is missing"
    if kind == "extra_forbidden":
        return "unknown setting" + _nearest_setting(place)
    if kind == "literal_error":
        words = context["expected"].replace("'", "")
        close = difflib.get_close_matches(str(got), words.replace(" or ", ", ").split(", "), n=1)
        return f"must be {words} (got {got!r})" + (f"; did you mean {close[0]!r}?" if close else "")
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        return f"must be a group of settings, one per line below it (got {got!r})"
    limits = {"greater_than_equal": ("ge", "at least"), "greater_than": ("gt", "above"), "less_than_equal": ("le", "at most"), "less_than": ("lt", "below")}
    if kind in limits:
        return f"must be {limits[kind][1]} {context[limits[kind][0]]:g} (got {got})"
    plain = {"float_parsing": "a number", "int_parsing": "a whole number", "int_from_float": "a whole number", "bool_parsing": "true or false", "string_type": "text",
             "float_type": "a number", "int_type": "a whole number", "bool_type": "true or false", "list_type": "a list such as [a, b]", "tuple_type": "a list such as [a, b]", "finite_number": "a number", "string_too_short": "some text",
             "too_short": "a list of at least one", "string_pattern_mismatch": "a date such as 2027-04-25"}
    return f"must be {plain[kind]} (got {got!r})" if kind in plain else fault["msg"]


def _nearest_setting(place) -> str:
    """A hint at the nearest name in the same section, else at a setting of that name elsewhere."""
    name, here = str(place[-1]), list(settings_at(place[:-1]))
    elsewhere = {known[-1]: _dotted(known) for known in reversed(list(all_settings()))}
    if name in elsewhere:
        return f"; did you mean {elsewhere[name]!r}?"
    close = difflib.get_close_matches(name, here, n=1, cutoff=0.6)
    if close:
        return f"; did you mean {close[0]!r}?"
    if "columns" in here:
        column = difflib.get_close_matches(name, LOG_COLUMNS, n=1, cutoff=0.6)
        if column:
            return f"; did you mean {column[0]!r}? That is a name for {_dotted((*place[:-1], 'columns'))}"
    close = difflib.get_close_matches(name, list(elsewhere), n=1, cutoff=0.75)
    return f"; did you mean {elsewhere[close[0]]!r}?" if close else f"; known here: {', '.join(here)}"


def _remedy(place, code: str) -> str:
    if code == "file-missing":
        return "Paths are relative to the survey file; copy the files there, or mend the name"
    field = settings_at(place[:-1]).get(place[-1]) if place else None
    return f"Its meaning: {field.description}" if field else ""
