"""The sentences of the localisation report, on small tables; the whole report is shown by test_small_campaigns and opened by test_pages."""

import json

import pandas as pd
import pytest

from pipeline.columns import FIXES, STATUSES, TAGS, conform
from pipeline.fate import RETRIEVAL, TRIAGE
from pipeline.figures import localisation as draw
from pipeline.figures.style import figure_as_svg, settle
from pipeline.stages import localisation_words as say
from pipeline.stages.localisation_report import LocalisationReport

NOTHING_MISSING = pd.DataFrame(columns=["tag_id", "class", "adequacy_cautious"])
NO_WALK, NO_TRIAGE = conform(pd.DataFrame(), RETRIEVAL), conform(pd.DataFrame(), TRIAGE)
NO_TESTS = pd.DataFrame(columns=["level_after"])


def animals(*rows):
    return conform(pd.DataFrame([dict(zip(("tag_id", "flight_id", "status", "error_radius_50_m", "error_radius_95_m"), row)) for row in rows]), FIXES)


def missing(**tags):
    return pd.DataFrame([{"tag_id": tag_id, "class": "not heard" if adequacy is not None else "not searched", "adequacy_cautious": adequacy} for tag_id, adequacy in tags.items()])


TWO = animals(("H1", "a", "located", 30, 80), ("H1", "b", "located", 50, 140), ("H2", "a", "area only", 300, 900), ("H2", "b", "not heard"))


def test_the_answer_says_first_what_is_known_then_how_well_then_what_is_tested():
    said = say.answer(TWO, pd.DataFrame({"level_after": [0.2, 0.9, 0.99]}), NOTHING_MISSING, NO_WALK, NO_TRIAGE)
    assert said[0].startswith("1 of 2 animals has a position in at least one flight. Taken in its best flight, the typical animal lies within 30 m")
    assert said[0].endswith("The 95 % regions held 2 of the 3 beacon positions that the model had not seen.")
    assert said[1] == "Every animal of the register was heard in some flight. No tag calls for a retrieval walk by its pulse rate."


def test_without_beacons_the_answer_says_that_nothing_tests_the_regions():
    assert "tested by nothing" in say.answer(TWO, NO_TESTS, NOTHING_MISSING, NO_WALK, NO_TRIAGE)[0]


def test_nothing_listened_to_gives_nothing_to_locate():
    assert say.answer(animals().head(0), NO_TESTS, NOTHING_MISSING, NO_WALK, NO_TRIAGE) == ["No tag of an animal was listened to, so there is nothing to locate."]


def test_the_best_fix_is_the_narrowest_unless_the_walk_goes_elsewhere():
    assert list(say.best_per_animal(TWO)["flight_id"]) == ["a"]
    walk = pd.DataFrame({"tag_id": ["H1"], "flight_id": ["b"]})
    assert list(say.best_per_animal(TWO, walk)["flight_id"]) == ["b"]


def test_silence_is_never_told_without_how_well_the_ground_was_searched():
    said = say.missing_sentence(missing(G03=0.62, G04=None))
    assert said == ("Not heard in any flight: G03 (ground searched to 0.62, cautious). This does not show that an animal has left or died. "
                    "Not listened to at all: G04. That is not an absence.")


def test_ground_is_never_searched_for_certain():
    assert "over 0.99" in say.missing_sentence(missing(G03=0.999998))


@pytest.mark.parametrize("status", STATUSES)
def test_every_status_has_words(status):
    assert say.STATUS_WORDS[status].startswith(status)


def test_statuses_are_counted_in_words():
    said = say.status_paragraphs(TWO)[0]
    assert "2 located: " in said and "1 area only: " in said and "1 not heard: " in said and "suspect" not in said


def test_beacons_and_decoys_are_no_animals():
    tags = conform(pd.DataFrame({"tag_id": ["H1", "H2"], "role": ["animal", "decoy"]}), TAGS)
    assert set(say.animals_of(TWO, tags)["tag_id"]) == {"H1"}


@pytest.mark.parametrize("heading, said", [
    (say.errors_heading(NO_TESTS, {}), "No beacon was heard: no error was measured"),
    (say.radii_heading(TWO.head(0)), "No position, so no radius to state"),
    (say.missing_heading(missing(G03=0.6)), "1 animal was not found"),
    (say.fate_heading(NO_TRIAGE, NO_WALK), "No register of animals, so nothing is said of their fate"),
    (say.search_heading(pd.DataFrame(columns=["flight_id", "area_90_cautious_ha"])), "No ground can be called searched"),
    (say.fixes_heading(TWO), "2 of 4 searches ended with a position"),
])
def test_headings_are_findings(heading, said):
    assert heading == said


def test_a_figure_of_radii_is_the_same_at_every_drawing():
    def drawn():
        figure = draw.ranked_radii(TWO[TWO["status"] == "located"])
        settle(figure)
        return figure_as_svg(figure)
    assert drawn() == drawn()


def test_every_part_the_notebook_shows_is_a_part_of_the_report(project):
    cells = json.loads((project / "notebooks" / "2_localisation.ipynb").read_text(encoding="utf-8"))["cells"]
    calls = ["".join(cell["source"]) for cell in cells if cell["cell_type"] == "code" and "report." in "".join(cell["source"])]
    names = {word.split("report.")[1].split("(")[0] for call in calls for word in call.split() if "report." in word and "import" not in call}
    assert names and all(hasattr(LocalisationReport, name) or name == "book" for name in names)
