"""A campaign checked before anything is computed: the survey file, every table it names, and what they hold together."""

from __future__ import annotations


from pipeline.messages import Message, SurveyError
from pipeline.survey import Survey, load_survey
from pipeline.wording import listed

PERMITS = ("wildlife", "ethics", "aviation", "landowner")
_USUAL_NAMES = {"tags": "tags.csv", "beacons": "beacons.csv", "terrain": "terrain.tif", "canopy": "canopy.tif", "study_area": "study_area.geojson", "bearings": "bearings.csv", "sightings": "sightings.csv"}


def check_survey(path) -> tuple[list[Message], str]:
    """Everything noticed in a survey file and its tables, and a few lines of text that say what is there.

    Raises SurveyError, with every fault at once, when a run could not start. A message of severity "stop" in the list that is returned
    means that one file, row or tag is left out while the rest goes on.
    """
    survey = load_survey(path)
    # read after the survey file is known to be right: it costs a second of imports
    from pipeline.intake import read_campaign

    intake = read_campaign(**read_arguments(survey))
    if survey.localisation.joined_flights:
        from pipeline.stages.joined_check import joined_faults

        faults = joined_faults(survey, intake.records, intake.tags, intake.beacons)
        if faults:
            raise SurveyError(faults)
    return [*_unnamed_files(survey), *status_messages(survey), *intake.messages], _summary(survey, intake)


def read_arguments(survey: Survey) -> dict:
    """The arguments of intake.read_campaign for a survey file."""
    return {
        "log_files": list(survey.log_files), "log_format": log_format(survey), "tags_file": survey.tags, "beacons_file": survey.beacons, "bearings_file": survey.bearings,
        "sightings_file": survey.sightings, "study_area_file": survey.study_area, "terrain_file": survey.terrain, "canopy_file": survey.canopy, "crs": survey.crs, "base": survey.folder,
    }


def log_format(survey: Survey):
    """How the receiver logs of a survey are written, as intake wants it told."""
    from pipeline.intake import Clock, LogFormat, PositionFormat, TextFormat

    log = survey.receiver_log
    positions = None
    if log.positions is not None:
        track = log.positions
        positions = PositionFormat(
            files=survey.position_files, columns=track.columns, lag_s=track.lag_s, longest_gap_s=track.longest_gap_s,
            text=TextFormat(track.delimiter, track.decimal, track.encoding), clock=Clock(track.date_format, track.time_zone or log.time_zone, log.date))
    same = ("columns", "layout", "tag_columns", "pulse_rate_columns", "height_reference", "height_unit", "receiver_height_m", "height_limit_m", "geoid_undulation_m", "azimuth_reference", "azimuth_unit",
            "declination_deg", "heard_above_noise_db", "position_crs", "max_speed_m_per_s")
    return LogFormat(
        text=TextFormat(log.delimiter, log.decimal, log.encoding), clock=Clock(log.date_format, log.time_zone, log.date),
        not_heard=tuple(log.not_heard) if isinstance(log.not_heard, list) else log.not_heard, not_listened=tuple(log.not_listened),
        heard_codes=tuple(log.heard_codes), positions=positions, **{name: getattr(log, name) for name in same})


def _unnamed_files(survey: Survey) -> list[Message]:
    """Files with a usual name that lie beside the survey file and are not named in it."""
    return [
        Message("look", "file-unnamed", f"{usual} lies beside the survey file and is not named in it", file=survey.file.name, value=usual,
                consequence="It is not read", remedy=f"Add the line {setting}: {usual}, or move the file away")
        for setting, usual in _USUAL_NAMES.items() if getattr(survey, setting) is None and (survey.folder / usual).is_file()
    ]


def unnamed_permits(permits: dict[str, str]) -> list[str]:
    """Those of PERMITS that a survey file does not record."""
    return [name for name in PERMITS if not str(permits.get(name) or "").strip()]


def status_messages(survey: Survey) -> list[Message]:
    """What speaks against the status that the survey file gives to the campaign."""
    unnamed = unnamed_permits(survey.permits)
    if survey.status != "final" or not unnamed:
        return []
    return [Message("look", "final-without-permits", f"The status is final, and permits are not recorded: {listed(unnamed)}", file=survey.file.name, value="final",
                    consequence="The page looks released although nobody can see that the work was allowed", remedy="Name them under permits, or set the status to checked")]


def _summary(survey: Survey, intake) -> str:
    records = intake.records
    by_role = intake.tags["role"].value_counts()
    roles = ", ".join(f"{by_role[role]} {plural}" for role, plural in (("animal", "animals"), ("beacon", "beacons"), ("decoy", "decoys"), ("unregistered", "in no register"))
                      if by_role.get(role, 0))
    start, end = records["time_utc"].min(), records["time_utc"].max()
    flights = records["flight_id"].nunique()
    looks = sum(message.severity == "look" for message in intake.messages)
    return "\n".join([
        f"{survey.campaign}: {survey.title}",
        f"{flights} flight{'s' if flights != 1 else ''} from {start:%Y-%m-%d %H:%M} to {end:%Y-%m-%d %H:%M} UTC, {len(records):,d} records of tags, {int(records['heard'].sum()):,d} heard, "
        f"{int((~records['usable']).sum()):,d} not usable",
        f"{len(intake.tags)} tags: {roles}",
        f"Coordinates: {intake.projection.name}",
        f"{looks} message{'s' if looks != 1 else ''} to look at",
    ])
