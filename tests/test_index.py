"""The supervisor's page in words, for campaigns that lack what the demo has, and the layers for a GIS."""

import re
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from pipeline.columns import BEACON_ERRORS, BEACONS, FIXES, TRACK, conform
from pipeline.exchange import write_results
from pipeline.figures import MapSheet
from pipeline.geodesy import choose_projection
from pipeline.stages import index
from pipeline.stages import index_errors, index_missing, index_next, index_rules
from pipeline.stages import index_words as say
from pipeline.stages.doubtful_hits import LoneHits
from pipeline.stages import localisation_words as located
from pipeline.stages.ground_fixes import GROUND_FIXES
from pipeline.stages.index_animals import EVERY_ANIMAL, every_animal
from pipeline.stages.newest_places import newest_places, place_marks
from pipeline.stages.index_signing import before_signing, limits, looks, may_leave, stops_sentence
from pipeline.stages.result_layers import beacon_layer, fix_layer, track_layer
from pipeline.stages.silences import battery_sentence
from pipeline.stages.workspace import Workspace
from pipeline.survey import load_survey
from tests.browser import opened, overflow_px
from tests.test_silences import heard_in

PROJECTION = choose_projection(np.array([57.2, 57.21]), np.array([-4.1, -4.1]))


@pytest.fixture(scope="module")
def found(demo_folder, project):
    return index.gather(Workspace(load_survey(project / "data" / "demo" / "survey.yml"), demo_folder, demo_folder))


def untested(found, beacons):
    """The same campaign with so many beacons put out and none of them heard."""
    return replace(found, errors=found.errors[:0], tests=found.tests[:0], beacons=found.beacons[:beacons])


def alone(found, beacons, fixes):
    """The same campaign with only the first fixes of the first beacons."""
    names = list(found.beacons["tag_id"][:beacons])
    errors, tests = (table[table["tag_id"].isin(names)].groupby("tag_id").head(fixes) for table in (found.errors, found.tests))
    return replace(found, errors=errors, tests=tests, beacons=found.beacons[:beacons])


def with_status(found, status):
    return replace(found, animals=found.animals.assign(status=status))


def texts(found):
    return [*(words for _, words in say.opening(found)), *(words for _, paragraphs in say.answers(found) for words in paragraphs), *index_next.next_steps(found), *say.report_sentences(found).values()]


def test_a_flight_that_reads_beacons_apart_is_named_among_the_assumptions(found):
    table = pd.DataFrame({"flight_id": ["a", "b"], "level_db": [0.4, -6.0], "clear": [False, False]})
    assert index_rules.levels(table) == "beacons show no clear change; the largest difference of a flight from the others is 6.0 dB."
    assert index_rules.levels(table.assign(clear=[False, True])) == "beacons say that something was changed, since flight b read them 6 dB weaker than the other flights did."
    assert index_rules.levels(table[:0]) in index_rules.assumptions(replace(found, levels=table[:0]))


# The demo

def test_the_ten_questions_are_answered_in_whole_sentences(found):
    answers = say.answers(found)
    assert len(answers) == 10 and all(question.endswith("?") for question, _ in answers)
    assert all(words.endswith(".") and "nan" not in words.lower().split() and "None" not in words for words in texts(found))


def test_errors_and_coverage_are_those_of_the_table(found):
    inside = (found.errors["level_after"] <= 0.95).sum()
    words = " ".join(index_errors.trust(found))
    assert f"The 95 % regions held the truth in {inside} of {len(found.errors)} fixes." in words
    assert "Believe this for grouse backpack and hare collar" in words and "Loss behind hills is in the model, but for up to 0." in words and "loss in vegetation is not" in words
    assert "so hills are not in the model" in index_errors.trust(replace(found, blind_share=None))[1]


def test_repeats_over_one_beacon_are_not_counted_as_beacons(found):
    words = index_errors.independence(found)
    assert words.startswith("9 of 9 beacons were heard, in 54 fixes.") and "counted as 9 places" in words and "95 % interval of 0." in words


