"""Displacement, gates, extents, ranges, site fidelity, proximity and timeline on animals made up for the purpose."""

import numpy as np
import pandas as pd
import pytest

from pipeline.columns import FIXES, FLIGHTS, TAGS, conform
from pipeline.movement import (
    AnimalFixes, Fix, animal_table, animals_with_fixes, difference, displacement_table, distance_interval_m, error_range_ratio, extent_table,
    fidelity_table, gate, holm, hull_area_m2, proximity_table, range_table, refusal, stillness, timeline_table, without_width,
)

START = pd.Timestamp("2027-04-10T08:00Z")


def normal_errors(generator, count):
    return generator.normal(0, 60, (count, 2))


def elongated_errors(generator, count):
    return generator.normal(0, 1, (count, 2)) * [200, 25]


def two_places(generator, count):
    first = generator.random(count) < 0.7
    return np.where(first[:, None], generator.normal(0, 40, (count, 2)), generator.normal(0, 60, (count, 2)) + [600, 0])


def arc(generator, count):
    angle, radius = generator.normal(0, 0.9, count), 300 + generator.normal(0, 25, count)
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])


def made_animal(tag_id, places_m, *, errors=normal_errors, seed=1, observed=False, draws=400):
    """An animal with one fix a day at these places; observed = the fix itself is off by an error of the same shape."""
    generator = np.random.default_rng(seed)
    fixes = []
    for day, place in enumerate(places_m):
        off = errors(generator, 1)[0] if observed else 0.0
        around = np.asarray(place) + off - errors(generator, draws)
        fixes.append(Fix(tag_id, f"F{day + 1}", START + pd.Timedelta(days=day), *around.mean(axis=0), 150.0, False, around))
    return AnimalFixes(tag_id, f"hare {tag_id}", "Lepus timidus", tuple(fixes))


def test_an_animal_two_kilometres_away_a_day_later_has_moved():
    step = displacement_table([made_animal("1", [(0, 0), (2000, 0)])]).iloc[0]
    assert step["verdict"] == "moved"
    assert step["distance_m"] == pytest.approx(2000, abs=20)
    assert step["distance_low_m"] < 2000 < step["distance_high_m"]
    assert step["rate_low_m_per_day"] == pytest.approx(step["distance_low_m"])


def test_an_animal_in_one_place_is_not_shown_to_have_moved_and_the_lower_end_is_zero():
    step = displacement_table([made_animal("1", [(0, 0), (30, 0)])]).iloc[0]
    assert (step["verdict"], step["distance_low_m"]) == ("not shown", 0)
    assert step["reason"].startswith("Location error explains the distance; ")


def test_wide_regions_cannot_tell():
    wide = made_animal("1", [(0, 0), (30, 0)], errors=lambda generator, count: generator.normal(0, 400, (count, 2)))
    step = displacement_table([wide]).iloc[0]
    assert step["verdict"] == "cannot tell"
    assert "Even 1000 m could have stayed hidden" in step["reason"]


def test_first_to_last_is_a_step_of_its_own_from_three_fixes_on():
    steps = displacement_table([made_animal("1", [(0, 0), (0, 0)]), made_animal("2", [(0, 0), (0, 0), (0, 0)])])
    assert list(steps["kind"]) == ["consecutive", "consecutive", "consecutive", "first to last"]


def test_no_rate_is_given_for_two_fixes_of_one_morning():
    animal = made_animal("1", [(0, 0), (2000, 0)])
    later = animal.fixes[1].__class__(**{**animal.fixes[1].__dict__, "time_utc": START + pd.Timedelta(hours=2)})
    step = displacement_table([AnimalFixes("1", "", "", (animal.fixes[0], later))]).iloc[0]
    assert step["verdict"] == "moved" and np.isnan(step["rate_low_m_per_day"])


def test_holm_multiplies_the_smallest_by_all_and_never_falls():
    assert holm([0.01, 0.04, 0.03]) == pytest.approx([0.03, 0.06, 0.06])
    assert holm([0.9, 0.8]) == pytest.approx([1.0, 1.0])
    assert len(holm([])) == 0


