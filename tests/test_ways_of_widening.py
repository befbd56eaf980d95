"""Tempering and its rivals on normal posteriors whose regions are known in closed form, and the sentences on them."""

import numpy as np
import pandas as pd
import pytest

from pipeline.location import Posterior
from pipeline.stages import ways_of_widening_words as say
from pipeline.stages.ways_of_widening import BY_LEVEL, BY_RADIUS, COLUMNS, TEMPERED, BeaconFix, read_beacon_fixes, ways_of_widening

SD_M, CELL_M = 50.0, 5.0
HALF_CELLS = 80


def normal_posterior(widening):
    """A round normal density of 50 m about (0, 0) on cells of 5 m."""
    column, row = (axis.ravel() for axis in np.meshgrid(np.arange(-HALF_CELLS, HALF_CELLS + 1), np.arange(-HALF_CELLS, HALF_CELLS + 1)))
    return Posterior(column, row, 0.0, 0.0, CELL_M, -0.5 * CELL_M**2 * (column**2 + row**2) / SD_M**2, widening)


def beacon_fix(place, error_m, widening=0.25):
    posterior = normal_posterior(widening)
    return BeaconFix(place, posterior, posterior.widened(1.0).level_at(error_m, 0.0), posterior.level_at(error_m, 0.0), error_m)


def rows(table, way):
    return table[table["way"] == way].set_index("nominal")


@pytest.fixture(scope="module")
def twenty_four():
    """Errors of twice the stated spread, spaced evenly by probability, at 24 places; the widening of 1/4 that this asks for."""
    levels = (np.arange(24) + 0.5) / 24
    return [beacon_fix(f"P{number:02d}", 2 * SD_M * np.sqrt(-2 * np.log(1 - level))) for number, level in enumerate(levels) if level < 0.96] + [beacon_fix("P98", 150.0), beacon_fix("P99", 180.0)]


@pytest.fixture(scope="module")
def table(twenty_four):
    return ways_of_widening(twenty_four)


def test_a_tempered_region_of_a_normal_has_the_area_of_its_circle(table):
    """A round normal of sd s holds p within s sqrt(-2 ln(1 - p)), so the area is -2 pi s^2 ln(1 - p); s is 100 m after widening. Derived."""
    for nominal, row in rows(table, TEMPERED).iterrows():
        assert row["median_area_ha"] == pytest.approx(-2 * np.pi * 100**2 * np.log(1 - nominal) / 1e4, rel=0.02)
        assert row["used_low"] == row["used_high"] == nominal


def test_on_round_normals_level_and_radius_choose_the_same_discs(table):
    level, radius = rows(table, BY_LEVEL), rows(table, BY_RADIUS)
    for nominal in (0.5, 0.8):
        assert radius.loc[nominal, "median_area_ha"] == pytest.approx(level.loc[nominal, "median_area_ha"], rel=0.04)
        assert radius.loc[nominal, "inside"] == level.loc[nominal, "inside"]
    # Stated radii are half of what the errors ask for.
    assert radius.loc[0.5, "used_low"] == pytest.approx(2.0, rel=0.1)


def test_at_equal_coverage_round_normals_leave_no_way_sharper(table):
    for nominal in (0.5, 0.8):
        areas = table.loc[table["nominal"] == nominal, "equal_coverage_median_ha"]
        assert areas.max() <= 1.06 * areas.min()


def test_every_place_is_counted_once_and_the_interval_is_that_of_places():
    often = [beacon_fix("A", 20.0)] * 9 + [beacon_fix("B", 400.0 / 2)] + [beacon_fix("C", 60.0)]
    row = rows(ways_of_widening(often), TEMPERED).loc[0.5]
    assert (row["fixes"], row["inside"], row["places"]) == (11, 10, 3)
    assert row["share"] == pytest.approx(2 / 3)
    # Clopper-Pearson for 2 of 3: the roots of 3 p^2 - 2 p^3 = 0.025 and 1 - p^3 = 0.025, derived.
    assert row["low_95"] == pytest.approx(0.0943, abs=1e-4) and row["high_95"] == pytest.approx(0.975 ** (1 / 3), abs=1e-6)


def test_below_twenty_places_a_95_percent_region_has_a_reason_and_no_number():
    few = [beacon_fix(f"P{number:02d}", 10.0 + 5 * number) for number in range(19)]
    lines = ways_of_widening(few)
    for way in (BY_LEVEL, BY_RADIUS):
        row = rows(lines, way).loc[0.95]
        assert row["reason"] == "it needs 19 other beacon places, and there are 18"
        assert (row["fixes"], row["without_region"]) == (0, 19) and np.isnan(row[["share", "used_low", "median_area_ha"]].astype(float)).all()
    enough = ways_of_widening([*few, beacon_fix("P19", 12.0)])
    assert (rows(enough, BY_LEVEL).loc[0.95, ["fixes", "without_region", "reason"]] == [20, 0, ""]).all()