def test_a_tag_to_fetch_comes_first_and_is_not_called_dead(found):
    assert list(found.walk["tag_id"]) == ["G08"]
    assert index_next.next_steps(found)[0].startswith("Look for G08 on foot")
    assert index_missing.fetch(found).count("resting, incubating") == 1 and index_missing.fetch(found).count("Search the circle") == 1 and "Retrieve is the more urgent" in index_missing.fetch(found)
    assert "A mortality rate is no proof of death." in index_missing.fetch(found) and " passes of " in index_missing.fetch(found)


def test_an_animal_found_dead_is_called_dead_and_words_of_the_trade_are_explained_where_they_first_stand(found):
    said = texts(found)
    assert "H05 was found dead on the ground, by eye." in dict(say.opening(found))["On foot"]
    first = next(words for words in said if "cautious" in words)
    assert f"cautious, {located.CAUTIOUS}" in first[first.index("cautious"):]
    assert not any(re.search(r"\bsteps?\b|(?<!localisation\.)\bgates\b", words) for words in said)


def test_an_animal_heard_and_never_placed_is_to_be_flown_for_again(found):
    own = found.animals["tag_id"] == "H01"
    changed = replace(found, animals=found.animals.assign(status=found.animals["status"].mask(own, "area only")))
    assert "H01" in index_next.never_placed(changed) and "H01" in index_next.next_flight(changed)
    assert any(step.startswith("Fly again for") and "H01" in step for step in index_next.next_steps(changed))


def test_decoys_are_told_with_how_often_they_seemed_to_be_heard(found):
    assert "Of 2 decoys, known to be switched off, 1 seemed to be heard, in 1 of 2,702 usable records that listened to them (2,716 with those without a usable position, as the messages count them), and none got a position." in index_rules.thrown_away(found)[1]
    silent = replace(found, false=found.false.assign(records_heard=0, decoys_heard=0))
    assert "Of 2 decoys, known to be switched off, none seemed to be heard in 2,702 usable records that listened to them (2,716 with those" in index_rules.thrown_away(silent)[1]


# Campaigns that lack something

def test_beacons_not_put_out_and_beacons_not_heard_are_different_faults(found):
    assert "no beacon was put out, so no error was measured" in index_errors.trust(untested(found, 0))[0]
    assert "none of the 9 beacons was heard" in index_errors.trust(untested(found, 9))[0] and "the one beacon was not heard" in index_errors.independence(untested(found, 1))
    assert any(step.startswith("Put out beacons: four or more") for step in index_next.next_steps(untested(found, 0)))
    assert any(step.startswith("Find out why no beacon was heard") for step in index_next.next_steps(replace(untested(found, 9), walk=found.walk[:0])))
    assert index_rules.assumptions(untested(found, 0)).startswith("All of them")


def test_one_beacon_proves_next_to_nothing(found):
    one = alone(found, 1, 1)
    assert index_errors.trust(one)[0].startswith("One beacon fix was tested; its error was ") and " held it." in index_errors.trust(one)[0]
    assert index_errors.independence(one).startswith("1 of 1 beacon was heard, in 1 fix.") and "proves next to nothing" in index_errors.independence(one)


def test_of_few_fixes_the_largest_error_is_told_and_not_nine_in_ten(found):
    assert "the largest of 4 was" in index_errors.trust(alone(found, 2, 2))[0] and "nine in ten" not in index_errors.trust(alone(found, 2, 2))[0]


def test_without_a_register_nobody_can_be_missed(found):
    assert "an animal that no log names cannot be missed" in index_missing.missing(replace(found, has_register=False))
    assert "cannot be missed" not in index_missing.missing(found)


def test_animals_nobody_listened_to_are_not_called_absent(found):
    unsought = replace(found, not_found=found.not_found.assign(**{"class": "not searched"}))
    assert "Not listened to at all: G03. That is not an absence." in index_missing.missing(unsought)
    assert "Listen for G03, which no usable record did." in index_next.next_steps(unsought)


def test_when_nothing_was_heard_the_receiver_is_tested_before_another_flight(found):
    silent = with_status(replace(untested(found, 9), animals=found.animals.assign(records_heard=0), walk=found.walk[:0], triage=found.triage.assign(**{"class": "Not heard"}), steps=found.steps[:0]), "not heard")
    assert index_next.next_flight(silent).startswith("Nothing was heard of any animal. Before another flight, test the receiver")
    assert index_missing.fetch(silent) == "No tag of an animal was heard, so nothing is known of their pulse rates."
    assert all(words.endswith(".") for words in texts(silent))