@pytest.mark.parametrize("errors", [normal_errors, elongated_errors])
def test_of_2000_animals_that_never_move_one_in_twenty_at_most_is_called_moved(errors):
    generator = np.random.default_rng(4)
    p = []
    for _ in range(2000):
        off = errors(generator, 2)
        p.append(difference(off[0] - errors(generator, 200), off[1] - errors(generator, 200)).p_same_place())
    p = np.array(p)
    assert 0.03 < (p < 0.05).mean() < 0.07                      # one pair looked at alone: the nominal level
    called = np.concatenate([holm(campaign) < 0.05 for campaign in p.reshape(50, 40)])
    assert called.mean() < 0.005                                # 40 animals a campaign, adjusted
    assert (called.reshape(50, 40).any(axis=1)).mean() <= 0.14  # campaigns with a false mover: 5 %, within chance of 50


@pytest.mark.parametrize("errors", [two_places, arc])
def test_odd_shapes_do_not_make_still_animals_move(errors):
    generator = np.random.default_rng(4)
    p = []
    for _ in range(300):
        off = errors(generator, 2)
        distribution = difference(off[0] - errors(generator, 300), off[1] - errors(generator, 300))
        assert distribution.kind == "shape"
        p.append(distribution.p_same_place())
    assert (np.array(p) < 0.05).mean() <= 0.08


@pytest.mark.parametrize("errors", [normal_errors, elongated_errors, two_places])
def test_the_minimum_detectable_movement_is_found_in_8_of_10(errors):
    generator = np.random.default_rng(8)
    alpha = 0.01
    detectable = difference(errors(generator, 1000), errors(generator, 1000)).minimum_detectable_m(alpha)
    found = []
    for angle in np.linspace(0, 2 * np.pi, 250, endpoint=False):
        off = errors(generator, 2) + [[0, 0], [detectable * np.cos(angle), detectable * np.sin(angle)]]
        found.append(difference(off[0] - errors(generator, 300), off[1] - errors(generator, 300)).p_same_place() < alpha)
    assert 0.7 < np.mean(found) < 0.9


@pytest.mark.parametrize("errors", [two_places, arc])
def test_one_odd_region_is_enough_for_the_shaped_test(errors):
    generator = np.random.default_rng(5)
    assert difference(errors(generator, 400), normal_errors(generator, 400)).kind == "shape"
    assert difference(elongated_errors(generator, 400), normal_errors(generator, 400)).kind == "normal"


def test_the_shaped_test_agrees_with_the_normal_one_where_both_hold():
    from pipeline.movement.difference_of_places import _shaped
    generator = np.random.default_rng(3)
    start, end = generator.normal(0, 50, (2000, 2)), generator.normal(0, 50, (2000, 2)) + [120, 0]
    normal, shaped = difference(start, end), _shaped(start, end)
    assert normal.kind == "normal"
    assert shaped.p_same_place() == pytest.approx(normal.p_same_place(), abs=0.06)  # its kernels make it the more cautious one
    assert shaped.minimum_detectable_m() == pytest.approx(normal.minimum_detectable_m(), rel=0.08)


def test_the_distance_interval_holds_the_true_distance():
    generator = np.random.default_rng(6)
    for true_m in (0.0, 80.0, 400.0):
        held = 0
        for _ in range(200):
            start, end = made_animal("1", [(0, 0), (true_m, 0)], observed=True, seed=generator.integers(1e9), draws=200).fixes
            low, high = distance_interval_m(start, end)
            held += low <= true_m <= high
        assert held / 200 >= 0.92


def test_too_few_draws_are_refused():
    with pytest.raises(ValueError, match="n >= 50"):
        difference(np.zeros((10, 2)), np.zeros((10, 2)))


