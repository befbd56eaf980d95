"""What a terrain model is worth, and what a wrong one costs: `python -m tests.benchmarks.terrain [campaigns]`.

In the valley of 300 m relief and ten beacons of the accuracy benchmark the same campaigns are located with the terrain model, without
it, and with the raster shifted by 200 m to the east and the north; and by the posterior under the true parameters and the true loss, which
says how much of the error there is to take off. They are flown at 50 m above the ground and at the 80 m of the other
benchmarks: the lower, the more the hills take. Prints one table and writes it to tests/benchmarks/terrain.csv. About half an hour.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pandas as pd

from tests.benchmarks.accuracy import LEVELS, animals_located, animals_located_at_best
from tests.benchmarks.worlds import WORLDS, World, campaign, hills_of
from pipeline.simulate import invented_valley

RESULT = Path(__file__).with_name("terrain.csv")
SHIFT_M = 200.0
HEIGHTS_M = (50.0, 80.0)
AT_BEST = "with the true loss and parameters"


def located(world: World, campaigns: int) -> pd.DataFrame:
    """One row per animal, flight and way of reckoning."""
    parts = []
    for number in range(campaigns):
        seed = 2000 + number
        made = campaign(world, seed)
        ways = {"with the terrain model": made, "without it": replace(made, hills={}), "with it shifted by 200 m": replace(made, hills=hills_of([made.records], invented_valley(seed), SHIFT_M))}
        for way, some in ways.items():
            parts.append(animals_located(some, seed=1).assign(way=way))
        parts.append(animals_located_at_best(made).assign(way=AT_BEST, terrain_share=1.0))
    return pd.concat(parts)


def summary(fixes: pd.DataFrame) -> pd.DataFrame:
    """A line for each way of reckoning."""
    rows = [{"way": way, "fixes": len(part), "median_m": part["error_m"].median(), **{f"held_{round(100 * level)}": int((part["level"] <= level).sum()) for level in LEVELS},
             "median_region_95_ha": part["region_95_ha"].median(), "terrain_share": part["terrain_share"].mean()} for way, part in fixes.groupby("way", sort=False)]
    table = pd.DataFrame(rows)
    return table.assign(to_without=table["median_m"] / float(table.loc[table["way"] == "without it", "median_m"].iloc[0]))


def main(campaigns: int = 5) -> None:
    valley, parts = next(world for world in WORLDS if world.relief), []
    for height_m in HEIGHTS_M:
        table = summary(located(replace(valley, flown_m=height_m), campaigns))
        table.insert(0, "flown_m", height_m)
        print(table.round(3).to_string(index=False), flush=True)
        parts.append(table)
    pd.concat(parts).to_csv(RESULT, index=False, float_format="%.4g")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
