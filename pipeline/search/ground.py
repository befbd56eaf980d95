"""How well the ground was searched: probability of detection on a regular grid, per flight and for the campaign."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import shapely

from pipeline.radio import Listening, SignalModel
from pipeline.search.detection import Detection, in_order, independent_detection, probability_heard
from pipeline.search.silence import WeakTags, along_the_track, cautious_strengths, heard_at_all, one_look_per_pass, strengths_of

CELL_M = 50.0
MOST_CELLS = 4000
THRESHOLDS = (0.5, 0.9)
CAMPAIGN = "all flights"
NEGLIGIBLE = 0.005   # where even independent looks come to less than this, the expected figure is not worked out separately
_BLOCK_CELLS = 2000  # arrays of records x cells stay small


@dataclass(frozen=True)
class SearchGrid:
    """Square cells over the ground that matters; row 0 is the northernmost.

    west_m, north_m : outer corner of the array, survey CRS. [m]
    inside : array (rows, columns) of flags: cells whose centre lies in the area.
    """

    west_m: float
    north_m: float
    cell_m: float
    inside: np.ndarray

    @property
    def easting_m(self) -> np.ndarray:
        """Centres of the cells inside, shape (cells,). [m]"""
        return self.west_m + self.cell_m * (np.nonzero(self.inside)[1] + 0.5)

    @property
    def northing_m(self) -> np.ndarray:
        """Centres of the cells inside, shape (cells,). [m]"""
        return self.north_m - self.cell_m * (np.nonzero(self.inside)[0] + 0.5)

    @property
    def area_ha(self) -> float:
        """Area of the cells inside. [ha]"""
        return float(self.inside.sum()) * self.cell_m ** 2 / 1e4

    def as_array(self, values) -> np.ndarray:
        """Values of the cells inside as a 2-D array, rows north to south, blank outside."""
        array = np.full(self.inside.shape, np.nan)
        array[self.inside] = values
        return array


def search_grid(area, cell_m: float = CELL_M, most_cells: int = MOST_CELLS) -> SearchGrid:
    """The grid over an area (shapely polygon, survey CRS); cells are enlarged, in steps of 10 m, until no more than most_cells are needed."""
    needed = np.sqrt(area.area / most_cells)
    cell = cell_m if needed <= cell_m else float(np.ceil(needed / 10.0) * 10.0)
    west, south, east, north = area.bounds
    west, north = np.floor(west / cell) * cell, np.ceil(north / cell) * cell
    columns, rows = max(1, int(np.ceil((east - west) / cell))), max(1, int(np.ceil((north - south) / cell)))
    centre_east, centre_north = np.meshgrid(west + cell * (np.arange(columns) + 0.5), north - cell * (np.arange(rows) + 0.5))
    inside = shapely.contains_xy(area, centre_east, centre_north)
    if not inside.any():
        raise ValueError(f"no cell of {cell:g} m has its centre in the area of {area.area:.0f} m2; give a smaller cell_m")
    return SearchGrid(float(west), float(north), float(cell), inside)


def ground_round_track(easting_m, northing_m, margin_m: float = 500.0):
    """Where no study area is given: the hull of the track with a margin. Shapely polygon, survey CRS. [m]"""
    points = np.stack([np.asarray(easting_m, float), np.asarray(northing_m, float)], axis=1)
    return shapely.MultiPoint(points[np.isfinite(points).all(axis=1)]).convex_hull.buffer(margin_m)


@dataclass(frozen=True)
class Look:
    """What one flight adds: logarithms of being missed, shape (cells,) and, for tags of every strength under every model, (models, strengths, cells)."""

    log_missed_independent: np.ndarray
    log_expected: np.ndarray
    log_cautious: np.ndarray


@dataclass
class GroundSearch:
    """Works out looks for a model and a grid, and remembers them: tags listened to in the same records share one look.

    drawn : models drawn from the uncertainty of the model, averaged over; none = the model stands for sure. weak : of the cautious view.
    """

    model: SignalModel
    grid: SearchGrid
    drawn: tuple[SignalModel, ...] = ()
    weak: WeakTags = WeakTags()
    _known: dict = field(default_factory=dict, repr=False)

    def strengths(self, tag_type: str = "") -> tuple:
        """(as beacons let expect, cautiously reckoned): the tags of a type that are averaged over."""
        models = tuple(self.drawn) or (self.model,)
        return strengths_of(models, tag_type), cautious_strengths(models, tag_type, self.weak)

    def look(self, listening: Listening, tag_type: str = "") -> Look:
        """What a flight would have heard of a tag of this type in each cell; what it did hear is not used."""
        names = ("easting_m", "northing_m", "height_above_ground_m", "azimuth_grid_deg", "threshold_db", "step_m")
        key = (tag_type, listening.terrain is None, listening.canopy is None, *(np.asarray(getattr(listening, name), float).tobytes() for name in names))
        if key not in self._known:
            self._known[key] = self._new_look(listening, tag_type)
        return self._known[key]

    def detection(self, listenings, tag_type: str = "") -> Detection:
        """Detection by several flights together; the tag keeps its power from flight to flight."""
        looks = [self.look(listening, tag_type) for listening in listenings if len(listening)]
        if not looks:
            nothing = np.zeros(int(self.grid.inside.sum()))
            return Detection(nothing, nothing, nothing)
        plain, careful = self.strengths(tag_type)
        return in_order(-np.expm1(sum(look.log_missed_independent for look in looks)), heard_at_all(sum(look.log_expected for look in looks), plain),
                        heard_at_all(sum(look.log_cautious for look in looks), careful))

    def cautious_part(self, listening: Listening, tag_type: str = "") -> np.ndarray:
        """Logarithms of hearing nothing in a part of a flight, cautiously reckoned: array (models, strengths, cells)."""
        return one_look_per_pass(listening, self.strengths(tag_type)[1], self.grid.easting_m, self.grid.northing_m)

    def _new_look(self, listening: Listening, tag_type: str) -> Look:
        easting, northing = self.grid.easting_m, self.grid.northing_m
        plain, careful = self.strengths(tag_type)
        independent = np.zeros(len(easting))
        for start in range(0, len(easting), _BLOCK_CELLS):
            block = slice(start, start + _BLOCK_CELLS)
            independent[block] = independent_detection(probability_heard(listening, self.model, easting[block], northing[block], tag_type))
        with np.errstate(divide="ignore"):
            log_missed = np.log1p(-independent)
        expected = np.broadcast_to(log_missed, (*plain.power_db.shape, len(easting))).copy()
        worth = independent >= NEGLIGIBLE
        expected[:, :, worth] = along_the_track(listening, plain, easting[worth], northing[worth])
        return Look(log_missed, expected, one_look_per_pass(listening, careful, easting, northing))


def ground_searched(search: GroundSearch, listenings: dict[str, Listening], tag_type: str = "") -> dict[str, Detection]:
    """Detection per flight and, under "all flights", for the campaign; `listenings` holds one listening per flight id."""
    found = {flight_id: search.detection([listening], tag_type) for flight_id, listening in listenings.items()}
    found[CAMPAIGN] = search.detection(list(listenings.values()), tag_type)
    return found


def area_table(searched: dict[str, Detection], grid: SearchGrid, tag_type: str = "") -> pd.DataFrame:
    """Area searched to 0.5 and 0.9 or more, per flight and campaign.

    Returns
    -------
    DataFrame: flight_id, tag_type, area_ha (of the grid), for each version area_50_<version>_ha and area_90_<version>_ha with version independent,
    expected and cautious, mean_cautious, and share_50_cautious, share_90_cautious of the area.
    """
    cell_ha = grid.cell_m ** 2 / 1e4
    rows = []
    for flight_id, detection in searched.items():
        row = {"flight_id": flight_id, "tag_type": tag_type, "area_ha": grid.area_ha}
        for version, values in (("independent", detection.independent), ("expected", detection.expected), ("cautious", detection.cautious)):
            for threshold in THRESHOLDS:
                row[f"area_{threshold * 100:.0f}_{version}_ha"] = float((values >= threshold).sum()) * cell_ha
        row["mean_cautious"] = float(detection.cautious.mean())
        for threshold in THRESHOLDS:
            row[f"share_{threshold * 100:.0f}_cautious"] = row[f"area_{threshold * 100:.0f}_cautious_ha"] / grid.area_ha
        rows.append(row)
    return pd.DataFrame(rows)


def cumulative_area(search: GroundSearch, listenings: dict[str, Listening], minutes: dict[str, np.ndarray], tag_type: str = "", every_min: float = 5.0) -> pd.DataFrame:
    """Cautiously searched area against minutes listened, flights in the order given.

    Parameters
    ----------
    minutes : per flight the minutes that each record of its listening stands for, shape (records,). [min]
    every_min : spacing of the points within a flight. [min]

    Returns
    -------
    DataFrame: flight_id, minutes (since the campaign began, listening only), area_50_ha, area_90_ha. Begins with a row of zeros.
    """
    _, careful = search.strengths(tag_type)
    cell_ha = search.grid.cell_m ** 2 / 1e4
    before, so_far = 0.0, np.zeros((*careful.power_db.shape, int(search.grid.inside.sum())))
    rows = [("", 0.0, 0.0, 0.0)]
    for flight_id, listening in listenings.items():
        flown = np.cumsum(minutes[flight_id])
        if not len(flown):
            continue
        cuts = [*np.searchsorted(flown, np.arange(every_min, flown[-1], every_min)), len(flown) - 1]
        for cut in dict.fromkeys(int(cut) for cut in cuts):
            part = listening if cut == len(flown) - 1 else listening.first_records(cut + 1)
            log_nothing = search.cautious_part(part, tag_type)
            detection = heard_at_all(so_far + log_nothing, careful)
            rows.append((flight_id, before + float(flown[cut]), *(float((detection >= level).sum()) * cell_ha for level in THRESHOLDS)))
        so_far, before = so_far + log_nothing, before + float(flown[-1])
    return pd.DataFrame(rows, columns=["flight_id", "minutes", "area_50_ha", "area_90_ha"])