def test_no_pulse_rate_in_the_logs_is_not_a_clean_bill(found):
    bare = replace(found, walk=found.walk[:0], triage=found.triage.assign(**{"class": "Heard, mode unknown"}))
    assert index_missing.fates(replace(bare, tags_heard=found.tags_heard.assign(pulse_interval_s=np.nan))) == "The logs hold no pulse rate, so no tag can be called to a walk by it."
    unregistered = replace(bare, triage=bare.triage.assign(pulse_rate_mortality_per_min=np.nan))
    assert index_missing.fates(unregistered) == "No register names a mortality rate, so pulse rates call no tag to a walk."
    assert index_missing.fates(bare) == "No tag has to be looked for on foot by its pulse rate."


def test_one_flight_says_nothing_of_movement(found):
    assert index_missing.movement(replace(found, steps=found.steps[:0], flights=found.flights[:1])) == "There was one flight, so nothing can be said of movement between flights."
    assert index_missing.movement(replace(found, steps=found.steps[:0])).startswith("No animal has two usable positions")


def test_final_without_permits_is_contradicted(found):
    assert "Permits not recorded in the survey file: ethics and landowner. The status says final; it should not, until they are, and a message marked look says so." in index_rules.permits(
        replace(found, permits={"wildlife": "W-1", "aviation": "A-1", "ethics": " "}, status="final"))
    assert index_rules.permits(found).startswith("Permits are named under \"Before you sign\".")


def test_there_are_five_next_steps_at_most_and_messages_are_counted_in_words(found):
    crowded = replace(untested(found, 9), not_found=pd.concat([found.not_found, found.not_found.assign(tag_id="G99", **{"class": "not searched"})]))
    assert len(index_next.next_steps(crowded)) == 5
    messages = pd.DataFrame({"severity": ["stop", "look", "look", "note"]})
    assert "Settle the one message marked stop and read the 2 messages marked look, in the quality report." in index_next.next_steps(replace(found, messages=messages))
    assert not any("message" in step for step in index_next.next_steps(replace(found, messages=messages[3:])))


def test_hectares_that_are_only_nearly_all_are_not_called_all(found):
    whole = found.searched[found.searched["flight_id"] == "all flights"]
    assert "nearly all of 1,100 ha" in index_missing.searched(replace(found, searched=whole.assign(area_ha=1104.0, area_90_cautious_ha=1090.0)))
    assert "all 1,100 ha" in index_missing.searched(replace(found, searched=whole.assign(area_ha=1104.0, area_90_cautious_ha=1104.0)))
    assert "540 of 1,100 ha" in index_missing.searched(replace(found, searched=whole.assign(area_ha=1104.0, area_90_cautious_ha=541.0)))


# The opening

def test_the_opening_is_short_lines_that_begin_with_the_accuracy_of_all_positions_and_what_tests_it(found):
    lines = say.opening(found)
    placed = found.animals[found.animals["status"].isin(["located", "several places"])]
    assert [label for label, _ in lines] == ["Positions", "Tested", "Missing", "Doubtful", "On foot", "Moved", "Keep inside"]
    assert f"{len(placed)} positions in all" in lines[0][1] and f"the widest is {round(placed['error_radius_95_m'].max(), -1):.0f} m" in lines[0][1] and "best flight" not in lines[0][1]
    assert "median error 60 m; 52 of 54 test positions lay inside their 95 % region, 2 outside" in lines[1][1] and "whether 61 or 100 of 100 such regions hold the truth (95 % interval" in lines[1][1]
    outside, fixes = found.reach.iloc[-1][["fixes_outside", "fixes"]]
    assert 2 * outside > fixes and f"{outside} of {fixes} fixes of animals, more than half, lie outside of what the beacons tested" in lines[1][1]
    assert all(len(words) < 420 for _, words in lines)


def test_fewer_than_half_outside_of_what_beacons_tested_is_not_called_more_than_half(found):
    last = found.reach.index[-1]
    assert "more than half" not in index_errors.outside_sentence(found.reach.assign(fixes_outside=found.reach["fixes_outside"].where(found.reach.index != last, 76)))
    assert index_errors.outside_sentence(found.reach[:0]) == ""


