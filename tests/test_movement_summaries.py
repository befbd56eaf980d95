"""The movement stage on small invented tables: what it writes, what its report says, and that the notebook stays thin."""

import json
import re
from dataclasses import replace
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

from pipeline.bootstrap import PROJECT
from pipeline.columns import BEACON_ERRORS, FIXES, FLIGHTS, TAGS, TRACK, conform
from pipeline.movement import normal_range
from pipeline.stages import movement_words as say
from pipeline.stages.movement_report import MovementReport
from pipeline.stages.movement_summaries import TABLE_FILES, compute, read_draws, summarise
from pipeline.stages.workspace import Workspace

START = pd.Timestamp("2027-04-10T08:00Z")
FLIGHT_IDS = ["F1", "F2", "F3", "F4", "F5", "F6"]
CRS = "+proj=tmerc +lat_0=57.2 +lon_0=-4.1 +k=1 +x_0=0 +y_0=0 +ellps=WGS84 +units=m"


def place_of(tag, flight):
    """H1 stays, H2 walks 3 km at the fourth flight, H3 roams, H4 is heard once, H5 never, H6 is not searched for."""
    number = FLIGHT_IDS.index(flight)
    return {"H1": (0, 0), "H2": (3000.0 * (number >= 3), 500), "H3": (900.0 * (number % 2), 700.0 * (number % 3)), "H4": (100, 0)}.get(tag)


def invented(seed=4):
    generator = np.random.default_rng(seed)
    rows, draws = [], {}
    for tag in ("H1", "H2", "H3", "H4", "H5", "H6"):
        for number, flight in enumerate(FLIGHT_IDS):
            heard = {"H4": int(number == 0), "H5": 0, "H6": 0}.get(tag, 12)
            status = "not searched" if tag == "H6" else "located" if heard > 2 else "heard once" if heard else "not heard"
            row = {"tag_id": tag, "animal_id": f"hare {tag[1:]}", "flight_id": flight, "status": status, "records_listened": 0 if tag == "H6" else 40, "records_heard": heard,
                   "time_start_utc": START + pd.Timedelta(days=number), "time_end_utc": START + pd.Timedelta(days=number, minutes=20), "error_radius_95_m": 110.0, "fate": "live"}
            if heard:
                draws[tag, flight] = np.array(place_of(tag, flight)) + generator.normal(0, 45, 2) + generator.normal(0, 45, (300, 2))
                row["easting_m"], row["northing_m"] = draws[tag, flight].mean(axis=0)
            rows.append(row)
    tags = conform(pd.DataFrame({"tag_id": ["H1", "H2", "H3", "H4", "H5", "H6", "B1"], "role": ["animal"] * 6 + ["beacon"], "animal_id": [f"hare {n}" for n in range(1, 7)] + [""]}), TAGS)
    flights = conform(pd.DataFrame({"flight_id": FLIGHT_IDS, "start_utc": [START + pd.Timedelta(days=n) for n in range(6)], "listening_min": 21.0}), FLIGHTS)
    beacons = conform(pd.DataFrame({"tag_id": "B1", "flight_id": FLIGHT_IDS, "error_m": [30.0, 60, 50, 90, 40, 70], "error_radius_95_m": 120.0,
                                    "level_after": [0.1, 0.5, 0.4, 0.97, 0.3, 0.6]}), BEACON_ERRORS)
    return tags, conform(pd.DataFrame(rows), FIXES), flights, draws, beacons


@pytest.fixture(scope="module")
def workspace(tmp_path_factory):
    folder = tmp_path_factory.mktemp("campaign")
    survey = SimpleNamespace(movement=SimpleNamespace(significance=0.05), seed=1, file="survey.yml")
    space = Workspace(survey, folder, folder)
    tags, fixes, flights, draws, beacons = invented()
    space.write_table("fixes", fixes)
    space.write_table("beacon_errors", beacons)
    space.write_work("tags", tags)
    space.write_work("flights", flights)
    space.write_json("ground", {"projection_name": "local metres", "crs_wkt": pyproj.CRS.from_user_input(CRS).to_wkt(), "has_study_area": False, "terrain": None})
    track = {"flight_id": "F1", "record": range(20), "easting_m": np.arange(20) * 100.0, "northing_m": 0.0, "on_effort": True, "time_utc": START + pd.to_timedelta(np.arange(20) * 6, unit="s")}
    space.write_work("track", conform(pd.DataFrame(track), TRACK))
    np.savez_compressed(space.path_to_write("work/draws.npz"), **{f"{tag}|{flight}": each.astype("float32") for (tag, flight), each in draws.items()})
    located = fixes[fixes["status"] == "located"]
    circles = [shapely.Point(row.easting_m, row.northing_m).buffer(110) for row in located.itertuples()]
    regions = gpd.GeoDataFrame({"tag_id": located["tag_id"], "flight_id": located["flight_id"], "probability": 0.95}, geometry=circles, crs=CRS)
    space.write_work("regions", regions)
    return space