def test_a_beacon_that_only_tests_teaches_no_other():
    fixes = [beacon_fix(f"P{number:02d}", 10.0 + 5 * number) for number in range(20)]
    assert rows(ways_of_widening(fixes, {"P05"}), BY_RADIUS).loc[0.95, "reason"] == "it needs 19 other beacon places, and there are 18"


def test_beacons_beyond_all_that_the_density_holds_leave_no_level_and_say_so():
    fixes = [beacon_fix(f"P{number}", 900.0) for number in range(6)]
    lines = ways_of_widening(fixes)
    assert rows(lines, BY_LEVEL).loc[0.8, "reason"] == "other beacons lay outside all that the density as computed holds"
    assert np.isnan(rows(lines, BY_LEVEL).loc[0.8, "equal_coverage_median_ha"])
    assert rows(lines, BY_RADIUS).loc[0.8, "inside"] == 6


def test_no_fix_gives_headers_only():
    empty = ways_of_widening([])
    assert list(empty.columns) == COLUMNS and empty.empty


def test_posteriors_are_read_back_as_they_were_before_widening(tmp_path):
    """What stage 2 writes (widened, single precision) gives the levels that it wrote beside it."""
    posterior = normal_posterior(0.4)

    class Left:
        def read_work(self, name):
            key = {"tag_id": ["B1"], "flight_id": ["F1"]}
            if name == "beacon_tests":
                return pd.DataFrame({**key, "place_id": "P1", "true_easting_m": 60.0, "true_northing_m": 10.0, "widening": 0.4, "level_before": posterior.widened(1.0).level_at(60.0, 10.0),
                                     "level_after": posterior.level_at(60.0, 10.0)})
            if name == "posterior_frames":
                return pd.DataFrame({**key, "west_m": 0.0, "south_m": 0.0, "cell_m": CELL_M})
            return pd.DataFrame({"tag_id": "B1", "flight_id": "F1", "column": posterior.column, "row": posterior.row, "log_density": posterior.combined.astype("float32")})

    fix, = read_beacon_fixes(Left())
    assert fix.error_m == pytest.approx(np.hypot(60.0, 10.0), abs=0.01)
    assert fix.posterior.widened(1.0).level_at(60.0, 10.0) == pytest.approx(fix.level_before, abs=1e-3)
    assert fix.posterior.level_at(60.0, 10.0) == pytest.approx(fix.level_after, abs=1e-3)


def ways(areas, fixes=10):
    return pd.DataFrame([{"way": way, "nominal": 0.95, "equal_coverage_median_ha": area, "fixes": fixes if way == TEMPERED else 0, "reason": "" if way == TEMPERED else "it needs more"}
                         for way, area in areas.items()])


@pytest.mark.parametrize("areas, said", [
    ({TEMPERED: 12.0, BY_LEVEL: 11.5, BY_RADIUS: 10.0}, "At equal coverage conformal radii are sharper than tempering"),
    ({TEMPERED: 10.0, BY_LEVEL: 10.5, BY_RADIUS: 13.0}, "At equal coverage tempering is about as sharp as conformal levels"),
    ({TEMPERED: 10.0, BY_LEVEL: 20.0, BY_RADIUS: 13.0}, "At equal coverage tempering is sharper than conformal radii"),
    ({TEMPERED: np.nan, BY_LEVEL: 20.0, BY_RADIUS: 13.0}, "Tempering cannot be set to hold 95 % of these truths; conformal radii can"),
    ({TEMPERED: np.nan, BY_LEVEL: np.nan, BY_RADIUS: 13.0}, "No two ways of widening can be compared at equal coverage"),
])
def test_the_heading_says_which_way_is_the_sharper(areas, said):
    assert say.heading(ways(areas)) == said


def test_lower_levels_at_which_a_rival_is_sharper_are_named_beside_the_highest():
    both = pd.concat([ways({TEMPERED: 5.3, BY_RADIUS: 5.1}), ways({TEMPERED: 3.2, BY_LEVEL: 2.7}).assign(nominal=0.8), ways({TEMPERED: 1.0, BY_LEVEL: 1.0}).assign(nominal=0.5)])
    assert say.heading(both) == "At equal coverage tempering is about as sharp as conformal radii at 95 %, and less sharp than a rival at 80 %"
    assert "Set to hold 80 % of these truths, the median region has 2.7 ha by a conformal level and 3.2 ha by tempering." in say.paragraph(both)


def test_the_paragraph_gives_the_areas_and_why_a_region_is_missing():
    said = say.paragraph(ways({TEMPERED: 12.0, BY_LEVEL: 11.5, BY_RADIUS: 10.0}))
    assert said == ("Set to hold 95 % of these truths, the median region has 10 ha by a conformal radius, 12 ha by a conformal level and 12 ha by tempering. "
                    "No 95 % region exists by a conformal level or by a conformal radius: it needs more. The regions of this report are tempered, which any number of beacons allows.")
