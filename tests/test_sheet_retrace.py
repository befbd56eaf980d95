"""What a map is told of flights and dates to go over, unpacked again by other means."""

import numpy as np
import pandas as pd
import pytest
import shapely

from pipeline.figures import MapSheet
from pipeline.figures.sheet_payload import SheetPlaces, sheet_payload
from pipeline.figures.sheet_retrace import DIGITS, packed
from pipeline.geodesy import choose_projection
from tests.report_sample import records, track
from tests.retrace_sample import COUNTS, PLACES, RADII_M, dated_sheet, flight_sheet, moments_of

NAMES = ["Hare 1", "Hare 2", "Hare 3"]


def unpacked(text):
    """The numbers of a packed text, by bits written out: five of each digit, the lowest first, the sign in the very lowest."""
    numbers, bits = [], ""
    for digit in text:
        six = format(DIGITS.index(digit), "06b")
        bits = six[1:] + bits
        if six[0] == "0":
            whole = int(bits, 2)
            numbers.append(-((whole + 1) >> 1) if whole & 1 else whole >> 1)
            bits = ""
    return numbers


@pytest.fixture(scope="module")
def told():
    sheet = flight_sheet(NAMES)
    return sheet_payload(sheet, SheetPlaces(sheet)), sheet


def test_packed_numbers_come_back_and_small_ones_take_one_character():
    numbers = [0, 1, -1, 15, -16, 16, 1000, -123456789, 2**40]
    assert unpacked(packed(numbers)) == numbers
    assert len(packed([0, 1, -1, 15, -16])) == 5
    assert packed([]) == ""


def test_only_the_fixes_that_have_moments_can_be_gone_over(told):
    payload, _ = told
    assert payload["retrace"]["kind"] == "flight"
    assert [flight["flight"] for flight in payload["retrace"]["flights"]] == ["flight 1", "flight 2"]
    assert [(payload["tags"][run["tag"]], run["flight"]) for run in payload["retrace"]["runs"]] == [("Hare 1", 0), ("Hare 2", 0), ("Hare 1", 1), ("Hare 2", 1)]


def test_the_receiver_is_told_where_and_when_to_a_metre_and_a_second(told):
    payload, sheet = told
    flight = payload["retrace"]["flights"][1]
    flown = track().query("flight_id == 'flight 2'")
    degrees = np.cumsum(np.array(unpacked(flight["at"])).reshape(-1, 2), axis=0) + payload["retrace"]["origin"]
    east, north = sheet.projection.forward(*(degrees / payload["retrace"]["fineness"]).T)
    np.testing.assert_allclose(np.stack([east, north], axis=1), flown[["easting_m", "northing_m"]], atol=0.8)
    assert list(pd.to_datetime(np.cumsum(unpacked(flight["time"])), unit="s", utc=True)) == list(flown["time_utc"])


def test_every_record_is_heard_or_not_as_it_was(told):
    payload, _ = told
    own = records(NAMES[:2], PLACES).query("tag_id == 'Hare 1' and flight_id == 'flight 1'")
    run = payload["retrace"]["runs"][0]
    heard = np.cumsum(unpacked(run["heard"]))
    runs, silent, end = unpacked(run["silent"]), [], 0
    for gap, length in zip(runs[::2], runs[1::2]):
        silent += range(end + gap, end + gap + length)
        end += gap + length
    assert list(heard) == list(np.flatnonzero(own["heard"])) and len(run["size"]) == len(heard) and set(run["size"]) <= set("01234")
    assert silent == list(np.flatnonzero(~own["heard"])) and sorted([*heard, *silent]) == list(range(120))


