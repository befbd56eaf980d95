"""What a map is told so that a reader can go through a flight record by record, or through the positions of an animal date by date.

Long rows of whole numbers travel as text: 64 characters, five bits each and one bit for "more follows", the sign in the lowest bit.
A page that never goes through a flight pays for reading that text and nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Iterable

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from pipeline.columns import require_columns

DIGITS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
# Outlines and receiver are told to about a metre: whole hundred-thousandths of a degree.
FINENESS = 1e5
# A region with more than this share of its probability at the edge of the ground looked at is larger than its area says.
EDGE_SHARE = 0.02


@dataclass(frozen=True)
class FlightMoments:
    """How fixes came about.

    records : tag_id, flight_id, time_utc, easting_m, northing_m, heard, size_class of every usable record of the fixes.
    moments : tag_id, flight_id, frame, time_utc, minutes_flown, records_listened, records_heard, region_95_ha, error_radius_95_m, edge_probability.
    outlines : tag_id, flight_id, frame, probability (0.5 and 0.95), geometry.
    places : (tag_id, flight_id) -> what to say of the place that the whole flight gave.
    """

    records: pd.DataFrame
    moments: pd.DataFrame
    outlines: gpd.GeoDataFrame
    places: dict = field(default_factory=dict)

    kind = "flight"


@dataclass(frozen=True)
class DatedPlaces:
    """Positions of animals in order of time: tag_id, flight_id, easting_m, northing_m, label, words."""

    places: pd.DataFrame

    kind = "dates"


def flight_moments(records: pd.DataFrame, moments: pd.DataFrame, outlines: gpd.GeoDataFrame, size_classes, places: dict | None = None) -> FlightMoments | None:
    """The parts put together, records of other tags and flights and unplaced ones left out; None without a moment."""
    require_columns(records, ["tag_id", "flight_id", "time_utc", "easting_m", "northing_m", "heard", "strength_db"], "the records to retrace")
    require_columns(moments, ["tag_id", "flight_id", "frame", "time_utc", "records_listened", "records_heard", "region_95_ha", "error_radius_95_m", "edge_probability"], "the moments to retrace")
    if moments.empty:
        return None
    keys = pd.MultiIndex.from_frame(records[["tag_id", "flight_id"]])
    wanted = keys.isin(pd.MultiIndex.from_frame(moments[["tag_id", "flight_id"]]))
    if "usable" in records:
        wanted &= records["usable"].to_numpy(bool)
    own = records[wanted & records["easting_m"].notna().to_numpy()].sort_values(["flight_id", "tag_id", "time_utc"], kind="stable").reset_index(drop=True)
    return FlightMoments(own.assign(size_class=size_classes(own["strength_db"])), moments, outlines, places or {})


def packed(numbers: Iterable[int]) -> str:
    """Whole numbers as text; small ones take one character each."""
    text = []
    for number in numbers:
        rest = int(number) << 1 if number >= 0 else (-int(number) << 1) - 1
        while rest > 31:
            text.append(DIGITS[32 + (rest & 31)])
            rest >>= 5
        text.append(DIGITS[rest])
    return "".join(text)


def retrace_payload(retrace: FlightMoments | DatedPlaces | None, places, tags: list[str]) -> dict | None:
    """What the page's own code is told. places : a SheetPlaces. tags : names of the sheet in order."""
    if retrace is None:
        return None
    return _flights(retrace, places, tags) if isinstance(retrace, FlightMoments) else _dates(retrace, places, tags)


def _dates(retrace: DatedPlaces, places, tags: list[str]) -> dict:
    runs = []
    for tag, rows in retrace.places.groupby("tag_id", sort=False):
        runs.append({"tag": tags.index(str(tag)), "at": places.whole(rows["easting_m"], rows["northing_m"]), "flight": rows["flight_id"].astype(str).tolist(),
                     "label": rows["label"].astype(str).tolist(), "words": rows["words"].astype(str).tolist()})
    return {"kind": retrace.kind, "digits": DIGITS, "runs": runs}


