"""Findings in the headings of the localisation report, its statuses, its figure of radii, and the parts its notebook shows."""

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


def test_nothing_listened_to_gives_nothing_to_locate():
    assert say.answer(animals().head(0), NO_TESTS, NOTHING_MISSING, NO_WALK, NO_TRIAGE) == ["No tag of an animal was listened to, so there is nothing to locate."]


def test_an_animal_whose_walk_goes_to_a_flight_without_a_position_keeps_its_best_one():
    animals = pd.DataFrame({"tag_id": ["H1", "H1", "H2"], "flight_id": ["a", "b", "a"], "status": ["located", "area only", "located"], "error_radius_95_m": [200.0, 900.0, 150.0]})
    best = say.best_per_animal(animals, pd.DataFrame({"tag_id": ["H1"], "flight_id": ["b"]}))
    assert list(zip(best["tag_id"], best["flight_id"])) == [("H1", "a"), ("H2", "a")]


def test_ground_is_never_searched_for_certain():
    assert "over 0.99" in say.missing_sentence(missing(G03=0.999998))


@pytest.mark.parametrize("status", STATUSES)
def test_every_status_has_words(status):
    assert say.STATUS_WORDS[status].startswith(status)


def test_beacons_and_decoys_are_no_animals():
    tags = conform(pd.DataFrame({"tag_id": ["H1", "H2"], "role": ["animal", "decoy"]}), TAGS)
    assert set(say.animals_of(TWO, tags)["tag_id"]) == {"H1"}


@pytest.mark.parametrize("heading, said", [
    (say.errors_heading(NO_TESTS, {}), "No beacon was heard: no error was measured"),
    (say.radii_heading(TWO.head(0)), "No position, so no radius to state"),
    (say.missing_heading(missing(G03=0.6)), "1 animal was heard in no flight"),
    (say.missing_heading(missing(G03=0.6), single=1), "1 animal was heard in no flight and 1 heard in a single record that may be false"),
    (say.missing_heading(missing(G03=0.6, H4=None), single=2, silent=1), "1 animal was heard in no flight, 1 listened to by no flight, 2 heard only in single records that may be false and 1 heard earlier and silent since"),
    (say.missing_heading(NOTHING_MISSING, single=1), "1 animal was heard in a single record that may be false"),
    (say.missing_heading(NOTHING_MISSING), "Every animal was heard at least once"),
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
