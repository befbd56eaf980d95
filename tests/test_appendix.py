"""The publication appendix: the text, where each question is answered, the dictionary, and positions that must not leave the project."""

import csv
import re
import tomllib
from html.parser import HTMLParser
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pyproj
import pytest

from pipeline.exchange import generalise
from pipeline.exchange.generalising import decimals_for
from pipeline.report.page_assets import ASSETS
from pipeline.run.provenance import software_text
from pipeline.stages import appendix, appendix_words
from pipeline.stages.appendix_checklist import QUESTIONS, REPORT_NAMES, numbered_tables
from pipeline.stages.appendix_positions import POSITIONS, precision_sentences, published_positions
from pipeline.stages.appendix_references import REFERENCES
from pipeline.stages.data_dictionary import NOT_DESCRIBED, column_meaning, dictionary_table, layer_meaning, table_meaning, unit_of, without_repeats
from pipeline.stages.workspace import Workspace
from pipeline.survey import load_survey

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


@pytest.mark.parametrize("side_m, decimals", [(100, 5), (1_000, 4), (10_000, 3), (100_000, 2)])
def test_degrees_are_written_to_what_the_square_is_worth(side_m, decimals):  # one step of the last decimal: 1.1 m, 11 m, 111 m, 1.1 km of latitude
    assert decimals_for(side_m) == decimals


def best(**columns):
    rows = pd.DataFrame({"tag_id": ["B2", "A1"], "animal_id": ["b", "a"], "latitude": [57.20011, 57.25022], "longitude": [-4.10033, -4.15044], "error_radius_95_m": [140.2, 90.0],
                         "time_end_utc": pd.to_datetime(["2026-05-01T10:00Z", "2026-05-02T10:00Z"])})
    return rows.assign(**columns)


def test_positions_are_exact_for_species_that_are_not_sensitive_and_squares_for_those_that_are():
    table = published_positions(best(), {"A1": "Lepus timidus", "B2": "Lyrurus tetrix"}, sensitive=False, sensitive_species=("Lyrurus tetrix",), side_m=10_000)
    assert list(table["tag_id"]) == ["A1", "B2"]
    assert table.loc[0, ["latitude", "longitude", "coordinate_uncertainty_m", "precision"]].tolist() == [57.25022, -4.15044, 90, "exact"]
    hidden = table.iloc[1]
    assert (hidden["latitude"], hidden["longitude"]) != (57.20011, -4.10033) and hidden["precision"] == "centre of a square of 10 km of the UTM grid (EPSG:32630)"
    assert FINE.inv(-4.10033, 57.20011, hidden["longitude"], hidden["latitude"])[2] + 140.2 <= hidden["coordinate_uncertainty_m"]
    assert "1 of 2 positions were generalised" in precision_sentences(table)[0]


def test_without_an_animal_with_a_position_there_is_an_empty_table():
    assert published_positions(best().head(0), {}, sensitive=True, sensitive_species=(), side_m=10_000).columns.tolist() == POSITIONS


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


@pytest.mark.parametrize("file", ["appendix.html", "tables/appendix_positions.csv", "tables/appendix_checklist.csv", "tables/data_dictionary.csv"])
def test_no_exact_position_of_a_sensitive_campaign_stands_anywhere_in_its_appendix(sensitive, demo_folder, file):
    text = (sensitive / file).read_text(encoding="utf-8")
    table = pd.read_csv(sensitive / "tables" / "appendix_positions.csv")
    centres = {*table["latitude"], *table["longitude"]}
    assert in_the_study_area(text, demo_folder) <= centres
    # places in metres, as the files write them to three decimals or more
    metres = places(demo_folder)[1]
    assert not {round(abs(number), 3) for number in Numbers(text).found if number != round(number)} & {*np.round(metres, 3)}
    assert not re.search(r"lat_0|\+proj|centred on|class=\"sheet|<img", text)


def test_the_search_for_exact_positions_finds_them_where_they_are(exact, sensitive, demo_folder):
    found = in_the_study_area((exact / "appendix.html").read_text(encoding="utf-8"), demo_folder)
    table = pd.read_csv(exact / "tables" / "appendix_positions.csv")
    assert {*table["latitude"], *table["longitude"]} <= found and len(found) > 40
    assert len(pd.read_csv(sensitive / "tables" / "appendix_positions.csv")["latitude"].unique()) <= 4


def test_generalised_squares_hold_the_animals(exact, sensitive):
    true, coarse = (pd.read_csv(folder / "tables" / "appendix_positions.csv") for folder in (exact, sensitive))
    away = FINE.inv(true["longitude"].to_numpy(), true["latitude"].to_numpy(), coarse["longitude"].to_numpy(), coarse["latitude"].to_numpy())[2]
    assert (away + true["coordinate_uncertainty_m"] <= coarse["coordinate_uncertainty_m"] + 1).all()


def test_the_appendix_names_the_grid_and_that_the_campaign_is_invented(sensitive):
    page = (sensitive / "appendix.html").read_text(encoding="utf-8")
    assert "All positions were generalised before publication: each is given as the centre of a square of 10 km of the UTM grid (EPSG:32630)" in page
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