def test_moments_carry_their_numbers_and_outlines(told):
    payload, sheet = told
    numbers = iter(unpacked(payload["retrace"]["runs"][1]["moments"]))

    def outline():
        parts = []
        for _ in range(next(numbers)):
            rings = [np.array([next(numbers) for _ in range(2 * next(numbers))]).reshape(-1, 2) for _ in range(next(numbers))]
            degrees = np.cumsum(rings[0], axis=0) + payload["retrace"]["origin"]
            parts.append(shapely.Polygon(np.stack(sheet.projection.forward(*(degrees / payload["retrace"]["fineness"]).T), axis=1)))
        return shapely.MultiPolygon(parts)

    assert next(numbers) == 4
    for frame, (count, radius) in enumerate(zip(COUNTS, RADII_M)):
        spot, listened, heard, hundredths, said_radius, cut = (next(numbers) for _ in range(6))
        assert (spot, listened, heard, said_radius, cut) == (count - 1, count, count // 3, radius, int(frame == 0))
        assert hundredths / 100 == pytest.approx(np.pi * radius**2 / 1e4, abs=0.006)
        wide, narrow = outline(), outline()
        disc = shapely.Point(PLACES[1]).buffer(radius, quad_segs=4)
        assert wide.symmetric_difference(disc).area < 2.0 * disc.length and narrow.area == pytest.approx(disc.area / 4, rel=0.03)
    assert next(numbers, None) is None


def test_regions_of_early_moments_do_not_widen_the_map():
    table, outlines = moments_of(NAMES[:2])
    plain = MapSheet(choose_projection([57.2], [-4.1]), alt="Tracks.").track(track())
    before = plain.extent_m()
    assert plain.retrace_flights(records(NAMES[:2], PLACES), table, outlines).extent_m() == before


def test_a_tag_without_a_mark_of_its_own_on_the_map_can_be_gone_over_and_found():
    sheet = flight_sheet(NAMES)
    for name in ("region_shapes", "record_marks", "fix_marks", "fetch_marks"):
        setattr(sheet, name, None)
    runs = sheet_payload(sheet, SheetPlaces(sheet))["retrace"]["runs"]
    assert runs and {sheet.tags()[run["tag"]] for run in runs} == set(sheet.retrace.moments["tag_id"])


def test_a_moment_takes_less_than_200_characters():
    """The budget of a report on 40 tags in 12 flights: of 5,760 moments each may take that much in one of 1.2 MB."""
    table, outlines = moments_of(NAMES[:2])
    sheet = MapSheet(choose_projection([57.2], [-4.1]), alt="Tracks.").track(track()).retrace_flights(records(NAMES[:2], PLACES), table, outlines)
    runs = sheet_payload(sheet.fixes(pd.DataFrame({"easting_m": 0.0, "northing_m": 0.0, "tag_id": NAMES[:2]})), SheetPlaces(sheet))["retrace"]["runs"]
    assert max(len(run["moments"]) for run in runs) / len(COUNTS) < 200


def test_dates_are_told_in_order_and_an_animal_with_one_position_is_left_out():
    sheet = dated_sheet(NAMES)
    told = sheet_payload(sheet, SheetPlaces(sheet))
    assert [told["tags"][run["tag"]] for run in told["retrace"]["runs"]] == ["Hare 1"]
    assert told["retrace"]["runs"][0]["flight"] == ["f1", "f2", "f3"] and len(told["retrace"]["runs"][0]["at"]) == 3


def test_nothing_to_go_over_leaves_no_control_and_no_word_in_the_legend():
    table, outlines = moments_of(NAMES[:2])
    sheet = MapSheet(choose_projection([57.2], [-4.1]), alt="Tracks.").track(track()).retrace_flights(records(NAMES[:2], PLACES), table.head(0), outlines.head(0))
    assert sheet.retrace is None and sheet_payload(sheet, SheetPlaces(sheet))["retrace"] is None
    assert "receiver" not in [symbol for symbol, _ in sheet.legend()] and "receiver" in [symbol for symbol, _ in flight_sheet(NAMES).legend()]


def test_a_column_that_is_missing_is_named():
    table, outlines = moments_of(NAMES[:2])
    with pytest.raises(ValueError, match="the moments to retrace lacks edge_probability"):
        MapSheet(choose_projection([57.2], [-4.1]), alt="Tracks.").retrace_flights(records(NAMES[:2], PLACES), table.drop(columns="edge_probability"), outlines)
