"""The supervisor's ten questions, answered from the tables in one or two plain sentences each."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from pipeline.calibration import error_summary, what_beacons_can_prove
from pipeline.location import PLACED
from pipeline.stages import localisation_words as located
from pipeline.stages import quality_words as quality
from pipeline.wording import counted, listed, two_figures


@dataclass(frozen=True)
class Found:
    """The tables that the answers are made from."""

    flights: pd.DataFrame
    effort: pd.DataFrame
    tags_heard: pd.DataFrame
    messages: pd.DataFrame
    crude: pd.DataFrame
    changes: pd.DataFrame
    animals: pd.DataFrame        # fixes of animals
    tests: pd.DataFrame          # held-out beacons
    errors: pd.DataFrame         # beacon_errors
    triage: pd.DataFrame
    walk: pd.DataFrame
    not_found: pd.DataFrame
    searched: pd.DataFrame
    well_searched: pd.DataFrame
    steps: pd.DataFrame
    movement: pd.DataFrame
    permits: dict
    status: str
    sensitive: bool


def opening(found: Found) -> list[str]:
    """What the campaign found, in a paragraph."""
    first, second = (located.answer(found.animals, found.tests, found.not_found, found.walk, found.triage) + [""])[:2]
    return [first, " ".join([second, movement_sentence(found)]).strip()]


def answers(found: Found) -> list[tuple[str, list[str]]]:
    """Question and paragraphs, in the order in which a supervisor asks."""
    return [
        ("Can I trust the positions, and where not?", [trust(found)]),
        ("How many beacons say so, and were they independent of the fit?", [independence(found)]),
        ("Which animals are missing, and did we really look there?", [located.missing_sentence(found.not_found), searched(found)]),
        ("What must be fetched, how urgent, how sure?", [fetch(found)]),
        ("Did anything move or change?", [movement_sentence(found), "Nothing is compared with an earlier campaign: each run stands for itself, and a change of tags, gain, antenna or settings between campaigns is not looked for."]),
        ("What was thrown away, by whose rule?", [thrown_away(found)]),
        ("Which statements would fall if one assumption fell?", [assumptions(found)]),
        ("Was the work legal and gentle?", [permits(found)]),
        ("What should the next flight do?", [next_flight(found)]),
        ("May this page leave the office?", [leaving(found)]),
    ]


def trust(found: Found) -> str:
    if found.errors.empty:
        return "That is not known: no beacon was heard, so no error was measured. The regions are as wide as simulations of such models ask for, and untested here."
    whole = error_summary(found.errors)
    inside = int((found.errors["level_after"] <= 0.95).sum())
    return (f"On beacons the median error was {two_figures(whole['median_m'])} m and nine in ten were within {two_figures(whole['p90_m'])} m; the 95 % regions held {inside} of {whole['n']}. "
            "Do not lean on positions where no beacon stood like it: other habitats, other distances, other tags, and ground behind hills, which the model does not yet know.")


def independence(found: Found) -> str:
    places = found.tests["place_id"].nunique() if len(found.tests) else 0
    if not places:
        return "None: no beacon was heard."
    low = what_beacons_can_prove(places)[0]
    return (f"{counted(places, 'beacon')}, heard {counted(len(found.tests), 'time')}. Each was located by a model fitted without it and widened by what the others showed, so each is a test of its own; repeats of one beacon are not. "
            f"So many beacons can prove at best that the regions hold {low:.2f} or more of the truths (95 % interval).")


def searched(found: Found) -> str:
    whole = found.searched[found.searched["flight_id"] == "all flights"]
    if whole.empty:
        return "No ground can be called searched."
    least = whole.sort_values("area_90_cautious_ha", kind="stable").iloc[0]
    test = str(found.well_searched.iloc[0]["text"]) if len(found.well_searched) else ""
    return f"For the weakest type of tag {two_figures(least['area_90_cautious_ha'])} of {two_figures(least['area_ha'])} ha were searched to 0.9 or more, cautiously reckoned. {test}".strip()


def fetch(found: Found) -> str:
    words = located.fetch_sentence(found.walk, found.triage)
    if found.walk.empty:
        return words
    first = found.walk.iloc[0]
    return f"{words} First {first['tag_id']}: {first['note'][0].lower()}{first['note'][1:]} A mortality rate is no proof of death."


def movement_sentence(found: Found) -> str:
    tested = found.steps[found.steps["verdict"].isin(["moved", "not shown"])] if len(found.steps) else found.steps
    if tested.empty:
        return "No animal has two usable positions, so nothing can be said of movement."
    moved = tested.loc[tested["verdict"] == "moved", "tag_id"].nunique()
    return (f"{moved} of {counted(tested['tag_id'].nunique(), 'animal')} with two positions or more moved farther than the error of the positions allows; in half of the steps a movement below "
            f"{two_figures(tested['minimum_detectable_m'].median())} m could not have been seen.")


def thrown_away(found: Found) -> str:
    changes = found.changes[found.changes["rows"] > 0] if len(found.changes) else found.changes
    said = [f"{row.rule} ({counted(int(row.rows), 'row')})" for row in changes.head(5).itertuples()]
    unfit = int((found.flights["verdict"] != "fit for location").sum())
    first = f"By rules of the software: {listed(said)}." if said else "Nothing was changed or left out on reading."
    doubted = int((found.animals["status"] == "suspect").sum())
    flights = f"{unfit} of {counted(len(found.flights), 'flight')} {'was' if unfit == 1 else 'were'} not fit for location" if unfit else "Every flight was fit for location"
    hits = f"{counted(doubted, 'search', 'searches')} of animals gave hits that are doubted" if doubted else "no hit of an animal is doubted"
    return f"{first} {flights}, and {hits}. No record was dropped for being weak."


def assumptions(found: Found) -> str:
    if found.errors.empty:
        return "All of them: without beacons every radius rests on the priors of the signal model, on the heights and azimuths as logged, and on clocks that agree."
    return ("Heights, azimuths and clocks are taken as logged; a clock some seconds off or magnetic north taken for true would show as larger beacon errors, which the widening then covers. "
            "The detection figures fall if animals hide where tags cannot be heard; the fates fall if the register's pulse rates are wrong.")


def permits(found: Found) -> str:
    missing = [name for name in ("wildlife", "ethics", "aviation", "landowner") if not str(found.permits.get(name) or "").strip()]
    if missing:
        return f"Not recorded: {listed(missing)}. Whether the work was legal and gentle is for the authority, the licensed pilot and the permit holder to say; the logs do not tell."
    return "Permits are named below. Whether the work was gentle the logs do not tell: reactions of animals and incidents are to be added by those who were there."


def next_flight(found: Found) -> str:
    weak = found.animals[found.animals["status"].isin(["several places", "area only", "heard once"])]
    never = sorted(set(weak["tag_id"]) - set(found.animals.loc[found.animals["status"].isin(PLACED), "tag_id"]))
    if never:
        return f"Pass closer, and on more than one side, to what was heard and never placed: {listed(never)}. Where and how to fly is for the licensed pilot to decide."
    return "Every animal that was heard has a position in some flight; another flight is worth most for those not found and for the widest regions. Where and how to fly is for the licensed pilot to decide."


def leaving(found: Found) -> str:
    if found.sensitive:
        return "No: exact positions are inside, and the survey file calls this campaign sensitive. Generalise to a grid before anything is shared, and never by random shifts."
    return "Exact positions and flight tracks are inside. The survey file does not call them sensitive; ask the permit holder before sharing."


def next_steps(found: Found) -> list[str]:
    """At most five lines, the most urgent first."""
    steps = []
    if len(found.walk):
        steps.append(f"Look for {listed(found.walk['tag_id'])} on foot, with the circles of the localisation report and its cautions.")
    counts = found.messages["severity"].value_counts()
    if counts.get("stop", 0) + counts.get("look", 0):
        steps.append(f"Read the {counted(int(counts.get('stop', 0) + counts.get('look', 0)), 'message')} that ask for a look, on the quality page.")
    if found.errors.empty:
        steps.append("Put out beacons: four or more in every flight, eight or more over the campaign.")
    elif found.tests["place_id"].nunique() < 8:
        steps.append("Put out more beacons next time: eight or more places.")
    silent = found.not_found[found.not_found["class"] == "not heard"] if len(found.not_found) else found.not_found
    if len(silent):
        steps.append(f"Decide on {listed(silent['tag_id'])}: fly wider, ask for the battery's age, or keep listening.")
    if found.status == "draft":
        steps.append("Set the status to checked in the survey file when this page has been read.")
    return steps[:5]


def report_sentences(found: Found) -> dict[str, str]:
    """The one-sentence answer of each report."""
    whole = error_summary(found.errors) if len(found.errors) else None
    return {
        "1_quality_check": f"{quality.fitness_sentence(found.flights)}",
        "2_localisation": located.answer(found.animals, found.tests, found.not_found, found.walk, found.triage)[0].split(". ")[0].rstrip(".") + ".",
        "3_error_calibration": "No beacon was heard, so no error claim is tested." if whole is None else
        f"Median error {two_figures(whole['median_m'])} m on {counted(found.tests['place_id'].nunique(), 'beacon')} that the model had not seen.",
        "4_movement_summaries": movement_sentence(found).split(";")[0].rstrip(".") + ".",
    }