def test_all_eleven_questions_are_in_the_checklist_and_every_answer_leads_to_a_table_that_is_there(sensitive, demo_folder):
    rows = pd.read_csv(sensitive / "tables" / "appendix_checklist.csv", keep_default_na=False)
    assert list(dict.fromkeys(rows["question"])) == [f"{number}. {name}" for number, name in enumerate(QUESTIONS, start=1)]
    assert (rows["answer"] != "").all() and (rows["answer"] == "not recorded").any()
    page = (sensitive / "appendix.html").read_text(encoding="utf-8")
    names = {words: report for report, words in REPORT_NAMES.items()}
    for where in (part for cell in rows["where"] for part in cell.split("; ")):
        if where.startswith("Table S"):
            assert f'<span class="number">{where}.</span>' in page
        elif where.startswith("Table"):
            number, report = where.split(" of the ")
            assert f'<span class="number">{number}.</span>' in (demo_folder / f"{names[report]}.html").read_text(encoding="utf-8")


def test_tables_of_a_report_are_numbered_in_the_order_in_which_they_stand():
    page = '<figure class="table short" id="table-flights"><figcaption id="table-flights-caption"></figcaption></figure><figure class="table" id="table-tags_heard">'
    assert numbered_tables({"1_quality_check": page}) == {("1_quality_check", "flights"): "Table 1 of the quality check", ("1_quality_check", "tags_heard"): "Table 2 of the quality check"}


def test_the_number_that_the_checklist_gives_a_table_is_the_one_printed_over_it(demo_folder):
    page = (demo_folder / "3_error_calibration.html").read_text(encoding="utf-8")
    for (_, name), words in numbered_tables({"3_error_calibration": page}).items():
        caption = page[page.index(f'id="table-{name}-caption"'):][:200]
        assert f'<span class="number">{words.split(" of ")[0]}.</span>' in caption


def test_the_index_leads_to_the_appendix_and_says_how_exact_it_is(demo_folder):
    page = (demo_folder / "index.html").read_text(encoding="utf-8")
    assert 'For a paper: <a href="appendix.html">' in page and "positions are generalised to a coarse grid" in page


def test_the_methods_name_the_program_its_version_and_its_revision(project):
    facts = SimpleNamespace(revision={"commit": "0123456789abcdef", "clean": True}, packages={"python": "3.11", "numpy": "2.4"})
    version = tomllib.loads((project / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
    assert software_text(facts) == f"Fixledger {version} (code revision: 0123456789ab, no changes beside it), in Python 3.11 with numpy 2.4"


def test_a_grid_of_a_species_hides_that_species_only(survey, demo_folder, tmp_path):
    settings = survey.publication.model_copy(update={"sensitive_species": ("Lyrurus tetrix",), "generalise_m": 5000.0})
    built(survey.model_copy(update={"sensitive": False, "publication": settings}), demo_folder, tmp_path / "x")
    table = pd.read_csv(tmp_path / "x" / "tables" / "appendix_positions.csv")
    assert set(table.loc[table["species"] == "Lyrurus tetrix", "precision"]) == {"centre of a square of 5 km of the UTM grid (EPSG:32630)"}
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


def test_a_unit_follows_from_the_ending_of_a_name():
    names = ["error_m", "region_95_ha", "distance_km", "speed_median_m_per_s", "walk_m_per_root_day", "net_squared_m2", "first_utc", "best_strength_db", "closest_approach_min_m", "listening_min", "passes"]
    assert [unit_of(name) for name in names] == ["m", "ha", "km", "m/s", "m per root of a day", "m²", "UTC, ISO 8601", "dB", "m", "min", ""]


def test_a_column_that_means_something_else_in_one_table_is_told_apart():
    assert column_meaning("survival", "days")[1] != column_meaning("movement_steps", "days")[1] and column_meaning("fixes", "no_such_column") == ("", NOT_DESCRIBED)
    rows = without_repeats(dictionary_table({"movement_steps": ["days", "tag_id"], "survival": ["days"], "fixes": ["tag_id"]}))
    assert rows.set_index("column").loc["tag_id", "tables"] == ["movement_steps", "fixes"] and (rows["column"] == "days").sum() == 2


def test_the_style_of_the_appendix_names_its_own_tables_only():
    assert set(re.findall(r"#table-([a-z]+)", (ASSETS / "appendix.css").read_text(encoding="utf-8"))) == {"columns", "files", "layers", "checklist"}


@pytest.mark.parametrize("codes, said", [((), "neither was clear, and the model holds neither."), (("clock-drift", "clock-lag"), "a drift in 1 flight was clear, and the model does not hold it.")])
def test_what_was_looked_for_within_flights_and_is_not_taken_out_is_said(codes, said):
    tables = {"instruments": pd.DataFrame({"drift_s": [0.4], "azimuth_lag_s": [np.nan]}), "messages": pd.DataFrame({"code": list(codes)}), "clock_lags": pd.DataFrame({"flight_id": ["A"], "applied_s": [0.0]})}
    found = SimpleNamespace(table=lambda name: tables.get(name, pd.DataFrame(columns=["parameter", "standard_error"])))
    assert appendix_words._correction_words(found, {}).endswith(said)
    tables["instruments"] = pd.DataFrame()
    assert "drift" not in appendix_words._correction_words(found, {})
