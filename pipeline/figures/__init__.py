"""Figures: one visual language, and maps described once and drawn twice (on the screen and in print).

MapSheet        what lies on a map, in survey-CRS metres
draw_twin       the printed picture of a sheet
folium_map      the interactive map of a sheet
new_figure      a figure in the house style; draw on it inside in_style()
LIGHT, DARK     the palettes;  SHAPES the marks
"""

from pipeline.figures.sheet import MapSheet
from pipeline.figures.sheet_folium import folium_map
from pipeline.figures.sheet_twin import draw_twin
from pipeline.figures.style import DARK, LIGHT, SHAPES, in_style, new_figure

__all__ = ["DARK", "LIGHT", "SHAPES", "MapSheet", "draw_twin", "folium_map", "in_style", "new_figure"]