def _flights(retrace: FlightMoments, places, tags: list[str]) -> dict:
    flights, runs = [], []
    outlines = dict(list(retrace.outlines.groupby(["tag_id", "flight_id"], sort=False)))
    moments = dict(list(retrace.moments.groupby(["tag_id", "flight_id"], sort=False)))
    corners = _Corners(places, retrace.outlines)
    for flight_id, flown in retrace.records.groupby("flight_id", sort=True):
        spots = flown.drop_duplicates("time_utc").sort_values("time_utc", kind="stable")
        times = pd.DatetimeIndex(spots["time_utc"])
        flights.append({"flight": str(flight_id), "at": packed(corners.whole(spots[["easting_m", "northing_m"]].to_numpy(float)).ravel()),
                        "time": packed(np.diff(_epoch_s(spots["time_utc"]), prepend=0))})
        for tag_id, rows in flown.groupby("tag_id", sort=True):
            key = (tag_id, flight_id)
            spot = times.get_indexer(pd.DatetimeIndex(rows["time_utc"]))
            heard = rows["heard"].to_numpy(bool)
            runs.append({
                "tag": tags.index(str(tag_id)), "flight": len(flights) - 1, "place": str(retrace.places.get(key, "")),
                "heard": packed(np.diff(spot[heard], prepend=0)), "size": "".join(map(str, rows["size_class"].to_numpy()[heard])),
                "silent": packed(_gaps_and_lengths(spot[~heard])), "moments": packed(_moment_numbers(moments[key], outlines[key], times, corners)),
            })
    return {"kind": retrace.kind, "digits": DIGITS, "fineness": FINENESS, "origin": corners.origin.tolist(), "flights": flights, "runs": runs}


def _gaps_and_lengths(numbers: np.ndarray) -> list[int]:
    """Rising numbers as runs: how far each begins beyond the end of the one before, and its length."""
    if not len(numbers):
        return []
    starts = np.flatnonzero(np.diff(numbers, prepend=numbers[0] - 2) != 1)
    ends = numbers[np.append(starts[1:] - 1, len(numbers) - 1)] + 1
    gaps = numbers[starts] - np.concatenate([[0], ends[:-1]])
    return np.stack([gaps, ends - numbers[starts]], axis=-1).ravel().tolist()


def _moment_numbers(moments: pd.DataFrame, outlines: gpd.GeoDataFrame, times: pd.DatetimeIndex, corners: "_Corners") -> list[int]:
    """All moments of a fix: of each the spot, records listened and heard, area in hundredths of a hectare, radius, whether the edge cuts it, then the two outlines."""
    shapes = {(row.frame, round(row.probability, 2)): row.Index for row in outlines.itertuples()}
    spots = times.get_indexer(pd.DatetimeIndex(moments["time_utc"]), method="nearest")       # a table may have rounded them
    numbers = [len(moments)]
    for spot, row in zip(spots.tolist(), moments.itertuples()):
        numbers += [spot, row.records_listened, row.records_heard, round(100 * row.region_95_ha), round(row.error_radius_95_m), int(row.edge_probability > EDGE_SHARE)]
        for level in (0.95, 0.5):
            numbers += corners.numbers(shapes.get((row.frame, level)))
    return numbers


class _Corners:
    """Corners of all outlines as steps in whole hundred-thousandths of a degree, the first from the middle of the sheet.

    All are projected together: one by one would take a hundred times as long.
    """

    def __init__(self, places, outlines: gpd.GeoDataFrame):
        self.places = places
        self.origin = self._degrees(np.array([places.middle_m]))[0]
        rings = [[[np.asarray(ring.coords)[:-1, :2] for ring in (part.exterior, *part.interiors)] for part in shapely.get_parts(shape)] for shape in outlines.geometry]
        flat = [ring for parts in rings for part in parts for ring in part]
        steps = iter(self._lines(flat))
        self.of_shape = {index: [[next(steps) for _ in part] for part in parts] for index, parts in zip(outlines.index, rings)}

    def whole(self, metres: np.ndarray) -> np.ndarray:
        """Steps (latitude, longitude) of one line, shape (points, 2)."""
        return self._lines([metres])[0]

    def numbers(self, index) -> list[int]:
        """Parts, of each its rings, of each its corners; a missing outline has no part."""
        told = [len(self.of_shape.get(index, []))]
        for part in self.of_shape.get(index, []):
            told.append(len(part))
            for ring in part:
                told += [len(ring), *ring.ravel().tolist()]
        return told

    def _lines(self, lines: list[np.ndarray]) -> list[np.ndarray]:
        """Steps of many lines, each (points, 2) eastings and northings."""
        if not lines:
            return []
        whole = self._degrees(np.concatenate(lines)) - self.origin
        pieces = np.split(whole, np.cumsum([len(line) for line in lines])[:-1])
        return [np.diff(piece, axis=0, prepend=np.zeros((1, 2), dtype=np.int64)) for piece in pieces]

    def _degrees(self, metres: np.ndarray) -> np.ndarray:
        return np.rint(np.stack(self.places.degrees(*metres.T), axis=-1) * FINENESS).astype(np.int64)


def _epoch_s(times: pd.Series) -> np.ndarray:
    """Whole seconds since 1970."""
    return (pd.to_datetime(times, utc=True) - pd.Timestamp(0, tz="UTC")).dt.total_seconds().round().astype(np.int64).to_numpy()
