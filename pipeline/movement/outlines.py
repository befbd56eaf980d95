"""Outlines of the ground that an animal used: the lines of its kernel density, drawn so that they enclose the areas of the table of ranges."""

from __future__ import annotations

import contourpy
import numpy as np
import pandas as pd

from pipeline.columns import conform
from pipeline.movement.extent import M2_PER_HA
from pipeline.movement.kernel import CELLS_ACROSS, kernel_covariance_m2, kernel_density
from pipeline.movement.ranges import WIDTHS

OUTLINES = {
    "tag_id": "text",
    "method": "text",
    "percent": "int",          # 50 | 95
    "ring": "int",             # one line each; a hole has a ring of its own
    "easting_m": "float",
    "northing_m": "float",
}

DRAWS = 40                     # of the true places: more change a line by less than its width on paper


def outline_table(places, ranges):
    """Outlines of half and of 95 % of the places, for the animals whose areas are not refused.

    The density is the mean over draws of the true places, so that location error is in it once. Its own lines would enclose too much, because a kernel
    spreads places; the level of each line is therefore the one that encloses the area of the table of ranges, which is freed of that.

    Parameters
    ----------
    places : dict of tag_id -> TruePlaces
    ranges : DataFrame with the columns of RANGES

    Returns
    -------
    DataFrame with the columns of OUTLINES, rings in the order of their points. [m] The kernel of cross-validated width where it has a minimum, else of the reference one.
    """
    rows = []
    for tag_id, own in ranges[(ranges["verdict"] != "refused") & ranges["method"].isin(list(WIDTHS))].groupby("tag_id", sort=True):
        chosen = own.iloc[-1]                       # cross-validated stands last, and is left out where it was refused
        eastings, northings, density = mean_density(places[tag_id].places_m, chosen["method"])
        for percent in (50, 95):
            for ring, line in enumerate(_lines(eastings, northings, density, chosen[f"area_{percent}_ha"] * M2_PER_HA)):
                rows.append(pd.DataFrame({"tag_id": tag_id, "method": chosen["method"], "percent": percent, "ring": ring, "easting_m": line[:, 0], "northing_m": line[:, 1]}))
    return conform(pd.concat(rows, ignore_index=True) if rows else pd.DataFrame(columns=list(OUTLINES)), OUTLINES)


def mean_density(places_m, method, cells=CELLS_ACROSS):
    """Mean kernel density over draws of the true places, on cells.

    Parameters
    ----------
    places_m : array of shape (draws, fixes, 2). [m]
    method : str
        One of ranges.WIDTHS; draws without such a width are left out.

    Returns
    -------
    (eastings (cells,), northings (cells,), density (cells, cells), rows to the north). [m, m, 1/m^2]
    """
    chosen = places_m[:: max(1, len(places_m) // DRAWS)]
    found = [(each, width) for each, width in ((each, WIDTHS[method](each)) for each in chosen) if width is not None]
    margin = 4 * max(width for _, width in found)
    low, high = chosen.min(axis=(0, 1)) - margin, chosen.max(axis=(0, 1)) + margin
    eastings, northings = (np.linspace(low[axis], high[axis], cells) for axis in (0, 1))
    at = np.column_stack([each.ravel() for each in np.meshgrid(eastings, northings)])
    density = np.mean([kernel_density(each, at, kernel_covariance_m2(each, width)) for each, width in found], axis=0)
    return eastings, northings, density.reshape(cells, cells)


def _lines(eastings, northings, density, area_m2):
    """Lines about the densest cells that make up an area."""
    cell_m2 = (eastings[1] - eastings[0]) * (northings[1] - northings[0])
    ordered = np.sort(density, axis=None)[::-1]
    level = np.interp(area_m2 / cell_m2, np.arange(len(ordered)) + 0.5, ordered)
    return [np.asarray(line) for line in contourpy.contour_generator(eastings, northings, density).lines(level) if len(line) > 3]