@pytest.fixture(scope="module")
def report(workspace):
    return MovementReport(workspace, compute(workspace))


def test_all_tables_are_written_and_hold_every_animal(workspace, report):
    for name in TABLE_FILES.values():
        assert (workspace.folder / "tables" / f"{name}.csv").exists()
    for name in ("movement_animals", "movement_steps", "extents", "ranges", "site_fidelity", "movement_timeline", "movement_walks", "net_displacement", "survival_animals"):
        assert set(workspace.read_table(name)["tag_id"]) == {"H1", "H2", "H3", "H4", "H5", "H6"}
    pairs = workspace.read_table("proximity")
    assert {"H4", "H5", "H6"} <= set(pairs.loc[pairs["other_tag_id"].isna() | (pairs["other_tag_id"] == ""), "tag_id"])


def test_the_animal_that_walked_is_found_and_the_one_that_stayed_is_not(report):
    verdicts = {tag: set(own["verdict"]) for tag, own in report.tables.steps.groupby("tag_id")}
    assert "moved" in verdicts["H2"] and verdicts["H1"] == {"not shown"}
    walked = report.tables.steps.query("tag_id == 'H2' and kind == 'consecutive' and verdict == 'moved'")
    assert list(walked["from_flight_id"]) == ["F3"]


def test_the_answer_names_the_movers_and_refuses_ranges(report):
    said = report.answer().report_html()
    assert "3 of 6 animals have two usable positions or more" in said
    assert "H2 at least" in said and "H1 at least" not in said
    assert "No range is given: that needs 30 positions of an animal, and none has more than 6." in said
    assert "Movement is not shown for H1" in said and "cannot be tested, for want of two usable positions" in said


def test_positions_of_one_day_say_nothing_of_staying(report):
    fidelity, summary = report.tables.fidelity, report.tables.summary
    judged = fidelity.loc[fidelity["pairs"] > 0, "tag_id"]
    one_day = summary.assign(span_days=0.03)
    assert say.fidelity_heading(fidelity, [], one_day) == "Whether animals stayed cannot be said"
    assert "are of one day and say nothing of staying" in say.fidelity_paragraphs(fidelity, [], one_day)[1]
    assert f"of {len(judged)} animals with positions a day or more apart" in say.fidelity_heading(fidelity, [], summary)


def test_one_part_alone_gives_a_verdict_on_movement(report):
    """The words of a verdict stand beside the tests of steps; spreads and pairs of positions have words of their own."""
    cells = {part: re.findall(r"<t[dh][^>]*>([^<]*)</t[dh]>", getattr(MovementReport(report.workspace, report.tables), part)().report_html()) for part in ("what_moved", "tracks", "fidelity", "space_use")}
    assert {"moved", "not shown"} <= set(cells["what_moved"])
    for part in ("tracks", "fidelity", "space_use"):
        assert not {"moved", "moves", "not shown", "may stand still"} & set(cells[part]), part
    assert {"yes", "hardly", "5 fixes needed"} <= set(cells["tracks"])


def test_headings_are_findings(report):
    assert "2 animals moved more than location error allows" in report.what_moved().report_html()
    assert "3 of 6 animals can be tested for movement; 3 animals have no usable position" in report.animals().report_html()
    assert "3 animals were heard in every flight that searched for them, 1 in none" in report.effort().report_html()


def test_an_animal_heard_in_single_records_only_is_told_apart_from_those_heard(report):
    always = report.tables.summary.query("flights_heard == flights_searched and flights_searched > 0")["tag_id"]
    assert say.effort_heading(report.tables).startswith("3 animals were heard in every flight") and len(always) == 3
    said = say.effort_heading(replace(report.tables, single=(always.iloc[0],)))
    assert said.startswith("2 animals were heard in every flight") and said.endswith(f", {always.iloc[0]} only in a single record that may be false")


