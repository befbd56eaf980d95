"""A folder for a new campaign: a commented survey file, empty registers, and a place for the logs."""

from __future__ import annotations

import re
from pathlib import Path

from pipeline.messages import Message, SurveyError
from pipeline.survey import starter_text

REGISTERS = {
    "tags.csv": "tag_id,animal_id,species,frequency_mhz,tag_type,pulse_rate_live_per_min,pulse_rate_mortality_per_min,deployed_utc,expected_end_utc,decoy",
    "beacons.csv": "tag_id,latitude,longitude,height_above_ground_m,position_sd_m,tag_type,frequency_mhz,valid_from_utc,valid_to_utc,use",
    "bearings.csv": "time_utc,tag_id,latitude,longitude,bearing_deg,bearing_sd_deg,north_reference",
    "sightings.csv": "time_utc,tag_id,latitude,longitude,position_sd_m,state",
}
_FLIGHTS_README = """\
Put the receiver logs here, one file per flight, as they came from the card. They are never written to.

One row per tag and record. Columns, unless survey.yml names them otherwise:
  flight_id             optional; the name of the file if absent
  time_utc              time of the record
  latitude, longitude   receiver
  height_m              receiver height, over the reference that survey.yml names
  antenna_azimuth_deg   where the strong side of the antenna points; blank = unknown
  tag_id                tag listened to in this record
  strength_db           received strength; blank = listened, not heard
  pulse_rate_per_min    optional
  noise_db              optional, background level on the same scale
No row for a tag in a record means that nobody listened to it.
"""


def make_folder(folder) -> Path:
    """Make a campaign folder and return it. Nothing that exists is written over: SurveyError names what is in the way."""
    folder = Path(folder)
    texts = {"survey.yml": starter_text(_campaign_name(folder)), **{name: header + "\n" for name, header in REGISTERS.items()}, "flights/README.txt": _FLIGHTS_README}
    in_the_way = [folder] if folder.exists() and not folder.is_dir() else [folder / name for name in texts if (folder / name).exists()]
    if in_the_way:
        raise SurveyError([Message("stop", "file-exists", "Exists already", file=str(path), consequence="Nothing was written", remedy="Name another folder, or move the file away")
                           for path in in_the_way])
    try:
        for name, text in texts.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            with open(folder / name, "x", encoding="utf-8", newline="\n") as file:
                file.write(text)
    except OSError as error:
        raise SurveyError([Message("stop", "folder-unwritable", f"Cannot be written: {error.strerror}", file=str(error.filename or folder), remedy="Choose a folder you may write to")]) from None
    return folder


def _campaign_name(folder: Path) -> str:
    """The folder's own name, made safe."""
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", folder.absolute().name).strip("-._")
    return name or "campaign"
