"""The opening of the index page and the ten questions of a supervisor, answered from the tables in a few plain sentences each."""

from __future__ import annotations

import re

from pipeline.calibration import error_summary
from pipeline.stages import localisation_words as located
from pipeline.stages import quality_words as quality
from pipeline.stages.index_errors import independence, positions, tests_in_short, trust, why_untested
from pipeline.stages.index_found import Found, NO_COMPARISON
from pipeline.stages.index_missing import fates, fetch, missing, missing_in_short, movement, searched, silent_later, single_records
from pipeline.stages.index_next import never_placed, next_flight
from pipeline.stages.index_rules import assumptions, leaving, permits, thrown_away
from pipeline.wording import counted, listed, two_figures


def opening(found: Found) -> list[tuple[str, str]]:
    """What the campaign found, as labelled lines: how well the animals are placed and what tests that; who is missing, doubtful, to look for on foot, and moved."""
    unplaced = never_placed(found)
    lines = [
        ("Positions", positions(found.animals)),
        ("Tested", tests_in_short(found)),
        ("Missing", missing_in_short(found)),
        ("Doubtful", single_records(found)),
        ("Not placed", f"{listed(unplaced)} {'was' if len(unplaced) == 1 else 'were'} heard, and in no flight well enough for a position." if unplaced else ""),
        ("On foot", fates(found)),
        ("Moved", movement(found)),
        ("Keep inside", "Exact positions are on this page, so it must not leave the office; \"Before you sign\" says what may." if found.sensitive else ""),
    ]
    return [(label, words) for label, words in lines if words]


def answers(found: Found) -> list[tuple[str, list[str]]]:
    """Question and paragraphs, in the order in which a supervisor asks."""
    return [
        ("Can I trust the positions, and where not?", trust(found)),
        ("How many beacons say so, and were they independent of the fit?", [independence(found)]),
        ("Which animals are missing, and did we really look there?", [words for words in (missing(found), silent_later(found), single_records(found), searched(found)) if words]),
        ("Which tags must be looked for on foot, how urgently, and how sure is that?", [fetch(found)]),
        ("Did anything move or change?", [movement(found), NO_COMPARISON]),
        ("What was thrown away, by whose rule?", thrown_away(found)),
        ("Which statements would fall if one assumption fell?", [assumptions(found)]),
        ("Was the work legal and gentle?", [permits(found)]),
        ("What should the next flight do?", [next_flight(found)]),
        ("May this page leave the office?", [leaving(found)]),
    ]


def report_sentences(found: Found) -> dict[str, str]:
    """The one-sentence answer of each report."""
    return {
        "1_quality_check": quality.fitness_sentence(found.flights),
        "2_localisation": located.answer(found.animals, found.tests, found.not_found, found.walk, found.triage)[0].split(". ")[0].rstrip(".") + ".",
        "3_error_calibration": f"No error claim is tested: {why_untested(found)}." if found.errors.empty else
        f"Median error {two_figures(error_summary(found.errors)['median_m'])} m on {counted(found.tests['place_id'].nunique(), 'beacon')} that the model had not seen.",
        "4_movement_summaries": movement(found).split(";")[0].rstrip(".") + ".",
    }


_SOFTWARE = re.compile(r"\b(BSD|MIT|A?GPL|LGPL|Apache|MPL)\b")
_OPEN = "What its checklist lacks, and what that needs, is in tables/appendix_open.csv."
_FROM_MEMORY = "References marked †, where there are any, are in part from memory: compare them with the publications."


def appendix_sentence(sensitive: bool, sensitive_species, licence: str = "") -> str:
    """What the publication appendix holds, how exact its positions are, and what is left to check before it goes to others."""
    return f"{_how_exact(sensitive, sensitive_species)} {_OPEN} {_FROM_MEMORY}{software_licence(licence)}"


def _how_exact(sensitive: bool, sensitive_species) -> str:
    holds = "Methods with the numbers of this campaign, tables, a reporting checklist and a data dictionary"
    if sensitive:
        return (f"{holds}; positions are generalised to one coarse square. Yours to check before it goes to others: names of places in its title, note, permits and file names, and its ground heights and areas, all of which narrow the place down "
                "further than the square does; a later campaign on the same ground is hidden only as long as it gives the same square.")
    if sensitive_species:
        return f"{holds}; positions of {listed(sensitive_species)} are generalised to a coarse grid, the others are exact."
    return f"{holds}; positions in it are exact, because the survey file does not mark the campaign as sensitive."


def software_licence(licence: str) -> str:
    """That a licence named for the data is one made for software, "" where it is none of the usual ones."""
    return " The licence that the survey file names is one for software; data are usually given under one that is made for data." if _SOFTWARE.search(licence) else ""
