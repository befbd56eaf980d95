"""The publication appendix: the text, where each question is answered, the dictionary, and positions that must not leave the project."""

import csv
import json
import re
import tomllib
from html.parser import HTMLParser
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from scipy.stats import binomtest

from pipeline.calibration.errors import BOTH_DRAWN, ORDERED, PLACES_DRAWN
from pipeline.exchange import generalise, one_square
from pipeline.exchange.generalising import decimals_for
from pipeline.geodesy import choose_projection
from pipeline.report.page_assets import ASSETS
from pipeline.run.provenance import software_text
from pipeline.stages import appendix, appendix_error_words, appendix_limit_words, appendix_method_words, appendix_words
from pipeline.stages.appendix_beacons import published_beacons
from pipeline.stages.appendix_checklist import NEEDED, OPEN, QUESTIONS, errors_of_bearings_deg
from pipeline.stages.appendix_positions import POSITIONS, precision_sentences, published_positions
from pipeline.stages.appendix_missing import MISSING, false_record_words, missing_animals
from pipeline.stages.doubtful_hits import LoneHits
from pipeline.stages.silences import Silence
from pipeline.stages.appendix_square import campaign_square
from pipeline.stages.appendix_fate_tables import fates_that_matter
from pipeline.stages.appendix_field_words import HEADING, LABELS
from pipeline.stages.appendix_published import published_fates
from pipeline.stages.appendix_references import FROM_MEMORY_MARK, REFERENCES
from pipeline.stages.index_words import software_licence
from pipeline.stages.appendix_withheld import whom_to_ask, withheld_files, withheld_tables
from pipeline.stages.appendix_words import Material
from pipeline.stages.data_dictionary import NOT_DESCRIBED, column_meaning, dictionary_table, layer_meaning, table_meaning, unit_of, without_repeats
from pipeline.stages.workspace import Workspace
from pipeline.survey import load_survey
from tests.browser import browser, opened

FINE = pyproj.Geod(ellps="WGS84")


# Generalised positions

def test_a_generalised_position_is_the_centre_of_its_square_in_a_grid_that_the_position_has_no_part_in():
    rng = np.random.default_rng(3)
    latitude, longitude = 57.2 + rng.uniform(-0.1, 0.1, 200), -4.1 + rng.uniform(-0.1, 0.1, 200)
    found = generalise(latitude, longitude, 10_000)
    assert found.grid == "squares of 10 km of the UTM grid (EPSG:32630)"
    # by another road: every centre is an odd multiple of half a side in UTM, to the rounding of three decimals of a degree (56 m of latitude, 30 m of longitude)
    east, north = pyproj.Proj("+proj=utm +zone=30 +datum=WGS84")(found.longitude, found.latitude)
    assert np.abs((np.asarray(east) - 5_000) / 10_000 - np.round((np.asarray(east) - 5_000) / 10_000)).max() * 10_000 < 70
    assert np.abs((np.asarray(north) - 5_000) / 10_000 - np.round((np.asarray(north) - 5_000) / 10_000)).max() * 10_000 < 70
    away = FINE.inv(longitude, latitude, found.longitude, found.latitude)[2]
    assert away.max() <= found.farthest_m and away.max() > 3_000
    assert len({*zip(found.latitude, found.longitude)}) < 12


def test_two_positions_in_one_square_become_one_and_the_grid_does_not_move_with_them():
    one = generalise([57.2], [-4.1], 10_000)
    with_others = generalise([57.2, 57.2003, 57.35], [-4.1, -4.1003, -4.4], 10_000)
    assert (one.latitude[0], one.longitude[0]) == (with_others.latitude[0], with_others.longitude[0]) == (with_others.latitude[1], with_others.longitude[1])


@pytest.mark.parametrize("latitude, longitude, grid", [(-41.3, 174.8, 32760), (10.0, 179.99, 32660), (52.0, 13.4, 32633), (-0.1, -78.5, 32717)])
def test_the_zone_is_that_of_the_place(latitude, longitude, grid):  # zones as on any UTM map: 6 degrees each from 180 W, hemispheres apart
    assert generalise([latitude], [longitude], 1_000).grid == f"squares of 1 km of the UTM grid (EPSG:{grid})"


def test_positions_on_both_sides_of_the_antimeridian_stay_there():
    found = generalise([10.0, 10.0], [179.99, -179.99], 10_000)
    assert np.abs(found.longitude).min() > 179.8


def test_one_square_stands_for_a_campaign_on_a_border_and_its_uncertainty_reaches_the_far_side():
    # a border of the 10 km grid: northing 6,340,000 m of zone 30
    latitude, longitude = (float(value) for value in pyproj.Proj("+proj=utm +zone=30 +datum=WGS84")(435_000, 6_340_000, inverse=True)[::-1])
    for away_deg in (-0.01, 0.01):
        square = one_square(latitude + away_deg, longitude, 2_400.0, 10_000)
        assert FINE.inv(longitude, latitude - away_deg, square.longitude, square.latitude)[2] <= square.farthest_m == pytest.approx(10_100 + 40 + 0.0, abs=100)
        assert square.grid == "square of 10 km of the UTM grid (EPSG:32630)"
    # to whole kilometres, so that the extent tells no more than that
    assert one_square(latitude, longitude, 2_001.0, 10_000) == one_square(latitude, longitude, 2_999.0, 10_000)


def test_the_middle_of_the_study_area_chooses_the_square_and_not_the_animals():
    projection = choose_projection([57.2], [-4.1])
    area = gpd.GeoDataFrame(geometry=[shapely.box(-1000, -1000, 1000, 1000)])
    track = pd.DataFrame({"easting_m": [0.0, 900], "northing_m": [0.0, 900]})
    squares = {campaign_square(track, area, best().head(count), pd.DataFrame(), projection, 10_000).latitude for count in (0, 1, 2)}
    assert len(squares) == 1
    far = campaign_square(track, area, best(), pd.DataFrame(), projection, 10_000)
    assert all(FINE.inv(row.longitude, row.latitude, far.longitude, far.latitude)[2] <= far.farthest_m for row in best().itertuples())
    assert campaign_square(track.head(0), None, best().head(0), pd.DataFrame(), projection, 10_000) is None


@pytest.mark.parametrize("side_m, decimals", [(100, 5), (1_000, 4), (10_000, 3), (100_000, 2)])
def test_degrees_are_written_to_what_the_square_is_worth(side_m, decimals):  # one step of the last decimal: 1.1 m, 11 m, 111 m, 1.1 km of latitude
    assert decimals_for(side_m) == decimals


def best(**columns):
    rows = pd.DataFrame({"tag_id": ["B2", "A1"], "animal_id": ["b", "a"], "latitude": [57.20011, 57.25022], "longitude": [-4.10033, -4.15044], "error_radius_95_m": [140.2, 90.0],
                         "flight_id": ["f1", "f2"], "method": "strength", "time_end_utc": pd.to_datetime(["2026-05-01T10:00Z", "2026-05-02T10:00Z"])})
    return rows.assign(**columns)


