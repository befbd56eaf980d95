"""Relief and searched ground as small pictures for the interactive map, warped to the map's own projection."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass

import numpy as np
from PIL import Image
from rasterio.crs import CRS
from rasterio.transform import Affine
from rasterio.warp import Resampling, calculate_default_transform, reproject, transform_bounds

from pipeline.figures.relief import crop, shaded_relief
from pipeline.figures.sheet import MapSheet
from pipeline.figures.style import LIGHT

WEB_MERCATOR = CRS.from_epsg(3857)
FINE_SIDE_PX = 600


@dataclass(frozen=True)
class Overlay:
    """A picture as data URI and its bounds: south, west, north, east in degrees."""

    data_uri: str
    bounds_deg: tuple[float, float, float, float]


def relief_overlay(sheet: MapSheet) -> Overlay | None:
    """Shaded relief of a sheet's terrain around its extent, in plain greys that the page warms; None without terrain."""
    cropped = crop(sheet.terrain, sheet.extent_m(0.6)) if sheet.terrain is not None else None
    if cropped is None:
        return None
    heights, west, north, cell = cropped
    times = max(1, FINE_SIDE_PX // max(heights.shape))
    relief = _enlarged(shaded_relief(heights, cell), times)
    # pure grey: the coding of colour differences would otherwise leave tinted blotches in gentle slopes
    relief[..., :3] = relief[..., :3].mean(axis=-1, keepdims=True).round()
    return _overlay(relief, west, north, cell / times, sheet.projection, quality=82)


def searched_overlay(sheet: MapSheet) -> Overlay | None:
    """Probability of detection as one hue from light to deep; None when the sheet has none."""
    ground = sheet.searched_ground
    if ground is None:
        return None
    share = np.clip(np.nan_to_num(ground.values), 0.0, 1.0)[..., None]
    light, deep = (np.array([int(LIGHT[role][at : at + 2], 16) for at in (1, 3, 5)], dtype=float) for role in ("ground-light", "ground-deep"))
    alpha = np.where(np.isfinite(ground.values), 190.0, 0.0)[..., None]
    picture = np.concatenate([light + share * (deep - light), alpha], axis=-1).round().astype(np.uint8)
    times = max(1, FINE_SIDE_PX // max(picture.shape[:2]))
    return _overlay(_enlarged(picture, times), ground.west_m, ground.north_m, ground.cell_m / times, sheet.projection, quality=80)


def _enlarged(picture: np.ndarray, times: int) -> np.ndarray:
    """A coarse raster drawn finer and smooth, so that its cells do not show as blocks when the map is magnified."""
    rows, columns = picture.shape[:2]
    return np.array(Image.fromarray(picture).resize((columns * times, rows * times), Image.Resampling.BICUBIC))


def _overlay(picture: np.ndarray, west_m: float, north_m: float, cell_m: float, projection, quality: int) -> Overlay:
    source_crs = CRS.from_wkt(projection.crs.to_wkt())
    rows, columns = picture.shape[:2]
    transform = Affine(cell_m, 0, west_m, 0, -cell_m, north_m)
    bounds = (west_m, north_m - rows * cell_m, west_m + columns * cell_m, north_m)
    target, width, height = calculate_default_transform(source_crs, WEB_MERCATOR, columns, rows, *bounds)
    warped = np.zeros((4, height, width), dtype=np.uint8)
    reproject(np.moveaxis(picture, -1, 0).copy(), warped, src_transform=transform, src_crs=source_crs, dst_transform=target, dst_crs=WEB_MERCATOR, resampling=Resampling.bilinear)
    # what is transparent gets the colour of what is beside it, or the coding would draw a dark rim along the edge
    warped[:3, warped[3] == 0] = np.median(warped[:3, warped[3] > 0], axis=1)[:, None].astype(np.uint8) if warped[3].any() else 255
    stream = io.BytesIO()
    Image.fromarray(np.moveaxis(warped, 0, -1).copy()).save(stream, "WEBP", quality=quality, method=4)
    west, south, east, north = transform_bounds(WEB_MERCATOR, CRS.from_epsg(4326), target.c, target.f + height * target.e, target.c + width * target.a, target.f)
    middle_lon = float(projection.inverse(west_m + columns * cell_m / 2, north_m - rows * cell_m / 2)[1])
    west, east = (middle_lon + (edge - middle_lon + 180.0) % 360.0 - 180.0 for edge in (west, east))
    return Overlay("data:image/webp;base64," + base64.b64encode(stream.getvalue()).decode("ascii"), (south, west, north, east))
