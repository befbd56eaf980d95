"""What is made from the model of the survey file: the JSON schema for editors, and the commented file to begin with."""

from __future__ import annotations

import json
from pathlib import Path

from pydantic import BaseModel
from pydantic_core import PydanticUndefined

from pipeline.survey.model import Survey, section_in

# written out in the starter with these values; everything else stands there as a comment with its default
_FIRST_VALUES = {
    "campaign": "{campaign}", "title": "My campaign", "receiver_log.files": "flights/*.csv", "receiver_log.not_heard": "blank", "receiver_log.time_zone": "UTC",
    "receiver_log.height_reference": "ground", "receiver_log.azimuth_reference": "true", "tags": "tags.csv", "beacons": "beacons.csv",
    "bearings": "bearings.csv", "sightings": "sightings.csv",
}
_EXAMPLES = {"crs": "EPSG:32632", "terrain": "terrain.tif", "canopy": "canopy.tif", "study_area": "study_area.geojson", "receiver_log.columns": "{time_utc: UTC, strength_db: Level}",
             "receiver_log.heard_above_noise_db": "6", "permits": '{wildlife: "number, holder, dates"}'}


def survey_schema() -> str:
    """The JSON schema of the survey file as text."""
    return json.dumps(Survey.model_json_schema(), indent=1, ensure_ascii=False) + "\n"


def write_schema() -> Path:
    """Write the schema to its place in the project, pipeline/survey.schema.json, after a setting has changed."""
    path = Path(__file__).parent.with_name("survey.schema.json")
    path.write_text(survey_schema(), encoding="utf-8", newline="\n")
    return path


def starter_text(campaign: str) -> str:
    """A survey.yml with every setting explained; what most campaigns leave alone is commented out."""
    lines = ["# One campaign, one file. Every path is relative to this file, and nothing is ever written to the files it names.",
             "# A line that begins with # is a comment: remove the # to use the setting; the value shown is the one in use without it.", ""]
    lines += _section(Survey, "", 0)
    return "\n".join(lines).replace("{campaign}", campaign) + "\n"


def _section(model: type[BaseModel], prefix: str, depth: int, hidden: bool = False) -> list[str]:
    lines: list[str] = []
    for name, field in model.model_fields.items():
        path = f"{prefix}{name}"
        inner = section_in(field.annotation)
        written = path in _FIRST_VALUES or path == "receiver_log"
        mark = "" if written and not hidden else "# "
        indent = mark + "  " * depth
        if depth == 0 and (inner or name in ("crs", "tags", "permits")):
            lines.append("")
        explanation = f"  # {field.description}"
        if inner and not isinstance(field.default, tuple):
            lines += [f"{indent}{name}:{explanation}", *_section(inner, f"{path}.", depth + 1, hidden or not written)]
        else:
            value = _FIRST_VALUES.get(path) or _EXAMPLES.get(path) or _shown(field.default)
            lines.append(f"{indent}{name}:{' ' + value if value else ''}{explanation}")
    return lines


def _shown(default) -> str:
    if default is None or default is PydanticUndefined:
        return ""
    if isinstance(default, tuple):
        return "[" + ", ".join(_entry(each) for each in default) + "]"
    return json.dumps(default)


def _entry(each) -> str:
    if not isinstance(each, BaseModel):
        return json.dumps(each)
    fields = (f"{name}: {json.dumps(value) if isinstance(value, str) else f'{value:g}'}" for name, value in each.model_dump().items())
    return "{" + ", ".join(fields) + "}"