def test_positions_are_exact_for_species_that_are_not_sensitive_and_squares_for_those_that_are():
    table = published_positions(best(), {"A1": "Lepus timidus", "B2": "Lyrurus tetrix"}, sensitive=False, sensitive_species=("Lyrurus tetrix",), square=one_square(57.2, -4.1, 900.0, 10_000))
    assert list(table["tag_id"]) == ["A1", "B2"]
    assert table.loc[0, ["latitude", "longitude", "coordinate_uncertainty_m", "precision"]].tolist() == [57.25022, -4.15044, 90, "exact"]
    hidden = table.iloc[1]
    assert (hidden["latitude"], hidden["longitude"]) != (57.20011, -4.10033) and hidden["precision"] == "centre of the one square of 10 km of the UTM grid (EPSG:32630)"
    assert FINE.inv(-4.10033, 57.20011, hidden["longitude"], hidden["latitude"])[2] + 140.2 <= hidden["coordinate_uncertainty_m"]
    assert "1 of 2 positions were generalised" in precision_sentences(table)[0]


def test_without_an_animal_with_a_position_there_is_an_empty_table():
    assert published_positions(best().head(0), {}, sensitive=True, sensitive_species=(), square=None).columns.tolist() == POSITIONS


# The appendix of the demo

@pytest.fixture(scope="module")
def survey(project):
    return load_survey(project / "data" / "demo" / "survey.yml")


def built(survey, demo_folder, into):
    into.mkdir(exist_ok=True)
    appendix.build(Workspace(survey, demo_folder, into, software="Fixledger 0.1.0"))
    return into


@pytest.fixture(scope="module")
def sensitive(survey, demo_folder, tmp_path_factory):
    """The appendix of the demo, which is marked sensitive."""
    assert survey.sensitive
    return built(survey, demo_folder, tmp_path_factory.mktemp("sensitive"))


@pytest.fixture(scope="module")
def exact(survey, demo_folder, tmp_path_factory):
    """The same campaign, not marked as sensitive."""
    return built(survey.model_copy(update={"sensitive": False}), demo_folder, tmp_path_factory.mktemp("exact"))


class Numbers(HTMLParser):
    """Every number with three decimals or more, and every whole one of four digits or more, in words, cells and attributes; not the strokes of drawings."""

    STROKES = {"d", "points", "transform", "style", "viewbox", "x", "y", "x1", "x2", "y1", "y2", "width", "height", "clip-path", "src", "content"}

    def __init__(self, text):
        super().__init__()
        self.found, self._inside = set(), ""
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        self._inside = tag
        for name, value in attributes:
            if name not in self.STROKES:
                self._take(value or "")

    def handle_data(self, data):
        if self._inside != "style":
            self._take(data)

    def _take(self, text):
        for whole in re.findall(r"(?<![\w.])-?\d+(?:,\d{3})*(?:\.\d+)?", text.replace("\u2212", "-")):
            value = whole.replace(",", "")
            if len(value.partition(".")[2]) >= 3 or ("." not in value and len(value.lstrip("-")) >= 4):
                self.found.add(float(value))


def places(demo_folder):
    """Box of everything that the campaign knows a place of, and its projected coordinates."""
    fixes, beacons = (pd.read_csv(demo_folder / "tables" / f"{name}.csv") for name in ("fixes", "beacon_places"))
    track = pd.read_parquet(demo_folder / "work" / "track.parquet")
    degrees = [np.concatenate([fixes[f"best_{axis}"].dropna(), beacons[axis], track[axis].dropna()]) for axis in ("latitude", "longitude")]
    metres = np.abs(np.concatenate([frame[axis].dropna() for frame in (fixes, beacons, track) for axis in ("easting_m", "northing_m")]))
    return degrees, metres


def in_the_study_area(text, demo_folder):
    """Numbers that read as a latitude or a longitude of the ground flown over, with three decimals or more."""
    (latitude, longitude), _ = places(demo_folder)
    return {number for number in Numbers(text).found for axis in (latitude, longitude) if axis.min() - 0.2 <= number <= axis.max() + 0.2 and number != round(number)}


@pytest.mark.parametrize("file", ["appendix.html", "tables/appendix_beacons.csv", "tables/appendix_positions.csv", "tables/appendix_checklist.csv", "tables/data_dictionary.csv"])
def test_no_exact_position_of_a_sensitive_campaign_stands_anywhere_in_its_appendix(sensitive, demo_folder, file):
    text = (sensitive / file).read_text(encoding="utf-8")
    table = pd.read_csv(sensitive / "tables" / "appendix_positions.csv")
    beacons = pd.read_csv(sensitive / "tables" / "appendix_beacons.csv")
    assert beacons["coordinate_uncertainty_m"].min() > 7000
    centres = {*table["latitude"], *table["longitude"], *beacons["latitude"], *beacons["longitude"]}
    assert len(centres) == 2
    assert in_the_study_area(text, demo_folder) <= centres
    # places in metres, as the files write them to three decimals or more
    metres = places(demo_folder)[1]
    assert not {round(abs(number), 3) for number in Numbers(text).found if number != round(number)} & {*np.round(metres, 3)}
    assert not re.search(r"lat_0|\+proj|centred on|class=\"sheet|<img", text)


def test_the_search_for_exact_positions_finds_them_where_they_are(exact, sensitive, demo_folder):
    found = in_the_study_area((exact / "appendix.html").read_text(encoding="utf-8"), demo_folder)
    table = pd.read_csv(exact / "tables" / "appendix_positions.csv")
    assert {*table["latitude"], *table["longitude"]} <= found and len(found) > 40
    assert {*pd.read_csv(exact / "tables" / "appendix_beacons.csv")["latitude"]} == {*pd.read_csv(demo_folder / "tables" / "beacon_places.csv")["latitude"]}
    assert len(pd.read_csv(sensitive / "tables" / "appendix_positions.csv")["latitude"].unique()) == 1


def test_generalised_squares_hold_the_animals(exact, sensitive):
    true, coarse = (pd.read_csv(folder / "tables" / "appendix_positions.csv") for folder in (exact, sensitive))
    away = FINE.inv(true["longitude"].to_numpy(), true["latitude"].to_numpy(), coarse["longitude"].to_numpy(), coarse["latitude"].to_numpy())[2]
    assert (away + true["coordinate_uncertainty_m"] <= coarse["coordinate_uncertainty_m"] + 1).all()


def test_the_appendix_names_the_grid_and_that_the_campaign_is_invented(sensitive):
    page = (sensitive / "appendix.html").read_text(encoding="utf-8")
    assert "All positions were generalised before publication: all are given as the centre of the one square of 10 km of the UTM grid (EPSG:32630)" in page
    assert "somewhere in 10 km by 10 km; it hides no more than that either" in page
    assert "Invented demonstration" in page and "are invented" in page


def test_the_numbers_of_the_methods_are_those_of_the_tables(sensitive, demo_folder):
    page = (sensitive / "appendix.html").read_text(encoding="utf-8")
    summary = pd.read_csv(demo_folder / "tables" / "error_summary.csv").iloc[0]
    statuses = pd.read_csv(demo_folder / "tables" / "fixes.csv", dtype={"tag_id": str})
    assert f"median error was {float(f'{summary.median_m:.2g}'):.0f} m" in page
    own = statuses[~statuses["tag_id"].str.startswith(("B", "D"))]
    assert f"What became of {len(own)} searches" in page
    listened = pd.read_csv(demo_folder / "tables" / "effort.csv").iloc[-1]["listening_min"]
    assert f"{listened:.0f} minutes of listening" in page


