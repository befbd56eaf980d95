"""A map described once: what lies on it, in survey-CRS metres.

The interactive map (`sheet_folium`) and the printed picture (`sheet_twin`) are both drawn from this description, so
they always show the same marks. A sheet holds data only; it draws nothing and reads no file.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd

from pipeline.columns import require_columns
from pipeline.figures.sheet_retrace import DatedPlaces, FlightMoments, flight_moments
from pipeline.figures.style import HEARD_RADII, unit_circle

DETECTION_LEVELS = (0.5, 0.9)
# Regions of more fixes than this cover each other until nothing can be read; those of a tag then show once it is found. Our choice.
MOST_FIXES_WITH_REGIONS = 200


@dataclass(frozen=True)
class TrackLine:
    """The path of one flight, in parts: a part ends where the receiver was not on effort or the flight paused."""

    flight_id: str
    parts: tuple[np.ndarray, ...]


@dataclass(frozen=True)
class Searched:
    """Probability of having heard a tag lying there, north up: values[0, 0] is the cell at the north-west corner."""

    values: np.ndarray
    west_m: float
    north_m: float
    cell_m: float

    @property
    def extent_m(self) -> tuple[float, float, float, float]:
        """West, south, east, north of the raster in metres."""
        rows, columns = self.values.shape
        return (self.west_m, self.north_m - rows * self.cell_m, self.west_m + columns * self.cell_m, self.north_m)


@dataclass(frozen=True)
class Label:
    """Words beside a mark of a kind: fetch, fix or beacon."""

    text: str
    easting_m: float
    northing_m: float
    kind: str
    tag_id: str


class MapSheet:
    """One map. Every method adds a layer and gives the sheet back, so that calls can be chained.

    projection : has forward(latitude, longitude), inverse(easting_m, northing_m), convergence_deg(...), crs and name.
    alt : what the map shows, for a reader who cannot see it; required, one or two sentences with the finding.
    """

    def __init__(self, projection, *, alt: str):
        if not alt.strip():
            raise ValueError("a map needs an alternative text that says what it shows")
        self.projection = projection
        self.alt = alt.strip()
        self.terrain = None
        self.area = None
        self.tracks: tuple[TrackLine, ...] = ()
        self.record_marks = None
        self.region_shapes = None
        self.fix_marks = None
        self.fixes_are_newest = False
        self.beacon_marks = None
        self.fetch_marks = None
        self.found_marks = None
        self.searched_ground: Searched | None = None
        self.retrace: FlightMoments | DatedPlaces | None = None
        self.off_map: dict[str, str] = {}

    def backdrop(self, terrain) -> "MapSheet":
        """Relief under everything; with None a quiet metric grid alone.

        terrain : height_m (2-D, north up, NaN for holes), west_m, north_m, cell_m in the survey CRS.
        """
        self.terrain = terrain
        return self

    def without_a_place(self, known: dict[str, str]) -> "MapSheet":
        """What to say of tags that are looked for by name and have no place here: tag -> the rest of a sentence, with its full stop."""
        self.off_map = dict(known)
        return self

    def study_area(self, area: gpd.GeoDataFrame | None) -> "MapSheet":
        """The outline of the study area, polygons in the survey CRS."""
        self.area = None if area is None or area.empty else area
        return self

    def track(self, track: pd.DataFrame, *, longest_step_s: float | None = None) -> "MapSheet":
        """The paths flown, from rows of TRACK; the line is open where the receiver was not on effort.

        longest_step_s : also open where two records lie further apart in time; by default six times the usual interval.
        """
        require_columns(track, ["flight_id", "easting_m", "northing_m"], "the track of a map")
        lines = [
            TrackLine(str(flight_id), _track_parts(rows, longest_step_s))
            for flight_id, rows in track.groupby("flight_id", sort=True)
        ]
        self.tracks = tuple(line for line in lines if line.parts)
        return self

    def records(self, records: pd.DataFrame) -> "MapSheet":
        """Where tags were heard (filled triangle, larger = stronger) and where listened for in vain (small open square).

        records : easting_m, northing_m, heard, strength_db; also used when there: tag_id, flight_id, time_utc, saturated.
        With more than one tag the marks of a tag show once that tag is chosen.
        """
        require_columns(records, ["easting_m", "northing_m", "heard", "strength_db"], "the records of a map")
        placed = records[records["easting_m"].notna() & records["northing_m"].notna()].reset_index(drop=True)
        self.record_marks = None if placed.empty else placed.assign(size_class=size_classes(placed["strength_db"]))
        return self

    def regions(self, regions: gpd.GeoDataFrame) -> "MapSheet":
        """Where tags lie with probability 0.5 (filled), 0.8 (hatched edge) and 0.95 (dashed outline).

        regions : tag_id, flight_id, probability, geometry; also used when there: second_place (thinner), note (words).
        """
        require_columns(regions, ["tag_id", "flight_id", "probability", "geometry"], "the regions of a map")
        kept = regions[[geometry is not None and not geometry.is_empty for geometry in regions.geometry]]
        # the widest first, so that the narrower ones are drawn over them
        self.region_shapes = None if kept.empty else kept.sort_values("probability", ascending=False, kind="stable").reset_index(drop=True)
        return self

    def fixes(self, fixes: pd.DataFrame, *, newest: bool = False) -> "MapSheet":
        """Best places as crosses. newest : they are the newest places of what is marked, and are called so.

        fixes : easting_m, northing_m; also used when there: label (else tag_id), tag_id, note, second_place (thinner cross),
        place_number (shown beside a second place; 2 by default).
        """
        self.fixes_are_newest = newest
        self.fix_marks = _placed(fixes, "the fixes of a map", {"note": "", "second_place": False, "place_number": 2})
        return self

    def beacons(self, beacons: pd.DataFrame) -> "MapSheet":
        """True places of beacons as diamonds, with a line to the place estimated for them.

        beacons : true_easting_m, true_northing_m; also used when there: easting_m, northing_m (the estimate, blank for none),
        label (else tag_id), note.
        """
        require_columns(beacons, ["true_easting_m", "true_northing_m"], "the beacons of a map")
        renamed = beacons.rename(columns={"easting_m": "estimate_easting_m", "northing_m": "estimate_northing_m"})
        renamed = renamed.rename(columns={"true_easting_m": "easting_m", "true_northing_m": "northing_m"})
        blank = {"note": "", "estimate_easting_m": np.nan, "estimate_northing_m": np.nan}
        self.beacon_marks = _placed(renamed, "the beacons of a map", blank)
        return self

    def fetch(self, fetch: pd.DataFrame) -> "MapSheet":
        """Tags to look for on foot, as hexagons with an M: easting_m, northing_m, label (else tag_id), note; also used when there: search_radius_m, the circle to search."""
        self.fetch_marks = _placed(fetch, "the tags to look for on a map", {"note": "", "search_radius_m": np.nan})
        return self

    def found(self, found: pd.DataFrame) -> "MapSheet":
        """Tags that the ground crew has found, where it found them, as open hexagons: easting_m, northing_m, label (else tag_id), note."""
        self.found_marks = _placed(found, "the tags found on a map", {"note": ""})
        return self

    def search_circles(self) -> list[tuple[str, np.ndarray]]:
        """Tag and outline (n, 2) in metres of every circle to search on foot."""
        marks = [] if self.fetch_marks is None else self.fetch_marks[self.fetch_marks["search_radius_m"].notna()].itertuples()
        return [(mark.tag_id, np.array([mark.easting_m, mark.northing_m]) + mark.search_radius_m * unit_circle(72)) for mark in marks]

    def searched(self, values, west_m: float, north_m: float, cell_m: float) -> "MapSheet":
        """Ground searched: probability 0 to 1 per cell (2-D, north up, NaN outside), contours at 0.5 and 0.9."""
        grid = np.asarray(values, dtype=float)
        if grid.ndim != 2:
            raise ValueError(f"ground searched must be a 2-D raster, got {grid.ndim} dimensions")
        self.searched_ground = Searched(grid, float(west_m), float(north_m), float(cell_m))
        return self

    def retrace_flights(self, records: pd.DataFrame, moments: pd.DataFrame, outlines: gpd.GeoDataFrame, places: dict | None = None) -> "MapSheet":
        """Flights that a reader can go through record by record: where the receiver was, what it heard, and the region as it stood.

        records : of every tag and flight; those of fixes without moments are left out. moments, outlines : see FlightMoments.
        places : (tag_id, flight_id) -> words on the place that the whole flight gave; nothing is said of others.
        The extent of the sheet stays what it is: the first regions are as wide as the hearing range.
        """
        self.retrace = flight_moments(records, moments, outlines, size_classes, places)
        return self

    def retrace_dates(self, places: pd.DataFrame) -> "MapSheet":
        """Positions of animals that a reader can go through in order of time; see DatedPlaces. An animal with one position is left out."""
        require_columns(places, ["tag_id", "flight_id", "easting_m", "northing_m", "label", "words"], "the places to retrace")
        several = places[places.groupby("tag_id")["tag_id"].transform("size") > 1] if len(places) else places
        self.retrace = None if several.empty else DatedPlaces(several.reset_index(drop=True))
        return self

    def extent_m(self, margin: float = 0.06) -> tuple[float, float, float, float]:
        """West, south, east, north of everything on the sheet but the backdrop, widened by a share of the longer side."""
        boxes = np.array(self._boxes(), dtype=float).reshape(-1, 4)
        if not len(boxes):
            raise ValueError("a map needs at least one layer besides its backdrop")
        west, south = boxes[:, :2].min(axis=0)
        east, north = boxes[:, 2:].max(axis=0)
        width_m, height_m = max(east - west, 200.0), max(north - south, 200.0)
        # between 4:3 and 2:1, so that a map with its legend fits on a screen and on half a sheet of paper
        width_m, height_m = max(width_m, height_m * 4.0 / 3.0), max(height_m, width_m / 2.0)
        pad_m = margin * max(width_m, height_m)
        middle_e, middle_n = (west + east) / 2, (south + north) / 2
        return (middle_e - width_m / 2 - pad_m, middle_n - height_m / 2 - pad_m, middle_e + width_m / 2 + pad_m, middle_n + height_m / 2 + pad_m)

    def tags(self) -> list[str]:
        """Every name a reader may look for, in natural order (Hare 2 before Hare 10)."""
        names = set()
        retraced = None if self.retrace is None else self.retrace.moments if self.retrace.kind == "flight" else self.retrace.places
        for layer in (self.region_shapes, self.record_marks, self.fix_marks, self.beacon_marks, self.fetch_marks, self.found_marks, retraced):
            if layer is not None and "tag_id" in layer:
                names.update(str(name) for name in layer["tag_id"] if str(name))
        return sorted(names, key=natural_order)

    def labels(self) -> list["Label"]:
        """Words to stand beside marks, the most urgent first; a tag to look for on foot is named once, one that was found only where no fix names it."""
        labels, said = [], set()
        fixed = set() if self.fix_marks is None else set(self.fix_marks["tag_id"])
        found = None if self.found_marks is None else self.found_marks[~self.found_marks["tag_id"].isin(fixed)]
        for layer, kind in ((self.fetch_marks, "fetch"), (found, "found"), (self.fix_marks, "fix"), (self.beacon_marks, "beacon")):
            for row in [] if layer is None else layer.itertuples():
                text = f"{row.label} ({row.place_number:.0f})" if getattr(row, "second_place", False) else row.label
                place = (text, round(row.easting_m), round(row.northing_m))
                if text and place not in said:
                    said.add(place)
                    labels.append(Label(text, float(row.easting_m), float(row.northing_m), kind, row.tag_id))
        return labels

    def legend(self) -> list[tuple[str, str]]:
        """Symbol and words of everything that can be seen on this sheet."""
        entries = [
            ("searched", "ground searched, 0 to 1", self.searched_ground is not None),
            ("area", "study area", self.area is not None),
            ("track", "flight track; a gap where not on effort", bool(self.tracks)),
            ("heard", "heard; larger = stronger", self._any_record("heard", True)),
            ("saturated", "heard at the receiver's ceiling", self._any_record("saturated", True)),
            ("silent", "listened, not heard", self._any_record("heard", False)),
            ("fix", "newest place" if self.fixes_are_newest else "best place", _any_row(self.fix_marks)),
            ("second", "second place, numbered", _any_flag(self.fix_marks, "second_place") or _any_flag(self.region_shapes, "second_place")),
            ("region 50", "50 % region of a tag", self._any_region(0.5)),
            ("region 80", "80 % region", self._any_region(0.8)),
            ("region 95", "95 % region", self._any_region(0.95)),
            ("beacon", "beacon, line to its estimate" if self._any_estimate() else "beacon", _any_row(self.beacon_marks)),
            ("fetch", "tag to look for on foot", _any_row(self.fetch_marks)),
            ("search circle", "circle to search on foot", bool(self.search_circles())),
            ("found", "found on the ground, where it was seen", _any_row(self.found_marks)),
            ("receiver", "receiver, at the moment shown", isinstance(self.retrace, FlightMoments)),
        ]
        return [(symbol, words) for symbol, words, shown in entries if shown]

    def records_wait_for_a_tag(self) -> bool:
        """True when the records are of several tags, so that none is shown before a reader chooses one."""
        return self.record_marks is not None and "tag_id" in self.record_marks and self.record_marks["tag_id"].nunique() > 1

    def regions_wait_for_a_tag(self) -> bool:
        """True when the regions are of so many fixes that none is shown before a reader chooses a tag, and none in print."""
        return self._fixes_with_regions() > MOST_FIXES_WITH_REGIONS

    def waiting_words(self) -> str:
        """What the caption adds where regions wait, else nothing."""
        return f"The regions of {self._fixes_with_regions()} fixes would cover each other: those of a tag show once it is found by its name, the printed map has none." if self.regions_wait_for_a_tag() else ""

    def _fixes_with_regions(self) -> int:
        return 0 if self.region_shapes is None else len(self.region_shapes[["tag_id", "flight_id"]].drop_duplicates())

    def _any_record(self, column: str, value: bool) -> bool:
        return self.record_marks is not None and column in self.record_marks and bool((self.record_marks[column] == value).any())

    def _any_estimate(self) -> bool:
        return self.beacon_marks is not None and bool(self.beacon_marks["estimate_easting_m"].notna().any())

    def _any_region(self, probability: float) -> bool:
        return self.region_shapes is not None and bool(np.isclose(self.region_shapes["probability"], probability).any())

    def _boxes(self) -> list[tuple[float, float, float, float]]:
        boxes = [tuple(layer.total_bounds) for layer in (self.area, self.region_shapes) if layer is not None]
        boxes += [(*part.min(axis=0), *part.max(axis=0)) for line in self.tracks for part in line.parts]
        for layer in (self.record_marks, self.fix_marks, self.beacon_marks, self.fetch_marks, self.found_marks):
            if layer is not None:
                boxes.append((layer["easting_m"].min(), layer["northing_m"].min(), layer["easting_m"].max(), layer["northing_m"].max()))
        boxes += [(*outline.min(axis=0), *outline.max(axis=0)) for _, outline in self.search_circles()]
        if self.searched_ground is not None:
            boxes.append(self.searched_ground.extent_m)
        return boxes


def natural_order(name: str) -> list:
    """Key that sorts numbers inside names by value: Hare 2 before Hare 10."""
    return [(0, int(piece), "") if piece.isdigit() else (1, 0, piece.casefold()) for piece in re.split(r"([0-9]+)", name) if piece]


def size_classes(strength_db: pd.Series) -> np.ndarray:
    """Class 0 (weakest) to 4 (strongest) of each strength, even steps of decibels between the weakest and the strongest 2 %."""
    values = pd.to_numeric(strength_db).to_numpy(dtype=float)
    if not np.isfinite(values).any():
        return np.zeros(len(values), dtype=int)
    low, high = np.nanquantile(values, [0.02, 0.98])
    share = (np.nan_to_num(values, nan=low) - low) / max(high - low, 1e-9)
    return np.clip(np.floor(share * len(HEARD_RADII)), 0, len(HEARD_RADII) - 1).astype(int)


def _track_parts(rows: pd.DataFrame, longest_step_s: float | None) -> tuple[np.ndarray, ...]:
    points = rows[["easting_m", "northing_m"]].to_numpy(dtype=float)
    usable = np.isfinite(points).all(axis=1)
    if "on_effort" in rows:
        usable &= rows["on_effort"].to_numpy(dtype=bool)
    cut = np.zeros(len(rows), dtype=bool)
    if "time_utc" in rows and len(rows) > 1:
        step_s = rows["time_utc"].diff().dt.total_seconds().to_numpy(dtype=float)
        limit_s = longest_step_s or 6.0 * float(np.nanmedian(step_s))
        cut = np.nan_to_num(step_s) > limit_s
    part_number = np.cumsum(~usable | cut)
    parts = [points[usable & (part_number == number)] for number in np.unique(part_number[usable])]
    return tuple(part for part in parts if len(part) > 1)


def _placed(table: pd.DataFrame, what: str, blanks: dict) -> pd.DataFrame | None:
    """The rows that have a place, with a label and the optional columns filled in."""
    require_columns(table, ["easting_m", "northing_m"], what)
    rows = table[table["easting_m"].notna() & table["northing_m"].notna()].reset_index(drop=True)
    if rows.empty:
        return None
    filled = {name: rows[name].fillna(blank) if name in rows and not _is_nan(blank) else rows.get(name, blank) for name, blank in blanks.items()}
    filled["label"] = (rows["label"] if "label" in rows else rows.get("tag_id", pd.Series([""] * len(rows)))).fillna("").astype(str)
    filled["tag_id"] = (rows["tag_id"] if "tag_id" in rows else filled["label"]).fillna("").astype(str)
    return rows.assign(**filled)


def _is_nan(value) -> bool:
    return isinstance(value, float) and np.isnan(value)


def _any_row(layer: pd.DataFrame | None) -> bool:
    return layer is not None and len(layer) > 0


def _any_flag(layer: pd.DataFrame | None, column: str) -> bool:
    return layer is not None and column in layer and bool(layer[column].any())