@pytest.mark.parametrize("heard, words", [(0.998, "it would almost surely have been heard: it is elsewhere or its tag is silent."), (0.94, "it would very probably have been heard"), (0.7, "more likely than not"),
                                          (0.3, "The area was hardly searched for it, so that its silence says next to nothing."), (np.nan, "is not known")])
def test_what_silence_says_follows_the_probability_of_having_been_heard(found, heard, words):
    said = index_missing.never_heard(found.not_found.assign(adequacy_cautious=heard))
    assert said.startswith("G03 was heard in no flight.") and words in said and "over 0.99" not in said


def test_several_unheard_animals_are_spoken_of_as_several(found):
    several = pd.concat([found.not_found, found.not_found.assign(tag_id="G99")])
    assert index_missing.never_heard(several).startswith("G03 and G99 were heard in no flight. Had each of them been in the area with a working tag, they would almost surely have been heard: they are elsewhere or their tags are silent.")
    assert "hardly searched for them, so that their silence says" in index_missing.never_heard(several.assign(adequacy_cautious=0.2))


def test_searches_fixes_and_positions_add_up_in_one_sentence(found):
    assert "Of 168 searches, one animal in one flight each, 15 gave nothing to locate, 1 a hit that may be false, and 152 gave a fix" in index_errors.trust(found)[1] and "132 of the 152 fixes are positions" in index_errors.trust(found)[1]
    assert found.reach.iloc[-1]["fixes"] == 152


def test_without_beacons_or_positions_the_opening_says_so(found):
    assert dict(say.opening(untested(found, 0)))["Tested"] == "Nothing tests these radii: no beacon was put out."
    nothing = dict(say.opening(with_status(untested(found, 0), "not heard")))
    assert nothing["Positions"] == "0 of 28 animals have a position in at least one flight."
    assert "One beacon proves next to nothing" in dict(say.opening(alone(found, 1, 1)))["Tested"]


# Animals that fell silent, and those heard once

def test_an_animal_that_fell_silent_is_missed_in_the_opening_and_to_be_searched_for(found):
    assert list(found.silent) == ["H09"] and (found.silent["H09"].heard_in, found.silent["H09"].later) == (2, 4)
    assert "H09 was heard in 2 flights, last on 2026-04-21, and in none of the 4 flights since" in dict(say.opening(found))["Missing"]
    assert any(step.startswith("Search for H09, silent since 2026-04-21") for step in index_next.next_steps(found))
    assert "One silent flight may be chance" in index_missing.silent_later(found)


def test_one_record_is_said_to_be_possibly_false_wherever_it_counts(found):
    assert found.single == {"H12": LoneHits("H12", 1, 1351)}
    assert dict(say.opening(found))["Doubtful"].startswith("H12 was heard in one record only, of 1,351 that listened to it; it may be false")
    assert "Listen again for H12 (one record only, which may be false) before anything rests on that." in index_next.next_steps(found)
    assert "H12, one record only, which may be false" in index_next.next_flight(found) and "H12" not in index_next.never_placed(found)
    assert "No rule of doubt caught a hit of an animal. A single hit may be false all the same, and on such hits rests H12." in index_rules.thrown_away(found)[1]


# Every animal

@pytest.fixture(scope="module")
def animals(found, project, demo_folder):
    workspace = Workspace(load_survey(project / "data" / "demo" / "survey.yml"), demo_folder, demo_folder)
    return every_animal(found.animals, workspace.read_work("tags"), found.triage, walk=found.walk, silent=found.silent, single=found.single, ground=workspace.read_table("ground_fixes"), steps=found.steps)


def test_no_animal_of_the_register_is_left_out_and_those_with_something_to_do_come_first(animals, project):
    register = pd.read_csv(project / "data" / "demo" / "tags.csv", dtype=str)
    decoys = set(register.loc[register["decoy"].fillna("").str.lower().isin(["true", "yes", "1"]), "tag_id"])
    assert set(animals["tag_id"]) == {tag for tag in register["tag_id"] if tag[0] in "GH"} - decoys and animals["tag_id"].is_unique
    assert animals["tag_id"].tolist()[:4] == ["G08", "H09", "H12", "G03"] and animals["tag_id"].iloc[-1] == "H05"


