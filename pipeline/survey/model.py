"""The settings of a survey file: every key with its kind, range, default and explanation.

The JSON schema, the commented starter file and the messages about faults are all made from this one place.
"""

from __future__ import annotations

import glob
from pathlib import Path
from typing import Annotated, Literal, get_args

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, PrivateAttr, WithJsonSchema

from pipeline.survey import checks

LOG_COLUMNS = ("flight_id", "time_utc", "date", "latitude", "longitude", "height_m", "antenna_azimuth_deg", "tag_id", "strength_db", "pulse_rate_per_min", "noise_db")
POSITION_COLUMNS = ("time_utc", "date", "latitude", "longitude", "height_m", "antenna_azimuth_deg")

ExistingFile = Annotated[Path, BeforeValidator(checks.existing)]
# the schemas written out below say what may stand in the file; validation brings it into one form
_TEXTS = {"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}, "minItems": 1}]}
_CODES = {"type": "array", "items": {"type": ["string", "number"]}}

FilePatterns = Annotated[list[str], BeforeValidator(checks.as_list), AfterValidator(checks.matching), Field(min_length=1), WithJsonSchema(_TEXTS)]
NotHeard = Annotated[Literal["blank"] | list[str], BeforeValidator(checks.codes), WithJsonSchema({"anyOf": [{"const": "blank"}, _CODES, {"type": "number"}]})]
CodeList = Annotated[list[str], BeforeValidator(checks.as_list), WithJsonSchema(_CODES)]
# YAML editors read the word true as a truth value
North = Annotated[Literal["true", "magnetic"], WithJsonSchema({"enum": ["true", True, "magnetic"]})]
DateFormat = Annotated[str, AfterValidator(checks.date_format)]
Separator = Annotated[Literal[",", ";", "\t", "|"], BeforeValidator(checks.separator)]
TimeZone = Annotated[str, AfterValidator(checks.known_zone)]
Day = Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}$")]
Share = Annotated[float, Field(ge=0, le=1)]


