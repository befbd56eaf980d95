"""What the movement summaries keep of what they promise: `python -m tests.benchmarks.movement [animals per case of ranges]`.

Animals of known movement are seen through fixes with known errors. Six questions:
still    of animals that never move, how many are called moved, and in how many campaigns of 40 any is
power    at what distance of movement 8 of 10 are found, against the minimum detectable movement that is stated
range    how often the 95 % interval of a 95 % area (and of the extent) holds the true one, where the gate prints it
shape    the same for ranges that are not normal
track    how often the 95 % band of a track holds the animal, at its fixes and between them
overlap  how often the interval of the affinity of two ranges holds the true one
Prints one table and writes it to tests/benchmarks/movement.csv. About forty minutes.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.ndimage import gaussian_filter
from scipy.optimize import isotonic_regression

from pipeline.movement import (AnimalFixes, Fix, difference, extent_table, holm, hull_area_m2, normal_affinity, normal_range_area_m2, overlap_table, places_of_animals,
                               range_table, tails_of, track_table, walks_of_animals)

RESULT = Path(__file__).with_name("movement.csv")
START = pd.Timestamp("2027-04-10T08:00Z")
RANGE_SD_M, CAMPAIGN = 500.0, 40


def normal(generator, count):
    return generator.normal(0, 60, (count, 2))


def elongated(generator, count):
    return generator.normal(0, 1, (count, 2)) * [200, 25]


def two_places(generator, count):
    first = generator.random(count) < 0.7
    return np.where(first[:, None], generator.normal(0, 40, (count, 2)), generator.normal(0, 60, (count, 2)) + [600, 0])


def heavy_tailed(generator, count):
    """Student t with 5 degrees of freedom: what a calibration finds when the model's regions are too small and its errors not normal."""
    return 40 * generator.normal(size=(count, 2)) / np.sqrt(generator.chisquare(5, (count, 1)) / 5)


def widened(generator, count):
    """Normal regions of sd 30 m, widened until they hold 95 % of the heavy-tailed errors."""
    return generator.normal(0, 30, (count, 2)) * WIDENED


WIDENED = np.quantile(np.hypot(*heavy_tailed(np.random.default_rng(1), 400_000).T), 0.95) / (30 * np.sqrt(-2 * np.log(0.05)))
CASES = {"normal": (normal, normal), "elongated": (elongated, elongated), "two places": (two_places, two_places), "widened by calibration": (heavy_tailed, widened)}


def p_value(generator, errors, regions, apart_m=0.0, draws=300):
    """Of one pair of fixes of an animal that moved so far, in any direction."""
    off, angle = errors(generator, 2), generator.uniform(0, 2 * np.pi)
    off[1] += apart_m * np.array([np.cos(angle), np.sin(angle)])
    return difference(off[0] - regions(generator, draws), off[1] - regions(generator, draws)).p_same_place()


def still(name, animals=2000, beacons=54, seed=11):
    """Unadjusted level, share of animals called moved after adjustment, share of campaigns with any; each campaign of 40 has its own beacons, which show its tails."""
    generator, (errors, regions) = np.random.default_rng(seed), CASES[name]
    p = np.array([p_value(generator, errors, regions) for _ in range(animals)]).reshape(-1, CAMPAIGN)
    plain = np.array([holm(campaign) < 0.05 for campaign in p])
    called = np.array([holm(tails_of(_levels(generator, errors, regions, beacons)).p_value(campaign)) < 0.05 for campaign in p])
    return [("still", name, "p < 0.05, one pair alone", (p < 0.05).mean(), animals), ("still", name, "called moved, adjusted", called.mean(), animals),
            ("still", name, "campaigns with a false mover", called.any(axis=1).mean(), len(called)),
            ("still", name, "the same, tails taken as normal", plain.any(axis=1).mean(), len(called))]


def _levels(generator, errors, regions, beacons):
    """Level of each beacon's truth in its region: share of the region's draws that are likelier than the truth, by the density of a grid of draws."""
    density = ShapeDensity(regions)
    return [density.level(error) for error in errors(generator, beacons)]


class ShapeDensity:
    """Density of a region of known shape on cells, for levels."""

    def __init__(self, regions, cell_m=8.0):
        draws = -regions(np.random.default_rng(2), 400_000)
        self.corner, self.cell_m = draws.min(axis=0) - cell_m, cell_m
        counts = np.zeros(np.ceil((draws.max(axis=0) - self.corner) / cell_m).astype(int) + 2)
        np.add.at(counts, tuple(((draws - self.corner) / cell_m).astype(int).T), 1.0)
        self.mass = gaussian_filter(counts, 1.5) / len(draws)
        self.ordered = np.sort(self.mass, axis=None)[::-1]
        self.sums = np.cumsum(self.ordered)

    def level(self, error):
        """Of the truth, which lies at the error turned round, seen from the fix."""
        place = np.floor((-error - self.corner) / self.cell_m).astype(int)
        if (place < 0).any() or (place >= self.mass.shape).any():
            return 1.0
        return float(min(1.0, self.sums[np.searchsorted(-self.ordered, -self.mass[tuple(place)])]))