@pytest.mark.parametrize("fixes, name", [(0, "no fix"), (1, "point only"), (2, "displacement"), (4, "net distance"), (5, "extent of fixes"),
                                         (9, "extent of fixes"), (10, "range sketch"), (29, "range sketch"), (30, "range")])
def test_gates_open_by_number_of_fixes(fixes, name):
    assert gate(fixes).name == name


def test_an_error_as_large_as_the_scatter_refuses_an_area():
    places = np.array([(0, 0), (100, 0), (0, 100), (100, 100)], dtype=float)
    error = np.tile(np.eye(2), (4, 1, 1))
    assert error_range_ratio(places, error * 1e-6) < 0.001
    assert refusal(error_range_ratio(places, error * 0.45 * np.trace(np.cov(places.T)) / 2)).startswith("Location error is 0.9 of the scatter")
    assert refusal(error_range_ratio(places, error * 1e6)) == "The fixes scatter no more than their errors."


SQUARE = [(0, 0), (2000, 0), (2000, 2000), (0, 2000), (1000, 1000)]
CASES = [
    made_animal("none", []), made_animal("one", [(0, 0)]), made_animal("two", [(0, 0), (900, 0)]), made_animal("same", [(0, 0)] * 5),
    made_animal("line", [(500.0 * k, 0) for k in range(5)]), made_animal("square", SQUARE),
]


@pytest.mark.parametrize("table_of", [displacement_table, extent_table, lambda animals: range_table(animals, seed=1), fidelity_table, proximity_table])
def test_every_animal_is_in_every_table_with_its_reason(table_of):
    table = table_of(CASES)
    tags = set(table["tag_id"]) | set(table.get("other_tag_id", []))
    assert {case.tag_id for case in CASES} <= tags
    assert (table.loc[table["tag_id"] == "none", "reason"].str.len() > 10).all()


def test_extents_are_given_from_five_fixes_and_refused_where_error_fills_them():
    table = extent_table(CASES).set_index("tag_id")
    assert list(table["verdict"]) == ["refused"] * 4 + ["given"] * 2
    assert table.loc["square", "extent_low_ha"] < 400 < table.loc["square", "extent_high_ha"]
    assert table.loc["same", "reason"] in ("The fixes scatter no more than their errors.",) or "of the scatter of the places" in table.loc["same", "reason"]
    assert "5 are needed" not in table.loc["line", "reason"] and table.loc["line", "extent_ha"] < 50
    assert "no home range" in table.loc["square", "reason"]
    assert table.loc["line", "extent_low_ha"] == 0 and "may lie on a line" in table.loc["line", "reason"] and "line" not in table.loc["square", "reason"]
    assert list(table.loc[["one", "two"], "reason"]) == ["1 usable fix; 5 are needed for the extent of fixes.", "2 usable fixes; 5 are needed for the extent of fixes."]


@pytest.mark.parametrize("fixes", [5, 12, 36])
def test_fixes_on_a_line_are_known_in_95_of_100_cases(fixes):
    """Derived: squared distances from a fitted line over their error variance, chi-square with two degrees of freedom fewer than fixes."""
    generator, errors = np.random.default_rng(fixes), np.tile(60.0**2 * np.eye(2), (fixes, 1, 1))
    along = np.array([np.cos(0.7), np.sin(0.7)])
    found = [without_width(generator.normal(0, 800, (fixes, 1)) * along + generator.normal(0, 60, (fixes, 2)), errors) for _ in range(1500)]
    assert 0.93 < np.mean(found) < 0.97


def test_fixes_that_spread_both_ways_are_no_line():
    generator, errors = np.random.default_rng(1), np.tile(150.0**2 * np.eye(2), (15, 1, 1))
    found = [without_width(generator.normal(0, 500, (15, 2)) + generator.normal(0, 150, (15, 2)), errors) for _ in range(400)]
    assert np.mean(found) < 0.02


