"""What the localisation report says, on tables in which the answer is plain."""

import re

import pandas as pd
import pytest

from pipeline.fate import Ladder
from pipeline.figures import MapSheet
from pipeline.search import WeakTags
from pipeline.stages import localisation_words as say


def fixes(rows):
    return pd.DataFrame(rows, columns=["tag_id", "flight_id", "status", "status_reason", "error_radius_50_m", "error_radius_95_m"])


@pytest.fixture
def animals():
    return fixes([
        ("H01", "f1", "located", "", 60.0, 150.0), ("H01", "f2", "located", "", 40.0, 110.0), ("H02", "f1", "several places", "", 90.0, 240.0),
        ("H02", "f2", "area only", "Heard in 5 of 200 records; no position because heard in 5 records, 8 needed; the 95 % radius is 400 m, 300 m at most.", 150.0, 400.0),
        ("H03", "f1", "not heard", "", None, None), ("H03", "f2", "not searched", "", None, None)])


NONE = pd.DataFrame({"tag_id": [], "class": [], "adequacy_cautious": []})
TESTS = pd.DataFrame({"level_after": [0.2, 0.9, 0.97]})


def test_an_animal_is_taken_in_the_flight_that_placed_it_best(animals):
    best = say.best_per_animal(animals)
    assert list(zip(best["tag_id"], best["flight_id"])) == [("H01", "f2"), ("H02", "f1")]


def test_a_tag_to_be_fetched_is_shown_where_the_walk_goes(animals):
    walk = pd.DataFrame({"tag_id": ["H01"], "flight_id": ["f1"]})
    assert dict(zip(say.best_per_animal(animals, walk)["tag_id"], say.best_per_animal(animals, walk)["flight_id"])) == {"H01": "f1", "H02": "f1"}


def test_the_answer_counts_animals_states_radii_and_says_what_beacons_showed(animals):
    first, second, third = say.answer(animals, TESTS, NONE, NONE, NONE)
    assert first == ("2 of 3 animals have a position in at least one flight. Taken in its best flight, the typical animal lies within 65 m of its position with probability 0.50 and within "
                     "180 m with probability 0.95. Over all 3 positions half of the 95 % radii are 150 m or less, and the widest is 240 m. The 95 % regions held 2 of the 3 beacon positions that the model had not seen.")
    assert second == "Every animal of the register was heard in some flight." and third == "No tag has to be looked for on foot by its pulse rate."


def test_without_beacons_the_answer_says_that_nothing_tests_the_regions(animals):
    assert "is tested by nothing" in say.answer(animals, TESTS.iloc[:0], NONE, NONE, NONE)[0]


def test_silence_is_told_with_the_search_it_rests_on_and_never_merged_with_not_listening():
    missing = pd.DataFrame({"tag_id": ["H07", "H09"], "class": ["not heard", "not searched"], "adequacy_cautious": [0.62, None]})
    assert say.missing_sentence(missing) == ("Not heard in any flight: H07 (0.62). In brackets stands the probability of hearing it, had it been where it was looked for; the figure is cautious, reckoned as if "
                                             "some tags were weak and each pass a single look. This does not show that an animal has left or died. "
                                             "Not listened to at all: H09. That is not an absence.")


def test_a_tag_looked_for_on_the_map_that_has_no_place_there_is_told_apart_from_a_typing_error():
    animals = pd.DataFrame({"tag_id": ["A", "A", "B", "B", "C", "D"], "status": ["located", "not heard", "heard once", "not heard", "not heard", "not searched"], "records_heard": [5, 0, 1, 0, 0, None]})
    said = say.unplaced_words(animals)
    assert list(said) == ["B", "C", "D"]
    assert said["B"] == "heard in 1 flight, and in none well enough for a position. See its section under Tag by tag."
    told = say.unplaced_words(animals, ["D01"], {"B": "It rests on one hit."})
    assert "It rests on one hit. See its section" in told["B"] and told["D01"].startswith("a decoy, known to be switched off")
    assert said["C"].startswith("not heard in the one flight that listened. This does not show") and said["D"].startswith("no flight listened to it; this is not an absence.")


def test_every_status_that_occurs_is_counted_and_explained(animals):
    said = say.status_paragraphs(animals)[0]
    assert "Located (2): enough records" in said and "Not searched (1): no usable record listened; this is not an absence" in said
    assert "suspect" not in said


def test_the_gates_that_failed_are_counted(animals):
    said = say.failed_gate_sentence(animals)
    assert "too few records heard (1)" in said and "a 95 % radius too large (1)" in said


def test_a_search_in_vain_says_how_well_its_flight_searched_for_a_tag_of_its_type(animals):
    area = pd.DataFrame({"flight_id": ["f1", "f1", "all flights"], "tag_type": ["collar", "backpack", "collar"], "mean_cautious": [0.914, 0.7, 0.99]})
    tags = pd.DataFrame({"tag_id": ["H01", "H02", "H03"], "tag_type": ["collar", "backpack", "collar"]})
    assert say.search_results(animals, tags, area) == ["located", "located", "several places", "area only", "not heard (0.91)", "not searched"]
    assert say.search_results(animals, tags.assign(tag_type=None), area)[4] == say.search_results(animals, tags, area[:0])[4] == "not heard"