def links(page):
    """Names of the CSV and SVG files that the page links."""
    return set(re.findall(r'href="(?:tables|figures)/([^"]+)"', page))


def test_a_sensitive_campaign_links_no_file_that_places_anything_and_says_whom_to_ask(sensitive, survey, demo_folder):
    page = (sensitive / "appendix.html").read_text(encoding="utf-8")
    linked = {name for name in links(page) if name.endswith(".csv")}
    assert len(linked) >= 15
    (latitude, longitude), _ = places(demo_folder)
    for name in linked - {"appendix_positions.csv", "appendix_beacons.csv"}:
        path = next(folder / "tables" / name for folder in (sensitive, demo_folder) if (folder / "tables" / name).is_file())
        frame = pd.read_csv(path)
        assert not [column for column in frame if re.search("latitude|longitude|easting_m|northing_m", column)], name
        numbers = frame.select_dtypes("number").to_numpy()
        near = [((numbers > axis.min() - 0.2) & (numbers < axis.max() + 0.2)).any(axis=1) for axis in (latitude, longitude)]
        assert not (near[0] & near[1]).any(), name
    named = page[page.index("Withheld, because they hold exact positions"):].partition("</p>")[0]
    assert all(f"{name}.csv" in named for name in ("fixes", "beacon_places", "beacon_errors", "movement_fixes", "movement_tracks", "columns", "retrieval_list")) and "href" not in named
    for name in ("results.gpkg", "search_areas.geojson", "search_areas.gpx", "next_flight.geojson", "every figure that does not stand here"):
        assert name in named, name
    assert "columns.csv for the ranges of latitude and longitude in the logs" in named
    assert "They are to be had from the Fixledger contributors, for work that the holder of the wildlife permit agrees to." in page and whom_to_ask(survey.model_copy(update={"publication": survey.publication.model_copy(update={"contact": ""})})) == "the authors"
    named = survey.model_copy(update={"publication": survey.publication.model_copy(update={"contact": "the wardens of the glen"})})
    assert whom_to_ask(named) == "the wardens of the glen"


def test_a_campaign_that_is_not_sensitive_links_its_files_and_withholds_none(exact, survey):
    page = (exact / "appendix.html").read_text(encoding="utf-8")
    assert "fixes.csv" in links(page) and "exact positions" not in page
    assert withheld_tables({"fixes": ["latitude"]}, survey.model_copy(update={"sensitive": False})) == ()


def test_tables_that_place_something_are_withheld_and_those_that_measure_are_not(survey):
    tables = {"a": ["best_longitude"], "b": ["middle_easting_m"], "columns": ["min", "max"], "c": ["error_east_m", "closest_approach_m", "net_distance_m"], "appendix_positions": ["latitude"], "appendix_beacons": ["longitude"]}
    assert withheld_tables(tables, survey) == ("a", "b", "columns")
    of_a_species = survey.model_copy(update={"sensitive": False, "publication": survey.publication.model_copy(update={"sensitive_species": ("Lyrurus tetrix",)})})
    assert withheld_tables(tables, of_a_species) == ("a", "b", "columns")
    assert withheld_files(["b.gpx", "a.geojson"], of_a_species) == ("a.geojson", "b.gpx") and withheld_files(["b.gpx"], survey.model_copy(update={"sensitive": False})) == ()


def test_the_folder_to_attach_holds_the_page_and_what_it_links_and_no_place(sensitive, demo_folder):
    folder = sensitive / "appendix_files"
    held = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    page = (folder / "appendix.html").read_text(encoding="utf-8")
    assert held == {"appendix.html", *re.findall(r'href="((?:tables|figures)/[^"]+)"', page)} and len(held) > 10
    (latitude, longitude), metres = places(demo_folder)
    centre = pd.read_csv(sensitive / "tables" / "appendix_positions.csv")
    for name in held - {"appendix.html"}:
        text = (folder / name).read_text(encoding="utf-8")
        assert in_the_study_area(text, demo_folder) <= {*centre["latitude"], *centre["longitude"]} | _measures(name, folder), name
        # files have full precision, so that a place in metres would be the same to six decimals
        assert not {round(abs(number), 6) for number in Numbers(text).found if number != round(number)} & {*np.round(metres, 6)}, name


def _measures(name, folder):
    """Numbers of a table that are no places although they read as one: there columns name none, and no row holds both a latitude and a longitude."""
    if not name.endswith(".csv"):
        return set()
    frame = pd.read_csv(folder / name)
    assert name in ("tables/appendix_positions.csv", "tables/appendix_beacons.csv") or not [column for column in frame if re.search("latitude|longitude|easting_m|northing_m", column)], name
    return {float(value) for column in frame.select_dtypes("number") if not re.search("latitude|longitude", column) for value in frame[column].dropna()}


def test_what_may_be_attached_is_the_same_each_time(survey, sensitive, demo_folder, tmp_path):
    again = built(survey, demo_folder, tmp_path / "once-more") / "appendix_files"
    files = sorted(path.relative_to(again) for path in again.rglob("*") if path.is_file())
    assert files and all((again / name).read_bytes() == (sensitive / "appendix_files" / name).read_bytes() for name in files)


def test_every_table_and_figure_is_cited_before_it_stands_and_numbers_rise_with_the_text(sensitive):
    page = (sensitive / "appendix.html").read_text(encoding="utf-8")
    for kind in ("Table", "Figure"):
        printed = [int(number) for number in re.findall(rf'<span class="number">{kind} S(\d+)\.</span>', page)]
        first = list(dict.fromkeys(int(number) for number in re.findall(rf'<a class="see"[^>]*>{kind} S(\d+)</a>', page)))
        assert printed == list(range(1, len(printed) + 1)) == first and len(printed) >= 2, kind
    for number in re.findall(r'<span class="number">(?:Table|Figure) S\d+\.</span>', page):
        name = number[21:-8]
        assert page.index(f">{name}</a>") < page.index(number), name


def test_the_same_errors_have_the_same_interval_in_every_table(demo_folder):
    by_flight = pd.read_csv(demo_folder / "tables" / "fix_errors_by_flight.csv").set_index("flight_id")
    summary = pd.read_csv(demo_folder / "tables" / "error_summary.csv")
    own = summary[summary["grouping"].isin(["flight", "all"])].set_index("group").rename(index={"all fixes": "all flights"})
    columns = ["n", "median_m", "median_low_95_m", "median_high_95_m", "mean_m", "p90_m", "rmse_m"]
    assert len(own) == len(by_flight) > 5 and (by_flight.loc[own.index, "median_interval"] == own["median_interval"]).all()
    pd.testing.assert_frame_equal(by_flight.loc[own.index, columns], own[columns], check_names=False, check_dtype=False, rtol=1e-6)


