"""Height of the canopy above the ground, from a raster or from polygons, in the survey CRS."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.geodesy import Projection
from pipeline.intake.findings import Findings
from pipeline.intake.ground import MOST_CELLS, read_raster

# The suffix of the file decides; everything else is read as a raster.
POLYGON_SUFFIXES = (".geojson", ".json", ".gpkg", ".shp", ".fgb")
HEIGHT = "canopy_height_m"
# The tallest forests on Earth stay below this, but for single trees. Common knowledge, no source.
_TALLEST_M = 100.0
# A surface less its ground is off by so much where nothing grows. Common practice, no source.
_NOISE_M = 1.0
# Lower growth is called open in the message on what is covered. Our choice.
_LOWEST_WOOD_M = 2.0
_MARGIN_M, _POLYGON_CELL_M = 2000.0, 10.0
# Around the box of the flights: what the message on coverage is about.
_NEAR_M = 500.0
_WITHOUT = "no loss in vegetation is taken into account"


@dataclass(frozen=True)
class CanopyHeights:
    """Height of the canopy's top above the ground on a regular grid in the survey CRS.

    height_m : array (rows, columns), north up, NaN where nothing is known; 0 to 100. [m] west_m, north_m : outer corner of the first cell.
    cell_m : side of the square cells. [m]
    """

    height_m: np.ndarray
    west_m: float
    north_m: float
    cell_m: float


def read_canopy(path: Path, name: str, projection: Projection, bounds_m, findings: Findings) -> CanopyHeights | None:
    """Read canopy heights and say how much of the area flown they cover; None when they cannot be used.

    path : a raster of heights above the ground in any CRS, or (by its suffix) a layer of polygons with the attribute canopy_height_m.
    bounds_m : (west, south, east, north) of all positions in the survey CRS; 2 km are kept around them.
    """
    reader = _of_polygons if path.suffix.lower() in POLYGON_SUFFIXES else _of_raster
    canopy = reader(path, name, projection, bounds_m, findings)
    if canopy is not None and np.isfinite(bounds_m).all():
        _tell_what_is_covered(canopy, name, bounds_m, findings)
    return canopy


def _of_raster(path, name, projection, bounds_m, findings) -> CanopyHeights | None:
    # Nearest: heights stay as they are in the file, so that impossible ones can be told from others.
    grid = read_raster(path, name, projection, bounds_m, findings, code="canopy", what="the canopy raster", without=_WITHOUT, margin_m=_MARGIN_M, resampling="nearest")
    if grid is None:
        return None
    height, *place = grid
    known = np.isfinite(height)
    wrong = known & ((height < -_NOISE_M) | (height > _TALLEST_M))
    if wrong.any() and not _heights_pass(height[wrong], int(known.sum()), "cells", name, findings):
        return None
    return CanopyHeights(np.where(wrong, np.nan, np.maximum(height, 0.0)), *place)


def _heights_pass(wrong_m, known: int, things: str, name: str, findings: Findings) -> bool:
    """Whether the rest can be used where these heights are impossible; tells either way. things : "cells" or "polygons"."""
    text = f"{len(wrong_m)} of {known} {things} have impossible canopy heights, {wrong_m.min():g} to {wrong_m.max():g} m"
    value = f"{wrong_m[0]:g}"
    if 2 * len(wrong_m) > known:
        findings.blocked("canopy-heights", text, file=name, value=value, consequence="loss in vegetation cannot be worked out from them",
                         remedy="give metres above the ground, 0 to 100; from a model of the surface subtract that of the ground")
        return False
    findings.look("canopy-heights", text, file=name, value=value, consequence="what grows there is not known",
                  remedy="write the code for no data into the file, if it is one; heights are metres above the ground", done="counted as open")
    return True


def _of_polygons(path, name, projection, bounds_m, findings) -> CanopyHeights | None:
    import geopandas

    try:
        layer = geopandas.read_file(path)
    except Exception as error:  # the reader's own error types are many; the text is what the user needs
        findings.blocked("canopy-unreadable", f"cannot be read as a map layer: {str(error).splitlines()[0].replace(str(path), name)}", file=name, remedy="export it again as GeoJSON")
        return None
    layer = layer[layer.geometry.geom_type.isin(("Polygon", "MultiPolygon")).to_numpy(bool)] if len(layer) else layer
    if layer.empty:
        findings.blocked("canopy-empty", "no polygon in it", file=name, consequence=_WITHOUT, remedy="draw woods as polygons, or remove canopy")
        return None
    if HEIGHT not in layer:
        findings.blocked("canopy-column", f"no attribute {HEIGHT}", file=name, value=", ".join(str(column) for column in layer.columns if column != "geometry"),
                         consequence=_WITHOUT, remedy=f"give every polygon its {HEIGHT}, metres above the ground")
        return None
    layer = (layer.set_crs(4326) if layer.crs is None else layer).to_crs(projection.crs)
    layer = layer.assign(**{HEIGHT: pd.to_numeric(layer[HEIGHT], errors="coerce")})
    blank = layer[HEIGHT].isna().to_numpy()
    if blank.any():
        findings.look("canopy-blank", f"{int(blank.sum())} of {len(layer)} polygons have no {HEIGHT}", file=name, remedy="fill it in", done="counted as open")
    layer = layer[~blank]
    height = layer[HEIGHT].to_numpy(float)
    wrong = (height < 0.0) | (height > _TALLEST_M)
    if wrong.any() and not _heights_pass(height[wrong], len(height), "polygons", name, findings):
        return None
    return _burnt(layer[~wrong], name, bounds_m, findings)


def _burnt(layer, name: str, bounds_m, findings: Findings) -> CanopyHeights | None:
    """Polygons as a raster around the data; the higher of two that overlap counts, and outside of all is open ground."""
    from rasterio.features import rasterize
    from rasterio.transform import from_origin

    box = np.asarray(layer.total_bounds if not np.isfinite(bounds_m).all() else bounds_m + np.array([-_MARGIN_M, -_MARGIN_M, _MARGIN_M, _MARGIN_M]), float)
    near = layer.cx[box[0]:box[2], box[1]:box[3]] if len(layer) else layer
    if near.empty:
        findings.look("canopy-elsewhere", "no polygon of canopy lies near the flights", file=name, consequence=_WITHOUT, remedy="use a layer of this area")
        return None
    west, south, east, north = box
    cell_m = max(_POLYGON_CELL_M, float(np.sqrt((east - west) * (north - south) / MOST_CELLS)))
    shape = (max(1, int(np.ceil((north - south) / cell_m))), max(1, int(np.ceil((east - west) / cell_m))))
    near = near.sort_values(HEIGHT, kind="stable")
    height = rasterize(zip(near.geometry.make_valid(), near[HEIGHT]), out_shape=shape, transform=from_origin(west, north, cell_m, cell_m), fill=0.0, dtype="float32")
    return CanopyHeights(height.astype(float), float(west), float(north), cell_m)


def _tell_what_is_covered(canopy: CanopyHeights, name: str, bounds_m, findings: Findings) -> None:
    """How much of the box of the flights, and of 500 m around it, the heights speak of."""
    west, south, east, north = bounds_m + np.array([-_NEAR_M, -_NEAR_M, _NEAR_M, _NEAR_M])
    rows, columns = canopy.height_m.shape
    column, row = canopy.west_m + canopy.cell_m * (np.arange(columns) + 0.5), canopy.north_m - canopy.cell_m * (np.arange(rows) + 0.5)
    inside = canopy.height_m[np.ix_((row > south) & (row < north), (column > west) & (column < east))]
    whole = (east - west) * (north - south) / canopy.cell_m**2
    known, wooded = (min(1.0, float(count) / whole) for count in (np.isfinite(inside).sum(), (inside >= _LOWEST_WOOD_M).sum()))
    highest = f", up to {np.nanmax(inside):.0f} m" if wooded > 0 else ""
    text = f"canopy heights are known for {known:.0%} of the flights' surroundings; {wooded:.0%} lie under canopy of {_LOWEST_WOOD_M:g} m or more{highest}".replace("%", " %")
    if known < 0.5 or wooded == 0.0:
        findings.look("canopy-covers", text, file=name, consequence="where no height is known, nothing is expected to grow" if known < 0.5 else "vegetation changes no position",
                      remedy="use heights of the whole area" if known < 0.5 else "check the file, if there are woods")
    else:
        findings.note("canopy-covers", text, file=name)
