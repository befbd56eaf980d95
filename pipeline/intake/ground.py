"""The ground of a campaign: the study area and the terrain model, in the survey CRS."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.geodesy import Projection
from pipeline.intake.findings import Findings

MOST_CELLS = 4_000_000
_MARGIN_M = 5000.0


@dataclass(frozen=True)
class Terrain:
    """Ground heights on a regular grid in the survey CRS.

    height_m : array (rows, columns), north up, NaN where the model has a hole. west_m, north_m : outer corner of the first cell.
    cell_m : side of the square cells.
    """

    height_m: np.ndarray
    west_m: float
    north_m: float
    cell_m: float

    def at(self, easting_m, northing_m) -> np.ndarray:
        """Ground height [m] at positions, bilinear between cell centres; NaN outside the model and beside its holes."""
        column = (np.asarray(easting_m, dtype=float) - self.west_m) / self.cell_m - 0.5
        row = (self.north_m - np.asarray(northing_m, dtype=float)) / self.cell_m - 0.5
        rows, columns = self.height_m.shape
        # the outer half cell belongs to the model: its height is that of the edge cell
        inside = (column >= -0.5) & (column <= columns - 0.5) & (row >= -0.5) & (row <= rows - 0.5)
        column, row = np.clip(np.where(inside, column, 0), 0, columns - 1), np.clip(np.where(inside, row, 0), 0, rows - 1)
        left, top = np.minimum(column.astype(int), max(columns - 2, 0)), np.minimum(row.astype(int), max(rows - 2, 0))
        right, bottom = np.minimum(left + 1, columns - 1), np.minimum(top + 1, rows - 1)
        x, y = column - left, row - top
        heights = ((self.height_m[top, left] * (1 - x) + self.height_m[top, right] * x) * (1 - y)
                   + (self.height_m[bottom, left] * (1 - x) + self.height_m[bottom, right] * x) * y)
        return np.where(inside, heights, np.nan)[()]

    def hillshade(self, azimuth_deg: float = 315.0, altitude_deg: float = 45.0) -> np.ndarray:
        """Brightness of the lit ground, 0 (dark) to 1, same shape as height_m, NaN in holes. Lambert's cosine law."""
        if min(self.height_m.shape) < 2:
            return np.where(np.isnan(self.height_m), np.nan, np.sin(np.radians(altitude_deg)))
        down, east = np.gradient(self.height_m, self.cell_m)
        # minus: rows count southward, the formula wants the slope toward north
        north = -down
        sun_azimuth, sun_altitude = np.radians(azimuth_deg), np.radians(altitude_deg)
        toward_sun = -east * np.sin(sun_azimuth) - north * np.cos(sun_azimuth)
        light = (np.sin(sun_altitude) + np.cos(sun_altitude) * toward_sun) / np.sqrt(1 + east**2 + north**2)
        return np.clip(light, 0, 1)


def read_terrain(path: Path, name: str, projection: Projection, bounds_m, findings: Findings) -> Terrain | None:
    """Read a height raster of any CRS and bring it into the survey CRS around the data; None when it cannot be used.

    bounds_m : (west, south, east, north) of all positions in the survey CRS; 5 km are kept around them.
    """
    grid = read_raster(path, name, projection, bounds_m, findings, code="terrain", what="the terrain model", without="Flat ground assumed")
    return None if grid is None else Terrain(*grid)


def read_raster(path: Path, name: str, projection: Projection, bounds_m, findings: Findings, *, code: str, what: str, without: str, margin_m: float = _MARGIN_M,
                resampling: str = "bilinear"):
    """(heights with NaN where there are none, west_m, north_m, cell_m) of a raster of any CRS in the survey CRS around the data; None when it cannot be used.

    code : how the codes of messages begin. what : how the raster is called in them. without : what follows where it does not cover the flights.
    margin_m : kept around the data. resampling : one of rasterio's ways.
    """
    import rasterio
    from rasterio.transform import from_origin
    from rasterio.warp import Resampling, reproject

    try:
        with rasterio.open(path) as raster:
            if raster.crs is None:
                findings.blocked(f"{code}-crs", "the raster names no CRS", file=name, consequence="heights cannot be placed", remedy="write the CRS into the file")
                return None
            west, south, east, north, cell_m = _window(raster, projection, bounds_m, margin_m)
            if west >= east or south >= north:
                findings.look(f"{code}-elsewhere", f"{what} does not cover the flights", file=name, consequence=without, remedy="use a model of this area")
                return None
            shape = (max(1, int(np.ceil((north - south) / cell_m))), max(1, int(np.ceil((east - west) / cell_m))))
            height_m = np.full(shape, np.nan, dtype="float32")
            reproject(rasterio.band(raster, 1), height_m, src_crs=raster.crs, src_transform=raster.transform, src_nodata=raster.nodata,
                      dst_crs=projection.crs.to_wkt(), dst_transform=from_origin(west, north, cell_m, cell_m), dst_nodata=np.nan, resampling=Resampling[resampling])
    except rasterio.errors.RasterioIOError as error:
        findings.blocked(f"{code}-unreadable", f"cannot be read as a raster: {str(error).splitlines()[0].replace(str(path), name)}", file=name, remedy="export it again as GeoTIFF")
        return None
    return height_m.astype(float), float(west), float(north), float(cell_m)


def _window(raster, projection: Projection, bounds_m, margin_m: float):
    """Part of the raster around the data, in the survey CRS, and its cell size."""
    from rasterio.warp import calculate_default_transform

    transform, width, height = calculate_default_transform(raster.crs, projection.crs.to_wkt(), raster.width, raster.height, *raster.bounds)
    cell_m = transform.a
    west, north = transform.c, transform.f
    east, south = west + width * transform.a, north + height * transform.e
    if np.isfinite(bounds_m).all():
        west, south = max(west, bounds_m[0] - margin_m), max(south, bounds_m[1] - margin_m)
        east, north = min(east, bounds_m[2] + margin_m), min(north, bounds_m[3] + margin_m)
    area_m2 = max(east - west, 0) * max(north - south, 0)
    return west, south, east, north, max(cell_m, float(np.sqrt(area_m2 / MOST_CELLS)))


def read_study_area(path: Path, name: str, findings: Findings):
    """The study area as a GeoDataFrame in WGS 84 degrees, polygons only; None when it cannot be used."""
    import geopandas

    try:
        area = geopandas.read_file(path)
    except Exception as error:  # the reader's own error types are many; the text is what the user needs
        findings.blocked("study-area-unreadable", f"cannot be read as a map layer: {str(error).splitlines()[0].replace(str(path), name)}", file=name, remedy="export it again as GeoJSON")
        return None
    area = area.set_crs(4326) if area.crs is None else area.to_crs(4326)
    polygons = area.geometry.geom_type.isin(("Polygon", "MultiPolygon"))
    if not polygons.any():
        findings.blocked("study-area-empty", "no polygon in it", file=name, consequence="no area can be searched or shared", remedy="draw the study area as a polygon, or remove study_area")
        return None
    area = area[polygons].reset_index(drop=True)
    mended = ~area.geometry.is_valid
    if mended.any():
        findings.look("study-area-invalid", f"{int(mended.sum())} polygons cross themselves", file=name, remedy="check the outline", done="mended")
        area["geometry"] = area.geometry.make_valid()
    return area
