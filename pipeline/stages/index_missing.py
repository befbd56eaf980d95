"""Animals missing and how well they were looked for, tags to look for on foot, what moved: sentences of the index page."""

from __future__ import annotations

import pandas as pd

from pipeline.search import stated_probability
from pipeline.stages import localisation_words as located
from pipeline.stages.index_found import Found
from pipeline.stages.silences import RULE
from pipeline.wording import counted, listed, two_figures


def missing(found: Found) -> str:
    """Who was never heard; without a register nobody can be missed."""
    if found.has_register:
        return never_heard(found.not_found, with_figures=True)
    unheard = f" {never_heard(found.not_found, with_figures=True)}" if len(found.not_found) else ""
    return f"There is no register, so every tag of the logs that is no beacon counts as an animal, and an animal that no log names cannot be missed.{unheard}"


def missing_in_short(found: Found) -> str:
    """Those never heard and those that fell silent, for the opening."""
    heard_of_all = "" if found.has_register and len(found.silent) else NOBODY_MISSING if found.has_register else NO_REGISTER
    return " ".join(words for words in (never_heard(found.not_found) if len(found.not_found) else heard_of_all, _silent_sentence(found.silent)) if words)


NOBODY_MISSING = "Every animal of the register was heard in some flight."
NO_REGISTER = "Without a register nobody can be missed."


def never_heard(not_found: pd.DataFrame, with_figures: bool = False) -> str:
    """Who was never heard, with what that says, by how probably they would have been heard; not_found : rows of not_found."""
    if not_found.empty:
        return NOBODY_MISSING
    silent, said = not_found[not_found["class"] == "not heard"], []
    for words, rows in silent.groupby(silent["adequacy_cautious"].map(_had_it_been_there), sort=False):
        one = len(rows) == 1
        it, its, was = ("it", "its tag is", "was") if one else ("they", "their tags are", "were")
        figures = f" The probability of hearing {'it' if one else 'them'}, wherever in the area it was looked for, is {listed(map(stated_probability, rows['adequacy_cautious']))}; the figure is cautious, {located.CAUTIOUS}." if with_figures else ""
        said.append(f"{listed(rows['tag_id'])} {was} heard in no flight. {words.format(names='it' if one else 'each of them', them='it' if one else 'them', it=it, its=its, are='is' if one else 'are', silence='its silence' if one else 'their silence')}{figures}")
    unsought = list(not_found.loc[not_found["class"] == "not searched", "tag_id"])
    said += [located.NO_PROOF_OF_ABSENCE] if len(silent) and with_figures else []
    return " ".join([*said, f"Not listened to at all: {listed(unsought)}. That is not an absence."] if unsought else said)


def _had_it_been_there(probability_heard: float) -> str:
    """What the silence of a tag says, by the probability that it would have been heard; the limits are our choice."""
    if pd.isna(probability_heard):
        return "How probably {it} would have been heard is not known, so {silence} says nothing."
    if probability_heard >= 0.99:
        return "Had {names} been in the area with a working tag, {it} would almost surely have been heard: {it} {are} elsewhere or {its} silent."
    if probability_heard >= 0.9:
        return "Had {names} been in the area with a working tag, {it} would very probably have been heard: {it} {are} likely elsewhere or {its} silent."
    if probability_heard >= 0.5:
        return "Had {names} been in the area with a working tag, {it} would more likely than not have been heard; {silence} alone says little."
    return "The area was hardly searched for {them}, so that {silence} says next to nothing."


def _silent_sentence(silent: dict) -> str:
    """Those that were heard and then fell silent, each by name; silent : of silences.fell_silent."""
    said = []
    for each in silent.values():
        surely = "almost surely" if each.best_later >= 0.99 else "very probably"
        said.append(f"{each.tag_id} was heard in {counted(each.heard_in, 'flight')}, last on {each.last_utc:%Y-%m-%d}, and in none of the {each.later} flights since that listened to it; the best of them alone would {surely} "
                    "have heard it: it is elsewhere or its tag is silent.")
    return " ".join(said)


def silent_later(found: Found) -> str:
    """Those that fell silent, with the rule and its reason."""
    if not found.silent:
        return ""
    figures = listed(f"{each.tag_id} {stated_probability(each.best_later)}" for each in found.silent.values())
    return f"{_silent_sentence(found.silent)} {RULE} The probability is: {figures}."


