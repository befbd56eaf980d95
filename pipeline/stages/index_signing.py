"""What a supervisor should know before signing: what a signature says, what was marked, what the beacons leave open, what is missing, and what may leave the office."""

from __future__ import annotations

import pandas as pd

from pipeline.stages.calibration_numbers import probability
from pipeline.stages.check import unnamed_permits
from pipeline.stages.index_errors import held_by_place, outside_sentence, tests_in_short
from pipeline.stages.index_found import Found
from pipeline.wording import counted, listed

MOST_LOOKS = 6
_MEANING = {
    "draft": "You may sign that you have read it, and nothing more: nobody has checked the results. Next, a second person checks them; whoever keeps the survey file then sets the status to checked, and to final once permits, tests and limits are accepted.",
    "checked": "You may sign that you have read it and know who checked the results: the status is checked. The software has no part in that check. Whoever keeps the survey file sets it to final once permits, tests and limits are accepted.",
    "final": "You may sign that you have read it, that it was checked, and that the limits below are accepted: the status is final. The software has tested nothing more for that.",
}
_NO_PERMISSION = "That there is none is no permission to act or to publish."


def before_signing(found: Found, sensitive_species=()) -> list[tuple[str, list[str]]]:
    """Label and lines, in the order in which they should be read."""
    return [
        ("What a signature means", [_MEANING.get(found.status, "")]),
        ("Stops", [stops_sentence(found.messages)]),
        ("To look at", looks(found.messages)),
        ("Limits", [limits(found)]),
        ("Missing here", missing_here(found)),
        ("May leave the office", may_leave(found, sensitive_species)),
    ]


def stops_sentence(messages: pd.DataFrame) -> str:
    """What a stop is, and that none of them is no permission."""
    count = int((messages["severity"] == "stop").sum())
    said = "No stop." if not count else f"{counted(count, 'stop')}, to be settled first: {listed(_unended(messages[messages['severity'] == 'stop']))}."
    return f"{said} A stop is a file, flight or tag that the software had to leave out. {_NO_PERMISSION if not count else ''}".strip()


def looks(messages: pd.DataFrame) -> list[str]:
    """The messages marked look, a line each; of many the first ones."""
    said = [f"{text}." for text in _unended(messages[messages["severity"] == "look"])]
    if not said:
        return ["No message is marked look."]
    return said if len(said) <= MOST_LOOKS else [*said[:MOST_LOOKS - 1], f"And {len(said) - MOST_LOOKS + 1} more, in tables/messages.csv."]


def _unended(messages: pd.DataFrame) -> list[str]:
    return [str(text).rstrip(".") for text in messages["text"]]


def limits(found: Found) -> str:
    """How far the test on beacons carries."""
    places = found.tests["place_id"].nunique() if len(found.tests) else 0
    if places < 2:
        return tests_in_short(found)
    row = held_by_place(found.coverage)
    return (f"{outside_sentence(found.reach) or 'No fix of an animal lies outside of what the beacons tested.'} {counted(places, 'beacon')} leave {probability(row['low_95'])} to {probability(row['high_95'])} "
            "as the 95 % interval of the share of truths that the 95 % regions hold.")


def missing_here(found: Found) -> list[str]:
    """What no log holds and what the survey file leaves out."""
    unnamed = unnamed_permits(found.permits)
    permits = f"Permits not recorded in the survey file: {listed(unnamed)}." if unnamed else "Whether the permits covered the dates flown is for the signer to see."
    told = ("Reactions of animals and incidents: the survey file tells of them (field_work, quoted at the foot of this page). Those who were there add to it below." if found.field_work_told else
            "Reactions of animals and incidents: no log holds them, and the survey file says nothing (field_work). Those who were there write them below.")
    return [told, permits]


def may_leave(found: Found, sensitive_species=()) -> list[str]:
    """What may go with whom."""
    circles = bool(found.walk["easting_m"].notna().any())
    walkers = ("With those who walk to a tag may go tables/search_areas.gpx and the printed section of the tag; both come back or are deleted afterwards." if circles else
               "With people on foot nothing has to go: no tag with a circle calls for a walk.")
    if not found.sensitive:
        species = f" Positions of {listed(sensitive_species)} stay; the appendix has them on a coarse grid." if len(sensitive_species) else ""
        return [f"The survey file does not mark the campaign as sensitive; ask the permit holder before anything with positions is shared.{species}", walkers]
    return ["Exact positions stay: the reports and this page, the tables and figures with places, results.gpkg and the input files.", walkers,
            "With others may go the folder appendix_files, whose positions are on a coarse grid, once the permit holder has agreed and names of places are checked."]
