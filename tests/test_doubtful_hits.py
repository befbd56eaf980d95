"""Tags whose hearing rests on lone hits, beside what decoys gave; expected counts are worked out by hand."""

import math

import pandas as pd

from pipeline.search.next_flight import RANKED
from pipeline.stages.doubtful_hits import FalseHits, LoneHits, in_brief, in_full, in_the_lead, lone_hits
from pipeline.stages.next_flight_report import numbered_blocks, purpose

NO_RUNS = pd.DataFrame({"tag_id": [], "longest_run": []})
ONE = {"H12": LoneHits("H12", 1, 1351)}


def searches(*rows):
    return pd.DataFrame(rows, columns=["tag_id", "status", "records_heard", "records_listened"])


def test_false_hits_are_expected_at_the_rate_of_the_decoys():
    # 1 in 2,702, over 1,351 records: one half
    assert FalseHits(2, 2702, 1).expected(1351) == 0.5 and math.isnan(FalseHits().expected(1351))
    assert FalseHits.from_table(pd.DataFrame()) == FalseHits()


def test_a_tag_heard_once_in_one_flight_rests_on_a_lone_hit_and_one_heard_twice_there_does_not():
    lone = lone_hits(searches(("A", "heard once", 1, 200), ("A", "not heard", 0, 300), ("B", "area only", 2, 200), ("B", "heard once", 1, 200), ("C", "suspect", 1, 200), ("D", "heard once", 1, 50), ("D", "heard once", 1, 60)), NO_RUNS)
    assert lone == {"A": LoneHits("A", 1, 500), "D": LoneHits("D", 2, 110)} and lone["D"].counted == "two single hits"


def test_hits_that_never_follow_each_other_are_single_records_too():
    rows = searches(("a", "area only", 3, 90), ("b", "area only", 3, 90), ("c", "located", 3, 90))
    lone = lone_hits(rows, pd.DataFrame({"tag_id": ["a", "b", "c"], "longest_run": [1, 2, 1]}))
    assert lone == {"a": LoneHits("a", 3, 90)} and lone["a"].state == "3 single records only, which may be false"


def test_a_lone_hit_is_told_with_the_false_hits_to_be_expected():
    said = in_full(ONE["H12"], FalseHits(2, 2702, 1))
    assert "one hit in 1,351 records" in said and "1 false hit in 2,702 records" in said and "about 0.5 false hits are to be expected" in said
    assert "about 0.5 false hits are to be expected in so many" in in_the_lead(ONE, FalseHits(2, 2702, 1)) and in_the_lead({}, FalseHits()) == "" and in_full(None, FalseHits()) == ""


def test_without_decoys_or_without_a_false_hit_a_single_hit_may_still_be_false():
    assert "how often a hit is false is not known: a single hit may be false" in in_full(ONE["H12"], FalseHits())
    assert "gave no hit in 2,702 records; a single hit may be false all the same" in in_full(ONE["H12"], FalseHits(2, 2702, 0))


def test_a_flight_for_such_a_tag_says_what_it_rests_on_and_blocks_are_numbered_as_drawn():
    table = pd.DataFrame([dict.fromkeys(RANKED, 0.0) | {"rank": rank, "name": name, "middle_easting_m": east, "middle_northing_m": 0.0, "gains": gains}
                          for rank, name, east, gains in ((1, "09 loop", 0.0, "G03 0.00; H12 0.86"), (2, "09 lines", 0.0, "G03 0.01; H12 0.80"), (7, "03 lines", 500.0, "G03 0.02; H12 0.70"))])
    said = purpose(table, ONE)
    assert said.startswith("To narrow down where H12 is, fly block 09 loop, which is expected to make the area where it may be smaller by about 86 %. What is known of H12 rests on one hit that may be false.")
    assert said.endswith("No candidate would add a tenth or more for G03.") and in_brief(["G03"], ONE) == ""
    assert list(numbered_blocks(table)["number"]) == [1, 2] and list(numbered_blocks(table)["rank"]) == [1, 7]