def single_records(found: Found) -> str:
    """Animals that count as heard by single records, which may be false."""
    said = [f"{each.tag_id} was heard in {'one record' if each.hits == 1 else f'{each.hits} single records'} only, of {each.records_listened:,d} that listened to it; {'it' if each.hits == 1 else 'they'} may be false."
            for each in found.single.values()]
    return " ".join(said)


def searched(found: Found) -> str:
    """How much ground was searched for the weakest tags, and the test of that on beacons."""
    whole = found.searched[found.searched["flight_id"] == "all flights"]
    if whole.empty:
        return "No ground can be called searched."
    least = whole.sort_values("area_90_cautious_ha", kind="stable").iloc[0]
    first = (f"On {_part_of_ground(least['area_90_cautious_ha'], least['area_ha'])} a tag of the type heard least far would have been heard with probability 0.9 or more. That is a cautious figure, "
             f"{located.CAUTIOUS}.")
    if found.well_searched.empty or not found.well_searched.iloc[0]["beacons"]:
        return f"{first} No beacon lay on such ground, so that is untested."
    return f"{first} {found.well_searched.iloc[0]['text']}"


def _part_of_ground(part_ha: float, whole_ha: float) -> str:
    if part_ha >= whole_ha:
        return f"all {two_figures(whole_ha)} ha"
    if two_figures(part_ha) == two_figures(whole_ha):
        return f"nearly all of {two_figures(whole_ha)} ha"
    return f"{two_figures(part_ha)} of {two_figures(whole_ha)} ha"


def fates(found: Found) -> str:
    """What calls for a walk, or why pulse rates cannot tell."""
    if len(found.walk) or found.triage["class"].str.startswith("Confirmed").any():
        return located.fetch_sentence(found.walk, found.triage)
    if not found.animals["records_heard"].gt(0).any():
        return "No tag of an animal was heard, so nothing is known of their pulse rates."
    if not found.tags_heard["pulse_interval_s"].notna().any():
        return "The logs hold no pulse rate, so no tag can be called to a walk by it."
    if not found.triage["pulse_rate_mortality_per_min"].notna().any():
        return "No register names a mortality rate, so pulse rates call no tag to a walk."
    return located.fetch_sentence(found.walk, found.triage)


def fetch(found: Found) -> str:
    """The first tag to walk to, and what its rate rests on."""
    if found.walk.empty:
        return fates(found)
    first = found.walk.iloc[0]
    behind = found.triage.set_index("tag_id").loc[first["tag_id"]]
    first_of_many = f"First {first['tag_id']}" if len(found.walk) > 1 else ""
    if not behind["records_mortality"]:
        why, proof = f"{first_of_many}. {behind['why']}".removeprefix(". "), "A tag that stays where it is proves no death."
    else:
        why, proof = (f"{f'{first_of_many}: the' if first_of_many else 'The'} mortality rate stands in {counted(int(behind['records_mortality']), 'record')} on {counted(int(behind['passes_mortality']), 'pass', 'passes')} of "
                      f"{counted(int(behind['flights_mortality']), 'flight')}."), "A mortality rate is no proof of death."
    # the note is the card of the tag: class, place, what to search, what else it could be
    return " ".join(words for words in (fates(found), why, first["note"], _urgency(first), proof) if words)


def _urgency(first) -> str:
    """How soon to look, beside the other class that calls for a walk."""
    rank = {"Retrieve": "the more urgent", "Check soon": "the less urgent"}.get(first["class"])
    return f"Of the two classes that call for a walk, {first['class']} is {rank}." if rank else ""


def movement(found: Found) -> str:
    """How many animals moved for certain, and what could not have been seen."""
    tested_steps = found.steps[found.steps["verdict"].isin(["moved", "not shown"])] if len(found.steps) else found.steps
    if tested_steps.empty:
        why = "There was one flight" if len(found.flights) == 1 else "No animal has two usable positions"
        return f"{why}, so nothing can be said of movement between flights."
    moved = tested_steps.loc[tested_steps["verdict"] == "moved", "tag_id"].nunique()
    return (f"{moved} of {counted(tested_steps['tag_id'].nunique(), 'animal')} with two positions or more moved farther than the error of the positions allows; in half of the comparisons of one position with another, a movement below "
            f"{two_figures(tested_steps['minimum_detectable_m'].median())} m would often have been missed.")