def test_areas_of_many_fixes_on_a_line_begin_at_nothing_and_are_sketches():
    generator = np.random.default_rng(3)
    along = np.column_stack([generator.normal(0, 800, 36), np.zeros(36)])
    table = range_table([made_animal("river", along, errors=lambda g, n: g.normal(0, 30, (n, 2)), observed=True, draws=60)], seed=1)
    assert set(table["verdict"]) == {"sketch"} and (table[["area_50_low_ha", "area_95_low_ha"]] == 0).all(axis=None)
    assert (table["area_95_high_ha"] > 0).all() and table["reason"].str.contains("may lie on a line").all()


def test_a_hull_of_points_on_a_line_or_in_one_place_has_no_area():
    assert hull_area_m2([(0, 0), (1, 1), (2, 2)]) == 0
    assert hull_area_m2([(3, 3)] * 4) == 0
    assert list(hull_area_m2([[(0, 0), (4, 0), (0, 3)], [(0, 0), (8, 0), (0, 6)]])) == [6, 24]


def test_ranges_are_refused_below_ten_fixes_a_sketch_below_thirty_and_given_when_flat():
    generator = np.random.default_rng(2)
    many = [made_animal(str(count), generator.normal(0, 500, (count, 2)), errors=lambda g, n: g.normal(0, 20, (n, 2)), draws=60) for count in (9, 15, 90)]
    table = range_table(many, seed=1).set_index(["tag_id", "method"])
    assert list(table["verdict"]) == ["refused"] * 3 + ["sketch"] * 3 + ["given"] * 3
    assert table.loc[("9", "kernel, reference width"), "reason"] == "9 usable fixes; 10 are needed for a sketch, 30 for a range."
    given = table.loc[("90", "bivariate normal")]
    assert given["area_95_low_ha"] < 5.9915 * np.pi * 500**2 / 1e4 < given["area_95_high_ha"]


def test_an_animal_that_stays_is_faithful_to_its_site_and_one_that_leaves_is_not():
    table = fidelity_table(CASES).set_index("tag_id")
    assert table.loc["same", "share_same_place"] == 1
    assert (table.loc["two", "pairs"], table.loc["two", "pairs_same_place"]) == (1, 0)


def test_two_animals_in_one_place_are_near_and_two_apart_are_not():
    near, far = made_animal("a", [(0, 0)], errors=lambda g, n: g.normal(0, 10, (n, 2))), made_animal("b", [(5000, 0)])
    twin = made_animal("c", [(5, 0)], errors=lambda g, n: g.normal(0, 10, (n, 2)), seed=2)
    table = proximity_table([near, far, twin]).set_index(["tag_id", "other_tag_id"])
    assert table.loc[("a", "c"), "probability_50_m"] > 0.95
    assert table.loc[("a", "b"), "probability_100_m"] == 0
    assert table.index[0] == ("a", "c")


def test_errors_that_two_fixes_of_a_flight_share_cancel():
    shared = np.random.default_rng(1).normal(0, 300, (200, 2))
    pair = [AnimalFixes(tag, "", "", (Fix(tag, "F1", START, x, 0.0, 700.0, False, shared + [x, 0.0]),)) for tag, x in (("a", 0.0), ("b", 30.0))]
    assert proximity_table(pair).loc[0, "probability_50_m"] == 1


def test_a_tag_that_lies_still_is_found_where_errors_allow_it():
    small = {"errors": lambda g, n: g.normal(0, 8, (n, 2))}
    steps = displacement_table([made_animal("still", [(0, 0)] * 3, **small), made_animal("left", [(0, 0), (0, 0), (900, 0)], **small),
                                made_animal("wide", [(0, 0)] * 3)])
    found = stillness(steps).set_index("tag_id")["same_place_flights"]
    assert found.to_dict() == {"left": 0, "still": 3, "wide": 0}


# From the contract's tables to the animals

