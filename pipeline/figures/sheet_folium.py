"""The interactive map of a sheet: folium holds the map, its panes, rasters and study area; our own script draws the rest."""

from __future__ import annotations

import json
import re

import folium
import numpy as np
import shapely
from branca.element import Element, MacroElement
from folium.map import CustomPane, FeatureGroup
from folium.raster_layers import ImageOverlay
from folium.template import Template
from shapely.geometry import mapping

from pipeline.figures.sheet import MapSheet
from pipeline.figures.sheet_payload import SheetPlaces, sheet_payload
from pipeline.figures.sheet_rasters import Overlay, relief_overlay, searched_overlay


class OpenSheet(MacroElement):
    """Hands the folium layers and the payload of a sheet to the page's map code, once everything else exists."""

    _template = Template("{% macro script(this, kwargs) %}fixledger.openSheet({{ this._parent.get_name() }}, { {{ this.layer_list() }} }, {{ this.payload }});{% endmacro %}")

    def __init__(self, layers: dict[str, Element], payload: dict):
        super().__init__()
        self._name = "OpenSheet"
        self.layers = layers
        self.payload = script_json(payload)

    def layer_list(self) -> str:
        """The layers as members of a script object: theme name to variable name."""
        return ", ".join(f"{name}: {layer.get_name()}" for name, layer in self.layers.items())


def script_json(value) -> str:
    """JSON that can stand inside a script element and a branca template: nothing in it can end the one or speak to the other.

    branca renders every script twice, the second time as a template, so that {{ }} in a name would be carried out.
    """
    text = json.dumps(value, separators=(",", ":"), ensure_ascii=False)
    text = re.sub(r"\{(?=[{%#])", r"\\u007b", text)       # only inside strings: JSON itself never has these pairs
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text


def folium_map(sheet: MapSheet, name: str) -> folium.Map:
    """The sheet as a folium map without tiles. name : start of all element ids, which are the same at every call."""
    places = SheetPlaces(sheet)
    chart = folium.Map(location=None, tiles=None, control_scale=False, zoom_control=False, attributionControl=False, zoomSnap=0.25, zoomDelta=0.5, maxZoom=20, wheelPxPerZoomLevel=120)
    CustomPane("ground", z_index=250).add_to(chart)
    CustomPane("labels", z_index=620).add_to(chart)
    layers: dict[str, Element] = {}
    for theme, overlay, alt in (("relief", relief_overlay(sheet), "Shaded relief"), ("searched", searched_overlay(sheet), "Ground searched, light to deep")):
        if overlay is not None:
            layers[theme] = _image_layer(overlay, theme, alt).add_to(chart)
    if sheet.area is not None:
        layers["area"] = folium.GeoJson(_area_features(sheet, places), name="area", style_function=_look, control=False).add_to(chart)
    chart.fit_bounds(places.bounds_deg())
    OpenSheet(layers, sheet_payload(sheet, places)).add_to(chart)
    _number_elements(chart, name)
    return chart


def _image_layer(overlay: Overlay, theme: str, alt: str) -> FeatureGroup:
    south, west, north, east = overlay.bounds_deg
    group = FeatureGroup(name=theme, control=False)
    ImageOverlay(overlay.data_uri, [[south, west], [north, east]], alt=alt, pane="ground", class_name=f"ground-{theme}").add_to(group)
    return group


def _look(feature: dict) -> dict:
    """The class of a polygon; the style sheet of the page says how the class looks in light, dark and print."""
    return {"className": feature["properties"]["look"]}


def _area_features(sheet: MapSheet, places: SheetPlaces) -> dict:
    return {"type": "FeatureCollection", "features": [_feature(index, geometry, places, "area") for index, geometry in enumerate(sheet.area.geometry)]}


def _feature(index: int, geometry, places: SheetPlaces, look: str) -> dict:
    """A polygon with its look and its number and no words: what stands in folium's own data is rendered as a template."""

    def to_degrees(metres):
        latitude, longitude = places.degrees(*metres[:, :2].T)
        return np.stack([longitude, latitude], axis=-1).round(6)

    return {"type": "Feature", "id": str(index), "properties": {"look": look}, "geometry": _lists(mapping(shapely.transform(geometry, to_degrees)))}


def _lists(shape: dict) -> dict:
    return json.loads(json.dumps(shape))


def _number_elements(chart: folium.Map, name: str) -> None:
    """Give every element a plain number for its id: folium's own ids are random, and two runs must give the same bytes."""
    stem = name.replace("-", "_")
    waiting, count = [chart], 0
    while waiting:
        element = waiting.pop(0)
        element._id = f"{stem}_{count}"
        count += 1
        waiting.extend(element._children.values())
