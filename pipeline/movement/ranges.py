"""Ranges, for the animals that have fixes enough: a bivariate-normal yardstick, kernels of two widths, and how the extent grows."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pandas as pd
from scipy.stats import chi2

from pipeline.columns import conform
from pipeline.movement.extent import M2_PER_HA, NO_WIDTH, hull_area_m2, lies_near_a_line, places_of_animals, ratio_of, span_days
from pipeline.movement.gates import LARGEST_ERROR_RANGE_RATIO, gate, largest_likely_ratio, refusal
from pipeline.movement.kernel import cross_validated_bandwidth_m, reference_bandwidth_m, utilisation

RANGES = {
    "tag_id": "text",
    "animal_id": "text",
    "fixes": "int",
    "span_days": "float",
    "method": "text",                      # bivariate normal | kernel, reference width | kernel, cross-validated width
    "bandwidth_m": "float",
    "area_50_ha": "float",                 # freed of location error, and of what the kernel and few fixes do to a normal range
    "area_50_low_ha": "float",             # 95 % interval: location error and number of fixes; from 0 where the fixes lie near a line
    "area_50_high_ha": "float",
    "area_95_ha": "float",
    "area_95_low_ha": "float",
    "area_95_high_ha": "float",
    "correction_95": "float",              # what the 95 % area of the kernel was divided by, median
    "error_range_ratio": "float",
    "asymptote_slope_percent": "float",    # growth of the extent with the last fix added
    "verdict": "text",                     # given | sketch | refused
    "reason": "text",
}

FLAT_SLOPE_PERCENT = 1.0
NORMAL = "bivariate normal"
WIDTHS = {"kernel, reference width": reference_bandwidth_m, "kernel, cross-validated width": cross_validated_bandwidth_m}
METHODS = (NORMAL, *WIDTHS)
KERNEL_DRAWS, NORMAL_SAMPLES = 200, 300
LEAST_SHARE_WITH_WIDTH = 0.8


def normal_range_area_m2(covariance_m2, share=0.95):
    """Area of the ellipse that holds a share of a bivariate normal range: -2 ln(1 - share) pi sqrt|S|. [m^2]

    References
    ----------
    R. I. Jennrich & F. B. Turner, Measurement of non-circular home range, J. theor. Biol. 22:227 (1969).
    """
    return float(-2 * np.log(1 - share) * np.pi * np.sqrt(np.linalg.det(np.asarray(covariance_m2, dtype=float))))


def normal_range(positions_m, error_covariances_m2, share=0.95):
    """Area of a bivariate-normal range freed of location error, with its 95 % interval, in closed form.

    2 (n-1) sqrt|S| / sqrt|Sigma| of n independent fixes is chi-square with 2n - 4 degrees of freedom; the mean error variance is then
    taken off sqrt|Sigma|. Exact for circular errors of known size; the tables use true_places, which takes errors of any shape, and agree with it there.

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


def kernel_area_m2(positions_m, share=0.95, bandwidth_m=None, cells=200):
    """Area of the smallest region holding a share of a normal-kernel density, by default with the reference bandwidth. [m^2]

    The kernel itself inflates the area by 1 + n^(-1/3) for a normal range, location error further by 1 + ratio^2.
    """
    width = reference_bandwidth_m(positions_m) if bandwidth_m is None else bandwidth_m
    return utilisation(positions_m, width, cells=cells).area_m2(share)


@lru_cache(maxsize=256)
def kernel_to_truth(fixes, method, share):
    """Kernel area over true area of normal ranges with so many fixes, sorted, (300,): what the kernel and few fixes do, simulated.

    It hangs on the number of fixes alone, since the kernels have the shape of the scatter. Samples without a cross-validated width are left out.
    """
    generator = np.random.default_rng([fixes, list(WIDTHS).index(method), round(1000 * share)])
    areas = []
    while len(areas) < NORMAL_SAMPLES:
        sample = generator.normal(size=(fixes, 2))
        width = WIDTHS[method](sample)
        if width is not None:
            areas.append(kernel_area_m2(sample, share, width, cells=64))
    return np.sort(areas) / normal_range_area_m2(np.eye(2), share)


def extent_growth(positions_m, *, seed, orders=200, fewest=3):
    """Mean area of the extent against the number of fixes, in random orders.

    Parameters
    ----------
    positions_m : array of shape (n, 2), n >= 4; or (draws, n, 2), of which every order takes one
    seed : int
    fewest : int
        Number of fixes to start from, 3 or more.

    Returns
    -------
    DataFrame fixes, extent_ha, low_ha, high_ha (95 % of the orders and draws), for `fewest` to n fixes.
    """
    positions = np.asarray(positions_m, dtype=float)
    positions = positions[None] if positions.ndim == 2 else positions
    generator = np.random.default_rng(seed)
    shuffled = np.array([positions[k % len(positions)][generator.permutation(positions.shape[1])] for k in range(orders)])
    rows = []
    for fixes in range(fewest, positions.shape[1] + 1):
        areas = hull_area_m2(shuffled[:, :fixes]) / M2_PER_HA
        rows.append({"fixes": fixes, "extent_ha": areas.mean(), "low_ha": np.quantile(areas, 0.025), "high_ha": np.quantile(areas, 0.975)})
    return pd.DataFrame(rows)


