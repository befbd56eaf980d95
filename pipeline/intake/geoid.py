"""Heights over the ellipsoid and heights above sea level: the geoid between them, where it is known."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
import pyproj

# Grids of PROJ, the finest first; installed by hand or with the system's PROJ, never fetched.
_GRIDS = {"us_nga_egm08_25.tif": "EGM2008", "us_nga_egm96_15.tif": "EGM96", "egm96_15.gtx": "EGM96"}


@dataclass(frozen=True)
class Undulation:
    """Height of the geoid over the WGS 84 ellipsoid at some places [m], and the name of the model."""

    height_m: np.ndarray
    model: str


@contextmanager
def _offline():
    """PROJ must not fetch a grid, whatever its settings say: a run uses what lies on the machine."""
    before = pyproj.network.is_network_enabled()
    pyproj.network.set_network_enabled(active=False)
    try:
        yield
    finally:
        pyproj.network.set_network_enabled(active=before)


def geoid_undulation(latitude, longitude) -> Undulation | None:
    """The geoid over the WGS 84 ellipsoid at places [deg], NaN where a place is unknown; None where no grid of PROJ lies on this machine.

    A height over the ellipsoid less the undulation is the height above sea level. Accurate to about a metre (EGM96) or a few decimetres (EGM2008).
    """
    latitude, longitude = np.asarray(latitude, dtype=float), np.asarray(longitude, dtype=float)
    for grid, model in _GRIDS.items():
        steps = f"+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=vgridshift +grids={grid} +multiplier=1"
        try:
            with _offline():
                _, _, height_m = pyproj.Transformer.from_pipeline(steps).transform(longitude, latitude, np.zeros(latitude.shape), errcheck=False)
        except pyproj.exceptions.ProjError:
            continue
        height_m = np.where(np.isfinite(height_m), height_m, np.nan)
        if np.isfinite(height_m).any():
            return Undulation(height_m, model)
    return None
