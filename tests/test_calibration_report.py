"""The calibration stage: its sentences on small tables, and the whole stage on a campaign of invented fixes, with beacons and without."""

import json
import re
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from pipeline.calibration import coverage_table
from pipeline.calibration.errors import BOTH_DRAWN
from pipeline.columns import BEACON_ERRORS
from pipeline.figures import calibration as draw
from pipeline.figures.style import settle
from pipeline.stages import calibration_numbers as number
from pipeline.stages import calibration_words as say
from pipeline.stages import error_calibration as stage
from pipeline.stages import beacon_reach, quality_check
from pipeline.wording import listed
from pipeline.stages.calibration_report import CalibrationReport
from pipeline.stages.workspace import Workspace
from pipeline.survey import load_survey
from tests.radio_sample import signal_model


def details(doubtful, places=None):
    count = len(doubtful)
    places = places or [f"B{number}" for number in range(count)]
    return pd.DataFrame({"tag_id": places, "place_id": places, "flight_id": [f"F{number}" for number in range(count)], "doubtful": doubtful, "error_m": 420.0})


def test_a_beacon_that_most_flights_place_elsewhere_may_have_moved():
    said = say.doubt_sentence(details([True, True, False, False], ["A", "A", "A", "B"]))
    assert said == "Moved? Wrong position? A (2 of 3 fixes far off and beyond their region)."


def test_a_beacon_that_one_flight_misplaces_speaks_against_the_flight():
    said = say.doubt_sentence(details([True, False, False], ["A", "A", "A"]))
    assert said == "Far off its beacon and beyond its region lies A in flight F0 (420 m off); other flights place this beacon where surveyed, so look at the flight first."


def test_a_beacon_heard_by_one_flight_leaves_both_in_doubt():
    assert "no other flight heard this beacon" in say.doubt_sentence(details([True, False], ["A", "B"]))
    assert say.doubt_sentence(details([False, False])) == ""


@pytest.mark.parametrize("east, north, said", [(-44.7, 12.3, "−45, +12"), (0.2, -140.0, "0, −140"), (-13.65, -3.25, "−14, −3"), (-13.97, -0.23, "−14, 0")])
def test_offsets_have_a_sign_and_are_whole_metres_on_both_axes(east, north, said):
    assert number.offset(east, north) == said


WIDENING = pd.DataFrame({"used_for": ["all other tags", "B1", "B2", "all other tags, flights of style loop"], "place_id": ["", "B1", "B2", ""], "widening": [0.87, 0.83, 0.92, 0.79], "taught_by_places": [9, 8, 8, 9]})


def test_the_widening_that_is_told_is_the_one_in_use_by_style_and_for_the_very_fixes():
    used = pd.DataFrame({"widening": [0.735, 1.012], "flight_style": ["loop", "lines"]})
    assert say.widening_words(WIDENING, used) == ("for tags that are no beacon 0.79 in flights of style loop, 0.87 in all others; for the beacon fixes themselves 0.73 to 1.01, each found without the beacon it serves")
    # where every style flown over a beacon has its own, there are no others
    assert say.widening_words(WIDENING, used[:1]).startswith("for tags that are no beacon 0.79 in flights of style loop; for the beacon fixes")
    assert say.widening_words(WIDENING.iloc[:3], used[:0]) == "0.87 for tags that are no beacon"


def beacon_fixes(approaches_m, places, heard=30, status="located"):
    """Beacon fixes with the classes that the stage gives them."""
    frame = pd.DataFrame({"place_id": places, "closest_approach_m": np.asarray(approaches_m, float), "records_heard": heard, "flight_id": "F1", "tag_type": "collar", "flight_style": "loop", "status": status})
    return frame.assign(distance_band=stage.class_names(frame["closest_approach_m"], stage.DISTANCE_BOUNDS_M, "m"), records_class=stage.class_names(frame["records_heard"], stage.RECORD_BOUNDS))