def range_table(animals, *, seed, places=None):
    """Three rows per animal, one a method: the areas where number of fixes and error allow them, else why not.

    Parameters
    ----------
    animals : list of AnimalFixes
    seed : int
    places : dict of tag_id -> TruePlaces | None
        Of extent.places_of_animals; computed when None.

    Returns
    -------
    DataFrame with the columns of RANGES. Areas are those of the places freed of error: medians over their draws, with 95 % intervals that hold the
    error of the fixes and their number. Kernel areas are divided by what kernel and number do to a normal range (correction_95).
    """
    places = places_of_animals(animals, seed) if places is None else places
    rows = [row for animal in animals for row in _rows(animal, places.get(animal.tag_id), seed)]
    return conform(pd.DataFrame(rows, columns=list(RANGES)), RANGES)


def growth_table(animals, places, *, seed):
    """Growth of the extent with the number of fixes, for the animals whose areas are not refused: tag_id, then as extent_growth."""
    columns = ["tag_id", "fixes", "extent_ha", "low_ha", "high_ha"]
    grown = [extent_growth(places[animal.tag_id].places_m, seed=seed).assign(tag_id=animal.tag_id) for animal in animals if not range_refusal(animal)]
    return pd.concat(grown, ignore_index=True)[columns] if grown else pd.DataFrame(columns=columns)


def range_refusal(animal):
    """Why no range is given for an animal, "" when number and error of its fixes allow one."""
    if "kernel sketch" not in gate(len(animal.fixes)).allows:
        return _too_few(len(animal.fixes))
    ratio, count = ratio_of(animal), len(animal.fixes)
    likely = largest_likely_ratio(ratio, count)
    if ratio <= LARGEST_ERROR_RANGE_RATIO < likely:
        return f"Location error is {ratio:.2f} of the scatter of the places, and with {count} fixes may well be {likely:.1f}; {LARGEST_ERROR_RANGE_RATIO:g} is the limit."
    return refusal(ratio)


def _rows(animal, places, seed):
    passed = gate(len(animal.fixes))
    row = animal.identity | {"fixes": len(animal.fixes), "span_days": span_days(animal), "error_range_ratio": ratio_of(animal)}
    refused = range_refusal(animal)
    if refused:
        return [row | {"method": method, "verdict": "refused", "reason": refused} for method in METHODS]
    growth = extent_growth(places.places_m, seed=seed, fewest=len(animal.fixes) - 1)["extent_ha"].to_numpy()
    slope = 100 * (growth[-1] - growth[-2]) / growth[-1]
    verdict, reason = _range_verdict(passed, slope)
    row |= {"asymptote_slope_percent": slope, "verdict": verdict, "reason": reason}
    rows = [row | _normal_areas(places)] + [row | _kernel_areas(places, method, seed) for method in WIDTHS]
    return [_from_nothing(each) for each in rows] if lies_near_a_line(animal) else rows


def _from_nothing(row):
    """Areas of fixes that may lie on a line: their intervals begin at 0, and none is more than a sketch."""
    if row["verdict"] == "refused":
        return row
    return row | {"area_50_low_ha": 0.0, "area_95_low_ha": 0.0, "verdict": "sketch", "reason": f"{row['reason']} {NO_WIDTH}"}


def _normal_areas(places):
    unit = np.pi * np.sqrt(np.linalg.det(places.covariances_m2))
    return {"method": NORMAL} | _interval(50, -2 * np.log(0.5) * unit) | _interval(95, -2 * np.log(0.05) * unit)


def _kernel_areas(places, method, seed):
    chosen = places.places_m[:: max(1, len(places.places_m) // KERNEL_DRAWS)]
    widths = [WIDTHS[method](each) for each in chosen]
    found = [(each, width) for each, width in zip(chosen, widths) if width is not None]
    if len(found) < LEAST_SHARE_WITH_WIDTH * len(chosen):
        return {"method": method, "verdict": "refused", "reason": "The cross-validated width has no minimum: places too few or too close to each other. The reference width stands."}
    drawn = [utilisation(each, width) for each, width in found]
    generator = np.random.default_rng(seed)
    row = {"method": method, "bandwidth_m": np.median([width for _, width in found])}
    for percent in (50, 95):
        factors = kernel_to_truth(places.places_m.shape[1], method, percent / 100)
        row |= _interval(percent, np.array([each.area_m2(percent / 100) for each in drawn]) / generator.choice(factors, len(drawn)))
        row[f"correction_{percent}"] = np.median(factors)
    return {name: value for name, value in row.items() if name != "correction_50"}


def _interval(percent, areas_m2):
    low, middle, high = np.quantile(areas_m2, [0.025, 0.5, 0.975]) / M2_PER_HA
    return {f"area_{percent}_ha": middle, f"area_{percent}_low_ha": low, f"area_{percent}_high_ha": high}


def _too_few(fixes):
    return f"{fixes} usable {'fix' if fixes == 1 else 'fixes'}; 10 are needed for a sketch, 30 for a range."


def _range_verdict(passed, slope):
    if "range" not in passed.allows:
        return "sketch", f"{passed.fixes} fixes: a sketch only, 30 are needed for a range."
    if slope > FLAT_SLOPE_PERCENT:
        return "sketch", f"The extent still grows by {slope:.1f} % with the last fix; a sketch only."
    return "given", f"{passed.fixes} fixes, and the extent grows by {slope:.1f} % with the last of them. That they span the season is for the reader to judge."
