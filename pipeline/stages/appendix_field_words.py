"""The methods of the appendix that no log holds: what the authors say of capture, tags, drone, receiver and ground."""

from __future__ import annotations

from pipeline.stages.appendix_words import Material

HEADING = "Field work"
# in the order of the survey file
LABELS = {"capture": "Capture", "tagging": "Tagging", "mortality_delay": "Delay of the mortality mode", "drone": "Drone and payload", "receiver": "Receiver and antenna", "field_work": "Flights in the field",
          "ground_models": "Models of the ground", "habitats": "Habitats"}


def stated(found: Material, name: str) -> str:
    """What the authors say of one of LABELS, "" where they say nothing."""
    return getattr(found.survey.publication.field_record, name).strip()


def field_record(found: Material) -> list[str]:
    """A paragraph for each thing that the authors speak of; none where they speak of none. The words are theirs and are not checked."""
    return [f"{label}: {said}" for name, label in LABELS.items() if (said := stated(found, name))]


def where(found: Material, *names: str) -> str:
    """Where the checklist finds one of these things."""
    return "Methods, field work" if any(stated(found, name) for name in names) else ""