def test_who_was_heard_in_single_records_only_is_asked_of_the_same_rule_as_on_every_page():
    tags, fixes, flights, draws, _ = invented()
    heard = pd.DataFrame({"tag_id": ["H1", "H4"], "longest_run": [4.0, 1.0]})
    assert summarise(tags=tags, fixes=fixes, flights=flights, draws=draws, tags_heard=heard).single == ("H4",)
    assert summarise(tags=tags, fixes=fixes, flights=flights, draws=draws).single == ()


def test_the_errors_used_are_listed_with_the_beacons(report):
    said = report.errors().report_html()
    assert "held 5 of 6 beacon positions" in said
    assert "seems to step 83 m on average, and more than 160 m once in twenty" in said


@pytest.mark.parametrize("part", ["tracks", "space_use", "neighbours", "fidelity", "survival", "limits"])
def test_every_part_shows_something(report, part):
    assert len(getattr(report, part)().report_html()) > 300


def test_the_map_shows_numbered_positions(report):
    assert "H2 4" in report.map().report_html()


def test_same_input_same_bytes(workspace):
    files = [workspace.folder / "tables" / f"{name}.csv" for name in TABLE_FILES.values()]
    before = [file.read_bytes() for file in files]
    compute(workspace)
    assert [file.read_bytes() for file in files] == before


def test_draws_come_back_under_tag_and_flight(workspace):
    draws = read_draws(workspace.path_to_read("work/draws.npz"))
    assert draws["H1", "F1"].shape == (300, 2)


def test_without_beacons_the_report_says_that_radii_are_untested(workspace):
    tags, fixes, flights, draws, _ = invented()
    report = MovementReport(workspace, summarise(tags=tags, fixes=fixes, flights=flights, draws=draws))
    assert "no beacons to test these radii on" in report.errors().report_html()


def test_a_silent_flight_is_shaded_by_how_well_it_searched_for_this_type_of_tag(workspace):
    tags, fixes, flights, draws, _ = invented()
    tags = tags.assign(tag_type=["hare collar"] * 5 + ["grouse backpack"] * 2)
    searched = pd.DataFrame({"flight_id": ["F2", "F3", "all flights", "F2"], "tag_type": ["hare collar"] * 3 + ["grouse backpack"], "mean_cautious": [0.9, 0.2, 0.97, 0.5]})
    report = MovementReport(workspace, summarise(tags=tags, fixes=fixes, flights=flights, draws=draws, searched=searched))
    shade = report.tables.timeline.set_index(["tag_id", "flight_id"])["adequacy"]
    assert (shade["H5", "F2"], shade["H5", "F3"]) == (0.9, 0.2) and pd.isna(shade["H5", "F1"])
    assert pd.isna(shade["H6", "F2"])                   # not searched for: ground flown over by others is no search for it
    assert "the better this flight alone searched the ground" in report.effort().report_html()


def test_of_an_animal_that_fell_silent_nothing_is_said_to_be_known_since(workspace):
    """H1 stays where it is for two flights of one morning, and four flights that searched well do not hear it."""
    tags, fixes, flights, draws, _ = invented()
    gone = (fixes["tag_id"] == "H1") & ~fixes["flight_id"].isin(["F1", "F2"])
    fixes.loc[gone, ["status", "records_heard"]] = ["not heard", 0]
    morning = (fixes["tag_id"] == "H1") & (fixes["flight_id"] == "F2")
    fixes.loc[morning, ["time_start_utc", "time_end_utc"]] = [START + pd.Timedelta(minutes=56), START + pd.Timedelta(minutes=76)]
    draws = {key: each for key, each in draws.items() if key[0] != "H1" or key[1] in ("F1", "F2")}
    tags = tags.assign(tag_type="collar")
    searched = pd.DataFrame({"flight_id": FLIGHT_IDS, "tag_type": "collar", "mean_cautious": 0.95})
    report = MovementReport(workspace, summarise(tags=tags, fixes=fixes, flights=flights, draws=draws, searched=searched))
    assert set(report.tables.silent) == {"H1", "H4"}
    assert "Nothing is known of H1 since 2027-04-10: 4 later flights did not hear it, and its positions before are 56 min apart." in report.answer().report_html()
    moved = report.what_moved().report_html()
    assert "silent since 04-10" in moved and "nothing is known of the animal after it" in moved and "Nothing is known of H1 since 2027-04-10" in moved
    heard = pd.DataFrame({"tag_id": ["H1", "H4"], "longest_run": [4.0, 1.0]})       # a single record, which may be false, is no day up to which H4 was there
    assert set(summarise(tags=tags, fixes=fixes, flights=flights, draws=draws, searched=searched, tags_heard=heard).silent) == {"H1"}
    little = searched.assign(mean_cautious=0.3)              # flights that searched too little say nothing
    assert summarise(tags=tags, fixes=fixes, flights=flights, draws=draws, searched=little).silent == {}


