"""The reporting checklist: what reviewers of telemetry studies ask, and where this campaign answers it, or "not recorded".

The eleven questions are common practice of reviewers in the field, no single source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import pandas as pd

from pipeline.stages.appendix_words import Material

CHECKLIST = ["question", "item", "where", "answer"]
NOT_RECORDED = "not recorded"
REPORT_NAMES = {"1_quality_check": "quality check", "2_localisation": "localisation report", "3_error_calibration": "error calibration", "4_movement_summaries": "movement report"}
QUESTIONS = ("Animals", "Tags", "Drone, permits and field work", "Receiver and antenna", "Location method", "Location error", "Rejection rules", "Survey effort", "Censoring", "Space use", "Data and code")
_TABLE = re.compile(r'<figure\b[^>]*\bid="table-([a-z0-9_-]+)"')


def numbered_tables(pages: dict[str, str]) -> dict[tuple[str, str], str]:
    """(report, name of a table) -> "Table 4 of the error calibration", from the finished pages: tables are numbered in the order in which they stand."""
    return {(report, name): f"Table {number} of the {REPORT_NAMES[report]}"
            for report, page in pages.items() for number, name in enumerate(_TABLE.findall(page), start=1)}


@dataclass(frozen=True)
class _Places:
    """Where things are said: in a table of this appendix, in a table of a report, or in its methods."""

    numbered: dict[tuple[str, str], str]
    here: dict[str, str]

    def table(self, name: str) -> str:
        """A table of this appendix, "" where the campaign has none."""
        return self.here.get(name, "")

    def report(self, report: str, name: str) -> str:
        """A table of a report, "" where it has none."""
        return self.numbered.get((report, name), "")

    def either(self, *places: str) -> str:
        """Those of the places that exist."""
        return "; ".join(place for place in places if place)


def checklist(found: Material, numbered: dict[tuple[str, str], str], here: dict[str, str]) -> pd.DataFrame:
    """One row per item, columns of CHECKLIST. numbered : as from `numbered_tables`. here : name -> words for the tables of this appendix."""
    places = _Places(numbered, here)
    groups = (_animals, _tags, _field_work, _receiver, _method, _error, _rejection, _effort, _censoring, _space_use, _data)
    rows = [(f"{number}. {QUESTIONS[number - 1]}", item, where or "–", answer or NOT_RECORDED)
            for number, group in enumerate(groups, start=1) for item, where, answer in group(found, places)]
    return pd.DataFrame(rows, columns=CHECKLIST)


def _if(condition, words: str) -> str:
    return words if condition else ""


def _known(found: Material, column: str) -> bool:
    return column in found.tags and found.tags.loc[found.tags["role"] == "animal", column].replace("", pd.NA).notna().any()


def _animals(found: Material, places: _Places):
    yield "number tagged, species", places.table("animals"), _if(_known(found, "species"), "given for every animal")
    yield "capture, sex, age, mass", "", ""
    yield "mass of the tag as a share of body mass, attachment", "", _if(_known(found, "tag_type"), "tag types only; masses not recorded")
    yield "tags retained, dropped, recovered", places.either(places.report("2_localisation", "fate_triage"), places.report("2_localisation", "hand_evidence")), _if(len(found.table("fate_triage")), "fate of every tag, with what shows it")


def _tags(found: Material, places: _Places):
    register = found.survey.tags is not None
    methods = "Methods, animals and tags"
    yield "frequency band", methods, _if(_known(found, "frequency_mhz"), "given")
    yield "pulse rates, live and mortality", methods, _if(_known(found, "pulse_rate_live_per_min"), "given")
    yield "expected life", "", _if(_known(found, "expected_end_utc"), "in the register of tags")
    yield "mortality delay", "", ""
    yield "tags that failed or fell silent", places.either(places.table("not_found"), places.report("2_localisation", "not_found")), _if(register, "animals not heard, with how well their ground was searched")


def _field_work(found: Material, places: _Places):
    permits = found.survey.permits
    yield "drone, payload and their disturbance of the receiver", "", _if(len(found.table("flights")) and found.table("flights")["noise_median_db"].notna().any(), "noise of each flight in flights.csv; drone and payload not recorded")
    yield "permits", "Availability and permits", _if(permits, "; ".join(f"{name}: {words}" for name, words in permits.items()))
    yield "training of the pilot, weather, incidents, reactions of animals", "", ""
    yield "heights and speeds", places.table("effort"), _if(len(found.table("effort")), "given for every flight")


def _receiver(found: Material, places: _Places):
    yield "gain, bandwidth, make of receiver and antenna, mounting, polarisation", "", ""
    yield "record interval", "Methods, flights and receiver", _if(len(found.table("flights")), "given")
    yield "what counts as heard", "Methods, flights and receiver", "given"
    yield "gain pattern of the antenna", places.table("signal_model"), _if(found.models.get("beacons"), "fitted on beacons")


def _method(found: Material, places: _Places):
    yield "estimator, priors and bounds", places.either("Methods, location", places.table("signal_model")), "given"
    yield "use of absences, dependence of records", "Methods, location", "given"
    yield "software version, seed", "Methods, software", "given"


def _error(found: Material, places: _Places):
    tested = bool(len(found.table("error_summary")))
    yield "number of test tags, places, heights, habitats", places.report("3_error_calibration", "beacon_places"), _if(tested, "places and heights given; habitats not recorded")
    yield "blind to the model", "Methods, errors", _if(tested, "yes: every beacon was located by a model fitted without it")
    yield "bias, median, mean, 90th percentile, intervals", places.table("errors"), _if(tested, "given, also by flight style, distance, tag type and flight")
    yield "coverage of the stated regions", places.table("coverage"), _if(tested, "given, counted by fix and by beacon")
    bearings = found.table("hand_evidence")
    used = int(((bearings["kind"] == "bearing") & bearings["used"].astype(bool)).sum()) if len(bearings) else 0
    yield "bias and scatter of bearings", places.report("2_localisation", "hand_evidence"), f"{used} bearings taken by hand were used" if used else "no bearing was used"


def _rejection(found: Material, places: _Places):
    yield "rules and counts", places.table("statuses"), "every search with what became of it"
    yield "changes to the data on reading", places.either("Methods, flights and receiver", places.report("1_quality_check", "changes")), "given"
    yield "whether rejection favours open ground", "", ""


def _effort(found: Material, places: _Places):
    yield "flights, minutes, km, time of day", places.table("effort"), _if(len(found.table("effort")), "given")
    yield "ground searched to 0.5 and 0.9", places.either(places.table("effort"), places.report("2_localisation", "searched_area")), _if(len(found.table("searched_area")), "given")
    missing = found.table("not_found")
    yield "animals not found, and how well their ground was searched", places.either(places.table("not_found"), places.report("2_localisation", "not_found")), "given" if len(missing) else "every animal was heard" if found.survey.tags is not None else ""


def _censoring(found: Material, places: _Places):
    yield "when and why animals left, extremes of the curve", places.report("4_movement_summaries", "survival-animals"), _if(len(found.table("survival")), "given, with both extreme curves")
    yield "whether leaving is independent of fate", "", _if(len(found.table("survival")), "not tested; the extreme curves bound it")


def _space_use(found: Material, places: _Places):
    ranges = found.table("ranges")
    given = int((ranges["verdict"] == "given").sum()) if len(ranges) else 0
    yield "estimator, bandwidth, contour, asymptote", places.report("4_movement_summaries", "ranges"), f"{given} ranges given" if given else "no range is given: too few fixes, or errors too large against the range"
    yield "fixes and days of every animal", places.table("animals"), _if(len(found.table("movement_animals")), "given")
    yield "sampling unit", "Methods, fate and movement", "the animal"


def _data(found: Material, places: _Places):
    settings = found.survey.publication
    yield "data and code", "Availability and permits", settings.availability
    yield "licence, citation", "Availability and permits", "; ".join(text for text in (settings.licence, settings.citation) if text)
    generalised = len(found.positions) and (found.positions["precision"] != "exact").any()
    yield "generalised coordinates", places.table("positions"), "generalised, grid and uncertainty stated" if generalised else "positions are exact: the campaign is not marked sensitive" if len(found.positions) else "no position"