def reach_of(details, animals_m=(150.0, 500.0), animals_heard=30):
    """reach_table with animals at these closest approaches, on ground that every outline holds."""
    corners = pd.DataFrame({"easting_m": [0.0, 1000, 1000, 0], "northing_m": [0.0, 0, 1000, 1000], "place_id": list("abcd")})
    animals = pd.DataFrame({"tag_type": "collar", "flight_style": "loop", "flight_id": "F1", "closest_approach_m": np.asarray(animals_m, float), "records_heard": animals_heard, "method": "strength", "easting_m": 500.0, "northing_m": 500.0})
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(beacon_reach, "animal_fixes", lambda *given: animals)
        return beacon_reach.reach_table(details, None, None, corners, pd.DataFrame({"flight_id": ["F1"], "height_median_m": [80.0]}), SimpleNamespace(projection=None, terrain=None), corners)


def test_a_distance_is_claimed_as_far_as_six_beacons_stand_and_the_fixes_behind_it_are_told():
    near, far = list("abcdef"), list("abcde")
    table = reach_of(beacon_fixes([110.0, 120, 130, 140, 150, 160, 410, 420, 430, 440, 550], near + far)).set_index("condition")
    assert table.loc[beacon_reach.CLOSEST, ["beacons", "beacon_fixes", "beacon_places", "fixes_outside"]].tolist() == ["up to 160", 6, 6, 1]
    assert table.loc[beacon_reach.ANY_CLOSEST, ["beacons", "beacon_fixes", "fixes_outside"]].tolist() == ["up to 550", 11, 0]
    said = say.reach_sentence(table.reset_index())
    assert "within 160 m of the tag (6 of 11 beacon fixes, 6 beacons) and heard it in 30 records or more (11 of 11). 5 beacon fixes lie farther off, up to 550 m: too few to claim anything there. 1 of 2 fixes of animals lie outside of what the beacons tested (by distance)." in said
    # with a sixth beacon out there the claim goes there
    table = reach_of(beacon_fixes([410.0, 420, 430, 440, 450, 550], near))
    assert table.set_index("condition").loc[beacon_reach.CLOSEST, "beacons"] == "up to 550"


def test_the_claimed_errors_are_those_within_both_limits_at_once():
    near = list("abcdef")
    fixes = pd.concat([beacon_fixes([110.0, 120, 130, 140, 150, 160], near), beacon_fixes([410.0, 420], near[:2]), beacon_fixes([120.0, 130], near[:2], heard=5)], ignore_index=True)
    assert beacon_reach.claim_limits(fixes) == (160.0, 30.0)
    assert beacon_reach.in_claimed_domain(fixes).tolist() == [True] * 6 + [False] * 4
    sized = fixes.assign(error_m=np.where(beacon_reach.in_claimed_domain(fixes), 50.0, 400.0), error_east_m=0.0, error_north_m=0.0, level_after=0.5, strongest_record_error_m=100.0)
    row = stage.summary_table(sized).set_index("grouping").loc[stage.CLAIMED]
    assert row[["group", "n", "places", "median_m"]].tolist() == ["within 160 m and 30 records or more", 6, 6, 50.0] and np.isnan(row["p90_m"])
    # five beacons claim nothing
    assert stage.CLAIMED not in set(stage.summary_table(sized[sized["place_id"] != "f"])["grouping"])


def test_a_claimed_limit_is_one_figure_in_the_sentence_in_the_table_and_in_the_group_of_its_errors():
    fixes = beacon_fixes([210.0, 220, 230, 240, 250, 363.6, 1250], list("abcdefa"))
    table = reach_of(fixes)
    assert table.set_index("condition").at[beacon_reach.CLOSEST, "beacons"] == "up to 364"
    assert "came within 364 m of the tag" in say.reach_sentence(table) and "up to 1,250 m: too few" in say.reach_sentence(table)
    group = stage.summary_table(fixes.assign(error_m=50.0, error_east_m=0.0, error_north_m=0.0, level_after=0.5, strongest_record_error_m=100.0)).set_index("grouping").at[stage.CLAIMED, "group"]
    assert group == "within 364 m and 30 records or more"


