"""The areas to be searched on foot, as files for a hand-held receiver of satellite positions: GPX 1.1 and GeoJSON, WGS84."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from dataclasses import dataclass

import numpy as np

from pipeline.wording import as_printed_m

GPX = "http://www.topografix.com/GPX/1/1"
CIRCLE_POINTS = 48
PROOF = "Not dead until proved on the ground."
CAUTION = f"A search area, not a point. {PROOF}"


@dataclass(frozen=True)
class SearchArea:
    """One tag to look for. latitude, longitude : best place. outlines : closed rings (n, 2) of latitude and longitude; circle and 95 % region, by name."""

    tag_id: str
    what: str
    note: str
    latitude: float
    longitude: float
    error_radius_95_m: float
    outlines: tuple[tuple[str, np.ndarray], ...]


def search_areas(walk, regions, projection) -> list[SearchArea]:
    """One area for each row of the list to walk with that has a place.

    Parameters
    ----------
    walk : DataFrame of retrieval_list
    regions : GeoDataFrame with tag_id, flight_id, probability, geometry in the survey CRS
    projection : has forward(latitude, longitude) and inverse(easting_m, northing_m)
    """
    areas = []
    for row in walk[walk["latitude"].notna()].itertuples():
        outlines = []
        if np.isfinite(row.error_radius_95_m):
            east, north = projection.forward(row.latitude, row.longitude)
            angle, radius_m = np.linspace(0.0, 2.0 * np.pi, CIRCLE_POINTS + 1), as_printed_m(row.error_radius_95_m)
            outlines.append(("circle of 95 %", _as_degrees(float(east) + radius_m * np.sin(angle), float(north) + radius_m * np.cos(angle), projection)))
        own = regions[(regions["tag_id"] == row.tag_id) & (regions["flight_id"] == row.flight_id) & (regions["probability"] == 0.95)]
        for geometry in own.geometry:
            for number, part in enumerate(getattr(geometry, "geoms", [geometry]), start=1):
                outlines.append((f"95 % region, part {number}", _as_degrees(*np.array(part.exterior.coords).T, projection)))
        areas.append(SearchArea(row.tag_id, walk.at[row.Index, "class"], row.note, float(row.latitude), float(row.longitude), float(row.error_radius_95_m), tuple(outlines)))
    return areas


def _as_degrees(easting_m, northing_m, projection) -> np.ndarray:
    latitude, longitude = projection.inverse(np.asarray(easting_m, float), np.asarray(northing_m, float))
    return np.round(np.stack([latitude, longitude], axis=1), 6)


def _described(note: str) -> str:
    """The note with the caution, said once: notes that carry their own warning of death get the rest of it alone."""
    return f"{note} {CAUTION}" if PROOF not in note else f"{note} {CAUTION.replace(PROOF, '').strip()}"


def to_gpx(areas: list[SearchArea]) -> str:
    """GPX 1.1: a waypoint for the best place and a closed track for every outline of each area."""
    root = ET.Element("gpx", {"version": "1.1", "creator": "Fixledger", "xmlns": GPX})
    for area in areas:  # the schema wants all waypoints before all tracks
        point = ET.SubElement(root, "wpt", lat=f"{area.latitude:.6f}", lon=f"{area.longitude:.6f}")
        for name, text in (("name", area.tag_id), ("cmt", area.what), ("desc", _described(area.note))):
            ET.SubElement(point, name).text = text
    for area in areas:
        for name, ring in area.outlines:
            track = ET.SubElement(root, "trk")
            ET.SubElement(track, "name").text = f"{area.tag_id} {name}"
            segment = ET.SubElement(track, "trkseg")
            for latitude, longitude in ring:
                ET.SubElement(segment, "trkpt", lat=f"{latitude:.6f}", lon=f"{longitude:.6f}")
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def to_geojson(areas: list[SearchArea]) -> str:
    """GeoJSON (RFC 7946): a point and a polygon for every outline of each area; longitude comes first."""
    features = []
    for area in areas:
        said = {"tag_id": area.tag_id, "class": area.what, "note": _described(area.note), "error_radius_95_m": None if np.isnan(area.error_radius_95_m) else as_printed_m(area.error_radius_95_m)}
        features.append({"type": "Feature", "properties": said | {"what": "best place"}, "geometry": {"type": "Point", "coordinates": [round(area.longitude, 6), round(area.latitude, 6)]}})
        # RFC 7946 wants outer rings counterclockwise.
        features += [{"type": "Feature", "properties": said | {"what": name}, "geometry": {"type": "Polygon", "coordinates": [_counterclockwise(ring[:, ::-1]).tolist()]}} for name, ring in area.outlines]
    return json.dumps({"type": "FeatureCollection", "features": features}, indent=1) + "\n"


def _counterclockwise(ring: np.ndarray) -> np.ndarray:
    x, y = ring.T
    return ring if np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]) > 0 else ring[::-1]
