"""How well each kind of ground was searched: the area asked about, taken apart by height, slope or canopy."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.search.detection import Detection

# Slopes from which ground counts as moderate and as steep, and the canopy from which it counts as wooded. Our choice.
SLOPES_DEG = (10.0, 20.0)
WOODED_M = 2.0
UNKNOWN = "not known"
BY_GROUND = ["tag_type", "kind", "ground", "area_ha", "mean_expected", "mean_cautious", "area_50_cautious_ha", "area_90_cautious_ha", "share_90_cautious"]


def height_classes(height_m) -> list[str]:
    """Heights above sea level in three parts of about equal area, their limits rounded to 10 m; one part where the ground is level. NaN: not known."""
    height_m = np.asarray(height_m, float)
    known = height_m[np.isfinite(height_m)]
    limits = sorted({float(10.0 * np.round(limit / 10.0)) for limit in np.quantile(known, [1 / 3, 2 / 3])}) if known.size else []
    limits = [limit for limit in limits if known.min() < limit <= known.max()]
    return _classes(height_m, limits, "m")


def slope_classes(slope_deg) -> list[str]:
    """Slopes below 10 degrees, between, and of 20 degrees or more. NaN: not known."""
    return _classes(slope_deg, SLOPES_DEG, "degrees")


def canopy_classes(canopy_m) -> list[str]:
    """Canopy lower than 2 m or not. NaN: not known."""
    return _classes(canopy_m, (WOODED_M,), "m")


def _classes(values, limits, unit: str) -> list[str]:
    values, limits = np.asarray(values, float), list(limits)
    names = [f"below {limits[0]:g} {unit}"] if limits else ["all alike"]
    names += [f"{low:g} to {high:g} {unit}" for low, high in zip(limits, limits[1:])] + [f"{limits[-1]:g} {unit} and more"] if limits else []
    return [names[band] if np.isfinite(value) else UNKNOWN for value, band in zip(values, np.searchsorted(limits, values, side="right"))]


def area_by_ground(detection: Detection, cell_ha: float, classes: dict[str, list[str]], tag_type: str = "") -> pd.DataFrame:
    """Area and detection of each class of ground.

    Parameters
    ----------
    detection : of all flights together, arrays (cells,). cell_ha : area of a cell. [ha]
    classes : kind ("height", "slope", "canopy") -> name of the class of each cell, the lowest class first in the table.

    Returns
    -------
    DataFrame with the columns of BY_GROUND; the areas of a kind add up to the ground asked about.
    """
    rows = []
    for kind, names in classes.items():
        names = np.asarray(names, object)
        for name in sorted(set(names), key=_in_order):
            there = names == name
            cautious = detection.cautious[there]
            rows.append((tag_type, kind, name, there.sum() * cell_ha, detection.expected[there].mean(), cautious.mean(), (cautious >= 0.5).sum() * cell_ha, (cautious >= 0.9).sum() * cell_ha,
                         (cautious >= 0.9).mean()))
    return pd.DataFrame(rows, columns=BY_GROUND)


def _in_order(name: str) -> tuple[int, float]:
    """Lowest class first, what is not known last."""
    if name == UNKNOWN:
        return 2, 0.0
    return (0, 0.0) if name.startswith("below") or name == "all alike" else (1, float(name.split()[0]))