def test_nine_in_ten_of_fewer_than_ten_fixes_is_not_given():
    few = beacon_fixes([110.0, 120, 130, 140, 150, 160, 110, 120, 130, 140, 420], list("abcdefabcda")).assign(error_m=50.0, error_east_m=0.0, error_north_m=0.0, level_after=0.5, strongest_record_error_m=100.0)
    summary = stage.summary_table(few).set_index("group")
    assert np.isnan(summary.loc["400 to 800 m", "p90_m"]) and summary.loc["100 to 200 m", "p90_m"] == 50.0


def test_with_five_beacons_no_distance_is_claimed():
    table = reach_of(beacon_fixes([110.0, 120, 130, 140, 150] * 4, list("abcde") * 4))
    assert beacon_reach.CLOSEST not in set(table["condition"]) and beacon_reach.RECORDS not in set(table["condition"])
    assert "at no distance do six beacons stand, so that no distance is claimed" in say.reach_sentence(table)


def test_the_headline_says_which_fixes_it_counts_and_what_the_located_ones_alone_come_to():
    rows = [("all", "all fixes", 4, 60.0, 300.0, 3), (stage.STATUS, "area only", 1, 380.0, 380.0, 0), (stage.STATUS, "located", 3, 50.0, 90.0, 3)]
    summary = pd.DataFrame(rows, columns=["grouping", "group", "n", "median_m", "p90_m", "inside_95"])
    assert say.counted_fixes(summary) == ("The figures of all errors count all 4 beacon fixes at their best position, whatever their status (3 located, 1 area only); the 3 located ones alone have a median of 50 m, "
                                          "and 3 of 3 inside their 95 % region.")
    assert say.counted_fixes(summary[summary["group"] != "area only"]) == "All 4 fixes are located."


def summary_rows(*rows):
    return pd.DataFrame(rows, columns=["grouping", "group", "n", "places", "median_m", "median_low_95_m", "median_high_95_m", "p90_m", "p90_low_95_m", "p90_high_95_m", "median_interval", "share_by_place", "share_by_place_low_95", "share_by_place_high_95", "inside_95"])


NONE = np.nan
ALL_FIXES = ("all", "all fixes", 54, 9, 60.0, 47.0, 82.0, 153.0, 118.0, 300.0, BOTH_DRAWN, 0.96, 0.61, 1.0, 52)


def test_a_heading_claims_no_class_of_distance_in_which_fewer_than_six_beacons_stand():
    def bands(*places):
        names = ("under 100 m", "200 to 400 m", "400 to 800 m")
        return say.summary_heading(summary_rows(*(("closest approach", name, 10, count, median, NONE, NONE, 100.0, NONE, NONE, "", NONE, NONE, NONE, 9) for name, count, median in zip(names, places, (54.0, 62.0, 300.0)))))
    assert bands(6, 8, 4) == "The median error is 54 m where the receiver came within 100 m, 62 m where it stayed at 200 to 400 m"
    assert bands(6, 8, 6).endswith("300 m where it stayed at 400 to 800 m")
    assert bands(6, 5, 5) == "There are too few beacons to compare distances"


def test_a_ninetieth_percentile_says_that_few_beacons_do_not_bound_it():
    row = summary_rows(ALL_FIXES).iloc[0]
    assert say.nine_in_ten(row) == ", the 90th percentile about 150 m (120 to 300 m by beacons and flights drawn again, too short at its upper end: 36 independent beacons would bound it)"
    assert say.nine_in_ten(row.replace({9: 40})).endswith("(95 % interval 120 to 300 m)") and "six beacons bound a median, 36 a 90th percentile" in say.nine_in_ten(row.replace({118.0: NONE}))
    assert say.nine_in_ten(row.replace({153.0: NONE})) == ""
    # binomial: the largest of 36 errors lies below the 90th percentile in 2.25 % of samples, that of 35 in 2.50 %
    assert 0.9**say.P90_PLACES < 0.025 < 0.9**(say.P90_PLACES - 1)


