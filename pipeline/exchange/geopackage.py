"""results.gpkg: the results of a campaign for a GIS, in one OGC GeoPackage."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio

# Layer and geometry, in the order in which they are drawn: the ground under the lines under the points.
LAYERS = {
    "searched": "MultiPolygon",
    "next_flight": "MultiPolygon",
    "regions": "MultiPolygon",
    "ground_regions": "MultiPolygon",
    "joined_regions": "MultiPolygon",
    "tracks": "LineString",
    "fixes": "Point",
    "ground_fixes": "Point",
    "joined_fixes": "Point",
    "beacons": "Point",
}

# Written into the file instead of the present moment, so that equal results are equal bytes.
_FIXED_DATE = "2000-01-01T00:00:00.000Z"


def write_results(path, *, fixes, regions, tracks, searched, beacons, **more) -> Path:
    """Write the five layers, and more of those named in LAYERS where they are given; an earlier file of this name is replaced.

    fixes, regions, tracks, searched, beacons : GeoDataFrame
        All in the survey CRS, which may be one without an EPSG code. Geometry: points, polygons, lines, polygons, points;
        polygons are stored as multi-polygons, rows without geometry are kept. A layer without rows is written with its
        columns. A layer may use another geometry where all its rows agree on it.

    Raises ValueError when a layer has no CRS, the layers differ in it, or one more is not named in LAYERS.

    The format is OGC 12-128: application id "GPKG" and a user version of 10200 or above, which GDAL sets.
    """
    given = {"fixes": fixes, "regions": regions, "tracks": tracks, "searched": searched, "beacons": beacons} | more
    unknown = sorted(set(more) - set(LAYERS))
    if unknown:
        raise ValueError(f"no layers of these names: {', '.join(unknown)}")
    _require_one_crs(given)
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.unlink(missing_ok=True)
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": _FIXED_DATE})
    try:
        for layer, usual_geometry in LAYERS.items():
            if layer not in given:
                continue
            pyogrio.write_dataframe(_storable(given[layer]), path, layer=layer, driver="GPKG",
                                    **_geometry_options(given[layer], usual_geometry))
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})
    return path


def _require_one_crs(layers: dict[str, gpd.GeoDataFrame]) -> None:
    without = [name for name, layer in layers.items() if layer.crs is None]
    if without:
        raise ValueError(f"layers without a CRS: {', '.join(without)}; set the survey CRS on them")
    first = layers["fixes"].crs
    others = [name for name, layer in layers.items() if layer.crs != first]
    if others:
        raise ValueError(f"layers in another CRS than fixes ({first.name}): {', '.join(others)}")


def _storable(layer: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """A copy whose columns the format can hold: times in milliseconds, other objects as text."""
    stored = layer.copy()
    for name in stored.columns.drop(stored.geometry.name):
        if isinstance(stored[name].dtype, pd.DatetimeTZDtype) or stored[name].dtype.kind == "M":
            stored[name] = stored[name].astype(pd.DatetimeTZDtype("ms", "UTC"))
        elif isinstance(stored[name].dtype, pd.CategoricalDtype) or stored[name].dtype == object:
            stored[name] = stored[name].astype("string")
    return stored


def _geometry_options(layer: gpd.GeoDataFrame, usual: str) -> dict:
    kinds = set(layer.geometry.dropna().geom_type)
    plain, multi = usual.removeprefix("Multi"), "Multi" + usual.removeprefix("Multi")
    if kinds <= {usual}:
        return {"geometry_type": usual}
    if kinds <= {plain, multi}:
        return {"geometry_type": multi, "promote_to_multi": True}
    if len(kinds) == 1:
        return {"geometry_type": kinds.pop()}
    return {"geometry_type": "Unknown"}
