"""The reporting checklist: what reviewers of telemetry studies ask, and where this campaign answers it, or "not recorded".

The eleven questions are common practice of reviewers in the field, no single source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.stages.appendix_field_words import stated, where
from pipeline.stages.appendix_withheld import whom_to_ask
from pipeline.stages.appendix_words import Material, expected_life
from pipeline.wording import counted

CHECKLIST = ["question", "item", "where", "answer"]
OPEN = ["question", "item", "answer", "needs"]
NOT_RECORDED = "not recorded"
NOT_STATED = "not stated by the authors"
TOLD = "given"
# What would have to be known where an item is not answered, by item.
NEEDED = {
    "number tagged, species": "a register of tags with the column species", "capture, sex, age, mass": "date and method of capture, sex, age and body mass of each animal",
    "mass of the tag as a share of body mass, attachment": "masses of tag and animal, and how tags were attached", "tags retained, dropped, recovered": "a register of tags with their pulse rates",
    "frequency band": "the column frequency_mhz of the register", "pulse rates, live and mortality": "the columns pulse_rate_live_per_min and pulse_rate_mortality_per_min of the register",
    "expected life": "the column expected_end_utc of the register", "mortality delay": "the hours without movement after which a tag changes its rate, from the maker's sheet", "tags that failed or fell silent": "a register of tags",
    "drone, payload and their disturbance of the receiver": "drone, payload, and the background noise in the log", "permits": "permits in the survey file", "training of the pilot, weather, incidents, reactions of animals": "the flight protocol",
    "heights and speeds": "a flight", "gain, bandwidth, make of receiver and antenna, mounting, polarisation": "the settings of the receiver and a drawing of the mounting", "record interval": "a flight",
    "source, date and error of the terrain and canopy models": "who made them, when, and how exact they are",
    "gain pattern of the antenna": "beacons that were heard", "number of test tags, places, heights, habitats": "beacons that were heard", "blind to the model": "beacons that were heard", "bias, median, mean, 90th percentile, intervals": "beacons that were heard",
    "coverage of the stated regions": "beacons that were heard", "where the errors hold, and where not": "beacons that were heard", "whether rejection favours open ground": "a map of habitats", "flights, minutes, km, time of day": "a flight",
    "ground searched to 0.5 and 0.9": "a flight", "animals not found, and how well their ground was searched": "a register of tags", "when and why animals left, extremes of the curve": "dates of deployment in the register",
    "whether leaving is independent of fate": "a survival curve", "fixes and days of every animal": "animals with fixes",
}
QUESTIONS = ("Animals", "Tags", "Drone, permits and field work", "Receiver and antenna", "Location method", "Location error", "Rejection rules", "Survey effort", "Censoring", "Space use", "Data and code")


@dataclass(frozen=True)
class _Places:
    """Where things are said: in a table of this appendix, or in its methods."""

    here: dict[str, str]

    def table(self, name: str) -> str:
        """A table of this appendix, "" where the campaign has none."""
        return self.here.get(name, "")

    def either(self, *places: str) -> str:
        """Those of the places that exist."""
        return "; ".join(place for place in places if place)


def checklist(found: Material, here: dict[str, str]) -> pd.DataFrame:
    """One row per item, columns of CHECKLIST. here : name -> words for the tables of this appendix."""
    return _items(found, here)[CHECKLIST]


def open_items(found: Material, here: dict[str, str]) -> pd.DataFrame:
    """The items that are not answered, or in part, with what would have to be known, columns of OPEN: for the authors, and not for readers."""
    rows = _items(found, here)
    return rows.loc[rows["needs"] != "", OPEN].reset_index(drop=True)


def _items(found: Material, here: dict[str, str]) -> pd.DataFrame:
    """Every item with its answer and with what that lacks; a group yields the answer alone, "" where there is none, or (answer, what it lacks)."""
    places = _Places(here)
    groups = (_animals, _tags, _field_work, _receiver, _method, _error, _rejection, _effort, _censoring, _space_use, _data)
    rows = [(f"{number}. {QUESTIONS[number - 1]}", item, where or "–", *(answer if isinstance(answer, tuple) else (answer, "") if answer else (NOT_RECORDED, NEEDED[item])))
            for number, group in enumerate(groups, start=1) for item, where, answer in group(found, places)]
    return pd.DataFrame(rows, columns=[*CHECKLIST, "needs"])


def _told(found: Material, item: str, name: str) -> tuple[str, str, str]:
    """An item that only the authors can answer."""
    return item, where(found, name), _if(stated(found, name), TOLD)


def _or_lacking(found: Material, name: str, said: str, needs: str):
    """The answer with its last part given, where the authors state it, else with that part not recorded and what it needs."""
    return f"{said} {TOLD}" if stated(found, name) else (f"{said} {NOT_RECORDED}", needs)


def _if(condition, words):
    return words if condition else ""


def _known(found: Material, column: str) -> bool:
    return column in found.tags and found.tags.loc[found.tags["role"] == "animal", column].replace("", pd.NA).notna().any()


def _animals(found: Material, places: _Places):
    yield "number tagged, species", places.table("animals"), _if(_known(found, "species"), "given for every animal")
    yield _told(found, "capture, sex, age, mass", "capture")
    yield _told(found, "mass of the tag as a share of body mass, attachment", "tagging")
    shown = "fate of every tag, with what shows it; recovery"
    yield "tags retained, dropped, recovered", places.either(places.table("fates"), where(found, "tagging")), _if(len(found.table("fate_triage")), _or_lacking(found, "tagging", shown, "which of the tags found were recovered"))


def _tags(found: Material, places: _Places):
    register = found.survey.tags is not None
    methods = "Methods, animals and tags"
    yield "frequency band", methods, _if(_known(found, "frequency_mhz"), "given")
    yield "tag types", methods, "given" if _known(found, "tag_type") else (NOT_RECORDED, "the column tag_type of the register")
    yield "pulse rates, live and mortality", methods, _if(_known(found, "pulse_rate_live_per_min"), "given")
    yield "expected life", _if(expected_life(found), methods), _if(expected_life(found), "given")
    yield _told(found, "mortality delay", "mortality_delay")
    yield "tags that failed or fell silent", places.table("not_found"), _if(register, "animals not heard, with how well their ground was searched")


def _field_work(found: Material, places: _Places):
    permits = found.survey.permits
    noise = _if(len(found.table("flights")) and found.table("flights")["noise_median_db"].notna().any(), "median noise of each flight in flights.csv")
    yield "drone, payload and their disturbance of the receiver", places.either(where(found, "drone"), _if(noise, places.table("effort"))), (
        places.either(_if(stated(found, "drone"), TOLD), noise) if stated(found, "drone") or not noise else (f"{noise}; {NOT_RECORDED}: drone and payload", "both named"))
    yield "permits", "Availability and permits", _if(permits, "; ".join(f"{name}: {words}" for name, words in permits.items()))
    yield _told(found, "training of the pilot, weather, incidents, reactions of animals", "field_work")
    yield "heights and speeds", places.table("effort"), _if(len(found.table("effort")), "given for every flight")


def _receiver(found: Material, places: _Places):
    yield _told(found, "gain, bandwidth, make of receiver and antenna, mounting, polarisation", "receiver")
    yield "record interval", "Methods, flights and receiver", _if(len(found.table("flights")), "given")
    yield "what counts as heard", "Methods, flights and receiver", "given"
    yield "gain pattern of the antenna", places.table("signal_model"), _if(found.models.get("beacons"), "fitted on beacons")


def _method(found: Material, places: _Places):
    yield "estimator, priors and bounds", places.either("Methods, location", places.table("signal_model")), "given"
    yield "cells and extent of the grid, models drawn, draws", "Methods, location", "given"
    if found.survey.terrain or found.survey.canopy:
        yield _told(found, "source, date and error of the terrain and canopy models", "ground_models")
    yield "use of absences, dependence of records", "Methods, location", "given"
    yield "software version, seed", "Methods, software", "given"


def _error(found: Material, places: _Places):
    tested = bool(len(found.table("error_summary")))
    yield "number of test tags, places, heights, habitats", places.either(places.table("beacons"), _if(tested, where(found, "habitats"))), _if(tested, _or_lacking(found, "habitats", "number, places and heights given; habitats", "a map of habitats"))
    yield "blind to the model", places.either(_if(tested, "Methods, errors"), _if(tested, "Methods, what the testing beacons had a part in")), _if(tested, "every beacon was located by a model fitted without it; what was settled with them in view is named")
    yield "bias, median, mean, 90th percentile, intervals", places.table("errors"), _if(tested, "given, also by flight style, distance, tag type and flight")
    yield "coverage of the stated regions", places.table("coverage"), _if(tested, "given, counted by fix and by beacon")
    yield "where the errors hold, and where not", places.either(_if(tested, "Methods, where these errors hold"), places.table("reach")), _if(tested, "given, with the beacon fixes that stand behind it")
    yield "bias and scatter of bearings", places.table("hand_evidence"), _bearings(found)


def _bearings(found: Material):
    """How many bearings were used, and what tells of their errors: those taken to beacons, or what is lacking."""
    taken = found.table("hand_evidence")
    used = taken[(taken["kind"] == "bearing") & taken["used"].astype(bool)] if len(taken) else taken
    if not len(used):
        return "no bearing was used"
    said = f"{counted(len(used), 'bearing')} to {counted(used['tag_id'].nunique(), 'tag')}"
    given = found.bearings["bearing_sd_deg"].dropna() if "bearing_sd_deg" in found.bearings else pd.Series(dtype=float)
    if len(given):
        said += f", standard deviation as stated by the observer ({' to '.join(dict.fromkeys(f'{value:g}' for value in (given.min(), given.max())))} degrees)"
    off = errors_of_bearings_deg(found.bearings, found.table("beacon_places"))
    if len(off) > 1:
        return f"{said}; {len(off)} more were taken to beacons: bias {off.mean():.1f} degrees (right of the beacon where positive), standard deviation {off.std():.1f} degrees; the bias was not taken out"
    return f"{said}; bias and scatter {NOT_RECORDED}: none was taken to a beacon", "bearings to tags at known places"


def errors_of_bearings_deg(bearings: pd.DataFrame, places: pd.DataFrame) -> pd.Series:
    """Bearings taken by hand to beacons, less the directions in which these stand; -180 to 180, positive clockwise. [deg]

    bearings : tag_id, easting_m, northing_m of the observer, bearing_grid_deg. places : rows of beacon_places. A beacon that was moved is left out.
    """
    once = places.drop_duplicates("tag_id", keep=False) if len(places) else places
    if not len(bearings) or not len(once):
        return pd.Series(dtype=float)
    rows = bearings.merge(once[["tag_id", "easting_m", "northing_m"]], on="tag_id", suffixes=("", "_of_beacon"))
    true_deg = np.degrees(np.arctan2(rows["easting_m_of_beacon"] - rows["easting_m"], rows["northing_m_of_beacon"] - rows["northing_m"]))
    return (rows["bearing_grid_deg"] - true_deg + 180.0) % 360.0 - 180.0


def _rejection(found: Material, places: _Places):
    yield "rules and counts", places.either("Methods, location", places.table("statuses")), "every search with what became of it"
    yield "changes to the data on reading", places.either("Methods, flights and receiver", places.table("changes")), "given"
    yield "whether rejection favours open ground", where(found, "habitats"), _if(stated(found, "habitats"), "as far as said there")


def _effort(found: Material, places: _Places):
    yield "flights, minutes, km, time of day", places.table("effort"), _if(len(found.table("effort")), "given")
    yield "ground searched to 0.5 and 0.9", places.either("Methods, ground searched", places.table("effort")), _if(len(found.table("searched_area")), "given")
    missing = found.table("not_found")
    yield "animals not found, and how well their ground was searched", places.table("not_found"), "given" if len(missing) else "every animal was heard" if found.survey.tags is not None else ""


def _censoring(found: Material, places: _Places):
    yield "when and why animals left, extremes of the curve", places.table("survival"), _if(len(found.table("survival")), "given, with both extreme curves")
    yield "whether leaving is independent of fate", "", _if(len(found.table("survival")), "not tested; the extreme curves bound it")


def _space_use(found: Material, places: _Places):
    ranges = found.table("ranges")
    given = int((ranges["verdict"] == "given").sum()) if len(ranges) else 0
    yield "estimator, bandwidth, contour, asymptote", places.table("ranges"), f"{given} ranges given" if given else "no range is given: no animal met what a range asks for"
    yield "fixes and days of every animal", places.table("animals"), _if(len(found.table("movement_animals")), "given")
    yield "sampling unit", "Methods, fate and movement", "the animal"


def _data(found: Material, places: _Places):
    settings = found.survey.publication
    yield "data and code", "Availability and permits", settings.availability.strip() or NOT_STATED
    yield "licence, citation", "Availability and permits", "; ".join(text for text in (settings.licence, settings.citation) if text) or NOT_STATED
    generalised = len(found.positions) and (found.positions["precision"] != "exact").any()
    yield "files withheld, and who may be asked", "Availability and permits", f"given; to be had from {whom_to_ask(found.survey)}" if found.withheld else "none is withheld"
    yield "generalised coordinates", places.either(places.table("positions"), places.table("beacons")), "generalised, grid and uncertainty stated" if generalised else "positions are exact: the campaign is not marked sensitive" if len(found.positions) else "no position"