def test_the_errors_of_the_claimed_fixes_stand_beside_those_of_all():
    claimed = (stage.CLAIMED, "within 364 m and 20 records or more", 45, 9, 58.6, 47.0, 82.0, 126.0, 96.0, 165.0, BOTH_DRAWN, 0.98, 0.65, 1.0, 44)
    said = say.claimed_errors(summary_rows(ALL_FIXES, claimed))
    assert "lie 45 of 54 fixes at 9 beacons: median error 59 m (95 % interval 47 to 82 m), 44 of 45 inside their 95 % region (every beacon counted once: 0.98, 95 % interval 0.65 to 1.00)." in said
    assert say.claimed_errors(summary_rows(ALL_FIXES)) == ""


def test_the_spread_of_flights_and_the_interval_that_lets_them_vary_are_said():
    rows = summary_rows(ALL_FIXES, *(("flight", name, 9, 9, median, *[NONE] * 9, 9) for name, median in (("a", 93.0), ("b", 47.0))))
    assert say.flights_sentence(rows) == "The medians of the two flights run from 47 to 93 m; the interval of the median of all draws beacons and flights again, so that it holds both."
    assert say.flights_sentence(rows.iloc[:2]) == ""


def test_a_widening_that_rests_on_one_flight_says_so():
    styles = pd.DataFrame({"used_for": [f"{stage.BY_STYLE}mixed", f"{stage.BY_STYLE}loop"]})
    flown = pd.DataFrame({"flight_style": ["mixed", "loop", "loop"], "flight_id": ["a", "b", "c"]})
    assert say.style_note(styles, flown) == " That of style mixed rests on one flight." and say.style_note(styles.iloc[1:], flown) == ""


def test_shares_are_never_nought_or_whole_unless_they_are():
    assert [number.percent(value) for value in (0.0, 0.001, 0.5, 0.999, 1.0)] == ["0 %", "<1 %", "50 %", ">99 %", "100 %"]
    assert [number.probability(value) for value in (0.0, 0.0049, 0.5, 0.9954, 0.999999, 1.0)] == ["0.00", "0.005", "0.50", "0.995", "1.00", "1.00"]


def test_names_are_joined_as_in_a_sentence():
    assert [listed(names) for names in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]


def test_classes_sort_in_the_order_of_size():
    names = stage.class_names([50, 150, 5000], stage.DISTANCE_BOUNDS_M, "m")
    assert names == sorted(names) == ["1: under 100 m", "2: 100 to 200 m", "5: 800 m or more"]
    assert stage.class_names([2, 3, 7, 20], stage.RECORD_BOUNDS) == ["1: under 3", "2: 3 to 7", "2: 3 to 7", "4: 20 or more"]


def test_figures_can_be_drawn_of_one_fix_and_of_no_azimuth():
    settle(draw.error_distribution([12.0], [300.0]))
    settle(draw.coverage_plot(coverage_table([0.5], [0.4])))
    settle(draw.radius_against_error(pd.DataFrame({"error_radius_95_m": [100.0], "error_m": [0.0], "flight_style": ["loop"]})))
    heard = pd.DataFrame({"strength_db": [-80.0], "expected_when_heard_db": [-81.0], "residual_db": [1.0], "distance_m": [300.0], "relative_azimuth_deg": [np.nan],
                          "flight_id": ["F1"], "minute": [0.0], "time_utc": pd.to_datetime(["2026-04-21T06:00:00Z"])})
    settle(draw.strengths_against_model(heard))


# the whole stage: the demo's records, and fixes of its beacons that are put where the test wants them

