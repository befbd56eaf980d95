"""How a user's own logs say what the contract's columns say: names, separators, clocks, codes, references."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Mapping

LOG_COLUMNS = (
    "flight_id", "time_utc", "date", "latitude", "longitude", "height_m", "antenna_azimuth_deg",
    "tag_id", "strength_db", "pulse_rate_per_min", "noise_db",
)
POSITION_COLUMNS = ("time_utc", "date", "latitude", "longitude", "height_m", "antenna_azimuth_deg")
BLANK = "blank"


@dataclass(frozen=True)
class Clock:
    """How the times of a file are written.

    date_format : None (found in the data, never guessed between day and month), "day first", "month first", "unix seconds",
        "unix milliseconds", "gps seconds", or a pattern such as "%d.%m.%Y %H:%M:%S".
    time_zone : an IANA name such as "America/Denver", "UTC", or "GPS" for a receiver that never subtracted the leap seconds; None when
        nobody said.
    date : first day of every file, for columns that hold a time of day only, as "2027-04-25"; None when the data or the file's name say it.
    """

    date_format: str | None = None
    time_zone: str | None = None
    date: str | None = None


@dataclass(frozen=True)
class TextFormat:
    """How a text file is written; None means "find out"."""

    delimiter: str | None = None
    decimal: str | None = None
    encoding: str | None = None


@dataclass(frozen=True)
class PositionFormat:
    """A flight track kept in files of its own, joined to the receiver log on time.

    lag_s : seconds to add to the receiver's clock to get the track's clock.
    longest_gap_s : no position is made up across a gap in the track longer than this.
    """

    files: tuple[Path, ...] = ()
    columns: Mapping[str, str] = field(default_factory=dict)
    lag_s: float = 0.0
    longest_gap_s: float = 10.0
    text: TextFormat = TextFormat()
    clock: Clock = Clock()


@dataclass(frozen=True)
class LogFormat:
    """How receiver logs are written, where they differ from the contract's own table.

    columns : standard name -> name in the file, only what differs.
    not_heard : "blank", or the codes that stand for "listened, not heard"; None when nobody said (blank, and suspected codes are asked about).
    not_listened : codes that stand for "not listened to"; such rows are no records.
    heard_codes : values that look like a code and are real strengths, by the user's word.
    layout : "long" (one row per tag and record) or "wide" (one row per record, a column per tag).
    tag_columns, pulse_rate_columns : wide layout: {column: tag_id}, or a pattern such as "rssi_*" whose star is the tag id; None: the
        columns named like registered tags.
    height_reference : "ground", "takeoff", "sea_level" or "ellipsoid"; height_unit : "m" or "ft".
    receiver_height_m : height above ground where the log has none. height_limit_m : height above ground that the flights were allowed; what lies far beyond is doubted.
    geoid_undulation_m : geoid over the WGS 84 ellipsoid at the study area, for heights over the ellipsoid; None takes a grid of PROJ.
    azimuth_reference : "true" or "magnetic" (declination_deg is then added, east positive; None takes the World Magnetic Model); azimuth_unit : "deg" or "rad".
    heard_above_noise_db : how far above noise_db a signal counts as heard; gives each record its threshold.
    position_crs : CRS of the position columns (longitude column = easting) when they are not WGS 84 degrees.
    max_speed_m_per_s : faster steps between records are position faults.
    positions : the flight track when the receiver log has no positions.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    text: TextFormat = TextFormat()
    clock: Clock = Clock()
    not_heard: str | tuple[str, ...] | None = None
    not_listened: tuple[str, ...] = ()
    heard_codes: tuple[float, ...] = ()
    layout: str = "long"
    tag_columns: Mapping[str, str] | str | None = None
    pulse_rate_columns: Mapping[str, str] | str | None = None
    height_reference: str = "ground"
    height_unit: str = "m"
    receiver_height_m: float | None = None
    height_limit_m: float = 120.0
    geoid_undulation_m: float | None = None
    azimuth_reference: str = "true"
    azimuth_unit: str | None = None
    declination_deg: float | None = None
    heard_above_noise_db: float | None = None
    position_crs: str | None = None
    max_speed_m_per_s: float = 60.0
    positions: PositionFormat | None = None
