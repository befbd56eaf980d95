"""Outlines of the ground used: what they enclose, what they leave out, and who gets none."""

import numpy as np
import pandas as pd
import pytest
import shapely

from pipeline.figures.movement_places import range_panels
from pipeline.movement import TruePlaces, hull_area_m2, normal_range_area_m2, outline_table
from pipeline.movement.ranges import RANGES


def ranges_of(tag_id, area_50_ha, area_95_ha, verdict="given", widths=("kernel, reference width", "kernel, cross-validated width")):
    rows = [{"tag_id": tag_id, "method": method, "area_50_ha": area_50_ha, "area_95_ha": area_95_ha, "verdict": verdict} for method in ("bivariate normal", *widths)]
    return pd.DataFrame(rows, columns=list(RANGES))


def places_of(places_m):
    return TruePlaces(np.asarray(places_m)[None], np.zeros((1, 2)), np.eye(2)[None])


def enclosed(outlines, percent):
    rings = [shapely.Polygon(ring[["easting_m", "northing_m"]].to_numpy()) for _, ring in outlines[outlines["percent"] == percent].groupby("ring")]
    return rings, sum(ring.area for ring in rings)


def test_lines_about_a_normal_range_are_its_ellipses():
    # -2 ln(1 - share) pi sqrt|S|: R. I. Jennrich & F. B. Turner, J. theor. Biol. 22:227 (1969); radius sqrt(-2 ln(1 - share)) standard deviations.
    generator = np.random.default_rng(3)
    places = generator.normal(0, 300, (400, 2))
    true_ha = [normal_range_area_m2(300**2 * np.eye(2), share) / 1e4 for share in (0.5, 0.95)]
    outlines = outline_table({"1": places_of(places)}, ranges_of("1", *true_ha, widths=("kernel, reference width",)))
    for percent, share in ((50, 0.5), (95, 0.95)):
        rings, area = enclosed(outlines, percent)
        assert area / 1e4 == pytest.approx(normal_range_area_m2(300**2 * np.eye(2), share) / 1e4, rel=0.05)
        held = np.mean([any(ring.contains(shapely.Point(place)) for ring in rings) for place in generator.normal(0, 300, (3000, 2))])
        assert held == pytest.approx(share, abs=0.05)


def test_the_line_of_half_lies_inside_the_line_of_95_percent():
    outlines = outline_table({"1": places_of(np.random.default_rng(5).normal(0, 300, (60, 2)))}, ranges_of("1", 39.0, 169.0))
    outer = shapely.union_all(enclosed(outlines, 95)[0])
    assert all(outer.contains(ring) for ring in enclosed(outlines, 50)[0])


def test_two_clumps_get_two_rings_and_the_ground_between_is_left_out():
    generator = np.random.default_rng(7)
    places = np.vstack([generator.normal(0, 100, (40, 2)) + [east, 0] for east in (0, 3000)])
    rings, _ = enclosed(outline_table({"1": places_of(places)}, ranges_of("1", 9.0, 40.0)), 95)
    assert not any(ring.contains(shapely.Point(1500, 0)) for ring in rings)
    assert any(ring.contains(shapely.Point(0, 0)) for ring in rings) and any(ring.contains(shapely.Point(3000, 0)) for ring in rings)
    assert sum(ring.area for ring in rings) < 0.5 * hull_area_m2(places)


def test_the_reference_width_stands_in_where_the_other_is_refused():
    ranges = ranges_of("1", 39.0, 169.0)
    ranges.loc[ranges["method"].str.contains("cross"), "verdict"] = "refused"
    outlines = outline_table({"1": places_of(np.random.default_rng(5).normal(0, 300, (60, 2)))}, ranges)
    assert set(outlines["method"]) == {"kernel, reference width"}


def test_a_refused_animal_gets_no_outline():
    assert outline_table({}, ranges_of("1", np.nan, np.nan, verdict="refused")).empty


def test_one_panel_each_all_at_one_scale():
    places = {tag: places_of(np.random.default_rng(5).normal(0, size, (60, 2))) for tag, size in (("1", 300), ("2", 100))}
    outlines = outline_table(places, pd.concat([ranges_of("1", 39.0, 169.0), ranges_of("2", 4.3, 19.0)]))
    fixes = pd.DataFrame({"tag_id": ["1", "2"], "easting_m": 0.0, "northing_m": 0.0})
    figure = range_panels(outlines.assign(label=outlines["tag_id"]), fixes)
    shown = [ax for ax in figure.axes if ax.axison]
    assert [ax.get_title(loc="left") for ax in shown] == ["1", "2"] and shown[0].get_xlim() == shown[1].get_xlim()