def test_the_methods_say_how_many_beacon_fixes_stand_behind_a_distance_and_what_lies_beyond(sensitive, demo_folder):
    page = (sensitive / "appendix.html").read_text(encoding="utf-8")
    details = pd.read_csv(demo_folder / "tables" / "beacon_error_details.csv")
    places_of = details.groupby("distance_band")["place_id"].nunique()
    hardest = places_of.index[places_of >= 6][-1]
    limit = details.loc[details["distance_band"] == hardest, "closest_approach_m"].max()
    near, far = details[details["closest_approach_m"] <= limit], details[details["closest_approach_m"] > limit]
    assert len(far) > 0
    assert f"within {limit:,.0f} m of the tag (slant; {len(near)} of {len(details)} beacon fixes" in page
    assert f"Farther off lie {len(far)} beacon fixes of {far['place_id'].nunique()} beacons, up to {far.closest_approach_m.max():,.0f} m, with a median error of {float(f'{far.error_m.median():.2g}'):.0f} m" in page
    assert {*re.findall(r"(?:came|approach) within ([\d,]+) m", page)} == {f"{limit:,.0f}"}       # one figure wherever the claim is made
    located = details[details["status"] == "located"]
    assert (f"({len(located)} located, {len(details) - len(located)} area only); the {len(located)} located ones alone have a median of {float(f'{located.error_m.median():.2g}'):.0f} m, "
            f"and {int((located.level_after <= 0.95).sum())} of {len(located)} inside") in page


def test_the_methods_give_the_numbers_of_the_computation(sensitive, demo_folder):
    page = (sensitive / "appendix.html").read_text(encoding="utf-8")
    frames = pd.read_parquet(demo_folder / "work" / "posterior_frames.parquet")
    status = pd.read_csv(demo_folder / "tables" / "fixes.csv").set_index(["tag_id", "flight_id"])["status"]
    single = [status[pair] == "heard once" for pair in zip(frames["tag_id"], frames["flight_id"])]
    sides = frames.loc[~frames["tag_id"].str.startswith("D") & ~np.array(single), "cell_m"]     # what a switched-off tag seemed to send is no fix, nor is a single record
    least, most, half = (f"{float(f'{value:.2g}'):g}" for value in (sides.min(), sides.max(), sides.median()))
    assert f"In {len(sides)} fixes, those of beacons included, the sides of the cells came to {least} to {most} m, {half} m at the median" in page
    drawn = len(json.loads((demo_folder / "work" / "signal_models.json").read_text(encoding="utf-8"))["drawn"])
    assert f"averaged over {drawn} signal models" in page and "percentiles of 4,000 medians" in page
    with np.load(demo_folder / "work" / "draws.npz") as draws:
        assert f"{len(draws[draws.files[0]])} places were drawn from each posterior" in page
    assert "500 to 3,000 m at first, doubled up to 6,000 m" in page and "began with about 2,000 square cells" in page


def test_what_the_testing_beacons_chose_is_said():
    tried = pd.DataFrame({"fault_sd_db": [10.0, np.nan, 20.0], "log_score": [-100.0, -130.0, -112.0], "chosen": [True, False, False]})
    said = appendix_error_words._faults(tried)
    assert "10 dB, is the one of 3" in said and "(log-likelihood lower by 30 without faulty records and 12 with 20 dB; 10 dB is the usual choice)" in said and "had seen it" in said
    assert "was not compared with others" in appendix_error_words._faults(tried.iloc[:1])
    details = pd.DataFrame({"error_m": [1.0]})
    found = Material(survey=None, tables={"beacon_error_details": details, "record_faults": tried, "beacon_places": pd.DataFrame({"use": ["test", "both"]})}, tags=None, animals=None, best=None, models={})
    assert "1 beacon marked for testing only had no part in any of this" in appendix_error_words.chosen(found)[0]


def test_the_interval_of_the_median_names_its_method_and_is_not_made_up():
    def said(n, places, low, how):
        summary = pd.DataFrame([{"median_interval": how, "grouping": "all", "group": "all fixes", "n": n, "places": places, "median_m": 60.0, "median_low_95_m": low, "median_high_95_m": low + 40, "mean_m": 70.0, "p90_m": 100.0}])
        coverage = pd.DataFrame([{"calibration": "after", "nominal": 0.95, "counted_by": by, "inside": n, "tests": n, "share": 1.0, "low_95": 0.5, "high_95": 1.0} for by in ("fixes", "places")])
        widening = pd.DataFrame({"used_for": ["all other tags"], "widening": [0.8]})
        tables = {"error_summary": summary, "coverage": coverage, "widening": widening, "beacon_error_details": pd.DataFrame(columns=["place_id", "widening"])}
        return appendix_error_words.errors(Material(survey=None, tables=tables, tags=None, animals=None, best=None, models={}))[1]
    assert "(95 % interval 40 to 80 m, percentiles of 4,000 medians of beacons drawn again as wholes; Davison & Hinkley 1997)" in said(54, 9, 40.0, PLACES_DRAWN)
    assert "(95 % interval 40 to 80 m, percentiles of 4,000 medians, beacons and flights both drawn again as wholes and independently)" in said(54, 9, 40.0, BOTH_DRAWN)
    assert "(95 % interval 40 to 80 m, order statistics)" in said(9, 9, 40.0, ORDERED)
    assert "(no interval: fewer than six beacons)" in said(20, 5, np.nan, "")


def test_the_statement_of_the_mapping_standard_is_made_from_twenty_beacons_on():
    """FGDC-STD-007.3-1998: at least 20 check points, 1.7308 times the RMSE where it is equal along both axes."""
    errors = pd.DataFrame({"error_east_m": 30.0, "error_north_m": 30.0, "place_id": [f"B{number}" for number in range(20)]})
    metres = float(f"{1.7308 * np.hypot(30.0, 30.0):.2g}")
    assert appendix_error_words._standard(errors) == f"Tested {metres:.0f} metres horizontal accuracy at 95% confidence level, after the National Standard for Spatial Data Accuracy (FGDC 1998)."
    assert "needs 20 independent check points, and there are 19; none is made." in appendix_error_words._standard(errors.iloc[:19])


def test_the_opening_gives_interval_share_by_beacon_domain_what_lies_outside_and_that_it_is_a_draft(sensitive, demo_folder):
    page = re.sub("<[^>]+>", "", (sensitive / "appendix.html").read_text(encoding="utf-8"))
    opening = page[:page.index("This appendix gives the methods")]
    summary, reach = (pd.read_csv(demo_folder / "tables" / f"{name}.csv") for name in ("error_summary", "beacon_reach"))
    whole, claimed = summary.iloc[0], summary[summary["grouping"] == "where errors are claimed"].iloc[0]
    coverage = pd.read_csv(demo_folder / "tables" / "coverage.csv").query("calibration == 'after' and nominal == 0.95 and counted_by == 'places'").iloc[0]
    two = lambda value: f"{float(f'{value:.2g}'):.0f}"
    for said in (f"(95 % interval {two(whole.median_low_95_m)} to {two(whole.median_high_95_m)} m)", f"{coverage.share:.2f}, 95 % interval {coverage.low_95:.2f} to 1.00", f"lie {claimed.n} of {whole.n} fixes at {claimed.places} beacons: median error {two(claimed.median_m)} m",
                 f"{claimed.inside_95} of {claimed.n} inside", f"{reach.fixes_outside.iloc[-1]} of {reach.fixes.iloc[-1]} fixes of animals lie outside", "each located by a model fitted without it, though in the same flights", "Draft: nobody has checked", "are invented"):
        assert said in opening, said
    assert "that the model had not seen" not in opening


