"""What the interactive map is told: the marks of a sheet as compact columns, positions as whole millionths of a degree.

Names are kept once, in `tags`; every mark says by number to which tag it belongs. All text stays data: the page writes
it as text, never as HTML.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import shapely

from pipeline.figures.local_polynomial import fit_local_polynomials, unwrapped_positions
from pipeline.figures.relief import crop, height_step, lines_at
from pipeline.figures.sheet import DETECTION_LEVELS, MapSheet
from pipeline.figures.sheet_retrace import retrace_payload
from pipeline.figures.style import HEARD_RADII, SHAPES, SILENT_RADIUS

MICRODEGREES = 1e6
REGION_TOLERANCE_M = 0.5


class SheetPlaces:
    """Turns metres of a sheet into degrees as the map counts them (longitudes without a jump at the antimeridian)."""

    def __init__(self, sheet: MapSheet):
        self.projection = sheet.projection
        west, south, east, north = sheet.extent_m()
        self.extent_m = (west, south, east, north)
        self.middle_m = ((west + east) / 2, (south + north) / 2)

    def degrees(self, easting_m, northing_m) -> tuple[np.ndarray, np.ndarray]:
        """Latitudes and longitudes in degrees."""
        return unwrapped_positions(self.projection, easting_m, northing_m, self.middle_m)

    def whole(self, easting_m, northing_m) -> list[list[int]]:
        """Latitudes and longitudes in whole millionths of a degree (about 0.1 m), each row the step from the one before."""
        return self.whole_lines([np.stack([np.asarray(easting_m, dtype=float), np.asarray(northing_m, dtype=float)], axis=-1)])[0]

    def whole_lines(self, lines: list[np.ndarray]) -> list[list[list[int]]]:
        """The same for many lines, each (n, 2) eastings and northings; one projection for all is a hundred times faster."""
        if not lines:
            return []
        degrees = np.stack(self.degrees(*np.concatenate(lines)[:, :2].T), axis=-1)
        whole = np.rint(degrees * MICRODEGREES).astype(np.int64)
        pieces = np.split(whole, np.cumsum([len(line) for line in lines])[:-1])
        return [np.diff(piece, axis=0, prepend=np.zeros((1, 2), dtype=np.int64)).tolist() for piece in pieces]

    def bounds_deg(self) -> list[list[float]]:
        """South-west and north-east corner of the sheet as [latitude, longitude]."""
        west, south, east, north = self.extent_m
        latitude, longitude = self.degrees([west, east, west, east], [south, south, north, north])
        return [[float(latitude.min()), float(longitude.min())], [float(latitude.max()), float(longitude.max())]]


def sheet_payload(sheet: MapSheet, places: SheetPlaces) -> dict:
    """Everything the page's own map code draws itself; the study area and rasters go another way (see sheet_folium)."""
    tags = sheet.tags()
    return {
        "tags": tags,
        "offMap": [[name, words] for name, words in sheet.off_map.items()],
        "bounds": places.bounds_deg(),
        "projection": fit_local_polynomials(sheet.projection, places.extent_m),
        "shapes": {name: [list(map(list, stroke)) for stroke in shape.strokes] for name, shape in SHAPES.items()},
        "radii": {"heard": list(HEARD_RADII), "silent": SILENT_RADIUS},
        "tracks": [{"flight": line.flight_id, "parts": places.whole_lines(list(line.parts))} for line in sheet.tracks],
        "records": _records(sheet, places, tags),
        "recordsWait": sheet.records_wait_for_a_tag(),
        "regions": _regions(sheet, places, tags),
        "regionsWait": sheet.regions_wait_for_a_tag(),
        "labels": _labels(sheet, places, tags),
        "fixes": _points(sheet.fix_marks, places, tags),
        "fixesAreNewest": sheet.fixes_are_newest,
        "beacons": _points(sheet.beacon_marks, places, tags),
        "fetch": _points(sheet.fetch_marks, places, tags),
        "found": _points(sheet.found_marks, places, tags),
        "searchCircles": _search_circles(sheet, places, tags),
        "levels": _levels(sheet, places),
        "heights": _heights(sheet, places),
        "retrace": retrace_payload(sheet.retrace, places, tags),
    }


def _points(layer: pd.DataFrame | None, places: SheetPlaces, tags: list[str]) -> dict | None:
    if layer is None:
        return None
    number = {tag: index for index, tag in enumerate(tags)}
    points = {
        "at": places.whole(layer["easting_m"], layer["northing_m"]),
        "tag": [number.get(tag, -1) for tag in layer["tag_id"]],
        "label": layer["label"].tolist(),
        "note": layer["note"].astype(str).tolist(),
    }
    if "second_place" in layer:
        points["place"] = [int(place) if second else 0 for second, place in zip(layer["second_place"], layer["place_number"])]
    if "estimate_easting_m" in layer:
        known = layer["estimate_easting_m"].notna() & layer["estimate_northing_m"].notna()
        points["estimateOf"] = np.flatnonzero(known).tolist()
        points["estimate"] = places.whole(layer.loc[known, "estimate_easting_m"], layer.loc[known, "estimate_northing_m"])
    return points


