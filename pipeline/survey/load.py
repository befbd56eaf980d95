"""A survey file read and checked: the settings, or every fault at once."""

from __future__ import annotations

import difflib
from pathlib import Path
from typing import get_args

import yaml
from pydantic import BaseModel, ValidationError

from pipeline.messages import Message, SurveyError
from pipeline.survey.model import Survey
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
    messages, told = [], set()
    for fault in error.errors(include_url=False):
        place = _setting_path(fault["loc"], file.values)
        if (place, "extra" in fault["type"]) in told:
            continue
        told.add((place, "extra" in fault["type"]))
        line = next((file.lines[place[:i]] for i in range(len(place), 0, -1) if place[:i] in file.lines), None)
        got = fault.get("input")
        shown = str(got) if isinstance(got, (str, int, float)) else ""
        messages.append(_message(path, _code(fault), f"{_dotted(place)}: {_words(fault, place)}", line, shown, _remedy(place)))
    return messages


def _setting_path(location, values) -> tuple:
    """The location as written in the file: pydantic adds the names of the alternatives it tried."""
    place = []
    for part in location:
        if isinstance(values, dict) and part in values:
            values = values[part]
        elif isinstance(values, list) and isinstance(part, int) and part < len(values):
            values = values[part]
        elif isinstance(values, dict) and isinstance(part, str) and part.isidentifier() and not place[len(place):]:
            values = None
        else:
            break
        place.append(part)
    return tuple(place)


def _code(fault) -> str:
    return {"missing": "setting-missing", "extra_forbidden": "setting-unknown", "file_missing": "file-missing", "files_missing": "file-missing"}.get(fault["type"], "setting-wrong")


def _words(fault, place) -> str:
    kind, got = fault["type"], fault.get("input")
    if kind == "missing":
        return "required setting is missing"
    if kind == "extra_forbidden":
        return "unknown setting" + _nearest_setting(place)
    if kind == "literal_error":
        allowed = [str(value) for value in get_args(_annotation(place))] or [fault["ctx"]["expected"]]
        words = fault["ctx"]["expected"].replace("'", "")
        close = difflib.get_close_matches(str(got), [word.strip() for word in words.replace(" or ", ", ").split(",")] or allowed, n=1)
        return f"must be {words} (got {got!r})" + (f"; did you mean {close[0]!r}?" if close else "")
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        return f"must be a group of settings, one per line below it (got {got!r})"
    text = fault["msg"][:1].lower() + fault["msg"][1:]
    return text if "(got" in text or "'" in text else f"{text} (got {got!r})"


def _annotation(place):
    fields = _fields_at(place[:-1])
    return fields[place[-1]].annotation if fields and place[-1] in fields else None


def _fields_at(place) -> dict:
    """The settings that exist in a section of the survey file."""
    model: type[BaseModel] | None = Survey
    for part in place:
        if isinstance(part, int):
            continue
        field = model.model_fields.get(part) if model else None
        model = _model_in(field.annotation) if field else None
    return model.model_fields if model else {}


def _model_in(annotation) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for found in map(_model_in, get_args(annotation)) if found), None)


def _all_settings(model: type[BaseModel] = Survey, place: tuple = ()):
    for name, field in model.model_fields.items():
        yield (*place, name)
        inner = _model_in(field.annotation)
        if inner:
            yield from _all_settings(inner, (*place, name))


def _nearest_setting(place) -> str:
    """A hint at the nearest setting of the same section, else at a setting of that name elsewhere."""
    name = str(place[-1])
    here = list(_fields_at(place[:-1]))
    elsewhere = {known[-1]: _dotted(known) for known in reversed(list(_all_settings()))}
    if name in elsewhere:
        return f"; did you mean {elsewhere[name]!r}?"
    by_words = [known for known in here if set(known.split("_")) & set(name.split("_"))]
    close = difflib.get_close_matches(name, here, n=1, cutoff=0.6) or by_words[:1] or difflib.get_close_matches(name, list(elsewhere), n=1, cutoff=0.75)
    if close:
        return f"; did you mean {(close[0] if close[0] in here else elsewhere[close[0]])!r}?"
    return f"; known here: {', '.join(here)}" if here else ""


def _remedy(place) -> str:
    fields = _fields_at(place[:-1]) if place else {}
    described = fields[place[-1]].description if place and place[-1] in fields else ""
    return f"{_dotted(place)}: {described}" if described else ""