def material(**tables):
    survey = SimpleNamespace(receiver_log=SimpleNamespace(heard_above_noise_db=6.0), terrain="heights.tif", movement=SimpleNamespace(significance=0.05))
    return Material(survey=survey, tables=tables, tags=None, animals=pd.DataFrame({"tag_id": ["A"]}), best=None, models={}, below_margin=(7, 100))


def test_heard_is_what_the_receiver_logged_and_the_margin_over_noise_is_no_strict_limit():
    model = pd.DataFrame({"parameter": ["threshold_shift_db", "softness_db"], "value": [-0.3, 1.6]})
    said = appendix_words._heard_words(material(signal_model=model))
    assert "as the receiver logged it" in said and "no strict limit: 7 of 100 heard strengths that were used lie below it" in said and "shifted by an estimated \u22120.3 dB, soft by an estimated 1.6 dB" in said
    found = material(signal_model=model)
    found.survey.receiver_log.heard_above_noise_db = None
    assert "one threshold for all records" in appendix_words._heard_words(found) and "margin" not in appendix_words._heard_words(found)


def test_the_number_of_strengths_below_the_margin_is_counted_on_the_records(sensitive, demo_folder):
    records = pd.read_parquet(demo_folder / "work" / "records.parquet").query("heard and usable")
    below = int((records["strength_db"] < records["noise_db"] + 6.0).sum())    # the margin of the demo's survey file
    assert f"{below:,d} of {len(records):,d} heard strengths that were used lie below it" in (sensitive / "appendix.html").read_text(encoding="utf-8") and below > 100


SEARCHES = pd.DataFrame({"tag_id": ["A", "A", "B", "B", "C"], "animal_id": ["a", "a", "b", "b", "c"], "status": ["not heard", "heard once", "located", "heard once", "not heard"], "records_heard": [0, 1, 20, 1, 0], "records_listened": 100,
                         "time_end_utc": pd.Timestamp("2026-03-21T00:00Z")})


def test_animals_heard_in_single_records_or_fallen_silent_stand_among_the_missing():
    silent = pd.DataFrame({"tag_id": ["C"], "animal_id": ["c"], "species": ["Lepus timidus"], "class": ["not heard"], "records_listened": [100], "adequacy_expected": [0.9], "adequacy_cautious": [0.8], "battery_used": [0.1]})
    tags = pd.DataFrame({"tag_id": ["A", "B"], "animal_id": ["a", "b"], "species": ["Lepus timidus", None], "deployed_utc": pd.to_datetime(["2026-03-01T00:00Z", None]), "expected_end_utc": pd.to_datetime(["2026-06-09T00:00Z", None])})
    gone = {"B": Silence("B", "1", pd.Timestamp("2026-04-21", tz="UTC"), 1, 4, (), 4, ())}
    rows = missing_animals(silent, {"A": LoneHits("A", 1, 200)}, gone, tags, SEARCHES)
    assert list(rows["tag_id"]) == ["C", "A", "B"] and list(rows["class"]) == ["not heard", "heard once", "silent since 2026-04-21"] and list(rows["species"]) == ["Lepus timidus", "Lepus timidus", ""]
    assert rows["battery_used"].iloc[:2].tolist() == [0.1, 0.2] and pd.isna(rows["battery_used"].iloc[2])       # 20 of 100 days by the last flight
    assert list(rows["records_heard"]) == [0, 1, 21] and list(rows["records_listened"]) == [100, 200, 200]
    assert missing_animals(silent.head(0), {}, {}, tags, SEARCHES.head(0)).columns.tolist() == MISSING


def test_a_single_record_is_weighed_against_how_often_records_of_silent_tags_are_false():
    false = pd.DataFrame([{"records_listened": 2000, "records_heard": 1, "share": 0.0005, "share_low": 0.0, "share_high": 0.003}])
    assert "heard in 1 of 2,000 records, at which rate 0.2 false records (0 to 1.2 by" in false_record_words(SEARCHES, false)      # 400 records of four quiet searches
    assert "was not measured" in false_record_words(SEARCHES, false.head(0))
    assert false_record_words(SEARCHES[SEARCHES["status"] != "heard once"], false) == ""


def test_the_walks_that_were_looked_for_are_told_with_what_the_test_cannot_see():
    tests = pd.DataFrame({"tag_id": ["A", "A", "B"], "beacon": [False, False, True], "walk_shown": [True, False, False], "walk_sd_m": [200.0, 240.0, 90.0]})
    said = appendix_limit_words.walking(material(walking_test=tests))
    assert "in 1 of 2 fixes of animals that were heard in 5 records or more and 0 of 1 fix of beacons" in said and "known to 220 m each way" in said
    assert "not tested" in appendix_limit_words.walking(material())


def steps(few, count):
    return pd.DataFrame({"kind": "consecutive", "days": 0.03, "p": [0.01] * few + [0.5] * (count - few)})


def test_pairs_of_fixes_within_an_hour_test_the_stated_errors():
    """7 of 59: 0.049 to 0.229 after Clopper & Pearson; by scipy's own exact interval of a binomial share."""
    low, high = binomtest(7, 59).proportion_ci(method="exact")
    said = appendix_limit_words.shortly_after(material(movement_steps=steps(7, 59)))
    assert f"of 59 pairs of consecutive fixes less than an hour apart, 7 differ with p below 0.05 before adjustment (share 0.12, exact 95 % interval {low:.2f} to {high:.2f}" in said and f"so many or more have a probability of {binomtest(7, 59, 0.05, alternative='greater').pvalue:.2g} if pairs are independent" in said
    assert "they are too small, or animals moved" in appendix_limit_words.shortly_after(material(movement_steps=steps(20, 59)))
    assert "no more than that" in appendix_limit_words.shortly_after(material(movement_steps=steps(1, 59)))
    assert appendix_limit_words.shortly_after(material(movement_steps=steps(7, 59).assign(days=1.0))) == appendix_limit_words.shortly_after(material()) == ""


def test_limits_are_stated_with_beacons_and_without():
    flights = pd.DataFrame({"start_utc": ["2026-05-01T06:00Z", "2026-05-01T07:00Z", "2026-05-02T06:00Z"], "style": ["loop", "loop", "mixed"], "height_median_m": [80.0, 81.0, 60.0]})
    beacons = pd.DataFrame({"flights_heard": [3, 0], "height_above_ground_m": [0.1, 0.4]})
    seen = pd.DataFrame({"share_without_terrain": [0.11, 0.36, 0.2]})
    said = appendix_limit_words.limits(material(flights=flights, beacon_places=beacons, terrain_seen=seen))[0]
    for words in ("0.1 to 0.4 m above ground, and none was on an animal", "3 flights on 2 days over one site, flown at 60 to 81 m above ground", "Style mixed was flown once", "11 % to 36 % by flight lie in part beyond the terrain model"):
        assert words in said, words
    assert appendix_limit_words.limits(material())[0] == "No beacon was heard, so that no condition at all was tested."