def test_without_ground_searched_the_timeline_says_that_its_squares_are_empty(workspace):
    tags, fixes, flights, draws, _ = invented()
    report = MovementReport(workspace, summarise(tags=tags, fixes=fixes, flights=flights, draws=draws))
    assert "How well the silent flights searched the ground is not known" in report.effort().report_html()


def test_a_campaign_in_which_nothing_was_located_still_has_a_report(workspace):
    tags, fixes, flights, _, _ = invented()
    fixes = fixes.assign(status="area only")
    report = MovementReport(workspace, summarise(tags=tags, fixes=fixes, flights=flights, draws={}))
    assert "None of the 6 animals has two usable positions" in report.answer().report_html()
    for part in ("map", "what_moved", "tracks", "animals", "space_use", "neighbours", "fidelity", "survival", "effort", "errors", "limits"):
        assert getattr(report, part)().report_html()


@pytest.fixture(scope="module")
def long_campaign(workspace):
    """Two animals with 36 positions each about places 400 m apart, and one with 12."""
    generator, rows, draws = np.random.default_rng(9), [], {}
    for tag, count, east in (("L1", 36, 0.0), ("L2", 36, 400.0), ("L3", 12, 9000.0)):
        for number in range(count):
            draws[tag, f"F{number:02d}"] = generator.normal(0, 500, 2) + [east, 0] + generator.normal(0, 50, 2) + generator.normal(0, 50, (150, 2))
            time = START + pd.Timedelta(days=3 * number)
            middle = draws[tag, f"F{number:02d}"].mean(axis=0)
            rows.append({"tag_id": tag, "animal_id": f"hare {tag}", "flight_id": f"F{number:02d}", "status": "located", "records_listened": 40, "records_heard": 12, "time_start_utc": time,
                         "time_end_utc": time, "easting_m": middle[0], "northing_m": middle[1], "error_radius_95_m": 122.0, "fate": "live"})
    tags = conform(pd.DataFrame({"tag_id": ["L1", "L2", "L3"], "role": "animal"}), TAGS)
    flights = conform(pd.DataFrame({"flight_id": [f"F{n:02d}" for n in range(36)], "start_utc": [START + pd.Timedelta(days=3 * n) for n in range(36)], "listening_min": 21.0}), FLIGHTS)
    return MovementReport(workspace, summarise(tags=tags, fixes=conform(pd.DataFrame(rows), FIXES), flights=flights, draws=draws))


def test_animals_with_many_positions_get_areas_their_growth_and_overlap(long_campaign):
    ranges = long_campaign.tables.ranges.set_index(["tag_id", "method"])
    assert set(ranges.loc["L1", "verdict"]) <= {"given", "sketch"} and set(ranges.loc["L3", "verdict"]) == {"sketch"}
    yardstick = ranges.loc[("L1", "bivariate normal")]
    area, low, high = normal_range(*zip(*[(fix.draws_m.mean(axis=0), np.cov(fix.draws_m.T)) for fix in long_campaign.tables.animals[0].fixes]))      # in closed form
    assert list(yardstick[["area_95_ha", "area_95_low_ha", "area_95_high_ha"]]) == pytest.approx([area / 1e4, low / 1e4, high / 1e4], rel=0.06)
    assert (ranges["area_50_ha"] < ranges["area_95_ha"]).all()
    pair = long_campaign.tables.overlaps.iloc[0]
    assert (pair["tag_id"], pair["other_tag_id"]) == ("L1", "L2") and pair["affinity_low"] < np.exp(-(400 / 500) ** 2 / 8) < pair["affinity_high"]
    said = long_campaign.space_use().report_html()
    assert "Areas that hold half and 95 % of an animal" in said and "How the extent grows" in said and "L1 – L2" in said
    assert "The lines enclose the areas of the table above" in said
    assert set(long_campaign.tables.outlines["tag_id"]) == {"L1", "L2", "L3"}


