"""docs/accuracy.md and its figure say what the measured tables say, and the field table counts what it says it counts."""

import re
import shutil

import numpy as np
import pandas as pd
import pytest

from tests.benchmarks import accuracy, document, field, terrain


@pytest.fixture(scope="module")
def worlds():
    return pd.read_csv(accuracy.RESULT)


@pytest.fixture(scope="module")
def ways():
    return pd.read_csv(terrain.RESULT)


@pytest.fixture(scope="module")
def roles():
    return pd.read_csv(field.RESULT)


@pytest.fixture(scope="module")
def page(project):
    return (project / "docs" / "accuracy.md").read_text(encoding="utf-8")


def tables_of(page):
    """Every table of a Markdown page: (heads, rows of cells)."""
    blocks = re.findall(r"(?:^\|.*\|\n)+", page, flags=re.M)
    lines = [[[cell.strip() for cell in line.strip("|").split("|")] for line in block.splitlines()] for block in blocks]
    return [(rows[0], rows[2:]) for rows in lines]


STALE = "run python -m tests.benchmarks.document"


def test_the_page_is_the_one_that_the_tables_make(page, worlds, ways, roles):
    assert page == document.text(worlds, ways, roles), STALE


def test_median_errors_on_the_page_are_those_measured(page, worlds):
    heads, rows = tables_of(page)[0]
    assert heads == ["world", "fixes", "our fixes", "true parameters", "least squares", "power-weighted centroid", "strongest record", "bound"]
    assert [row[0] for row in rows] == list(worlds["world"])
    columns = ["fixes", "median_ours_m", "median_true_parameters_m", "median_least_squares_m", "median_centroid_m", "median_strongest_m", "median_bound_m"]
    assert np.array([row[1:] for row in rows], float) == pytest.approx(worlds[columns].to_numpy(float), abs=0.5001), STALE


def test_shares_held_on_the_page_are_those_measured(page, worlds):
    heads, rows = tables_of(page)[1]
    assert heads[1:4] == ["50 % regions", "80 % regions", "95 % regions"]
    assert np.array([row[1:4] for row in rows], float) == pytest.approx(worlds[["held_50", "held_80", "held_95"]].to_numpy(float), abs=0.005001), STALE


def test_what_terrain_is_worth_on_the_page_is_what_was_measured(page, ways):
    heads, rows = tables_of(page)[2]
    assert heads[3:6] == ["median error", "to that without", "95 % held"]
    assert [[row[0], float(row[1].removesuffix(" m")), row[5]] for row in rows] == [[line.way, line.flown_m, f"{line.held_95} of {line.fixes}"] for line in ways.itertuples()], STALE
    assert np.array([row[4] for row in rows], float) == pytest.approx(ways["to_without"].to_numpy(float), abs=0.005001), STALE


def test_field_errors_and_regions_on_the_page_are_those_measured(page, roles):
    (_, errors), (_, regions) = tables_of(page)[3:5]
    for method, row in zip(("ours", "least_squares", "centroid", "strongest"), errors):
        assert np.array(row[1:], float) == pytest.approx(roles[[f"median_{method}_m", f"p90_{method}_m"]].to_numpy(float).ravel(), abs=0.5001), STALE
    assert [row[:5] for row in regions] == [[row.role, f"{row.cases}", *(f"{held} of {row.cases}" for held in (row.held_50, row.held_80, row.held_95))] for row in roles.itertuples()], STALE


def test_the_figure_is_the_one_that_the_table_makes(project, worlds):
    """The same drawing with numbers to a twentieth of a point, so that another machine's rounding does no harm."""
    from pipeline.figures.style import figure_as_svg, settle

    figure = document.draw(worlds)
    settle(figure)
    kept, made = (project / "docs" / "accuracy.svg").read_text(encoding="utf-8"), figure_as_svg(figure)
    number = r"-?\d+(?:\.\d+)?(?:e-?\d+)?"
    ids = r'(id="|href="#|url\(#)[^")]*'
    kept, made = (re.sub(ids, r"\1", drawing) for drawing in (kept, made))
    assert re.sub(number, "0", kept) == re.sub(number, "0", made), STALE
    assert [float(value) for value in re.findall(number, kept)] == pytest.approx([float(value) for value in re.findall(number, made)], abs=0.05), STALE