def test_animals_whose_fate_changes_what_their_fixes_mean_are_marked(sensitive, demo_folder):
    page = re.sub("<[^>]+>", " ", (sensitive / "appendix.html").read_text(encoding="utf-8"))
    triage = pd.read_csv(demo_folder / "tables" / "fate_triage.csv").set_index("tag_id")["class"]
    assert page.count("; found dead") == (triage == "Confirmed dead").sum() > 0 and page.count("; mortality rate") == triage.isin(["Retrieve", "Check soon", "Watch"]).sum() > 0


def test_a_licence_made_for_software_is_told_as_one():
    assert software_licence("BSD-3-Clause").startswith(" The licence that the survey file names is one for software") and software_licence("CC BY 4.0") == software_licence("") == ""


def test_what_the_authors_did_not_say_is_told_without_names_of_settings(sensitive):
    rows = pd.read_csv(sensitive / "tables" / "appendix_checklist.csv", keep_default_na=False)
    page = (sensitive / "appendix.html").read_text(encoding="utf-8")
    assert not re.search(r"publication\.[a-z]", " ".join(rows["answer"]) + page) and "not stated by the authors" not in page


def test_every_limit_that_fixes_were_counted_against_is_named(sensitive, demo_folder):
    page = (sensitive / "appendix.html").read_text(encoding="utf-8")
    said = page[page.index("Counted against are"):].partition(" (")[0]
    names = {"closest approach (m)": "closest approach", "records heard": "records heard", "tag type": "tag type", "flight style": "flight style", "ground between the beacons": "outline of the beacons", "ground flown over": "outline of the tracks",
             "ground height (m)": "ground heights", "receiver height, median of a flight (m)": "heights flown", "evidence of the fix": "evidence other than strengths"}
    conditions = set(pd.read_csv(demo_folder / "tables" / "beacon_reach.csv")["condition"]) - {"any of these", "closest approach of any beacon fix (m)"}
    assert conditions <= set(names) and all(names[condition] in said for condition in conditions)


def test_ground_searched_to_nine_tenths_is_not_called_proven_by_a_lower_limit_below_it():
    assert appendix_words._not_proven(pd.Series({"share_low": 0.66, "least": 0.9})) == " The lower limit, 0.66, does not prove 0.9." and appendix_words._not_proven(pd.Series({"share_low": 0.93, "least": 0.9})) == ""


def test_survival_before_the_first_death_has_no_interval():
    rows = pd.DataFrame({"date_utc": ["2026-04-12T06:00:00Z"], "days": [41.0], "survival": [1.0], "survival_low": [np.nan], "survival_high": [np.nan], "if_lost_alive": [1.0], "if_lost_dead": [0.5]})
    flights = pd.DataFrame({"end_utc": ["2026-04-12T06:00:00Z", "2026-04-22T06:00:00Z"]})
    assert appendix_words._survival_numbers(rows, flights) == "At the end of the survey, 2026-04-22, 51 days after the first tag was deployed, it was 1.00, 1.00 if all lost ones lived and 0.50 if all were dead. "
    assert "0.90 (95 % interval 0.70 to 0.97, log-minus-log), 1.00" in appendix_words._survival_numbers(rows.assign(survival=0.9, survival_low=0.7, survival_high=0.97), flights)


def test_a_beacon_has_the_centre_of_its_square_or_its_own_place():
    rows = pd.DataFrame({"tag_id": ["B2", "B1"], "place_id": ["B2", "B1"], "tag_type": "collar", "latitude": [57.21, 57.22], "longitude": [-4.1, -4.2], "height_above_ground_m": 0.3, "position_sd_m": [1.5, np.nan], "use": ["both", "test"],
                         "flights_listened": 6, "flights_heard": 5, "records_heard": 100, "median_error_m": 50.0, "inside_95": 5})
    coarse, exact = (published_beacons(rows, square=square) for square in (one_square(57.2, -4.1, 0.0, 10_000), None))
    assert list(coarse["tag_id"]) == ["B1", "B2"] and list(coarse["use"]) == ["test", "fit and test"]
    assert set(coarse["coordinate_uncertainty_m"]) <= {7100.0, 7200.0} and not {57.21, 57.22} & set(coarse["latitude"])   # half a diagonal of 10 km is 7,071 m; the centres are rounded
    assert list(exact["latitude"]) == [57.22, 57.21] and exact["coordinate_uncertainty_m"].iloc[1] == 3.0 and np.isnan(exact["coordinate_uncertainty_m"].iloc[0])


def test_bearings_to_beacons_are_compared_with_where_these_stand():
    places_m = pd.DataFrame({"tag_id": ["B1", "B2", "B2"], "easting_m": [100.0, 0, 1], "northing_m": [100.0, 0, 1]})
    taken = pd.DataFrame({"tag_id": ["B1", "B1", "B2", "H1"], "easting_m": [0.0, 100, 5, 5], "northing_m": [0.0, 0, 5, 5], "bearing_grid_deg": [50.0, 355, 10, 10]})
    assert errors_of_bearings_deg(taken, places_m).tolist() == pytest.approx([5.0, -5.0])
    assert errors_of_bearings_deg(taken.head(0), places_m).empty and errors_of_bearings_deg(taken, places_m.head(0)).empty


def test_no_table_is_cut_on_a_usual_screen_or_on_paper(sensitive):
    cut = """() => Array.from(document.querySelectorAll('.table-scroll')).filter(each => each.scrollWidth > each.clientWidth + 1).map(each => each.parentElement.id)"""
    with browser() as running:
        for width_px, paper in ((1400, False), (1300, False), (665, True)):   # A4 less its margins is 176 mm, 665 px
            with opened(running, sensitive / "appendix.html", width_px=width_px, paper=paper) as (page, seen):
                assert page.evaluate(cut) == [] and page.evaluate("document.documentElement.scrollWidth") <= width_px
                seen.assert_quiet()


def test_what_is_needed_is_named_for_items_of_the_checklist_only(sensitive):
    rows = pd.read_csv(sensitive / "tables" / "appendix_checklist.csv", keep_default_na=False)
    assert set(NEEDED) <= set(rows["item"])


def test_all_eleven_questions_are_in_the_checklist_and_every_answer_leads_to_a_table_that_is_there(sensitive, demo_folder):
    rows = pd.read_csv(sensitive / "tables" / "appendix_checklist.csv", keep_default_na=False)
    assert list(dict.fromkeys(rows["question"])) == [f"{number}. {name}" for number, name in enumerate(QUESTIONS, start=1)]
    assert (rows["answer"] != "").all()
    # what would have to be known is for the authors, and stands in a file that does not go with the page
    lacking = pd.read_csv(sensitive / "tables" / "appendix_open.csv", keep_default_na=False)
    assert set(lacking["item"]) == set(rows.loc[rows["answer"].str.contains("not recorded"), "item"]) != set() and (lacking["needs"] != "").all() and list(lacking) == OPEN
    assert not rows["answer"].str.contains("needs ").any() and not (sensitive / "appendix_files" / "tables" / "appendix_open.csv").exists()
    page = (sensitive / "appendix.html").read_text(encoding="utf-8")
    headings = {re.sub("<[^>]+>", "", heading).lower() for heading in re.findall(r"<h[23][^>]*>.*?</h[23]>", page)}
    for where in (part for cell in rows["where"] for part in cell.split("; ") if part != "–"):
        # the page stands alone: every answer stands in it, in a table or under a heading of the methods
        assert f'<span class="number">{where}.</span>' in page if where.startswith("Table") else any(heading.startswith(where.removeprefix("Methods, ").lower()) for heading in headings), where


