"""Tempering against its rivals on the same held-out beacon fixes: how often each held the truth, and how large its regions were.

tempered : the density raised to a power learned on the other beacons, regions of the nominal level.
level    : the density as computed, regions of the higher level that the other beacons ask for.
radius   : discs round the best position, the stated radius of the density as computed times a factor that the other beacons ask for.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.calibration import LEVELS, exact_interval, places_needed, quantiles_leaving_out, score_that_holds
from pipeline.location import Posterior, best_position
from pipeline.stages.workspace import Workspace

TEMPERED, BY_LEVEL, BY_RADIUS = "tempered", "level", "radius"
COLUMNS = ["way", "nominal", "fixes", "inside", "places", "share", "low_95", "high_95", "used_low", "used_high", "median_area_ha", "mean_area_ha", "without_region",
           "equal_coverage_median_ha", "equal_coverage_mean_ha", "reason"]
# A truth that all cells together do not reach has level 1, but for the rounding of the sum.
_EVERYTHING = 1.0 - 1e-9


@dataclass(frozen=True)
class BeaconFix:
    """A beacon in one flight: its place, its widened posterior, the levels at its truth, and its error. [m]"""

    place_id: str
    posterior: Posterior
    level_before: float
    level_after: float
    error_m: float


def read_beacon_fixes(workspace: Workspace) -> list[BeaconFix]:
    """Every beacon and flight in which it was heard, as stage 2 left it."""
    tests = workspace.read_work("beacon_tests")
    if tests.empty:
        return []
    keys = ["tag_id", "flight_id"]
    cells = dict(list(workspace.read_work("posterior_cells").groupby(keys)))
    frames = workspace.read_work("posterior_frames").set_index(keys)
    return [_beacon_fix(test, cells[test.tag_id, test.flight_id], frames.loc[(test.tag_id, test.flight_id)])
            for test in tests.itertuples()]


def _beacon_fix(test, cells: pd.DataFrame, frame: pd.Series) -> BeaconFix:
    # The file holds the widened density; beacons have no evidence taken by hand, which would not have been widened.
    posterior = Posterior(cells["column"].to_numpy(), cells["row"].to_numpy(), float(frame["west_m"]), float(frame["south_m"]), float(frame["cell_m"]),
                          cells["log_density"].to_numpy(float) / test.widening, test.widening)
    east_m, north_m = best_position(posterior)
    return BeaconFix(test.place_id, posterior, test.level_before, test.level_after, float(np.hypot(east_m - test.true_easting_m, north_m - test.true_northing_m)))


def ways_of_widening(fixes: list[BeaconFix], test_only: set[str] = frozenset()) -> pd.DataFrame:
    """One row per way and nominal level; columns of COLUMNS. No fix, no row.

    test_only : places that teach nothing.
    inside of fixes held the truth; share, low_95 and high_95 count every place once. used_low to used_high: the levels or factors in use,
    one per place, each from the other places. Areas by which ways can be compared are those of equal coverage: each way set so
    that it holds the nominal share of these very truths, every place counting once.
    """
    rows = [_row(way, nominal, fixes, test_only) for nominal in LEVELS for way in (TEMPERED, BY_LEVEL, BY_RADIUS)] if fixes else []
    return pd.DataFrame(rows, columns=COLUMNS).replace([np.inf, -np.inf], np.nan)


def _row(way: str, nominal: float, fixes: list[BeaconFix], test_only: set[str]) -> dict:
    places = np.array([fix.place_id for fix in fixes], object)
    scores, area_of = _scores_and_areas(way, nominal, fixes)
    used = _used(way, nominal, scores, places, test_only)
    exists = np.isfinite(used)
    areas, equal = area_of(used)[exists], area_of(np.full(len(fixes), score_that_holds(scores, places, nominal)))
    held = pd.Series(scores <= used, dtype=float)[exists].groupby(places[exists]).mean()
    low, high = exact_interval(held.sum(), len(held)) if len(held) else (np.nan, np.nan)
    return {
        "way": way, "nominal": nominal, "fixes": int(exists.sum()), "inside": int((scores <= used)[exists].sum()), "places": len(held), "share": held.mean(), "low_95": low, "high_95": high,
        "used_low": np.min(used[exists], initial=np.inf), "used_high": np.max(used[exists], initial=-np.inf), "median_area_ha": np.median(areas) if len(areas) else np.nan,
        "mean_area_ha": np.mean(areas) if len(areas) else np.nan, "without_region": int((~exists).sum()), "equal_coverage_median_ha": np.median(equal), "equal_coverage_mean_ha": np.mean(equal),
        "reason": _reason(nominal, exists, places, test_only),
    }


def _scores_and_areas(way: str, nominal: float, fixes: list[BeaconFix]):
    """(how far out each truth lay, function from the levels or factors used to areas in hectares)."""
    if way == BY_RADIUS:
        sharp = [fix.posterior.widened(1.0) for fix in fixes]
        radius_m = np.array([posterior.radius_m(nominal, best_position(posterior)) for posterior in sharp])
        return np.array([fix.error_m for fix in fixes]) / radius_m, lambda factors: np.pi * np.square(factors * radius_m) / 1e4
    levels = np.array([fix.level_after if way == TEMPERED else fix.level_before for fix in fixes], float)
    posteriors = [fix.posterior if way == TEMPERED else fix.posterior.widened(1.0) for fix in fixes]

    def areas(used):
        return np.array([posterior.region_area_ha(level) if np.isfinite(level) else np.inf for posterior, level in zip(posteriors, used)])

    return np.where(levels < _EVERYTHING, levels, np.inf), areas


def _used(way: str, nominal: float, scores, places, test_only) -> np.ndarray:
    """The level or factor in use for each fix; infinity where there is none."""
    if way == TEMPERED:
        return np.full(len(places), nominal)
    left_out = quantiles_leaving_out(scores, places, nominal, set(places) - set(test_only))
    return np.array([left_out[place] for place in places])


def _reason(nominal: float, exists, places, test_only) -> str:
    """Why fixes have no region; blank where all have one."""
    if exists.all():
        return ""
    teachers = set(places) - set(test_only)
    others = min(len(teachers - {place}) for place in places)
    if others < places_needed(nominal):
        return f"it needs {places_needed(nominal)} other beacon places, and there are {others}"
    return "other beacons lay outside all that the density as computed holds"
