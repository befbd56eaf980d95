"""Detection, ground searched, ranges and animals not found, on cases whose answers are obvious."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import shapely
from scipy.special import ndtr

from pipeline.radio import Listening, SignalModel, sightlines, steps_along
from pipeline.search import (CAMPAIGN, GroundSearch, MissingTag, area_table, band_table, cumulative_area, detection_at, detection_curve, detection_range,
                             explain_silence, explanation_table, ground_round_track, ground_searched, not_found_table, prior_from_last_fix, prior_over_area,
                             probability_heard, range_table, search_adequacy, search_grid, silence_sentence, stated_probability, well_searched_beacons)
from pipeline.search import Detection, StatedPrior, WeakTags, along_the_track, area_by_ground, canopy_classes, height_classes, slope_classes, cautious_strengths, heard_at_all, one_look_per_pass, strengths_of
from pipeline.search.detection import independent_detection
from pipeline.search.range import distance_at, half_normal_summary, logistic_summary

MODEL = SignalModel(exponent=2.5, ahead_db=6.0, ahead_squared_db=0.0, below_db=-3.0, power_mean_db={"small": -20.0, "large": -10.0}, power_sd_db=4.0,
                    power_drift_sd_db=1.5, shadowing_sd_db=5.0, shadowing_length_m=120.0, noise_sd_db=3.0, threshold_db=-92.0, threshold_shift_db=0.0,
                    softness_db=1.5, miss_share=0.02, fault_share=0.03)
PLAIN = replace(MODEL, ahead_db=0.0, below_db=0.0)


def line(records=40, northing_m=0.0, step_m=72.0, height_m=80.0, azimuth_deg=np.nan):
    east = (np.arange(records) - (records - 1) / 2) * step_m
    north = np.full(records, northing_m)
    blank = np.full(records, np.nan)
    return Listening(east, north, np.full(records, height_m), np.broadcast_to(np.asarray(azimuth_deg, float), records).copy(), blank, blank, steps_along(east, north))


# one record, many records

def test_a_tag_exactly_at_the_threshold_is_heard_in_half_of_the_records():
    hover = line(records=1, height_m=100.0)
    at_threshold = replace(PLAIN, miss_share=0.0, power_mean_db={"small": -92.0 + 25.0 * 2.0})
    assert probability_heard(hover, at_threshold, [0.0], [0.0], "small")[0, 0] == pytest.approx(0.5)


def test_a_record_that_misses_two_in_a_hundred_never_exceeds_ninety_eight():
    near = probability_heard(line(), replace(MODEL, power_mean_db={"small": 50.0}), [0.0], [0.0], "small")
    assert near.max() == pytest.approx(0.98)


def test_thirty_independent_looks_at_a_tenth():
    assert independent_detection(np.full((30, 1), 0.1))[0] == pytest.approx(0.9576, abs=1e-4)


def test_one_pass_counts_its_best_record_and_two_passes_count_two():
    sure = replace(MODEL, power_sd_db=0.0, power_drift_sd_db=0.0, miss_share=0.0)
    tag = strengths_of((sure,), "small", count=1)
    once, best = line(30), probability_heard(line(30), sure, [0.0], [1500.0], "small").max()
    missed = np.exp(one_look_per_pass(once, tag, [0.0], [1500.0]))[0, 0, 0]
    assert 1 - missed == pytest.approx(best)
    there_and_back = replace(once, **{name: np.r_[getattr(once, name), getattr(once, name)[::-1]] for name in ("easting_m", "northing_m", "height_above_ground_m", "azimuth_grid_deg",
                                                                                                              "strength_db", "threshold_db")}, step_m=np.full(60, 72.0))
    assert np.exp(one_look_per_pass(there_and_back, tag, [0.0], [1500.0]))[0, 0, 0] == pytest.approx(missed**2)


def test_the_expected_probability_agrees_with_simulated_flights():
    flights = [line(30, northing_m=0.0), line(30, northing_m=300.0)]
    north = np.array([400.0, 900.0, 1500.0, 2500.0])
    heard = simulated_share_heard(flights, north, draws=4000)
    found = detection_at(flights, MODEL, np.zeros(4), north, "small")
    assert np.abs(found.expected - heard).max() < 0.03
    assert (found.independent > heard + 0.05).sum() >= 2
    assert (found.cautious < heard).all()


def simulated_share_heard(flights, north, draws):
    generator = np.random.default_rng(7)
    heard = np.zeros((draws, len(north)), bool)
    power = MODEL.mean_power_db("small") + generator.normal(0, MODEL.power_sd_db, (draws, 1))
    for flight in flights:
        gain = MODEL.gain_db(sightlines(flight, np.zeros(len(north)), north))
        here = power + generator.normal(0, MODEL.power_drift_sd_db, (draws, 1))
        shadow = generator.normal(0, MODEL.shadowing_sd_db, (draws, 1))
        for record in range(len(flight)):
            keep = np.exp(-flight.step_m[record] / MODEL.shadowing_length_m)
            shadow = keep * shadow + np.sqrt(1 - keep**2) * generator.normal(0, MODEL.shadowing_sd_db, (draws, 1))
            margin = (here + shadow + gain[record] - MODEL.threshold_db) / np.hypot(MODEL.noise_sd_db, MODEL.softness_db)
            heard |= generator.random((draws, len(north))) < (1 - MODEL.miss_share) * ndtr(margin)
    return heard.mean(axis=0)


def test_without_any_spread_shared_by_looks_expected_is_independent():
    loose = replace(MODEL, power_sd_db=0.0, power_drift_sd_db=0.0, shadowing_sd_db=1e-6, noise_sd_db=6.0)
    found = detection_at([line()], loose, np.zeros(3), [500.0, 1500.0, 3000.0], "small")
    assert found.expected == pytest.approx(found.independent, abs=1e-4)


def test_ground_that_no_flight_listened_to_is_not_searched():
    found = detection_at([], MODEL, [0.0], [0.0], "small")
    assert found.independent[0] == found.expected[0] == found.cautious[0] == 0.0


def test_a_stronger_tag_and_a_second_flight_are_heard_better():
    place = ([0.0], [1500.0])
    for view in ("expected", "cautious"):
        weak, strong = (getattr(detection_at([line()], MODEL, *place, kind), view)[0] for kind in ("small", "large"))
        twice = getattr(detection_at([line(), line()], MODEL, *place, "small"), view)[0]
        assert weak < strong and weak < twice < 1 - (1 - weak) ** 2


def test_however_often_ground_is_flown_over_weak_tags_keep_the_cautious_figure_from_certainty():
    often = [line(northing_m=100.0 * number) for number in range(8)]
    found = detection_at(often, MODEL, [0.0], [900.0], "small")
    assert found.expected[0] > 0.999 and 0.9 < found.cautious[0] < 0.99


def test_the_more_tags_are_taken_to_be_weak_the_lower_the_cautious_figure():
    often = [line(northing_m=100.0 * number) for number in range(8)]
    none, usual, many, weaker = (detection_at(often, MODEL, [100.0], [900.0], "small", weak=weak).cautious[0]
                                 for weak in (WeakTags(0.0), WeakTags(), WeakTags(0.2), WeakTags(0.2, 40.0)))
    assert weaker < many < usual < none and weaker == pytest.approx(0.8, abs=0.01)
    grid = search_grid(shapely.box(0, 800, 200, 1000), cell_m=200.0)
    assert GroundSearch(MODEL, grid, weak=WeakTags(0.2)).detection(often, "small").cautious[0] == pytest.approx(many)


def test_what_the_fit_leaves_open_makes_detection_less_sure():
    drawn = tuple(replace(MODEL, power_mean_db={"small": -20.0 + shift}) for shift in (-6.0, 6.0))
    alone, averaged = (detection_at([line()], MODEL, [0.0], [1000.0], "small", drawn=models) for models in ((), drawn))
    assert 0.6 < averaged.expected[0] < alone.expected[0]


def test_ground_behind_a_hill_is_searched_less():
    class Hill:
        def loss_db(self, easting_m, northing_m):
            return np.where(np.asarray(northing_m) > 500.0, 15.0, 0.0)[None, :] * np.ones((40, 1))

        def climb_m(self, easting_m, northing_m):
            return np.zeros((40, len(easting_m)))

    relief = replace(MODEL, terrain_share=1.0)
    behind = replace(line(), terrain=Hill())
    for view in ("independent", "expected", "cautious"):
        free, hidden, before = (getattr(detection_at([flight], relief, [0.0], [north], "small"), view)[0] for flight, north in ((line(), 1200.0), (behind, 1200.0), (behind, 400.0)))
        assert hidden < free < before or (view == "independent" and hidden < free)


# ground

SQUARE = shapely.box(-2000, -2000, 2000, 2000)


def test_the_grid_covers_the_area_and_grows_its_cells_when_too_many():
    grid = search_grid(shapely.box(0, 0, 1000, 500))
    assert grid.cell_m == 50.0 and grid.inside.sum() == 200 and grid.area_ha == pytest.approx(50.0)
    coarse = search_grid(SQUARE, most_cells=1000)
    assert coarse.cell_m == 130.0 and coarse.area_ha == pytest.approx(1600, rel=0.08)
    assert grid.northing_m[0] > grid.northing_m[-1]


def test_an_area_smaller_than_a_cell_says_so():
    with pytest.raises(ValueError, match="no cell of 50 m has its centre in the area of 1 m2"):
        search_grid(shapely.box(1, 1, 2, 2))


def test_searched_ground_lies_along_the_track_and_cautious_is_never_above_the_others():
    search = GroundSearch(MODEL, search_grid(SQUARE, cell_m=200.0))
    searched = ground_searched(search, {"F1": line(), "F2": line(northing_m=400.0)}, "small")
    table = area_table(searched, search.grid, "small").set_index("flight_id")
    assert (searched[CAMPAIGN].cautious <= searched[CAMPAIGN].expected).all() and (searched[CAMPAIGN].cautious <= searched[CAMPAIGN].independent).all()
    assert table.loc[CAMPAIGN, "area_50_cautious_ha"] >= table.loc["F1", "area_50_cautious_ha"]
    assert table.loc[CAMPAIGN, "area_90_cautious_ha"] < table.loc[CAMPAIGN, "area_90_independent_ha"]
    nearest = np.argmin(np.abs(search.grid.northing_m - 100) + np.abs(search.grid.easting_m))
    farthest = np.argmin(search.grid.northing_m)
    assert searched["F1"].cautious[nearest] > searched["F1"].cautious[farthest]


def test_the_map_and_a_single_place_say_the_same():
    search = GroundSearch(MODEL, search_grid(SQUARE, cell_m=500.0))
    flights = [line(), line(northing_m=400.0)]
    alone, together = detection_at(flights, MODEL, search.grid.easting_m, search.grid.northing_m, "small"), search.detection(flights, "small")
    for view in ("independent", "expected", "cautious"):
        assert getattr(together, view) == pytest.approx(getattr(alone, view), abs=1e-9)


def test_cumulative_area_ends_where_the_campaign_ends_and_never_shrinks():
    search = GroundSearch(MODEL, search_grid(SQUARE, cell_m=200.0))
    flights = {"F1": line(), "F2": line(northing_m=400.0)}
    curve = cumulative_area(search, flights, {name: np.full(40, 0.1) for name in flights}, "small", every_min=2.0)
    campaign = area_table(ground_searched(search, flights, "small"), search.grid).iloc[-1]
    assert curve["minutes"].tolist() == pytest.approx([0, 2, 4, 6, 8])
    assert (np.diff(curve["area_50_ha"]) >= 0).all()
    assert curve["area_50_ha"].iloc[-1] == campaign["area_50_cautious_ha"]


def test_without_study_area_the_ground_is_the_hull_of_the_track_with_a_margin():
    assert ground_round_track([0, 100, np.nan], [0, 0, 5], margin_m=50).bounds == pytest.approx((-50, -50, 150, 50))


# ranges

def test_ninety_percent_are_heard_nearer_than_half():
    found = detection_range(PLAIN, "small", 80.0, 72.0, azimuth_known=False)
    assert 80.0 < found.d90_m < found.d50_m < found.sweep_width_m


def test_the_half_distance_follows_the_range_equation():
    loud = replace(PLAIN, miss_share=0.0)
    distance_m = 10 ** ((-20.0 + 92.0) / 25.0)
    assert distance_at(detection_curve(loud, "small", 80.0, azimuth_known=False), 0.5) == pytest.approx(distance_m, rel=0.01)


def test_ten_decibels_more_power_multiplies_the_range():
    ranges = [distance_at(detection_curve(PLAIN, kind, 10.0, azimuth_known=False), 0.5) for kind in ("small", "large")]
    assert ranges[1] / ranges[0] == pytest.approx(10 ** (10 / 25), rel=0.01)


def test_a_tag_never_heard_by_half_of_the_records_has_no_d50():
    faint = replace(PLAIN, power_mean_db={"small": -80.0})
    assert np.isnan(detection_range(faint, "small", 80.0, 72.0).d50_m)


def test_the_range_table_carries_intervals_from_drawn_models():
    draws = [replace(PLAIN, power_mean_db={"small": -20.0 + shift}) for shift in (-2.0, 0.0, 2.0)]
    row = range_table(PLAIN, draws, ["small"], 80.0, 72.0).iloc[0]
    for name in ("d50", "d90", "sweep_width", "logistic_half", "half_normal_sigma"):
        assert row[f"{name}_low_m"] < row[f"{name}_m"] < row[f"{name}_high_m"]
    # 2 dB more power at an exponent of 2.5 multiplies distances by 10^(2/25); the quantiles of three draws lie just inside.
    far = replace(PLAIN, power_mean_db={"small": -18.0})
    assert row["d50_high_m"] == pytest.approx(distance_at(detection_curve(far, "small", 80.0), 0.5), rel=0.02)


def test_the_logistic_summary_has_its_half_near_that_of_the_curve_and_falls_with_distance():
    curve = detection_curve(replace(PLAIN, miss_share=0.0), "small", 10.0, azimuth_known=False)
    half_m, slope = logistic_summary(curve)
    assert half_m == pytest.approx(distance_at(curve, 0.5), rel=0.03) and slope < 0
    assert np.isnan(logistic_summary(curve.assign(probability=0.0))[0])


def test_a_half_normal_lateral_curve_gives_back_its_own_sigma():
    offset_m = np.arange(0.0, 3000.0, 1.0)
    on_line, sigma_m = half_normal_summary(pd.DataFrame({"offset_m": offset_m, "probability": 0.8 * np.exp(-0.5 * (offset_m / 300.0) ** 2)}))
    assert on_line == 0.8 and sigma_m == pytest.approx(300.0, rel=1e-4)


# kinds of ground

def test_heights_are_parted_into_three_parts_of_about_equal_area_and_level_ground_into_one():
    names = height_classes(np.arange(300.0, 600.0))
    assert [names.count(name) for name in ("below 400 m", "400 to 500 m", "500 m and more")] == [100, 100, 100]
    assert height_classes([412.0, 412.0, np.nan]) == ["all alike", "all alike", "not known"]
    assert height_classes([np.nan]) == ["not known"]


def test_slopes_and_canopy_have_fixed_limits():
    assert slope_classes([0.0, 10.0, 19.9, 20.0, np.nan]) == ["below 10 degrees", "10 to 20 degrees", "10 to 20 degrees", "20 degrees and more", "not known"]
    assert canopy_classes([0.0, 2.0]) == ["below 2 m", "2 m and more"]


def test_the_areas_of_each_kind_add_up_to_the_ground_and_the_hidden_part_is_searched_less():
    found = Detection(np.ones(6), np.array([0.99, 0.99, 0.99, 0.9, 0.2, 0.2]), np.array([0.95, 0.95, 0.95, 0.6, 0.1, 0.1]))
    table = area_by_ground(found, 0.25, {"slope": slope_classes([1, 2, 3, 12, 30, 30]), "canopy": canopy_classes([0, 0, 0, 0, 0, np.nan])}, "small")
    assert table.groupby("kind")["area_ha"].sum().to_dict() == {"slope": 1.5, "canopy": 1.5}
    steep = table[table["kind"] == "slope"].set_index("ground")
    assert list(steep.index) == ["below 10 degrees", "10 to 20 degrees", "20 degrees and more"]
    assert steep["area_90_cautious_ha"].tolist() == [0.75, 0.0, 0.0] and steep["area_50_cautious_ha"].tolist() == [0.75, 0.25, 0.0]
    assert steep["mean_cautious"].tolist() == pytest.approx([0.95, 0.6, 0.1])


# animals not found

def test_adequacy_is_the_prior_weighted_detection():
    assert search_adequacy([0.5, 0.5, 0.0], [1.0, 0.5, 0.0]) == 0.75
    assert search_adequacy(prior_over_area(4), [1, 1, 0, 0]) == 0.5


def test_a_last_fix_spread_by_a_days_movement_keeps_its_centre_and_loses_mass_over_the_edge():
    axis = np.arange(-975.0, 1000.0, 50.0)
    east, north = (values.ravel() for values in np.meshgrid(axis, axis))
    prior, inside = prior_from_last_fix(east, north, 50.0, np.zeros((5, 2)), days=4.0, movement_m_per_day=100.0)
    assert prior.sum() == pytest.approx(1.0) and inside == pytest.approx(1.0, abs=1e-6)
    assert np.sqrt(prior @ (east**2 + north**2)) == pytest.approx(200.0, rel=0.01)
    assert prior_from_last_fix(east, north, 50.0, np.full((5, 2), 975.0), 4.0, 100.0)[1] < 0.4


def test_a_perfect_search_leaves_only_outside_or_silent():
    said = explain_silence(0.8, 0.1, 1.0)
    assert said["missed"] == 0.0 and sum(said.values()) == pytest.approx(1.0)


def test_no_search_leaves_the_prior_as_it_was():
    said = explain_silence(0.8, 0.1, 0.0)
    assert said == pytest.approx({"missed": 0.72, "outside": 0.18, "silent": 0.1})


def test_a_belief_that_rules_silence_out_explains_nothing():
    table = not_found_table([MissingTag("A", "", "", 9, prior_over_area(1), "study area", np.ones(1), np.ones(1), np.array([0.8]))])
    sure, usual = explanation_table(table, (StatedPrior("surely there and sending", 1.0, 0.0), StatedPrior("usual", 0.9, 0.05))).to_dict("records")
    assert all(np.isnan(sure[case]) for case in ("missed", "outside", "silent")) and sure["missed_cautious"] == pytest.approx(1.0)
    assert usual["missed"] == 0.0 and usual["outside"] + usual["silent"] == pytest.approx(1.0)


def test_the_sentence_cannot_be_misread():
    assert silence_sentence(200, 0.617) == "Not heard; the ground was searched to 0.62 (cautious). This does not show that the animal has left or died."
    assert silence_sentence(0, np.nan) == "Not listened to in this campaign. This is not an absence."


def test_probabilities_are_never_stated_as_zero_or_one():
    assert [stated_probability(value) for value in (0.0, 0.123, 1.0, np.nan)] == ["under 0.01", "0.12", "over 0.99", "–"]


def missing(tag_id, listened):
    return MissingTag(tag_id, "", "", listened, prior_over_area(2), "study area", np.array([0.9, 0.9]), np.array([0.9, 0.7]), np.array([0.8, 0.6]))


def test_not_searched_is_a_class_of_its_own_without_adequacy_or_explanation():
    table = not_found_table([missing("A", 200), missing("B", 0)])
    assert table["class"].tolist() == ["not heard", "not searched"]
    assert table["adequacy_cautious"].tolist()[0] == pytest.approx(0.7) and np.isnan(table["adequacy_cautious"].iloc[1])
    said = explanation_table(table)
    assert said["tag_id"].unique().tolist() == ["A"] and len(said) == 3
    assert (said["missed_cautious"] > said["missed"]).all()
    assert said[["missed", "outside", "silent"]].sum(axis=1).tolist() == pytest.approx([1.0] * 3)


# the test on beacons

def test_of_beacons_on_well_searched_ground_k_of_n_were_heard():
    beacons = pd.DataFrame({"detection_cautious": [0.95] * 8 + [0.3], "heard": [True] * 8 + [False]})
    found = well_searched_beacons(beacons)
    assert found["text"] == "Of 8 beacons on ground searched to 0.9 or more, 8 were heard (exact 95 % interval of the share 0.63 to 1.00)."
    repeated = well_searched_beacons(beacons.assign(place_id=["B1", "B1", "B2", "B2", "B3", "B3", "B4", "B4", "B5"]))
    assert repeated["text"] == ("Of 8 searches for 4 beacons on ground searched to 0.9 or more, 8 heard them; 4 of the 4 beacons were heard every time "
                                "(exact 95 % interval of the share 0.40 to 1.00).")
    assert well_searched_beacons(beacons.iloc[8:])["text"].startswith("No beacon lay on ground searched to 0.9 or more")


def test_bands_agree_when_what_was_heard_matches_the_prediction():
    generator = np.random.default_rng(5)
    detection = generator.random(500)
    honest = band_table(detection, generator.random(500) < detection)
    boastful = band_table(detection, generator.random(500) < detection**3)
    assert honest["agrees"].sum() >= 9 and boastful["agrees"].sum() <= 5
    assert honest["tags"].sum() == 500


def test_strengths_have_the_mean_and_spread_of_the_tag_type():
    tags = strengths_of((MODEL,), "small")
    weights = np.exp(tags.log_weight)
    assert (weights * tags.power_db).sum() == pytest.approx(-20.0)
    assert (weights * (tags.power_db + 20.0) ** 2).sum() == pytest.approx(16.0)
    careful = cautious_strengths((MODEL, MODEL), "small")
    assert np.exp(careful.log_weight).sum() == pytest.approx(1.0)
    assert (np.exp(careful.log_weight) * careful.power_db).sum() == pytest.approx(-20.0 - 0.05 * 12.0)


def test_flights_add_at_each_strength():
    tags = strengths_of((MODEL,), "small")
    first, second = (along_the_track(line(northing_m=north), tags, [0.0], [900.0]) for north in (0.0, 300.0))
    both = detection_at([line(), line(northing_m=300.0)], MODEL, [0.0], [900.0], "small").expected
    assert heard_at_all(first + second, tags) == pytest.approx(both)
