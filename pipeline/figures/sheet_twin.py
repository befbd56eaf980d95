"""The printed twin of a map: the marks of a sheet drawn with matplotlib in the survey CRS, grid north up."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch, Polygon as Outline, Rectangle
from matplotlib.path import Path as MarkPath
from shapely import get_parts
from shapely.geometry import Polygon

from pipeline.figures.label_places import place_labels
from pipeline.figures.relief import crop, height_step, lines_at, round_step, shaded_relief
from pipeline.figures.sheet import DETECTION_LEVELS, MapSheet
from pipeline.figures.sheet_legend import twin_legend
from pipeline.figures.style import HEARD_RADII, LIGHT, SEARCH_DASH_PT, SHAPES, SILENT_RADIUS, TEXT_WIDTH_IN, in_style

_CARD = {"boxstyle": "round,pad=0.1", "facecolor": LIGHT["paper"], "edgecolor": "none", "alpha": 0.75}
GROUND = LinearSegmentedColormap.from_list("ground searched", [LIGHT["ground-light"], LIGHT["ground-deep"]])


@in_style()
def draw_twin(sheet: MapSheet, *, width_in: float = TEXT_WIDTH_IN) -> Figure:
    """The sheet as a figure with a metric grid, scale bar, true-north mark and legend; `width_in` inches wide."""
    west, south, east, north = sheet.extent_m()
    unseen = {"receiver", *({"heard", "silent", "saturated"} if sheet.records_wait_for_a_tag() else ()), *({"region 50", "region 80", "region 95"} if sheet.regions_wait_for_a_tag() else ())}
    legend = [(symbol, words) for symbol, words in sheet.legend() if symbol not in unseen]
    map_height_in = width_in * (north - south) / (east - west) * 0.93
    legend_height_in = 0.08 + 0.18 * math.ceil(len(legend) / 3)
    height_in = map_height_in + legend_height_in + 0.3
    figure = Figure(figsize=(width_in, height_in))
    axes = figure.add_axes([0.055, (legend_height_in + 0.25) / height_in, 0.93, map_height_in / height_in])
    axes.set_xlim(west, east)
    axes.set_ylim(south, north)
    axes.grid(False)
    _draw_ground(axes, sheet)
    _draw_grid(axes, sheet.extent_m())
    _draw_lines(axes, sheet)
    _draw_marks(axes, sheet)
    _draw_labels(axes, sheet)
    _draw_scale(axes, sheet.extent_m())
    _draw_true_north(axes, sheet)
    twin_legend(figure, legend, legend_height_in / height_in)
    return figure


def _draw_ground(axes: Axes, sheet: MapSheet) -> None:
    cropped = crop(sheet.terrain, sheet.extent_m(0.1)) if sheet.terrain is not None else None
    if cropped is not None:
        heights, west, north, cell = cropped
        box = (west, west + heights.shape[1] * cell, north - heights.shape[0] * cell, north)
        axes.imshow(shaded_relief(heights, cell), extent=box, origin="upper", interpolation="bilinear", zorder=0, aspect="auto")
        step = height_step(heights)
        for level in np.arange(math.ceil(np.nanmin(heights) / step) * step, np.nanmax(heights), step):
            for line in lines_at(heights, west, north, cell, float(level)):
                axes.plot(*line.T, color=LIGHT["track"], linewidth=0.3, alpha=0.35, zorder=0.5)
    if sheet.searched_ground is not None:
        _draw_searched(axes, sheet.searched_ground)


def _draw_searched(axes: Axes, ground) -> None:
    west, south, east, north = ground.extent_m
    axes.imshow(np.ma.masked_invalid(ground.values), extent=(west, east, south, north), origin="upper", cmap=GROUND, vmin=0, vmax=1,
                alpha=0.72, interpolation="bilinear", zorder=1, aspect="auto")
    for level in DETECTION_LEVELS:
        lines = lines_at(ground.values, ground.west_m, ground.north_m, ground.cell_m, level)
        for line in lines:
            axes.plot(*line.T, color=LIGHT["ground-deep"], linewidth=0.8 if level < 0.7 else 1.3, zorder=1.5)
        if lines:
            longest = max(lines, key=len)
            axes.annotate(f"{level:g}", longest[len(longest) // 3], color=LIGHT["ground-deep"], fontsize=7.5, fontweight="bold", ha="center", va="center",
                          bbox={"boxstyle": "round,pad=0.12", "facecolor": LIGHT["paper"], "edgecolor": "none"}, zorder=6, clip_on=True)


def _draw_grid(axes: Axes, extent_m: tuple[float, float, float, float]) -> None:
    west, south, east, north = extent_m
    step = round_step((east - west) / 7)
    for easting in np.arange(math.ceil(west / step) * step, east, step):
        axes.axvline(easting, color=LIGHT["soft"], alpha=0.28, linewidth=0.4, zorder=0.8)
    for northing in np.arange(math.ceil(south / step) * step, north, step):
        axes.axhline(northing, color=LIGHT["soft"], alpha=0.28, linewidth=0.4, zorder=0.8)
    axes.set_xticks(np.arange(math.ceil(west / step) * step, east, step))
    axes.set_yticks(np.arange(math.ceil(south / step) * step, north, step))
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:.0f}")
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:.0f}")
    axes.tick_params(labelsize=6.5, length=0, pad=2, labelcolor=LIGHT["soft"])
    axes.tick_params(axis="y", labelrotation=90)
    for label in axes.get_yticklabels():
        label.set_verticalalignment("center")
    for side in ("top", "right", "bottom", "left"):
        axes.spines[side].set_visible(True)
        axes.spines[side].set_color(LIGHT["rule"])


def _draw_lines(axes: Axes, sheet: MapSheet) -> None:
    if sheet.area is not None:
        for polygon in _polygons(sheet.area.geometry):
            axes.add_artist(PathPatch(_path(polygon), facecolor="none", edgecolor=LIGHT["ink"], linewidth=1.1, linestyle=(0, (9, 3, 2, 3)), zorder=2))
    for line in sheet.tracks:
        for part in line.parts:
            axes.plot(*part.T, color=LIGHT["track"], linewidth=0.8, zorder=2.2, solid_capstyle="round")
    if sheet.region_shapes is not None and not sheet.regions_wait_for_a_tag():
        for row in sheet.region_shapes.itertuples():
            thin = bool(getattr(row, "second_place", False))
            for polygon in _polygons([row.geometry]):
                # not add_patch: that measures every outline anew for limits that are settled, most of the time a map of many regions takes
                axes.add_artist(PathPatch(_path(polygon), zorder=3 - 0.1 * row.probability, **_region_look(row.probability, thin)))


def _region_look(probability: float, thin: bool) -> dict:
    colour, width = LIGHT["fix"], 0.6 if thin else 1.0
    if probability < 0.65:
        return {"facecolor": colour, "alpha": 0.3 if thin else 0.5, "edgecolor": colour, "linewidth": width * 0.6}
    if probability < 0.9:
        return {"facecolor": "none", "edgecolor": colour, "hatch": "" if thin else "//////", "linewidth": width * 0.6, "alpha": 0.75}
    return {"facecolor": "none", "edgecolor": colour, "linewidth": width, "linestyle": (0, (4, 2.5))}


def _draw_marks(axes: Axes, sheet: MapSheet) -> None:
    if sheet.record_marks is not None and not sheet.records_wait_for_a_tag():
        _draw_records(axes, sheet.record_marks)
    if sheet.beacon_marks is not None:
        for row in sheet.beacon_marks.itertuples():
            if np.isfinite(row.estimate_easting_m):
                axes.plot([row.easting_m, row.estimate_easting_m], [row.northing_m, row.estimate_northing_m], color=LIGHT["beacon"], linewidth=1.2, zorder=4)
        _draw_shape(axes, sheet.beacon_marks, "diamond", 5.0, facecolor=LIGHT["beacon"], edgecolor=LIGHT["paper"], linewidth=0.7)
    if sheet.fix_marks is not None:
        second = sheet.fix_marks["second_place"].astype(bool)
        _draw_shape(axes, sheet.fix_marks[~second], "cross", 5.0, edgecolor=LIGHT["fix"], linewidth=1.9)
        _draw_shape(axes, sheet.fix_marks[second], "cross", 4.4, edgecolor=LIGHT["fix"], linewidth=0.9)
    for _, outline in sheet.search_circles():
        axes.add_artist(Outline(outline, closed=True, facecolor="none", edgecolor=LIGHT["fetch"], linewidth=1.1, linestyle=(0, SEARCH_DASH_PT), zorder=4.5))
    if sheet.found_marks is not None:
        _draw_shape(axes, sheet.found_marks, "hexagon", 7.0, facecolor=LIGHT["paper"], edgecolor=LIGHT["fetch"], linewidth=1.3)
    if sheet.fetch_marks is not None:
        _draw_shape(axes, sheet.fetch_marks, "hexagon", 7.5, facecolor=LIGHT["fetch"], edgecolor=LIGHT["paper"], linewidth=0.8)
        _draw_shape(axes, sheet.fetch_marks, "letter M", 7.5, edgecolor=LIGHT["paper"], linewidth=1.3, zorder=5.5)


def _draw_records(axes: Axes, records) -> None:
    heard = records["heard"].astype(bool)
    _draw_shape(axes, records[~heard], "square", SILENT_RADIUS, edgecolor=LIGHT["silent"], linewidth=0.6, zorder=2.4)
    saturated = records["saturated"].astype(bool) if "saturated" in records else heard & False
    for size_class, radius in enumerate(HEARD_RADII):
        chosen = heard & (records["size_class"] == size_class)
        for barred, shape in ((False, "triangle"), (True, "barred triangle")):
            _draw_shape(axes, records[chosen & (saturated == barred)], shape, radius, facecolor=LIGHT["heard"], edgecolor=LIGHT["paper"], linewidth=0.4, zorder=2.6)


def _draw_shape(axes: Axes, rows, shape: str, radius_pt: float, *, facecolor="none", edgecolor, linewidth: float, zorder: float = 5.0) -> None:
    if len(rows):
        # matplotlib scales a marker path by its own size; markersize 2 makes one unit of the path one point
        axes.plot(rows["easting_m"], rows["northing_m"], linestyle="none", marker=SHAPES[shape].as_matplotlib(), markersize=_marker_size(shape, radius_pt),
                  markerfacecolor=facecolor, markeredgecolor=edgecolor, markeredgewidth=linewidth, zorder=zorder)


def _marker_size(shape: str, radius_pt: float) -> float:
    """matplotlib stretches a marker path so that its farthest coordinate lies half a marker size from the middle."""
    farthest = max(abs(value) for stroke in SHAPES[shape].strokes for point in stroke for value in point)
    return 2.0 * radius_pt * farthest


def _draw_labels(axes: Axes, sheet: MapSheet) -> None:
    west, south, east, north = sheet.extent_m()
    width_pt = _width_pt(axes)
    metres_per_pt = (east - west) / width_pt
    labels = sheet.labels()
    points = [((label.easting_m - west) / metres_per_pt, (north - label.northing_m) / metres_per_pt) for label in labels]
    wanted = [(label.text, point, 9.5 if label.kind == "fetch" else 7.0) for label, point in zip(labels, points)]
    for label, place in zip(labels, place_labels(wanted, points, (width_pt, (north - south) / metres_per_pt))):
        if place is not None:
            axes.text(west + place[0] * metres_per_pt, north - place[1] * metres_per_pt, label.text, fontsize=7.2, ha="left", va="center", color=LIGHT["ink"], zorder=7,
                      clip_on=True, parse_math=False, bbox=_CARD)


def _draw_scale(axes: Axes, extent_m: tuple[float, float, float, float]) -> None:
    west, _, east, _ = extent_m
    length_m = round_step((east - west) / 7)
    share = length_m / (east - west)
    axes.add_patch(Rectangle((0.012, 0.012), 0.032 + share, 0.065, transform=axes.transAxes, facecolor=LIGHT["paper"], edgecolor="none", alpha=0.85, zorder=8))
    ends = [0.028, 0.028, 0.028 + share, 0.028 + share]
    axes.add_line(Line2D(ends, [0.034, 0.024, 0.024, 0.034], transform=axes.transAxes, color=LIGHT["ink"], linewidth=1.0, zorder=9))
    words = f"{length_m:.0f} m" if length_m < 1000 else f"{length_m / 1000:g} km"
    axes.text(0.028 + share / 2, 0.04, words, transform=axes.transAxes, ha="center", va="bottom", fontsize=7, zorder=9)


def _draw_true_north(axes: Axes, sheet: MapSheet) -> None:
    west, south, east, north = sheet.extent_m()
    lean = math.radians(true_north_lean_deg(sheet.projection, (west + east) / 2, (south + north) / 2))
    metres_per_pt = (east - west) / _width_pt(axes)
    foot = (0.951, 0.9)
    reach = 26 * metres_per_pt
    tip = (foot[0] + reach * math.sin(lean) / (east - west), foot[1] + reach * math.cos(lean) / (north - south))
    arrow = {"arrowstyle": "-|>,head_width=0.22,head_length=0.5", "color": LIGHT["ink"], "linewidth": 0.9, "shrinkA": 0, "shrinkB": 0}
    axes.add_patch(Rectangle((0.91, 0.845), 0.082, 0.145, transform=axes.transAxes, facecolor=LIGHT["paper"], edgecolor="none", alpha=0.85, zorder=8))
    axes.annotate("", xy=tip, xytext=foot, xycoords="axes fraction", textcoords="axes fraction", arrowprops=arrow, zorder=9)
    axes.text(foot[0], foot[1] - 0.01, "true north", transform=axes.transAxes, ha="center", va="top", fontsize=6.5, zorder=9)


def _width_pt(axes: Axes) -> float:
    return axes.get_position().width * axes.figure.get_figwidth() * 72


def true_north_lean_deg(projection, easting_m: float, northing_m: float) -> float:
    """Direction of true north on the grid at a place, degrees clockwise from grid north."""
    latitude, longitude = projection.inverse(easting_m, northing_m)
    east_there, north_there = projection.forward(float(latitude) + 1e-4, float(longitude))
    return math.degrees(math.atan2(float(east_there) - easting_m, float(north_there) - northing_m))


def _polygons(geometries) -> list[Polygon]:
    return [part for geometry in geometries for part in get_parts(geometry) if part.geom_type == "Polygon" and not part.is_empty]


def _path(polygon: Polygon) -> MarkPath:
    rings = [polygon.exterior, *polygon.interiors]
    return MarkPath.make_compound_path(*[MarkPath(np.asarray(ring.coords)[:, :2], closed=True) for ring in rings])