TESTS = ["tag_id", "flight_id", "place_id", "tag_type", "true_latitude", "true_longitude", "true_easting_m", "true_northing_m", "widening", "level_before", "level_after", "closest_approach_m",
         "strongest_record_error_m"]


def plain_model(tags):
    return signal_model(power_mean_db={kind: -37.0 for kind in sorted(set(tags["tag_type"].dropna()))}, ahead_db=3.6, threshold_db=-110.0).to_dict()


def leave_posteriors(workspace, tests, east_m, north_m):
    """A round density of 40 m about every fix."""
    column, row = (axis.ravel() for axis in np.meshgrid(np.arange(-15, 16), np.arange(-15, 16)))
    keys = tests[["tag_id", "flight_id"]]
    cells = keys.merge(pd.DataFrame({"column": column, "row": row, "log_density": (-0.5 * 100.0 * (column**2 + row**2) / 40.0**2).astype("float32")}), how="cross")
    workspace.write_work("posterior_cells", cells)
    workspace.write_work("posterior_frames", keys.assign(west_m=tests["true_easting_m"] + east_m, south_m=tests["true_northing_m"] + north_m, cell_m=10.0))


def located(workspace, east_m=30.0, north_m=-40.0):
    """What stage 2 leaves, as far as stage 3 reads it: every beacon 50 m off, outside its region in the first flight only."""
    import geopandas as gpd
    from shapely.geometry import Point
    from pipeline.stages.ground_files import read_ground

    beacons, listened, tags = (workspace.read_work(name) for name in ("beacons", "beacon_strongest_record", "tags"))
    projection = read_ground(workspace).projection
    tests = listened[listened["records_heard"] > 0].merge(beacons[["place_id", "tag_type", "latitude", "longitude", "easting_m", "northing_m"]], on="place_id")
    tests = tests.rename(columns={"latitude": "true_latitude", "longitude": "true_longitude", "easting_m": "true_easting_m", "northing_m": "true_northing_m"})
    first = tests["flight_id"] == (tests["flight_id"].min() if len(tests) else "")
    tests = tests.assign(widening=0.75, level_before=np.where(first, 0.99, 0.6), level_after=np.where(first, 0.97, 0.4))
    latitude, longitude = projection.inverse(tests["true_easting_m"].to_numpy(float) + east_m, tests["true_northing_m"].to_numpy(float) + north_m)
    fixes = tests.assign(best_latitude=latitude, best_longitude=longitude, status="located", error_radius_50_m=40.0, error_radius_95_m=100.0, region_95_ha=3.0, animal_id="", fate="", method="strength")
    workspace.write_table("fixes", stage.conform(fixes, stage.FIXES))
    workspace.write_table("fix_evidence", tests[["tag_id", "flight_id"]].assign(effective_records=9.0, passes=3, bearing_spread_deg=120.0, places=1))
    workspace.write_work("beacon_tests", tests[TESTS])
    leave_posteriors(workspace, tests, east_m, north_m)
    shapes = [Point(east, north).buffer(100.0) for east, north in zip(tests["true_easting_m"], tests["true_northing_m"])]
    regions = tests[["tag_id", "flight_id"]].assign(probability=0.95)
    workspace.write_work("regions", gpd.GeoDataFrame(regions, geometry=shapes, crs=projection.crs))
    model, places = plain_model(tags), sorted(beacons["place_id"])
    workspace.write_json("signal_models", {"beacons": len(places), "records": 100, "records_heard": 50, "whole": model, "left_out": dict.fromkeys(places, model)})
    workspace.write_json("widening", {"overall": 0.7, "left_out": dict.fromkeys(places, 0.75), "places": len(places)})
    workspace.write_json("corrections", {"lags_s": {}, "left_out_lags_s": {}, "terrain": []})
    rows = [("exponent", "path-loss exponent", 2.5, 0.1, "", 1.7, 3.7, 0.04), ("ahead_db", "antenna: ahead less behind, half", 3.6, 0.1, "dB", -3.8, 11.8, 0.3)]
    workspace.write_table("signal_model", pd.DataFrame(rows, columns=["parameter", "meaning", "value", "standard_error", "unit", "prior_low_95", "prior_high_95", "prior_share"]))
    return tests