def test_what_no_log_holds_is_the_authors_to_state_and_not_recorded_where_they_do_not(survey, demo_folder, tmp_path, sensitive):
    page = (sensitive / "appendix.html").read_text(encoding="utf-8")
    told = survey.publication.field_record
    assert all(f">{label}: {words.strip()[:40]}" in page for name, label in LABELS.items() if (words := getattr(told, name))) and all(getattr(told, name).startswith("Invented.") for name in LABELS)
    silent = survey.model_copy(update={"publication": survey.publication.model_copy(update={"field_record": type(told)()})})
    rows = pd.read_csv(built(silent, demo_folder, tmp_path / "silent") / "tables" / "appendix_checklist.csv", keep_default_na=False).set_index("item")
    lacking = pd.read_csv(tmp_path / "silent" / "tables" / "appendix_open.csv", keep_default_na=False).set_index("item")
    before = pd.read_csv(sensitive / "tables" / "appendix_checklist.csv", keep_default_na=False).set_index("item")
    for item in ("capture, sex, age, mass", "mortality delay", "training of the pilot, weather, incidents, reactions of animals", "whether rejection favours open ground"):
        assert rows.loc[item, "answer"] == "not recorded" and lacking.loc[item, "needs"] == NEEDED[item] and rows.loc[item, "where"] == "–" and before.loc[item, "answer"] in ("given", "as far as said there")
    assert HEADING not in (tmp_path / "silent" / "appendix.html").read_text(encoding="utf-8") and HEADING in page


def test_fates_and_beacon_fixes_are_published_without_places_and_without_words_for_the_office(sensitive, demo_folder):
    fates, details = pd.read_csv(sensitive / "tables" / "appendix_fates.csv"), pd.read_csv(demo_folder / "tables" / "beacon_error_details.csv")
    assert list(fates["tag_id"]) == sorted(fates["tag_id"]) and not {"urgency", "class"} & set(fates) and not fates["fate_shown"].isin(["Retrieve", "Check soon", "Watch"]).any()
    fixes = pd.read_csv(sensitive / "tables" / "appendix_beacon_fixes.csv")
    pd.testing.assert_frame_equal(fixes, details[list(fixes)], check_dtype=False)
    assert len(fixes) == 54 and not [column for column in fixes if re.search("latitude|longitude|easting|northing", column)]
    assert {"appendix_fates.csv", "appendix_beacon_fixes.csv", "appendix_dictionary.csv"} <= links((sensitive / "appendix.html").read_text(encoding="utf-8"))


def test_an_animal_without_a_record_at_the_mortality_rate_is_not_said_to_send_it():
    triage = pd.DataFrame({"tag_id": ["B", "A", "C"], "class": ["Check soon", "Check soon", "Live mode heard"], "records_mortality": [0, 4, 0]})
    assert published_fates(triage).set_index("tag_id")["fate_shown"].to_dict() == {"A": "mortality rate", "B": "one place, no clear pulse rate", "C": "Live mode heard"}
    assert fates_that_matter(material(fate_triage=triage)) == {"B": "; one place, no clear pulse rate", "A": "; mortality rate"}
    assert appendix_words._doubt_of_leaving(material(fate_triage=triage)) == "; of A, which sent the mortality rate, that is doubtful"


def test_words_of_the_authors_are_not_cut_where_they_read_like_ours(survey, demo_folder, tmp_path):
    written = "Access agreed; needs a call before every flight"
    built(survey.model_copy(update={"permits": {"landowner": written}}), demo_folder, tmp_path / "permit")
    rows = pd.read_csv(tmp_path / "permit" / "tables" / "appendix_checklist.csv", keep_default_na=False).set_index("item")
    lacking = pd.read_csv(tmp_path / "permit" / "tables" / "appendix_open.csv", keep_default_na=False)
    assert rows.loc["permits", "answer"] == f"landowner: {written}" and "permits" not in set(lacking["item"])


def test_the_dictionary_that_goes_with_the_page_tells_of_what_goes_with_it_only(sensitive):
    own = pd.read_csv(sensitive / "appendix_files" / "tables" / "appendix_dictionary.csv")
    assert set(own["table"]) == {path.stem for path in (sensitive / "appendix_files" / "tables").glob("*.csv")} and (own["meaning"] != "not described").all()


def test_searches_are_published_with_the_size_of_their_regions_and_no_place(sensitive, demo_folder):
    rows, fixes = pd.read_csv(sensitive / "tables" / "appendix_searches.csv"), pd.read_csv(demo_folder / "tables" / "fixes.csv")
    assert len(rows) == (~fixes["tag_id"].str.startswith(("B", "D"))).sum() and not [column for column in rows if re.search("latitude|longitude|easting|northing|azimuth", column)]
    assert "fixes.csv" not in links((sensitive / "appendix.html").read_text(encoding="utf-8"))


def test_one_square_for_all_is_said_once_and_stands_in_no_row(sensitive, exact):
    page = (sensitive / "appendix.html").read_text(encoding="utf-8")
    row = pd.read_csv(sensitive / "tables" / "appendix_positions.csv").iloc[0]
    tables = re.findall(r"<tbody>.*?</tbody>", page, re.S)
    assert f"{row['latitude']:g}, \u2212{-row['longitude']:g} deg, WGS 84; uncertainty {row['coordinate_uncertainty_m']:,d} m" in page and not any(f"{row['latitude']:g}" in table for table in tables)
    assert pd.read_csv(sensitive / "tables" / "appendix_positions.csv")["coordinate_uncertainty_m"].nunique() == 1       # one for all: a radius of its own would say nothing of a square
    assert any(f"{pd.read_csv(exact / 'tables' / 'appendix_positions.csv')['latitude'].iloc[0]:.5f}" in table for table in re.findall(r"<tbody>.*?</tbody>", (exact / "appendix.html").read_text(encoding="utf-8"), re.S))


def test_the_index_leads_to_the_appendix_and_says_how_exact_it_is(demo_folder):
    page = (demo_folder / "index.html").read_text(encoding="utf-8")
    assert 'For a paper: <a href="appendix.html">' in page and "positions are generalised to one coarse square" in page and "References marked †, where there are any, are in part from memory" in page and "names of places in its title" in page


