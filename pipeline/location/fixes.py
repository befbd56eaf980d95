"""One row per tag and flight: position, radii, region areas, ellipse and status, from the calibrated posterior."""

from __future__ import annotations

import numpy as np
from scipy.stats import chi2

from pipeline.location.posterior import Posterior
from pipeline.location.status import Evidence

# Semi-axes of the ellipse that holds 95 % of a two-dimensional normal, in standard deviations: sqrt of chi-square, 2 df.
_ELLIPSE_95 = float(np.sqrt(chi2.ppf(0.95, 2)))
PLACED = ("located", "several places")
# A single record, which may be false, and what is doubted have a region and are no fix.
FIX_STATUSES = (*PLACED, "area only")


def best_position(posterior: Posterior) -> np.ndarray:
    """(easting, northing) to be stated: the mean of the posterior as computed. [m]

    Widening is for regions: it also lifts the far tails, which would pull a widened mean off the place the records point to.
    """
    return posterior.widened(1.0).mean()


def heaviest_place(posterior: Posterior) -> np.ndarray:
    """Mean of the posterior as computed within the heaviest part of the widened region. [m]"""
    flags = posterior.places()[0][1]
    sharp = posterior.widened(1.0)
    weight = sharp.probability * flags
    if weight.sum() == 0.0:
        weight = posterior.probability * flags
    return np.array([weight @ posterior.easting_m, weight @ posterior.northing_m]) / weight.sum()


def ellipse_95(covariance: np.ndarray) -> tuple[float, float, float]:
    """Semi-major and semi-minor axis [m] and azimuth of the major axis [degrees from grid north, 0 to 180) of the moment ellipse."""
    sizes, axes = np.linalg.eigh(covariance)
    azimuth = float(np.degrees(np.arctan2(axes[0, 1], axes[1, 1])) % 180.0)
    return _ELLIPSE_95 * float(np.sqrt(sizes[1])), _ELLIPSE_95 * float(np.sqrt(sizes[0])), azimuth


def position_columns(posterior: Posterior, status: str, projection) -> dict:
    """The columns of FIXES that come from a posterior; coordinates stay blank unless the status allows a position.

    projection : has inverse(easting_m, northing_m) -> latitude, longitude and convergence_deg(latitude, longitude).
    """
    best = best_position(posterior)
    stated = heaviest_place(posterior) if status == "several places" else best
    best_latitude, best_longitude = (float(value) for value in projection.inverse(*best))
    row = {"best_latitude": best_latitude, "best_longitude": best_longitude}
    if status in PLACED:
        latitude, longitude = (float(value) for value in projection.inverse(*stated))
        row |= {"latitude": latitude, "longitude": longitude, "easting_m": float(stated[0]), "northing_m": float(stated[1])}
    major, minor, grid_azimuth = ellipse_95(posterior.covariance())
    true_azimuth = (grid_azimuth + float(projection.convergence_deg(best_latitude, best_longitude))) % 180.0
    return row | {
        "error_radius_50_m": posterior.radius_m(0.5, stated),
        "error_radius_95_m": posterior.radius_m(0.95, stated),
        "region_50_ha": posterior.region_area_ha(0.5),
        "region_80_ha": posterior.region_area_ha(0.8),
        "region_95_ha": posterior.region_area_ha(0.95),
        "ellipse_95_semi_major_m": major,
        "ellipse_95_semi_minor_m": minor,
        "ellipse_95_azimuth_deg": true_azimuth,
    }


def evidence_columns(evidence: Evidence) -> dict:
    """What a fix rests on, as columns of the table beside the fixes."""
    return {
        "records_listened": evidence.records_listened, "records_heard": evidence.records_heard,
        "effective_records": evidence.effective_records, "passes": evidence.passes,
        "bearing_spread_deg": evidence.bearing_spread_deg, "places": len(evidence.place_shares),
        "main_place_share": evidence.place_shares[0] if evidence.place_shares else np.nan,
        "second_place_share": evidence.place_shares[1] if len(evidence.place_shares) > 1 else 0.0,
        "edge_probability": evidence.edge_probability, "bearings": evidence.bearings, "sightings": evidence.sightings,
    }