@pytest.fixture(scope="module")
def demo(project, tmp_path_factory):
    folder = tmp_path_factory.mktemp("calibration")
    workspace = Workspace(load_survey(project / "data" / "demo" / "survey.yml"), folder, folder)
    quality_check.compute(workspace)
    tests = located(workspace)
    return workspace, tests, stage.compute(workspace)


def test_beacon_errors_have_the_promised_columns_and_a_row_for_every_beacon_and_flight_that_heard_it(demo):
    workspace, tests, _ = demo
    table = workspace.read_table("beacon_errors", BEACON_ERRORS)
    header = (workspace.folder / "tables" / "beacon_errors.csv").read_text(encoding="utf-8").splitlines()[0]
    assert header.split(",") == list(BEACON_ERRORS)
    assert len(table) == len(tests) == len(table[["tag_id", "flight_id"]].drop_duplicates())


def test_a_fix_put_fifty_metres_off_has_that_error_in_metres_of_the_grid(demo):
    table = demo[2].beacon_errors
    assert table["error_m"].to_numpy() == pytest.approx(50.0, abs=1e-3)
    assert table["error_east_m"].to_numpy() == pytest.approx(30.0, abs=1e-3)
    assert table["error_north_m"].to_numpy() == pytest.approx(-40.0, abs=1e-3)


def test_the_summary_covers_every_grouping_and_adds_up(demo):
    summary = demo[2].error_summary
    for grouping in stage.GROUPINGS.values():
        part = summary[summary["grouping"] == grouping]
        assert part["n"].sum() == summary["n"].iloc[0] and part["inside_95"].sum() == summary["inside_95"].iloc[0]


def test_residuals_are_those_of_heard_records_and_within_the_flight(demo):
    workspace, _, tables = demo
    records = workspace.read_work("records")
    beacon = set(workspace.read_work("beacons")["tag_id"])
    heard = records[records["heard"] & records["usable"] & records["tag_id"].isin(beacon)]
    assert len(tables.beacon_residuals) == len(heard)
    assert tables.beacon_residuals["minute"].between(0, 30).all()


def test_effort_counts_what_flights_listened_to_beacons(demo):
    workspace, _, tables = demo
    listened = workspace.read_work("beacon_strongest_record")
    assert tables.beacon_effort["beacon_records_listened"].sum() == listened["records_listened"].sum()
    assert (tables.beacon_effort["beacon_min"] <= 1.1 * tables.beacon_effort["listening_min"]).all()


def test_the_opening_gives_median_coverage_and_the_yardstick(demo):
    workspace, tests, tables = demo
    opening = CalibrationReport(workspace, tables).answer().report_html()
    outside = int((tests["level_after"] > 0.95).sum())
    assert "On 9 beacons in 6 flights the median error was 50 m (95 % interval 50 to 50 m)" in opening
    assert f"The stated 95 % regions held the truth in {len(tests) - outside} of {len(tests)} fixes" in opening
    assert "the place of the strongest record was" in opening and "needs 20 independent check points, and there are 9" in opening


def test_every_part_shows_itself_and_its_table_is_beside_it(demo):
    workspace, _, tables = demo
    report = CalibrationReport(workspace, tables)
    parts = [part() for part in (report.map, report.beacons, report.errors, report.summary, report.coverage, report.two_ways, report.reach, report.strengths, report.antenna, report.correlation, report.signal_model,
                                 report.effort)]
    html = "".join(part.report_html() for part in parts)
    for name in set(re.findall(r'href="(tables/[^"]+|figures/[^"]+)"', html)):
        assert (workspace.folder / name).is_file(), name
    assert "The antenna hears 7.2 dB better ahead than behind" in html and "nan" not in re.sub(r"<svg.*?</svg>", "", html, flags=re.S).lower().split()