def test_states_are_in_plain_words_and_radii_of_the_newest_position(animals, found):
    own = animals.set_index("tag_id")
    assert own.loc[["G08", "H09", "H12", "G03", "H05", "G01"], "state"].tolist() == ["sends the mortality rate", "alive when last heard; silent since 2026-04-21", "one record only, which may be false", "never heard", "found dead", "alive when last heard"]
    assert pd.isna(own.at["G03", "last_heard_utc"]) and own.loc["H09", ["flights_heard", "flights_listened"]].tolist() == [2, 6]
    last = found.animals[(found.animals["tag_id"] == "G07") & found.animals["status"].isin(["located", "several places"])].sort_values("time_end_utc").iloc[-1]
    assert own.at["G07", "error_radius_95_m"] == last["error_radius_95_m"] and own.at["G07", "position_from"] == last["flight_id"]
    assert own.at["H05", "position_from"].startswith("2026-05-07T13")   # seen from the ground after the last flight
    movers = set(found.steps.loc[found.steps["verdict"] == "moved", "tag_id"])
    assert set(own["moved"].drop(index="H09")) <= {"yes", "not shown", "cannot tell"} and own.at["H09", "moved"] == "not shown; unknown since" and set(own.index[own["moved"] == "yes"]) == movers and len(movers) > 9


def test_an_animal_nobody_listened_to_and_one_without_a_register_have_a_row_too(found):
    tags = pd.DataFrame({"tag_id": ["new", "B"], "animal_id": ["n", ""], "species": ["", ""], "tag_type": ["", ""], "role": ["animal", "beacon"]})
    rows = every_animal(heard_in(1), tags, found.triage[:0], walk=found.walk[:0], silent={}, single={}, ground=pd.DataFrame(), steps=pd.DataFrame())
    assert rows[["tag_id", "state", "moved"]].to_numpy().tolist() == [["new", "not listened to", "cannot tell"], ["a", "heard, pulse rate unknown", "cannot tell"]]
    assert list(rows) == list(EVERY_ANIMAL)
    assert every_animal(heard_in()[:0], tags[:0], found.triage[:0], walk=found.walk[:0], silent={}, single={}, ground=pd.DataFrame(), steps=pd.DataFrame()).empty


# The map

def test_a_position_older_than_the_last_day_of_flights_carries_its_date(found):
    places = newest_places(found.animals, pd.DataFrame())
    marks, day = place_marks(places, found.flights)
    assert day == "2026-05-07" and marks.loc[marks["old"], "label"].tolist() == ["H09 2026-04-21"]
    assert (marks.loc[~marks["old"], "label"] == marks.loc[~marks["old"], "tag_id"]).all() and marks["tag_id"].is_unique
    assert place_marks(places[:0], found.flights[:0])[1] == ""


def test_the_newest_position_may_come_from_the_ground(found):
    ground = conform(pd.DataFrame([{"tag_id": "G01", "session_id": "later", "session_end_utc": "2026-05-09T10:00:00Z", "status": "located", "easting_m": 1.0, "northing_m": 2.0, "error_radius_95_m": 30.0}]), GROUND_FIXES)
    own = newest_places(found.animals, ground).set_index("tag_id").loc["G01"]
    assert own["position_from"] == "later" and own["easting_m"] == 1.0


def test_what_was_found_dead_has_a_mark_of_its_own_and_the_caption_says_which_names_are_left_out(demo_folder):
    page = (demo_folder / "index.html").read_text(encoding="utf-8")
    assert "found on the ground, where it was seen" in page and "Found on the ground: H05." in page and "Names without room are left out, more of them on a narrow screen" in page
    assert "A date beside a name says that the position is older than the last day of flights, 2026-05-07." in page


def test_what_was_found_is_named_at_its_mark_unless_a_fix_names_it():
    mark = pd.DataFrame({"tag_id": ["H05"], "easting_m": [1.0], "northing_m": [2.0]})
    assert [label.text for label in MapSheet(PROJECTION, alt="a").found(mark).labels()] == ["H05"]
    assert [label.kind for label in MapSheet(PROJECTION, alt="a").found(mark).fixes(mark.assign(easting_m=90.0)).labels()] == ["fix"]


