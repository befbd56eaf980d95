"""Figures of movement: numbers that can be read, bars that do not cover each other, panels in print."""

import numpy as np
import pandas as pd
import pytest

from pipeline.figures.movement import _side_by_side, net_displacement
from pipeline.figures.movement_places import path_panels, track_panels
from pipeline.figures.small_panels import joined_numbers
from pipeline.figures.style import in_style


def positions(label, places, radius_m=120.0):
    return pd.DataFrame({"label": label, "number": range(1, len(places) + 1), "easting_m": [float(x) for x, _ in places], "northing_m": [float(y) for _, y in places],
                         "error_radius_95_m": radius_m})


def along_track(label, places):
    return positions(label, places).rename(columns={"error_radius_95_m": "radius_95_m"}).assign(flight_id=[f"F{k}" for k in range(len(places))])


def numbers_in(ax):
    return [text for text in ax.texts if text.get_text()[:1].isdigit()]


def boxes_of(figure):
    """Boxes of the numbers in every panel, as drawn, in pixels."""
    with in_style():
        figure.draw_without_rendering()
        renderer = figure._get_renderer()
        return [[text.get_window_extent(renderer) for text in numbers_in(ax)] for ax in figure.axes]


@pytest.mark.parametrize("numbers, said", [([1], "1"), ([1, 2], "1, 2"), ([3, 1, 2], "1–3"), ([1, 2, 3, 5], "1–3, 5"), ([2, 4, 9], "2, 4, 9"), ([1, 3, 5, 7, 9, 36], "1 … 36")])
def test_numbers_in_a_row_are_joined(numbers, said):
    assert joined_numbers(numbers) == said


def test_two_flights_of_one_day_at_one_place_share_a_label():
    figure = path_panels(positions("H1", [(0, 0), (4, 3), (900, 0), (903, 2), (0, 900)]))
    assert sorted(text.get_text() for text in numbers_in(figure.axes[0])) == ["1, 2", "3, 4", "5"]


@pytest.mark.parametrize("draw, of", [(path_panels, positions), (track_panels, along_track)])
def test_no_number_lies_on_another(draw, of):
    generator = np.random.default_rng(4)
    tables = [of(f"H{number}", generator.normal(0, 400, (3, 2)).repeat(2, axis=0) + generator.normal(0, 40, (6, 2))) for number in range(9)]
    for boxes in boxes_of(draw(pd.concat(tables))):
        assert boxes and not any(one.overlaps(other) for place, one in enumerate(boxes) for other in boxes[:place])


@pytest.mark.parametrize("spread_m", [60, 400])
def test_in_a_crowd_numbers_are_left_out_but_never_the_first_and_the_last(spread_m):
    figure = path_panels(pd.concat([positions("H1", np.random.default_rng(1).normal(0, spread_m, (40, 2))), positions("H2", [(0, 0), (900, 0)])]))
    said = [text.get_text() for text in numbers_in(figure.axes[0])]
    named = {part for text in said for part in text.replace("–", ",").replace(" … ", ",").replace(" ", "").split(",")}
    assert {"1", "40"} <= named and max(map(len, said)) <= 12
    boxes = boxes_of(figure)[0]
    assert not any(one.overlaps(other) for place, one in enumerate(boxes) for other in boxes[:place])


def test_bars_of_one_day_stand_side_by_side_and_others_stay():
    assert _side_by_side(np.array([0.1, 8.0, 8.05, 8.1, 16.0]), 0.5).tolist() == pytest.approx([0.1, 8.0, 8.55, 9.1, 16.0])


def test_only_outer_panels_say_what_their_axes_are():
    net = pd.DataFrame({"label": np.repeat([f"H{k}" for k in range(5)], 2), "days": [1.0, 8.0] * 5, "low_m": 0.0, "high_m": 300.0, "distance_m": 100.0, "minimum_detectable_m": 250.0})
    axes = [ax for ax in net_displacement(net).axes if ax.axison]
    assert [bool(ax.get_ylabel()) for ax in axes] == [True, False, False, True, False]
    assert [bool(ax.get_xlabel()) for ax in axes] == [False, False, True, True, True]
