"""Ranges, for the animals that have fixes enough: a bivariate-normal yardstick, a kernel, and how the extent grows."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import chi2, gaussian_kde

from pipeline.columns import conform
from pipeline.movement.extent import M2_PER_HA, hull_area_m2, ratio_of, span_days
from pipeline.movement.gates import gate, refusal

RANGES = {
    "tag_id": "text",
    "animal_id": "text",
    "fixes": "int",
    "span_days": "float",
    "method": "text",                      # bivariate normal | kernel
    "bandwidth_m": "float",
    "area_95_ha": "float",
    "area_95_low_ha": "float",
    "area_95_high_ha": "float",
    "error_range_ratio": "float",
    "asymptote_slope_percent": "float",    # growth of the extent with the last fix added
    "verdict": "text",                     # given | sketch | refused
    "reason": "text",
}

FLAT_SLOPE_PERCENT = 1.0


def normal_range_area_m2(covariance_m2, share=0.95):
    """Area of the ellipse that holds a share of a bivariate normal range: -2 ln(1 - share) pi sqrt|S|. [m^2]

    References
    ----------
    R. I. Jennrich & F. B. Turner, Measurement of non-circular home range, J. theor. Biol. 22:227 (1969).
    """
    return float(-2 * np.log(1 - share) * np.pi * np.sqrt(np.linalg.det(np.asarray(covariance_m2, dtype=float))))


def normal_range(positions_m, error_covariances_m2, share=0.95):
    """Area of a bivariate-normal range freed of location error, with its 95 % interval.

    2 (n-1) sqrt|S| / sqrt|Sigma| of n independent fixes is chi-square with 2n - 4 degrees of freedom; the mean error variance is then
    taken off sqrt|Sigma|. Exact for circular errors of known size.

    Parameters
    ----------
    positions_m : array of shape (n, 2), n >= 4
    error_covariances_m2 : array of shape (n, 2, 2)

    Returns
    -------
    (area, low, high). [m^2]
    """
    positions = np.asarray(positions_m, dtype=float)
    count = len(positions)
    spread = 2 * (count - 1) * np.sqrt(max(np.linalg.det(np.cov(positions.T)), 0.0))
    error = np.trace(np.mean(error_covariances_m2, axis=0)) / 2
    freedom = 2 * count - 4
    scales = spread / np.array([freedom, chi2.ppf(0.975, freedom), chi2.ppf(0.025, freedom)])
    return tuple(float(area) for area in -2 * np.log(1 - share) * np.pi * np.maximum(scales - error, 0.0))


def reference_bandwidth_m(positions_m):
    """Reference bandwidth of a normal kernel in two dimensions: sd n^(-1/6), sd the root mean variance of both axes. [m]

    References
    ----------
    B. W. Silverman, Density Estimation for Statistics and Data Analysis, 1986, table 4.1 (constant 1).
    """
    positions = np.asarray(positions_m, dtype=float)
    return float(np.sqrt(np.trace(np.cov(positions.T)) / 2) * len(positions) ** (-1 / 6))


def kernel_area_m2(positions_m, share=0.95, cells=200):
    """Area of the smallest region holding a share of a normal-kernel density, bandwidth by the reference rule. [m^2]

    The kernel itself inflates the area by 1 + n^(-1/3) for a normal range, location error further by 1 + ratio^2.
    """
    positions = np.asarray(positions_m, dtype=float).T
    density = gaussian_kde(positions, bw_method="scott")
    margin = 4 * np.sqrt(np.diag(density.covariance))
    low, high = positions.min(axis=1) - margin, positions.max(axis=1) + margin
    east, north = np.meshgrid(*(np.linspace(a, b, cells) for a, b in zip(low, high)))
    mass = np.sort(density(np.vstack([east.ravel(), north.ravel()])))[::-1]
    held = int(np.searchsorted(np.cumsum(mass) / mass.sum(), share)) + 1
    return float(held * np.prod((high - low) / (cells - 1)))


def extent_growth(positions_m, *, seed, orders=200, fewest=3):
    """Mean area of the extent against the number of fixes, in random orders.

    Parameters
    ----------
    positions_m : array of shape (n, 2), n >= 4
    seed : int
    fewest : int
        Number of fixes to start from, 3 or more.

    Returns
    -------
    DataFrame fixes, extent_ha, low_ha, high_ha (95 % of the orders), for `fewest` to n fixes.
    """
    positions = np.asarray(positions_m, dtype=float)
    generator = np.random.default_rng(seed)
    shuffled = positions[np.array([generator.permutation(len(positions)) for _ in range(orders)])]
    rows = []
    for fixes in range(fewest, len(positions) + 1):
        areas = hull_area_m2(shuffled[:, :fixes]) / M2_PER_HA
        rows.append({"fixes": fixes, "extent_ha": areas.mean(), "low_ha": np.quantile(areas, 0.025), "high_ha": np.quantile(areas, 0.975)})
    return pd.DataFrame(rows)


def range_table(animals, *, seed):
    """Two rows per animal, one a method: the area where number of fixes and error allow it, else why not.

    Parameters
    ----------
    animals : list of AnimalFixes
    seed : int
        For the random orders of the asymptote.

    Returns
    -------
    DataFrame with the columns of RANGES.
    """
    rows = [row for animal in animals for row in _rows(animal, seed)]
    return conform(pd.DataFrame(rows, columns=list(RANGES)), RANGES)


def _rows(animal, seed):
    passed, ratio = gate(len(animal.fixes)), ratio_of(animal)
    row = animal.identity | {"fixes": len(animal.fixes), "span_days": span_days(animal), "error_range_ratio": ratio}
    refused = refusal(ratio) if "kernel sketch" in passed.allows else _too_few(len(animal.fixes))
    if refused:
        return [row | {"method": method, "verdict": "refused", "reason": refused} for method in ("bivariate normal", "kernel")]
    growth = extent_growth(animal.positions_m, seed=seed, fewest=len(animal.fixes) - 1)["extent_ha"].to_numpy()
    slope = 100 * (growth[-1] - growth[-2]) / growth[-1]
    verdict, reason = _range_verdict(passed, slope)
    row |= {"asymptote_slope_percent": slope, "verdict": verdict, "reason": reason}
    area, low, high = normal_range(animal.positions_m, [np.cov(fix.draws_m.T) for fix in animal.fixes])
    normal = {"method": "bivariate normal", "area_95_ha": area / M2_PER_HA, "area_95_low_ha": low / M2_PER_HA, "area_95_high_ha": high / M2_PER_HA}
    kernel = {"method": "kernel", "area_95_ha": kernel_area_m2(animal.positions_m) / M2_PER_HA, "bandwidth_m": reference_bandwidth_m(animal.positions_m)}
    return [row | normal, row | kernel]


def _too_few(fixes):
    return f"{fixes} usable {'fix' if fixes == 1 else 'fixes'}; 10 are needed for a sketch, 30 for a range."


def _range_verdict(passed, slope):
    if "range" not in passed.allows:
        return "sketch", f"{passed.fixes} fixes: a sketch only, 30 are needed for a range."
    if slope > FLAT_SLOPE_PERCENT:
        return "sketch", f"The extent still grows by {slope:.1f} % with the last fix; a sketch only."
    return "given", f"{passed.fixes} fixes, and the extent grows by {slope:.1f} % with the last of them. That they span the season is for the reader to judge."