def test_what_the_register_knows_of_batteries_is_told_and_only_what_it_does_not_is_asked_for(found):
    steps = index_next.next_steps(found)
    assert any(step.startswith("Search for H09") and "By the register 9 % of the expected life of its battery has passed." in step for step in steps) and not any("ask for" in step.lower() for step in steps)
    assert any("Ask for the age of the battery." in step for step in index_next.next_steps(replace(found, battery={})))
    assert battery_sentence({"A": 0.09, "B": float("nan")}) == "By the register 9 % (A) of the expected life of its battery has passed. Ask for the age of the battery of B."


# Before you sign

def test_what_to_know_before_signing_names_each_look_and_says_that_no_stop_is_no_permission(found):
    said = dict(before_signing(found))
    assert len(said["To look at"]) == (found.messages["severity"] == "look").sum() and said["To look at"][0].startswith("7 records of 234")
    assert said["Stops"][0].startswith("No stop.") and "is no permission" in said["Stops"][0]
    assert f"{found.reach.iloc[-1]['fixes_outside']} of 152 fixes" in said["Limits"][0] and "9 beacons leave 0.61 to 1.00" in said["Limits"][0]
    assert "the survey file tells of them (field_work, quoted at the foot" in said["Missing here"][0] and "no log holds them, and the survey file says nothing" in dict(before_signing(replace(found, field_work_told=False)))["Missing here"][0]
    assert said["What a signature means"][0].startswith("You may sign that you have read it, and nothing more")
    assert all(line.endswith(".") for lines in said.values() for line in lines)


def test_a_stop_is_named_and_is_not_called_none(found):
    stopped = pd.DataFrame({"severity": ["stop", "look"], "text": ["Flight x has no times.", "odd"]})
    assert stops_sentence(stopped).startswith("1 stop, to be settled first: Flight x has no times.") and "no permission" not in stops_sentence(stopped)
    assert looks(stopped) == ["odd."] and looks(stopped[:1]) == ["No message is marked look."]
    assert looks(pd.concat([stopped[1:]] * 9))[-1] == "And 4 more, in tables/messages.csv."


def test_circles_may_go_with_the_walkers_where_pages_with_positions_stay(found):
    assert "search_areas.gpx" in may_leave(found)[1] and "stay" in may_leave(found)[0] and "circle" in index_rules.leaving(found)
    assert "nothing has to go" in may_leave(replace(found, walk=found.walk[:0]))[1]
    assert "does not mark the campaign as sensitive" in may_leave(replace(found, sensitive=False))[0]
    assert limits(untested(found, 0)) == "Nothing tests these radii: no beacon was put out."


def test_circles_are_one_or_several_as_there_are(found):
    assert "with the circle and the cautions" in index_next.next_steps(found)[0] and "search_areas.gpx" in index_next.next_steps(found)[0]
    assert "there is no position to draw a circle round" in index_next.next_steps(replace(found, walk=found.walk.assign(easting_m=np.nan)))[0]
    two = replace(found, walk=pd.concat([found.walk, found.walk.assign(tag_id="G77")]))
    assert "Look for G08 and G77 on foot, with the circles and" in index_next.next_steps(two)[0]


def test_the_printed_first_sheet_holds_what_to_know_before_signing_and_the_lines_to_sign_on(running, demo_folder, tmp_path):
    with opened(running, demo_folder / "index.html", paper=True, width_px=665) as (page, _):    # A4 less its margins
        height_px = page.evaluate("(box => box.getBoundingClientRect().bottom)(document.querySelector('.signing'))")
        assert page.locator(".to-write").is_visible() and page.locator("#table-every_animal").is_visible()
        assert height_px < 970   # A4 less its margins at 96 dots an inch


def test_the_table_of_every_animal_is_not_cut_on_a_wide_screen_and_scrolls_on_a_narrow_one(running, demo_folder):
    with opened(running, demo_folder / "index.html", width_px=1400) as (page, _):
        wide, room = page.evaluate("(box => [box.scrollWidth, box.clientWidth])(document.querySelector('#table-every_animal .table-scroll'))")
        assert wide <= room + 1 and page.locator("#table-every_animal tbody tr").count() == 28
        page.locator("#table-every_animal thead button").nth(5).click()
        assert page.locator("#table-every_animal th[aria-sort]").count() == 1
    with opened(running, demo_folder / "index.html", width_px=400) as (page, _):
        assert overflow_px(page) == 0 and page.evaluate("getComputedStyle(document.querySelector('#table-every_animal .table-scroll')).overflowX") in ("auto", "scroll")


