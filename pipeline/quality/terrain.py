"""Whether the terrain model knows the ground that was flown over and listened to: its holes and its edges."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely
from scipy import ndimage

from pipeline.intake import Terrain
from pipeline.messages import Message

SAMPLE_M = 100.0
# From this share on, missing ground calls for a look. Our choice.
WORTH_A_LOOK = 0.10
_REMEDY = "Use a model that covers the tracks and the ground within hearing of them, without holes"


def terrain_findings(terrain: Terrain | None, track: pd.DataFrame, within_m: float) -> list[Message]:
    """Messages about holes in the terrain model and its edges, under the tracks and on the ground within hearing.

    track : TRACK table. within_m : how far from the track ground matters [m]; it is sampled every 100 m. Without a terrain model, which intake tells, nothing is said.
    """
    placed = track[track["easting_m"].notna() & track["northing_m"].notna()]
    if terrain is None or placed.empty:
        return []
    flown = _missing(terrain, placed["easting_m"].to_numpy(float), placed["northing_m"].to_numpy(float))
    near = _missing(terrain, *_ground_near(placed, within_m))
    found = _kind(placed, flown, near, within_m, "hole", "terrain-holes", "in holes of the terrain model") + _kind(placed, flown, near, within_m, "beyond", "terrain-edge", "beyond the edge of the terrain model")
    if found:
        return found
    return [Message("note", "terrain-covers", f"The terrain model knows all ground under the tracks and within {within_m:,.0f} m of them, in cells of {terrain.cell_m:.0f} m", value=f"{terrain.cell_m:.0f} m")]


def _kind(placed, flown: np.ndarray, near: np.ndarray, within_m: float, kind: str, code: str, where: str) -> list[Message]:
    records, share = int((flown == kind).sum()), float((near == kind).mean())
    if not records and not share:
        return []
    flights = placed["flight_id"][flown == kind]
    under = f"{records:,d} of {len(placed):,d} records were made above ground {where} ({', '.join(f'{name}: {count:,d}' for name, count in flights.value_counts(sort=False).items())})" if records else "No record was made above such ground"
    percent = "under 1 %" if share < 0.01 else f"{100.0 * share:.0f} %"
    return [Message("look" if records or share >= WORTH_A_LOOK else "note", code, f"{percent} of the ground within {within_m:,.0f} m of the tracks lies {where}. {under}", value=f"{100.0 * share:.1f} %",
                    consequence="Ways over it count as free of hills, and heights above it take the median of their flight" if records else "Ways over it count as free of hills", remedy=_REMEDY)]


def _missing(terrain: Terrain, easting_m: np.ndarray, northing_m: np.ndarray) -> np.ndarray:
    """For each position "beyond" the model, in a "hole" (or beside one), or ""."""
    rows, columns = terrain.height_m.shape
    column, row = np.floor((easting_m - terrain.west_m) / terrain.cell_m).astype(int), np.floor((terrain.north_m - northing_m) / terrain.cell_m).astype(int)
    inside = (column >= 0) & (column < columns) & (row >= 0) & (row < rows)
    unknown = ~inside | np.isnan(terrain.at(easting_m, northing_m))
    # Between cell centres a height is unknown as soon as one of its neighbours is.
    near_outside = ndimage.binary_dilation(_outside(terrain.height_m), np.ones((3, 3)))
    beyond = ~inside | near_outside[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)]
    return np.where(unknown, np.where(beyond, "beyond", "hole"), "")


def _outside(height_m: np.ndarray) -> np.ndarray:
    """Cells without a height that reach the border of the grid: a model turned into the survey CRS does not fill its corners."""
    labels, _ = ndimage.label(np.isnan(height_m), np.ones((3, 3)))
    border = np.unique(np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]]))
    return np.isin(labels, border[border > 0])


def _ground_near(placed: pd.DataFrame, within_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Points every 100 m on the ground within a distance of any record."""
    ways = [shapely.LineString(points) if len(points) > 1 else shapely.Point(points[0])
            for points in (part[["easting_m", "northing_m"]].to_numpy(float) for _, part in placed.groupby("flight_id", sort=True))]
    reach = shapely.union_all([way.simplify(SAMPLE_M / 4).buffer(within_m) for way in ways])
    west, south, east, north = reach.bounds
    easting_m, northing_m = (values.ravel() for values in np.meshgrid(np.arange(west + SAMPLE_M / 2, east, SAMPLE_M), np.arange(south + SAMPLE_M / 2, north, SAMPLE_M)))
    kept = shapely.contains_xy(reach, easting_m, northing_m)
    return easting_m[kept], northing_m[kept]