def power(name, pairs=1000, seed=12):
    """Share found at distances about the stated minimum detectable movement, and the distance found in 8 of 10 over it."""
    generator, (errors, regions) = np.random.default_rng(seed), CASES[name]
    stated = np.mean([difference(regions(generator, 300), regions(generator, 300)).minimum_detectable_m() for _ in range(20)])
    distances = stated * np.array([0.25, 0.5, 0.7, 0.8, 0.9, 1.0, 1.1, 1.25])
    found = [np.mean([p_value(generator, errors, regions, distance) < 0.05 for _ in range(pairs)]) for distance in distances]
    rows = [("power", name, f"found at {distance:.0f} m", share, pairs) for distance, share in zip(distances, found)]
    reached = np.interp(0.8, isotonic_regression(found).x, distances)
    return [*rows, ("power", name, "stated minimum detectable, m", stated, 20), ("power", name, "distance found in 8 of 10, over the stated", reached / stated, pairs)]


def animal(tag_id, places_m, error_m, generator, draws=200, days=None):
    """One animal with fixes off their places by normal errors, and draws about them."""
    days = np.arange(len(places_m)) if days is None else days
    fixes = []
    for day, place in zip(days, places_m):
        around = place + generator.normal(0, error_m, 2) + generator.normal(0, error_m, (draws, 2))
        fixes.append(Fix(tag_id, f"F{day}", START + pd.Timedelta(days=float(day)), *around.mean(axis=0), 2.4477 * error_m, False, around))
    return AnimalFixes(tag_id, "", "", tuple(fixes))


def ranges(fixes, ratio, animals, seed=13):
    """Over animals with a normal range: share printed, and of those the share whose interval holds the truth, by method; the extent too."""
    generator = np.random.default_rng([seed, fixes, round(10 * ratio)])
    truth = normal_range_area_m2(RANGE_SD_M**2 * np.eye(2)) / 1e4
    held, name = {}, f"{fixes} fixes, error/range {ratio:g}"
    for number in range(animals):
        places = generator.normal(0, RANGE_SD_M, (fixes, 2))
        one = animal(str(number), places, max(ratio * RANGE_SD_M, 0.01), generator)
        drawn = places_of_animals([one], number)
        for row in range_table([one], seed=number, places=drawn).itertuples():
            held.setdefault(row.method, []).append(None if row.verdict == "refused" else (row.area_95_low_ha <= truth <= row.area_95_high_ha, row.area_95_ha / truth))
        extent, hull = extent_table([one], places=drawn).iloc[0], hull_area_m2(places) / 1e4
        inside = extent["extent_low_ha"] * 0.999 <= hull <= extent["extent_high_ha"] * 1.001
        held.setdefault("extent of fixes", []).append(None if extent["verdict"] == "refused" else (inside, extent["extent_ha"] / hull))
    rows = []
    for method, each in held.items():
        printed = [pair for pair in each if pair is not None]
        rows.append(("range", name, f"{method}: printed", len(printed) / animals, animals))
        if printed:
            rows += [("range", name, f"{method}: interval holds the truth", np.mean([pair[0] for pair in printed]), len(printed)),
                     ("range", name, f"{method}: area over truth, median", np.median([pair[1] for pair in printed]), len(printed))]
    return rows


def tracks(fixes, rate_m, animals=100, error_m=60.0, seed=14):
    """Random walkers at irregular times: share of true places inside the band, at fixes and halfway between."""
    generator = np.random.default_rng([seed, fixes, round(rate_m)])
    at_fix, between, rates = [], [], []
    for number in range(animals):
        days = np.sort(generator.uniform(0, 20, fixes))
        middle = (days[1:] + days[:-1]) / 2
        moments = np.sort(np.concatenate([days, middle]))
        path = np.cumsum(generator.normal(size=(len(moments), 2)) * rate_m * np.sqrt(np.diff(moments, prepend=moments[0]))[:, None], axis=0)
        one = animal("1", path[::2], error_m, generator, days=days)
        walks = walks_of_animals([one], number)
        table = track_table([one], walks, seed=number)
        inside = np.hypot(table["easting_m"].to_numpy()[::4] - path[:, 0], table["northing_m"].to_numpy()[::4] - path[:, 1]) <= table["radius_95_m"].to_numpy()[::4]
        at_fix += list(inside[::2])
        between += list(inside[1::2])
        rates.append(walks["1"].low <= rate_m <= walks["1"].high)
    name = f"{fixes} fixes, {rate_m:g} m per root day"
    return [("track", name, "band holds the animal at its fixes", np.mean(at_fix), len(at_fix)), ("track", name, "band holds it between fixes", np.mean(between), len(between)),
            ("track", name, "interval holds the rate", np.mean(rates), animals)]