def test_the_methods_name_the_program_its_version_and_its_revision(project):
    facts = SimpleNamespace(revision={"commit": "0123456789abcdef", "clean": True}, packages={"python": "3.11", "numpy": "2.4"})
    version = tomllib.loads((project / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
    assert software_text(facts) == f"Fixledger {version} (code revision: 0123456789ab, no changes beside it), in Python 3.11 with numpy 2.4"


def test_a_grid_of_a_species_hides_that_species_only(survey, demo_folder, tmp_path):
    settings = survey.publication.model_copy(update={"sensitive_species": ("Lyrurus tetrix",), "generalise_m": 5000.0})
    built(survey.model_copy(update={"sensitive": False, "publication": settings}), demo_folder, tmp_path / "x")
    table = pd.read_csv(tmp_path / "x" / "tables" / "appendix_positions.csv")
    assert set(table.loc[table["species"] == "Lyrurus tetrix", "precision"]) == {"centre of the one square of 5 km of the UTM grid (EPSG:32630)"}
    assert "Exact positions of the other species stand beside it" in (tmp_path / "x" / "appendix.html").read_text(encoding="utf-8")
    assert set(table.loc[table["species"] != "Lyrurus tetrix", "precision"]) == {"exact"}


def test_the_same_tables_give_the_same_appendix(survey, sensitive, demo_folder, tmp_path):
    again = built(survey, demo_folder, tmp_path / "again")
    assert (again / "appendix.html").read_bytes() == (sensitive / "appendix.html").read_bytes()


# References

@pytest.mark.parametrize("reference", REFERENCES, ids=lambda reference: reference.cited)
def test_every_reference_is_named_by_the_module_that_uses_it(project, reference):
    text = (project / "pipeline" / reference.module).read_text(encoding="utf-8")
    name, year = reference.cited.split()[0], re.search(r"\d{4}$", reference.cited)
    assert name in text and (year is None or year.group() in text)


def test_every_reference_is_whole_in_one_style_and_names_no_identifier():
    for reference in REFERENCES:
        if "Recommendation" in reference.full or "-STD-" in reference.full:     # known by their numbers
            assert re.fullmatch(r"[A-Z][A-Za-z ]+\. .*\b(?:Recommendation ITU-R P\.\d+-\d+|[A-Z]+-STD-[\d.]+-\d{4})\.", reference.full), reference.full
            continue
        # authors, year, title, and a journal with volume and pages, or a publisher, with its place where that was read
        assert re.fullmatch(r"[^.\d]+(?:\.[^\d]*)? \d{4}\. .+(?:: \d+[–]\d+|[,.] [A-Z][A-Za-z ]+)\.", reference.full), reference.full
        assert not re.search("doi|http|et al", reference.full, re.I) and FROM_MEMORY_MARK not in reference.full
    unread = [reference.full for reference in REFERENCES if not reference.compared_with]
    assert len(unread) < len(REFERENCES) / 3 and all("Recommendation" not in full for full in unread)


def test_only_what_the_text_cites_is_listed(sensitive):
    page = (sensitive / "appendix.html").read_text(encoding="utf-8")
    listed = page[page.index(">References<"):page.index(">Availability")]
    for reference in REFERENCES:
        cited = reference.cited in page[:page.index(">References<")].replace("&amp;", "&")
        assert (reference.full in listed.replace("&amp;", "&")) == cited, reference.cited


# The dictionary

def test_every_column_of_every_table_and_layer_of_a_run_is_in_the_dictionary(demo_folder):
    tables = {path.stem: next(csv.reader(open(path, encoding="utf-8", newline=""))) for path in sorted((demo_folder / "tables").glob("*.csv"))}
    layers = appendix.columns_of_layers(SimpleNamespace(path_to_read=lambda name: demo_folder / name))
    unknown = dictionary_table(tables | layers)
    unknown = unknown[unknown["meaning"] == NOT_DESCRIBED]
    assert unknown.empty, f"put these into pipeline/stages/data_dictionary.txt: {sorted(set(zip(unknown['table'], unknown['column'])))}"
    assert [name for name in tables if not table_meaning(name)] == [] and [name for name in layers if not layer_meaning(name)] == []


def test_the_dictionary_of_a_run_names_every_column_of_every_table(sensitive, demo_folder):
    written = pd.read_csv(sensitive / "tables" / "data_dictionary.csv")
    for path in (demo_folder / "tables").glob("*.csv"):
        with open(path, encoding="utf-8", newline="") as file:
            assert list(written.loc[written["table"] == path.stem, "column"]) == next(csv.reader(file)), path.name


def test_the_page_explains_its_own_tables_only_and_the_file_all(sensitive):
    page, written = (sensitive / "appendix.html").read_text(encoding="utf-8"), pd.read_csv(sensitive / "tables" / "data_dictionary.csv")
    explained = {cell.removesuffix(".csv") for cell in re.findall(r"[a-z_]+\.csv", page[page.index('id="table-files"'):].partition("</figure>")[0])}
    assert explained == {name.removesuffix(".csv") for name in links(page) if name.endswith(".csv")} and "fixes" not in explained
    assert {"fixes", "layer regions"} <= set(written["table"]) and len(set(written["table"])) > 2 * len(explained)


def test_latin_names_are_in_italics_and_other_names_are_not(sensitive):
    page = (sensitive / "appendix.html").read_text(encoding="utf-8")
    assert page.count('<i lang="la">Lepus timidus</i>') > 16 and not re.search(r">[^<]*Lepus timidus", page.replace('<i lang="la">Lepus timidus', ""))
    assert appendix.latin_names(pd.Series(["Lepus timidus", "mountain hare", "Hare", "Lepus sp.", "Hare 12", None, ""])) == ("Lepus timidus",)


def test_a_unit_follows_from_the_ending_of_a_name():
    names = ["error_m", "region_95_ha", "distance_km", "speed_median_m_per_s", "walk_m_per_root_day", "net_squared_m2", "first_utc", "best_strength_db", "closest_approach_min_m", "listening_min", "passes"]
    assert [unit_of(name) for name in names] == ["m", "ha", "km", "m/s", "m per root of a day", "m²", "UTC, ISO 8601", "dB", "m", "min", ""]


def test_a_column_that_means_something_else_in_one_table_is_told_apart():
    assert column_meaning("survival", "days")[1] != column_meaning("movement_steps", "days")[1] and column_meaning("fixes", "no_such_column") == ("", NOT_DESCRIBED)
    rows = without_repeats(dictionary_table({"movement_steps": ["days", "tag_id"], "survival": ["days"], "fixes": ["tag_id"]}))
    assert rows.set_index("column").loc["tag_id", "tables"] == ["movement_steps", "fixes"] and (rows["column"] == "days").sum() == 2


def test_the_style_of_the_appendix_names_its_own_tables_only():
    assert set(re.findall(r"#table-([a-z]+)", (ASSETS / "appendix.css").read_text(encoding="utf-8"))) == {"columns", "files", "checklist", "errors", "fates", "animals", "positions"}


@pytest.mark.parametrize("codes, said", [((), "neither was clear, and the model holds neither."), (("clock-drift", "clock-lag"), "a drift in 1 flight was clear, and the model does not hold it.")])
def test_what_was_looked_for_within_flights_and_is_not_taken_out_is_said(codes, said):
    tables = {"instruments": pd.DataFrame({"drift_s": [0.4], "azimuth_lag_s": [np.nan]}), "messages": pd.DataFrame({"code": list(codes)}), "clock_lags": pd.DataFrame({"flight_id": ["A"], "applied_s": [0.0]})}
    found = SimpleNamespace(table=lambda name: tables.get(name, pd.DataFrame(columns=["parameter", "standard_error"])))
    assert appendix_method_words.correction_words(found, {}).endswith(said)
    tables["instruments"] = pd.DataFrame()
    assert "drift" not in appendix_method_words.correction_words(found, {})