def test_the_same_input_gives_the_same_tables(demo):
    workspace, _, tables = demo
    again = stage.compute(workspace)
    for name in stage.TABLE_NAMES:
        pd.testing.assert_frame_equal(getattr(tables, name), getattr(again, name))


def test_nine_beacons_have_no_conformal_95_percent_region_and_the_report_says_why(demo):
    workspace, tests, tables = demo
    missing = tables.two_ways_of_widening[(tables.two_ways_of_widening["nominal"] == 0.95) & (tables.two_ways_of_widening["way"] != "tempered")]
    assert list(missing["reason"]) == ["it needs 19 other beacon places, and there are 8"] * 2 and missing["median_area_ha"].isna().all()
    tempered = tables.two_ways_of_widening[tables.two_ways_of_widening["way"] == "tempered"].set_index("nominal")
    assert tempered.loc[0.5, "inside"] == int((tests["level_after"] <= 0.5).sum())
    html = CalibrationReport(workspace, tables).two_ways().report_html()
    assert html.count("it needs 19 other beacon places, and there are 8") == 3   # two cells and the paragraph


@pytest.fixture(scope="module")
def bare(project, tmp_path_factory):
    """The demo without its beacons."""
    import shutil

    campaign = tmp_path_factory.mktemp("bare") / "campaign"
    shutil.copytree(project / "data" / "demo", campaign)
    text = (campaign / "survey.yml").read_text(encoding="utf-8").replace("beacons: beacons.csv\n", "")
    (campaign / "survey.yml").write_text(text, encoding="utf-8")
    folder = tmp_path_factory.mktemp("bare-results")
    workspace = Workspace(load_survey(campaign / "survey.yml"), folder, folder)
    quality_check.compute(workspace)
    located(workspace)
    return workspace, stage.compute(workspace)


def test_without_beacons_the_tables_have_headers_only(bare):
    workspace, tables = bare
    for name in ("beacon_errors", "beacon_error_details", "error_summary", "coverage", "beacon_residuals", "residual_correlation", "beacon_reach", "two_ways_of_widening"):
        lines = (workspace.folder / "tables" / f"{name}.csv").read_text(encoding="utf-8").splitlines()
        assert len(lines) == 1 and len(lines[0].split(",")) > 3, name
    assert list(tables.beacon_errors.columns) == list(BEACON_ERRORS)


def test_without_beacons_the_first_lines_say_that_no_error_is_tested_and_what_that_costs(bare):
    workspace, tables = bare
    opening = re.sub("<[^>]+>", " ", CalibrationReport(workspace, tables).answer().report_html()).strip()
    assert opening.startswith("No error claim is tested: no beacon is registered.")
    assert "What that costs: the signal model rests on its priors alone" in opening and "widened by 0.70" in opening


def test_without_beacons_every_part_still_shows_itself(bare):
    workspace, tables = bare
    report = CalibrationReport(workspace, tables)
    parts = [part() for part in (report.map, report.beacons, report.errors, report.summary, report.coverage, report.two_ways, report.reach, report.strengths, report.antenna, report.correlation, report.signal_model,
                                 report.effort)]
    html = "".join(part.report_html() for part in parts)
    assert "The radii are the model&#x27;s own word" in html and "Nowhere are these results tested" in html
    assert "The antenna hears" not in html and "No flight listened to a beacon" in html


def test_the_notebook_shows_every_part_of_the_report_once(project):
    notebook = json.loads((project / "notebooks" / "3_error_calibration.ipynb").read_text(encoding="utf-8"))
    calls = re.findall(r"report\.(\w+)\(\)", "".join("".join(cell["source"]) for cell in notebook["cells"] if cell["cell_type"] == "code"))
    parts = [name for name, value in vars(CalibrationReport).items() if not name.startswith("_") and callable(value)]
    assert calls == parts or sorted(calls) == sorted(parts)