def test_where_no_animal_may_have_an_area_there_is_no_map_of_one(workspace, report):
    assert report.tables.outlines.empty and "Ground used" not in MovementReport(workspace, report.tables).space_use().report_html()


def test_animals_with_few_fixes_one_place_or_a_line_are_in_every_table_and_told_why_not(workspace):
    generator, rows, draws = np.random.default_rng(11), [], {}
    cases = {"none": [], "one": [(0, 0)], "two": [(0, 0), (900, 0)], "same": [(0, 0)] * 6, "line": [(700.0 * k, 0) for k in range(6)]}
    for tag, places in cases.items():
        for number, flight in enumerate(FLIGHT_IDS):
            found = number < len(places)
            time = START + pd.Timedelta(days=number)
            row = {"tag_id": tag, "flight_id": flight, "status": "located" if found else "not heard", "records_listened": 40, "records_heard": 12 * found, "time_start_utc": time, "time_end_utc": time,
                   "error_radius_95_m": 110.0, "fate": "live" if found else ""}
            if found:
                draws[tag, flight] = np.array(places[number]) + generator.normal(0, 45, (300, 2))
                row["easting_m"], row["northing_m"] = draws[tag, flight].mean(axis=0)
            rows.append(row)
    tags = conform(pd.DataFrame({"tag_id": list(cases), "role": "animal"}), TAGS)
    tables = summarise(tags=tags, fixes=conform(pd.DataFrame(rows), FIXES), flights=invented()[2], draws=draws)
    for name in ("summary", "steps", "extents", "ranges", "net", "walks", "fidelity", "timeline", "overlaps", "lives"):
        assert set(getattr(tables, name)["tag_id"]) == set(cases), name
    assert set(tables.proximity["tag_id"]) | set(tables.proximity["other_tag_id"]) >= set(cases)
    for name in ("steps", "extents", "ranges", "net", "walks", "fidelity"):
        refused = getattr(tables, name).query("tag_id in ['none', 'one']")
        assert (refused["reason"].str.len() > 10).all(), name
    extents, ranges = tables.extents.set_index("tag_id"), tables.ranges
    assert extents.loc["same", "verdict"] == "refused" and (ranges["verdict"] == "refused").all() and ranges["reason"].str.contains("are needed").all()
    assert extents.loc["line", "largest_distance_low_m"] < 3500 < extents.loc["line", "largest_distance_high_m"]
    assert extents.loc["line", "extent_low_ha"] == 0 and extents.loc["two", "reason"] == "2 usable fixes; 5 are needed for the extent of fixes."
    report = MovementReport(workspace, tables)
    said = {part: getattr(report, part)().report_html() for part in ("answer", "map", "what_moved", "tracks", "animals", "space_use", "neighbours", "fidelity", "survival", "effort", "errors", "limits")}
    assert "Movement is not shown for same, which does not mean that it stayed. none and one cannot be tested, for want of two usable positions." in said["answer"]
    assert "1 usable fix" in said["what_moved"] and "No usable fix" in said["what_moved"] and "odd in shape" not in said["what_moved"]
    assert "Positions of line may lie on a line" in said["space_use"] and "near a line" in said["space_use"]
    assert "Without a pair: none (no usable fix)." in said["neighbours"] and "For same standing still explains all positions" in said["tracks"]


def test_a_long_campaign_says_no_survival_without_dates_of_deployment(long_campaign):
    assert "Survival cannot be given" in long_campaign.survival().report_html()


def test_tails_and_shared_errors_are_said_with_and_without_beacons(report, long_campaign):
    assert "Beyond the 95 % regions errors are taken as normal: 6 held-out beacon fixes cannot show more." in report.limits().report_html()
    assert "No beacons: fixes of one flight are drawn independently" in long_campaign.limits().report_html()


def test_the_notebook_only_loads_calls_and_shows():
    notebook = json.loads((PROJECT / "notebooks" / "4_movement_summaries.ipynb").read_text(encoding="utf-8"))
    code = [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]
    assert code[0]["metadata"]["tags"] == ["parameters"] and "".join(code[0]["source"]) == 'config_path = "../data/demo/survey.yml"'
    for cell in code:
        assert len(cell["source"]) <= 6 and not cell["outputs"]
        assert not any(line.lstrip().startswith(("def ", "for ", "while ")) for line in cell["source"])