def test_what_was_taken_by_hand_is_counted_when_it_was_used():
    taken = pd.DataFrame({"kind": ["bearing", "bearing", "sighting"], "used": [True, True, False]})
    assert say.by_hand_heading(taken) == "2 bearings entered the fixes"
    assert say.by_hand_heading(taken.assign(used=False)) == "Nothing taken by hand entered a fix"


def test_ground_searched_is_told_with_what_the_model_leaves_out():
    area = pd.DataFrame({"flight_id": ["all flights"], "area_ha": [1100.0], "area_90_cautious_ha": [640.0]})
    effort = pd.DataFrame({"flight_id": ["a", "all flights"], "listening_min": [22.0, 22.0], "distance_km": [15.0, 15.0]})
    said = say.search_paragraphs(area, effort, pd.DataFrame({"text": ["Of 4 beacons, 4 were heard."]}))
    assert say.search_heading(area) == "640 of 1,100 ha were searched to 0.9 or more (cautious)"
    assert said[0] == "1 flight listened for 22 minutes over 15 km on effort." and said[-1] == "Of 4 beacons, 4 were heard."
    assert "much weaker than its type" in said[1]
    assert "take 10 % of tags to be 20 dB weaker" in say.search_paragraphs(area, effort, pd.DataFrame(), WeakTags(0.1, 20.0))[1]


def test_the_type_heard_least_far_is_named_where_there_are_several():
    area = pd.DataFrame({"flight_id": "all flights", "tag_type": ["collar", "backpack"], "area_ha": 1100.0, "area_90_cautious_ha": [640.0, 300.0]})
    assert say.search_heading(area) == "300 of 1,100 ha were searched to 0.9 or more (cautious, for the type heard least far: backpack)"


def test_a_tag_that_stayed_without_a_mortality_rate_is_not_said_to_have_sent_one():
    triage = pd.DataFrame({"tag_id": ["A", "B"], "class": ["Retrieve", "Check soon"], "records_mortality": [7, 0]})
    walk = triage[["tag_id"]]
    assert say.fetch_sentence(walk, triage) == ("1 tag sent the mortality rate (pulses of a tag that lies still, no proof of death) often enough to be looked for on foot: A. 1 tag stayed in one place without a clear pulse rate "
                                                "and should be looked for on foot as well: B.")
    assert say.fetch_sentence(walk.head(1), triage) == "1 tag sent the mortality rate (pulses of a tag that lies still, no proof of death) often enough to be looked for on foot: A."


def test_what_was_found_on_the_ground_is_called_what_it_was():
    triage = pd.DataFrame({"tag_id": ["A", "B", "C"], "class": ["Confirmed dead", "Confirmed dead", "Confirmed dropped tag"], "records_mortality": 0})
    assert say.fetch_sentence(triage[:0], triage).endswith("A and B were found dead on the ground, by eye. C was found as a tag without its animal, by eye.")


def test_a_tag_to_look_for_has_one_name_in_all_words_of_the_page(animals):
    triage = pd.DataFrame({"tag_id": ["A", "B"], "class": ["Retrieve", "Check soon"], "records_mortality": [7, 0]})
    said = " ".join([say.fate_heading(triage, triage), say.fetch_sentence(triage, triage), say.rungs_words(Ladder()), *(words for _, words in MapSheet(None, alt="A tag.").fetch(
        pd.DataFrame({"easting_m": [0.0], "northing_m": [0.0], "search_radius_m": [90.0]})).legend())])
    assert said.count("look for on foot") + said.count("looked for on foot") == 5
    assert not re.search("fetch|retrieved|retrieval|checked", said)


def test_lengths_stand_with_their_intervals():
    rows = pd.DataFrame({"d50_m": [602.9, 602.9, None], "d50_low_m": [495.1, None, None], "d50_high_m": [740.9, None, None]})
    assert say.with_interval(rows, "d50") == ["600 (500 to 740)", "600", "–"]


def test_the_limits_of_the_classes_are_said_as_assumptions():
    said = say.rungs_words(Ladder(passes=1, same_place_m=80.0, kept_up_days=0.5))
    assert "3 records or more on 1 pass" in said and "80 m" in said and "0.5 days" in said and "assumptions of this project" in said


def test_what_was_found_on_the_ground_has_the_last_place_where_it_was_seen_so():
    triage = pd.DataFrame({"tag_id": ["A", "B", "C"], "class": ["Confirmed dead", "Retrieve", "Confirmed dropped tag"]})
    day = pd.Timestamp("2026-05-07T13:20", tz="UTC")
    sightings = pd.DataFrame({"tag_id": ["A", "A", "B", "C"], "state": ["alive", "dead", "alive", "tag only"], "time_utc": [day, day, day, day], "latitude": [57.1, 57.2, 57.3, 57.4], "longitude": -4.1, "easting_m": 0.0, "northing_m": 1.0})
    found = say.found_by_eye(triage, sightings)
    assert list(found["tag_id"]) == ["A", "C"] and list(found["latitude"]) == [57.2, 57.4] and list(found["what"]) == ["found dead on the ground", "tag found on the ground without its animal"]