# results.gpkg

def fixes_of(rows):
    return conform(pd.DataFrame(rows), FIXES)


def test_a_fix_is_drawn_where_it_is_stated_else_at_its_best_place_and_the_column_says_which():
    layer = fix_layer(fixes_of([
        {"tag_id": "a", "flight_id": "1", "latitude": 57.2, "longitude": -4.1, "best_latitude": 57.3, "best_longitude": -4.2},
        {"tag_id": "b", "flight_id": "1", "best_latitude": 57.2, "best_longitude": -4.1},
        {"tag_id": "c", "flight_id": "1"},
    ]), PROJECTION)
    assert list(layer["position"]) == ["stated", "best, not stated", "none"]
    assert layer.geometry.isna().tolist() == [False, False, True]
    assert layer.geometry.iloc[0].equals_exact(layer.geometry.iloc[1], 1e-6)
    assert set(FIXES) <= set(layer.columns)


def test_a_track_breaks_where_the_flight_was_off_effort():
    times = pd.date_range("2026-04-21T06:00:00Z", periods=7, freq="6s")
    track = conform(pd.DataFrame({"flight_id": "1", "time_utc": times, "easting_m": np.arange(7) * 70.0, "northing_m": 0.0, "on_effort": [True, True, True, False, True, True, True]}), TRACK)
    layer = track_layer(track, PROJECTION)
    assert list(layer["records"]) == [3, 3] and list(layer["part"]) == [1, 2]
    assert layer.length.tolist() == [140.0, 140.0]


def test_beacons_have_their_surveyed_place_and_the_place_found_without_them():
    beacons = conform(pd.DataFrame([{"tag_id": "B1", "latitude": 57.2, "longitude": -4.1, "tag_type": "collar"}]), BEACONS)
    errors = conform(pd.DataFrame([{"tag_id": "B1", "flight_id": "1", "latitude": 57.2, "longitude": -4.1, "error_m": 12.0}]), BEACON_ERRORS)
    layer = beacon_layer(beacons, errors, PROJECTION)
    assert list(layer["kind"]) == ["surveyed", "estimated"] and layer["error_m"].iloc[1] == 12.0
    assert len(beacon_layer(beacons, errors[:0], PROJECTION)) == 1 and len(beacon_layer(beacons[:0], errors[:0], PROJECTION)) == 0


def test_a_campaign_without_anything_still_gives_five_readable_layers(tmp_path):
    nothing = gpd.GeoDataFrame({"tag_id": pd.Series(dtype="string")}, geometry=gpd.GeoSeries([], crs=PROJECTION.crs), crs=PROJECTION.crs)
    path = write_results(tmp_path / "results.gpkg", fixes=fix_layer(fixes_of([]), PROJECTION), regions=nothing, searched=nothing,
                         tracks=track_layer(conform(pd.DataFrame(), TRACK), PROJECTION), beacons=beacon_layer(conform(pd.DataFrame(), BEACONS), conform(pd.DataFrame(), BEACON_ERRORS), PROJECTION))
    assert {name: len(gpd.read_file(path, layer=name)) for name in ("fixes", "regions", "tracks", "searched", "beacons")} == dict.fromkeys(("fixes", "regions", "tracks", "searched", "beacons"), 0)


def test_every_tag_that_was_heard_has_three_regions_whatever_its_status(demo_folder):
    fixes = gpd.read_file(demo_folder / "results.gpkg", layer="fixes")
    regions = gpd.read_file(demo_folder / "results.gpkg", layer="regions")
    heard = fixes[fixes["best_latitude"].notna()]
    counts = regions.groupby(["tag_id", "flight_id"])["probability"].apply(sorted)
    assert set(counts.index) == set(zip(heard["tag_id"], heard["flight_id"])) and all(levels == [0.5, 0.8, 0.95] for levels in counts)
    assert fixes.geometry.isna().sum() == (fixes["position"] == "none").sum() == (fixes["records_heard"] == 0).sum()