def _search_circles(sheet: MapSheet, places: SheetPlaces, tags: list[str]) -> list[dict]:
    circles = sheet.search_circles()
    return [{"tag": tags.index(tag), "at": line} for (tag, _), line in zip(circles, places.whole_lines([outline for _, outline in circles]))]


def _regions(sheet: MapSheet, places: SheetPlaces, tags: list[str]) -> list[dict]:
    """The regions in drawing order: what is known of each, and its polygons as rings (the first the outline, the rest holes)."""
    if sheet.region_shapes is None:
        return []
    rows = sheet.region_shapes
    notes = rows["note"].fillna("") if "note" in rows else [""] * len(rows)
    seconds = rows["second_place"].astype(bool) if "second_place" in rows else [False] * len(rows)
    told = []
    for tag, flight, probability, note, second, geometry in zip(rows["tag_id"], rows["flight_id"], rows["probability"], notes, seconds, rows.geometry):
        shape = shapely.simplify(geometry, REGION_TOLERANCE_M)
        polygons = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon" and not part.is_empty]
        rings = [places.whole_lines([np.asarray(ring.coords)[:-1] for ring in (polygon.exterior, *polygon.interiors)]) for polygon in polygons]
        told.append({"tag": tags.index(str(tag)), "flight": str(flight), "probability": float(probability), "note": str(note), "second": bool(second), "rings": rings})
    return told


def _labels(sheet: MapSheet, places: SheetPlaces, tags: list[str]) -> dict:
    labels = sheet.labels()
    return {
        "at": places.whole([label.easting_m for label in labels], [label.northing_m for label in labels]) if labels else [],
        "text": [label.text for label in labels],
        "kind": [label.kind for label in labels],
        "tag": [tags.index(label.tag_id) if label.tag_id in tags else -1 for label in labels],
    }


def _records(sheet: MapSheet, places: SheetPlaces, tags: list[str]) -> dict | None:
    """Positions once for all tags; of each tag the positions where it was heard, and runs [first, length] where it was not."""
    marks = sheet.record_marks
    if marks is None:
        return None
    tag_of = marks["tag_id"].astype(str) if "tag_id" in marks else pd.Series([""] * len(marks))
    spots = marks[["easting_m", "northing_m"]].assign(time=_epoch_s(marks))
    unique = spots.drop_duplicates().reset_index(drop=True)
    spot_of = spots.merge(unique.reset_index(), how="left", on=["easting_m", "northing_m", "time"])["index"].to_numpy()
    groups = []
    for tag, rows in marks.groupby(tag_of, sort=True):
        heard = rows["heard"].astype(bool)
        heard_rows = rows[heard]
        saturated = heard_rows["saturated"].astype(bool) if "saturated" in rows else heard_rows["heard"] & False
        groups.append({
            "tag": tags.index(tag) if tag in tags else -1,
            "heard": spot_of[heard_rows.index].tolist(),
            "size": heard_rows["size_class"].tolist(),
            "db": [None if math.isnan(value) else round(float(value), 1) for value in heard_rows["strength_db"]],
            "saturated": np.flatnonzero(saturated.to_numpy()).tolist(),
            "silent": _runs(np.sort(spot_of[rows.index[~heard]])),
        })
    steps = np.diff(unique["time"].to_numpy(), prepend=0)
    return {"at": places.whole(unique["easting_m"], unique["northing_m"]), "time": steps.tolist(), "groups": groups}


def _epoch_s(marks: pd.DataFrame) -> np.ndarray:
    """Whole seconds since 1970 of each record; 0 where there is no time."""
    if "time_utc" not in marks:
        return np.zeros(len(marks), dtype=np.int64)
    since = (pd.to_datetime(marks["time_utc"], utc=True) - pd.Timestamp(0, tz="UTC")).dt.total_seconds()
    return since.fillna(0.0).round().astype(np.int64).to_numpy()


def _runs(numbers: np.ndarray) -> list[int]:
    """Sorted whole numbers as first, length, first, length..."""
    if not len(numbers):
        return []
    starts = np.flatnonzero(np.diff(numbers, prepend=numbers[0] - 2) != 1)
    lengths = np.diff(np.append(starts, len(numbers)))
    return np.stack([numbers[starts], lengths], axis=-1).ravel().tolist()


def _levels(sheet: MapSheet, places: SheetPlaces) -> list[dict]:
    ground = sheet.searched_ground
    if ground is None:
        return []
    return [
        {"level": f"{level:g}", "lines": places.whole_lines(lines_at(ground.values, ground.west_m, ground.north_m, ground.cell_m, level))}
        for level in DETECTION_LEVELS
    ]


def _heights(sheet: MapSheet, places: SheetPlaces) -> list[dict]:
    """Height contours from a thinned terrain, so that they stay light."""
    cropped = crop(sheet.terrain, sheet.extent_m(0.4), largest_cells=140) if sheet.terrain is not None else None
    if cropped is None or not np.isfinite(cropped[0]).any():
        return []
    heights, west, north, cell = cropped
    step = height_step(heights)
    levels = np.arange(math.ceil(np.nanmin(heights) / step) * step, np.nanmax(heights), step)
    lines = [
        {"height": round(float(level)), "lines": places.whole_lines([line for line in lines_at(heights, west, north, cell, float(level)) if len(line) > 7])}
        for level in levels
    ]
    return [line for line in lines if line["lines"]]