class Section(BaseModel):
    """A group of settings: frozen, and closed to unknown names."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Positions(Section):
    """A flight track kept apart from the receiver log, as CSV or GPX; joined on time."""

    files: FilePatterns = Field(description="files of the flight track, CSV or GPX")
    columns: Annotated[dict[str, str], checks.column_names(POSITION_COLUMNS)] = Field({}, description="names of the columns in the track, only what differs: {latitude: Lat}")
    lag_s: float = Field(0.0, ge=-86400, le=86400, description="seconds to add to the receiver's clock to get the track's clock")
    longest_gap_s: float = Field(10.0, gt=0, le=3600, description="no position is made up across a longer gap in the track")
    delimiter: Separator | None = Field(None, description="comma, semicolon, tab or bar; found in the file when left out")
    decimal: Literal[".", ","] | None = Field(None, description="decimal sign; found in the file when left out")
    encoding: str | None = Field(None, description="for example utf-8 or latin-1; found in the file when left out")
    date_format: DateFormat | None = Field(None, description="as in receiver_log")
    time_zone: TimeZone | None = Field(None, description="as in receiver_log; that of receiver_log when left out")


class ReceiverLog(Section):
    """The receiver logs, and how they are written."""

    files: FilePatterns = Field(description="receiver logs, one pattern or a list; one flight per file unless a column flight_id says otherwise")
    columns: Annotated[dict[str, str], checks.column_names(LOG_COLUMNS)] = Field({}, description="names of the columns in your log, only what differs: {time_utc: UTC, strength_db: Level}")
    layout: Literal["long", "wide"] = Field("long", description="long: one row per tag and record; wide: one row per record, a column per tag")
    tag_columns: dict[str, str] | str | None = Field(None, description='wide layout: {column: tag_id}, or a pattern such as "rssi_*" whose star is the tag id')
    pulse_rate_columns: dict[str, str] | str | None = Field(None, description='wide layout: the columns of pulse rates, in the same way: "rate_*"')
    delimiter: Separator | None = Field(None, description="comma, semicolon, tab or bar; found in the file when left out")
    decimal: Literal[".", ","] | None = Field(None, description="decimal sign; found in the file when left out")
    encoding: str | None = Field(None, description="for example utf-8 or latin-1; found in the file when left out")
    date_format: DateFormat | None = Field(None, description="day first, month first, unix seconds, unix milliseconds, gps seconds, or a pattern such as '%d.%m.%Y %H:%M:%S'; ISO dates need none")
    date: Day | None = Field(None, description="first day, for logs that hold a time of day only and no date in the file name: 2027-04-25")
    time_zone: TimeZone | None = Field(None, description="UTC, a name such as Europe/Berlin, or GPS for a receiver that never subtracted the leap seconds")
    not_heard: NotHeard | None = Field(None, description="how the log writes 'listened, not heard': blank, or a list of codes such as [0, -150]")
    not_listened: CodeList = Field([], description="codes for 'not listened to'; such rows are no records")
    heard_codes: list[float] = Field([], description="values that look like a code and are real strengths")
    height_reference: Literal["ground", "takeoff", "sea_level", "ellipsoid"] = Field("ground", description="what height_m counts from: ground, takeoff, sea_level or ellipsoid")
    height_unit: Literal["m", "ft"] = Field("m", description="unit of the height column: m or ft")
    receiver_height_m: float | None = Field(None, ge=0, le=1000, description="height above ground where the log has none")
    height_limit_m: float = Field(120.0, ge=10, le=10000, description="height above ground that the flights were allowed; heights far beyond it are asked about")
    geoid_undulation_m: float | None = Field(None, ge=-110, le=90, description="height_reference ellipsoid: height of the geoid over the WGS 84 ellipsoid at the study area; from a grid of PROJ when left out")
    azimuth_reference: North = Field("true", description="north of antenna_azimuth_deg: true or magnetic")
    azimuth_unit: Literal["deg", "rad"] | None = Field(None, description="unit of the azimuth column: deg or rad")
    declination_deg: float | None = Field(None, ge=-180, le=180, description="magnetic declination at the study area, east positive; from the World Magnetic Model for date and place when left out")
    heard_above_noise_db: float | None = Field(None, ge=0, le=60, description="with noise_db in the log: how far above it a tag counts as heard")
    position_crs: Annotated[str, AfterValidator(checks.any_crs)] | None = Field(None, description="CRS of the position columns when they are not WGS 84 degrees (longitude column = easting)")
    max_speed_m_per_s: float = Field(60.0, gt=0, le=400, description="faster steps between records are position faults")
    positions: Positions | None = Field(None, description="the flight track, when the receiver log holds no positions")


class Gates(Section):
    """What a tag must reach in a flight to count as located; a gate that fails names itself."""

    records_heard: int = Field(8, ge=2, le=1000, description="least records heard")
    effective_records: float = Field(3, ge=1, le=1000, description="least records heard that tell something new, after correlation along the track")
    passes: int = Field(2, ge=1, le=100, description="least separate approaches, unless the bearings spread")
    bearing_spread_deg: float = Field(60, ge=0, le=180, description="least spread of the directions it was heard from, unless there were passes")
    main_place: Share = Field(0.9, description="least probability of the main place; below it there are several places")
    radius_95_m: float = Field(300, gt=0, le=100000, description="largest radius that holds 95 % of the probability")


class JoinedFlights(Section):
    """Flights of one tag that enter one fix together."""

    tag_id: str = Field(min_length=1, description="the tag, which is taken not to have moved between these flights")
    flights: Annotated[list[str], AfterValidator(checks.two_or_more), Field(json_schema_extra={"minItems": 2})] = Field(description="two flights or more, by their flight_id")


class Localisation(Section):
    """Positions of tags."""

    search_margin_m: float | None = Field(None, ge=0, le=100000, description="how far beyond the track a tag may be; found from the hearing range when left out")
    walk_m: float = Field(0, ge=0, le=20000, description="how far an animal may walk during one flight, root mean square; 0 takes it to stay, and the report says whether the records contradict that")
    gates: Gates = Field(Gates(), description="what counts as located")
    ground_session_gap_min: float = Field(60, gt=0, le=1440, description="bearings and sightings had in no flight: a longer gap between two of a tag begins a new ground fix")
    ground_reach_m: float = Field(5000, ge=100, le=50000, description="how far from where a bearing was taken a tag is looked for; a bearing alone tells no distance")
    joined_flights: tuple[JoinedFlights, ...] = Field((), description="flights to be located as one, for a tag that did not move: [{tag_id: T07, flights: [2026-04-29-a, 2026-04-29-b]}]")


class Prior(Section):
    """One stated belief about a tag before the search."""

    name: str = Field(description="what the belief is called in the tables")
    in_area: Share = Field(description="probability that the animal is in the area")
    silent: Share = Field(description="probability that the tag is silent by itself")


class Search(Section):
    """Animals not found."""

    priors: Annotated[tuple[Prior, ...], Field(min_length=1, max_length=6)] = Field(
        (Prior(name="stays, tag fresh", in_area=0.9, silent=0.05), Prior(name="as likely gone", in_area=0.5, silent=0.05), Prior(name="stays, tag old", in_area=0.9, silent=0.3)),
        description="stated beliefs under which a silence is explained")
    weak_share: Share = Field(0.05, description="cautious figures of ground searched: share of tags that are far weaker than the beacons of their type; an assumption, no source")
    weak_db: float = Field(12.0, ge=0, le=60, description="by how much those tags are weaker, in dB; an assumption, no source")


class Fate(Section):
    """What pulse rates and places must show before a tag is to be looked for on foot."""

    records: int = Field(3, ge=1, description="records at the mortality rate, over all flights")
    passes: int = Field(2, ge=1, description="separate passes on which these records lie")
    same_place_m: float = Field(100, ge=1, le=10000, description="one place: a movement of this size between the last flights must have shown")
    kept_up_days: float = Field(1, ge=0, le=365, description="without one place: days over which the mortality rate must have been kept up, longer than the delay of the sensor")
    unmoved_m: float = Field(500, ge=1, le=100000, description="and the movement that must have shown over those days")
    capture_days: float = Field(21, ge=0, le=365, description="a mortality rate first heard within so many days of deployment is marked as a possible effect of capture; 0 marks none")


class TakeOff(Section):
    """A place to start from and land at."""

    latitude: float = Field(ge=-90, le=90, description="WGS 84 decimal degrees")
    longitude: float = Field(ge=-180, le=180, description="WGS 84 decimal degrees")


class NextFlight(Section):
    """Candidates for a next flight, as advice to a licensed pilot and never as a flight plan."""

    minutes: float = Field(22, gt=0, le=600, description="in the air on one battery, with the way there and back")
    speed_m_per_s: float = Field(12, gt=0, le=60, description="of the drone")
    heights_m: Annotated[tuple[Annotated[float, Field(gt=0, le=1000)], ...], Field(min_length=1, max_length=4)] = Field((60.0, 100.0), description="heights above ground to compare")
    spacing_m: float = Field(400, ge=20, le=5000, description="between neighbouring lines or laps of a block")
    take_offs: Annotated[tuple[TakeOff, ...], Field(max_length=20)] = Field((), description="where flights may start and land: [{latitude: 57.1, longitude: -4.2}]; where flights began to listen when left out")
    tags: Annotated[tuple[str, ...], Field(max_length=12)] = Field((), description="tags whose regions the flight should narrow down: [T07, T12]; those heard and placed in no flight when left out")


class Movement(Section):
    """Movement between flights."""

    significance: float = Field(0.05, gt=0, lt=0.5, description="level of the displacement test, adjusted for the number of animals")
    species_movement_m_per_day: dict[str, Annotated[float, Field(gt=0)]] = Field({}, description="how far a species wanders in a day, for where to search next: {Lepus timidus: 400}")


class FieldRecord(Section):
    """What no log holds, in the words of the authors, as the methods of the publication appendix print it."""

    capture: str = Field("", description="how and when animals were caught; their sex, age and body mass")
    tagging: str = Field("", description="how tags were attached, and their mass as a share of body mass")
    mortality_delay: str = Field("", description="hours without movement after which a tag changes its pulse rate, from the maker's sheet")
    drone: str = Field("", description="drone and payload, and whether they disturb the receiver")
    receiver: str = Field("", description="receiver and antenna: gain, bandwidth, mounting, polarisation")
    field_work: str = Field("", description="training of the pilot, weather, incidents, reactions of animals")
    ground_models: str = Field("", description="source, date and error of the terrain and canopy models")
    habitats: str = Field("", description="habitats of the ground, of the beacons and of the searches without a position")


class Publication(Section):
    """What the publication appendix says beside the results, and how exactly it gives positions."""

    note: str = Field("", description="printed first in the appendix, for instance who the study was for")
    generalise_m: float = Field(10000, ge=100, le=200000, description="side of the grid squares to which the appendix generalises positions that are sensitive")
    sensitive_species: tuple[str, ...] = Field((), description="species whose positions the appendix generalises although the campaign is not marked sensitive: [Lyrurus tetrix]")
    licence: str = Field("", description="licence of the data and of the appendix")
    citation: str = Field("", description="how the paper or the data are to be cited")
    availability: str = Field("", description="where data and code are to be had")
    contact: str = Field("", description="who may be asked for files that hold exact positions and do not go with the appendix; the authors when left out")
    field_record: FieldRecord = Field(FieldRecord(), description="what no log holds, in your words, for the methods of the appendix; what is left out is listed there as not recorded")


class Survey(Section):
    """A campaign: its files and settings."""

    campaign: Annotated[str, AfterValidator(checks.folder_safe)] = Field(description="short name, safe for a folder: the results go to reports/<campaign>")
    title: str = Field(min_length=1, description="the title that stands over every report")
    status: Literal["draft", "checked", "final"] = Field("draft", description="draft, checked or final; printed on every report")
    sensitive: bool = Field(True, description="true: exact positions do not leave the office")
    crs: Annotated[str, AfterValidator(checks.metric_crs)] | None = Field(None, description="projected CRS in metres, such as EPSG:32632; a local one is chosen and named when left out")
    seed: int = Field(1, ge=0, description="where the random numbers start")
    receiver_log: ReceiverLog = Field(description="the receiver logs, and how they are written")
    tags: ExistingFile | None = Field(None, description="the register of tagged animals")
    beacons: ExistingFile | None = Field(None, description="tags at surveyed positions; without them no error can be tested")
    terrain: ExistingFile | None = Field(None, description="ground heights, a raster in any CRS")
    canopy: ExistingFile | None = Field(None, description="canopy height above ground: a raster in any CRS, or (.geojson, .gpkg) polygons with the attribute canopy_height_m")
    study_area: ExistingFile | None = Field(None, description="the study area, a polygon layer such as GeoJSON")
    bearings: ExistingFile | None = Field(None, description="bearings taken by hand on the ground")
    sightings: ExistingFile | None = Field(None, description="animals or tags found by eye")
    localisation: Localisation = Field(Localisation(), description="positions of tags")
    search: Search = Field(Search(), description="animals not found")
    fate: Fate = Field(Fate(), description="which tags to look for on foot")
    next_flight: NextFlight = Field(NextFlight(), description="where a next flight would tell most")
    movement: Movement = Field(Movement(), description="movement between flights")
    publication: Publication = Field(Publication(), description="the publication appendix")
    permits: dict[str, str] = Field({}, description="free entries printed in every report: {wildlife: ..., aviation: ..., ethics: ..., landowner: ...}")

    _file: Path = PrivateAttr(default=Path("survey.yml"))

    @property
    def file(self) -> Path:
        """The survey file itself, absolute."""
        return self._file

    @property
    def folder(self) -> Path:
        """The folder that paths in the survey file are relative to."""
        return self._file.parent

    @property
    def log_files(self) -> tuple[Path, ...]:
        """The receiver logs, sorted by path."""
        return self._matches(self.receiver_log.files)

    @property
    def position_files(self) -> tuple[Path, ...]:
        """The files of a separate flight track, sorted by path."""
        return self._matches(self.receiver_log.positions.files) if self.receiver_log.positions else ()

    def _matches(self, patterns) -> tuple[Path, ...]:
        escaped = Path(glob.escape(str(self.folder)))
        found = {Path(name) for pattern in patterns for name in glob.glob(str(escaped / pattern), recursive=True)}
        return tuple(sorted(path for path in found if path.is_file()))

    def input_files(self) -> dict[str, Path]:
        """Every file that a run reads, by its name relative to the survey file's folder: the survey file, the logs, then the rest."""
        named = [getattr(self, name) for name in ("tags", "beacons", "terrain", "canopy", "study_area", "bearings", "sightings")]
        paths = [self.file, *self.log_files, *self.position_files, *(path for path in named if path is not None)]
        files: dict[str, Path] = {}
        for path in paths:
            name = self._relative(path)
            files[name if files.get(name, path) == path else path.as_posix()] = path
        return files

    def _relative(self, path: Path) -> str:
        try:
            return path.resolve().relative_to(self.folder.resolve()).as_posix()
        except ValueError:
            return path.name


def section_in(annotation) -> type[Section] | None:
    """The group of settings that an annotation holds, also within a list or beside None; None for a plain setting."""
    if isinstance(annotation, type) and issubclass(annotation, Section):
        return annotation
    return next((found for found in map(section_in, get_args(annotation)) if found), None)


def settings_at(place) -> dict:
    """Name -> field of the settings in a section, such as ("receiver_log", "positions"); empty where there is no such section."""
    section: type[Section] | None = Survey
    for part in place:
        if not isinstance(part, int):
            field = section.model_fields.get(part) if section else None
            section = section_in(field.annotation) if field else None
    return section.model_fields if section else {}


def all_settings(section: type[Section] = Survey, place: tuple = ()):
    """The path of every setting, such as ("receiver_log", "files")."""
    for name, field in section.model_fields.items():
        yield (*place, name)
        inner = section_in(field.annotation)
        if inner:
            yield from all_settings(inner, (*place, name))