def overlaps(fixes, ratio, apart_sd, animals=100, seed=15):
    """Two normal ranges with centres so far apart: share of intervals of the affinity that hold the true one."""
    generator = np.random.default_rng([seed, fixes, round(10 * ratio), round(10 * apart_sd)])
    truth = float(normal_affinity([0, 0], np.eye(2), [apart_sd, 0], np.eye(2)))
    held = []
    for number in range(animals):
        pair = [animal(tag, generator.normal(0, RANGE_SD_M, (fixes, 2)) + [shift * RANGE_SD_M, 0], max(ratio * RANGE_SD_M, 0.01), generator)
                for tag, shift in (("1", 0.0), ("2", apart_sd))]
        row = overlap_table(pair, places_of_animals(pair, number)).iloc[0]
        if row["other_tag_id"]:
            held.append(row["affinity_low"] <= truth <= row["affinity_high"])
    return [("overlap", f"{fixes} fixes, error/range {ratio:g}, affinity {truth:.2f}", "interval holds the truth", np.mean(held), len(held))]


def disc(generator, count):
    """Places alike all over a disc with a sharp edge."""
    radius, angle = 1000 * np.sqrt(generator.random(count)), generator.uniform(0, 2 * np.pi, count)
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])


def two_clumps(generator, count):
    return generator.normal(0, 250, (count, 2)) + np.where(generator.random((count, 1)) < 0.5, -1, 1) * [800, 0]


def shapes(name, animals=60, fixes=36, error_m=150.0, seed=3):
    """Ranges that are not normal: interval and area against the true 95 % area, found from 400,000 places."""
    places_of, generator = {"uniform disc": disc, "two clumps": two_clumps}[name], np.random.default_rng(seed)
    truth = 0.95 * np.pi * 100 if name == "uniform disc" else true_area_ha(places_of)
    held = {}
    for number in range(animals):
        one = animal("1", places_of(generator, fixes), error_m, generator)
        for row in range_table([one], seed=number).itertuples():
            if row.verdict != "refused":
                held.setdefault(row.method, []).append((row.area_95_low_ha <= truth <= row.area_95_high_ha, row.area_95_ha / truth))
    rows = []
    for method, each in held.items():
        rows += [("shape", name, f"{method}: interval holds the truth", np.mean([pair[0] for pair in each]), len(each)),
                 ("shape", name, f"{method}: area over truth, median", np.median([pair[1] for pair in each]), len(each))]
    return rows


def true_area_ha(places_of):
    """Smallest area that holds 95 % of a law of places, from many of them."""
    counts = np.histogram2d(*places_of(np.random.default_rng(4), 400_000).T, bins=200, range=[[-2000, 2000], [-1500, 1500]])[0]
    mass = np.sort(gaussian_filter(counts, 1).ravel())[::-1]
    return float(np.searchsorted(np.cumsum(mass) / mass.sum(), 0.95) * 20 * 15 / 1e4)


def run(animals=150):
    """All questions, one row a figure: question, case, what, value, of how many."""
    rows = []
    for name in CASES:
        rows += _told(still(name)) + _told(power(name))
    for fixes, rate in ((5, 0.0), (5, 100.0), (6, 400.0), (12, 20.0), (12, 100.0), (12, 400.0)):
        rows += _told(tracks(fixes, rate))
    for fixes in (15, 30, 60):
        for ratio in (0.0, 0.3, 0.6):
            rows += _told(ranges(fixes, ratio, animals))
    for name in ("uniform disc", "two clumps"):
        rows += _told(shapes(name))
    for apart in (0.0, 1.0, 3.0):
        rows += _told(overlaps(30, 0.3, apart))
    return pd.DataFrame(rows, columns=["question", "case", "what", "value", "of"])


def _told(rows):
    for question, case, what, value, of in rows:
        print(f"{question:8s} {case:42s} {what:60s} {value:9.3f}  of {of}", flush=True)
    return rows


if __name__ == "__main__":
    run(*map(int, sys.argv[1:2])).round({"value": 3}).to_csv(RESULT, index=False)