def test_a_drawing_of_other_numbers_is_another_drawing(worlds):
    """The comparison above can fail."""
    from pipeline.figures.style import figure_as_svg, settle

    drawings = []
    for factor in (1.0, 1.03):
        figure = document.draw(worlds.assign(median_ours_m=factor * worlds["median_ours_m"]))
        settle(figure)
        drawings.append([float(value) for value in re.findall(r"-?\d+\.\d+", figure_as_svg(figure))])
    assert drawings[0] != pytest.approx(drawings[1], abs=0.05)


def test_the_picture_is_small_and_its_alternative_text_gives_the_finding(project, page, worlds):
    assert (project / "docs" / "accuracy.png").stat().st_size < 200_000
    alt = re.search(r"\[!\[(.*?)\]\(accuracy\.png\)\]\(accuracy\.svg\)", page).group(1)
    assert f"our fixes {worlds['median_ours_m'].min():.0f} to {worlds['median_ours_m'].max():.0f} m" in alt and "]" not in alt


def test_every_method_has_a_shape_of_its_own():
    shapes = [shape for _, _, shape, _ in document.MEDIANS.values()]
    assert len(set(shapes)) == len(shapes) and len({shape for _, shape, _ in document.HELD.values()}) == 3


def test_the_command_is_named_where_accuracy_is_measured(project):
    how = (project / "DEVELOPERS.md").read_text(encoding="utf-8").split("**Measure accuracy.**")[1].split("\n\n")[0]
    for module in ("accuracy", "terrain", "field", "document"):
        assert f"python -m tests.benchmarks.{module}`" in how


def test_the_finding_says_who_is_nearer_for_better_or_worse(roles):
    ours_best, ours_worse = (roles.assign(median_ours_m=value) for value in (5.0, 900.0))
    assert "at the median our fixes are nearer" in document.field_finding(ours_best)
    assert "at the median our fixes are farther off" in document.field_finding(ours_worse)


# the field table, on cases made up for it

CASES = pd.DataFrame({"error_ours_m": [10.0, 20.0, 30.0], "error_strongest_m": [50.0, 60.0, 100.0], "error_centroid_m": [40.0, 40.0, 40.0], "error_least_squares_m": [1.0, 2.0, 300.0],
                      "held_50": [True, False, False], "held_80": [True, True, False], "held_95": [True, True, False], "region_95_ha": [1.0, 2.0, 90.0]})


def test_a_line_of_the_field_table_counts_and_takes_quantiles_by_hand():
    line = field.summary("made up", CASES)
    assert (line["cases"], line["held_50"], line["held_80"], line["held_95"]) == (3, 1, 2, 2)
    # Nine tenths of the way from the first to the third of three: 20 + 0.8 x 10.
    assert line["median_ours_m"] == 20.0 and line["p90_ours_m"] == pytest.approx(28.0)
    assert line["median_region_95_ha"] == 2.0 and line["median_least_squares_m"] == 2.0 and line["p90_strongest_m"] == pytest.approx(92.0)


def test_aims_are_reached_from_the_right_side():
    line = field.summary("made up", CASES)
    assert [reached for *_, reached in field.aims_reached(line)] == [True, True, False, True]
    assert [reached for *_, reached in field.aims_reached(line | {"held_95": 3, "median_ours_m": 76.0, "median_region_95_ha": 45.1})] == [False, True, True, False]


def test_swapped_roles_exchange_beacons_and_unknown_radios(field_data, tmp_path):
    truths = {}
    for swapped in (False, True):
        folder = tmp_path / f"{swapped}"
        folder.mkdir()
        truths[swapped] = field.write_campaign(field_data, folder, swapped)
        beacons, tags = pd.read_csv(folder / "beacons.csv"), pd.read_csv(folder / "tags.csv")
        assert set(tags["tag_id"]) == set(truths[swapped].index) and not set(beacons["tag_id"]) & set(tags["tag_id"])
        assert beacons[["latitude", "longitude", "height_above_ground_m"]].notna().all(axis=None)
        shutil.rmtree(folder / "flights")
    assert [len(truths[swapped]) for swapped in (False, True)] == [11, 13]