def contract_tables():
    tags = conform(pd.DataFrame({"tag_id": ["1", "2", "3", "B", "D"], "animal_id": ["hare 1", "", "hare 3", "", ""],
                                 "role": ["animal", "animal", "animal", "beacon", "decoy"]}), TAGS)
    rows = [("1", "F1", "located", 30, 9, 0), ("1", "F2", "several places", 30, 9, 700), ("1", "F3", "area only", 30, 2, 0), ("2", "F1", "not heard", 30, 0, 0),
            ("2", "F2", "heard once", 30, 1, 0), ("3", "F1", "not searched", 0, 0, 0), ("B", "F1", "located", 30, 9, 0)]
    fixes = pd.DataFrame(rows, columns=["tag_id", "flight_id", "status", "records_listened", "records_heard", "easting_m"])
    start = fixes["flight_id"].map({f"F{day + 1}": START + pd.Timedelta(days=day) for day in range(3)})
    fixes = conform(fixes.assign(northing_m=0.0, error_radius_95_m=120.0, time_start_utc=start, time_end_utc=start + pd.Timedelta(minutes=20), fate="live"), FIXES)
    flights = conform(pd.DataFrame({"flight_id": ["F2", "F1", "F3"], "start_utc": START + pd.to_timedelta([1, 0, 2], unit="D"), "listening_min": [21.0, 20.0, 22.0]}), FLIGHTS)
    generator = np.random.default_rng(1)
    draws = {(row.tag_id, row.flight_id): generator.normal(0, 40, (100, 2)) + [row.easting_m, 0] for row in fixes.itertuples() if row.records_heard}
    return tags, fixes, flights, draws


def test_only_fixes_with_a_position_are_used_and_beacons_and_decoys_are_no_animals():
    tags, fixes, _, draws = contract_tables()
    animals = animals_with_fixes(tags, fixes, draws)
    assert [(animal.tag_id, [fix.flight_id for fix in animal.fixes]) for animal in animals] == [("1", ["F1", "F2"]), ("2", []), ("3", [])]
    assert animals[1].name == "tag 2" and animals[0].fixes[1].several_places
    assert f"{animals[0].fixes[0].time_utc:%H:%M}" == "08:10"


def test_not_heard_and_not_searched_stay_apart_in_the_timeline():
    tags, fixes, flights, draws = contract_tables()
    table = timeline_table(animals_with_fixes(tags, fixes, draws), fixes, flights, {("2", "F1"): 0.62})
    states = {tag: list(own["state"]) for tag, own in table.groupby("tag_id")}
    assert states == {"1": ["fix", "fix", "heard"], "2": ["not heard", "heard", "not searched"], "3": ["not searched"] * 3}
    assert table.loc[(table["tag_id"] == "2") & (table["flight_id"] == "F1"), "adequacy"].item() == 0.62


def test_the_summary_counts_flights_and_minutes_searched_and_heard():
    tags, fixes, flights, draws = contract_tables()
    animals = animals_with_fixes(tags, fixes, draws)
    table = animal_table(animals, displacement_table(animals), timeline_table(animals, fixes, flights), flights).set_index("tag_id")
    assert list(table["fixes_usable"]) == [2, 0, 0]
    assert list(table["minutes_searched"]) == [63, 41, 0] and list(table["minutes_heard"]) == [63, 21, 0]
    assert table.loc["1", "net_distance_m"] == 700 and table.loc["1", "steps_moved"] == 1
    assert table.loc["3", "reason"] == "No usable fix: nothing can be said of movement."


def test_the_summary_counts_fixes_that_are_areas_only_as_fixes_that_are_not_usable():
    tags, fixes, flights, draws = contract_tables()
    animals = animals_with_fixes(tags, fixes, draws)
    steps, timeline = displacement_table(animals), timeline_table(animals, fixes, flights)
    assert list(animal_table(animals, steps, timeline, flights, fixes)["fixes_total"]) == [3, 0, 0]       # heard once is no fix
    assert animal_table(animals, steps, timeline, flights)["fixes_total"].isna().all()                   # not recorded, never 0


def test_no_animals_at_all_give_empty_tables():
    assert len(displacement_table([])) == len(extent_table([])) == len(proximity_table([])) == len(fidelity_table([])) == 0
