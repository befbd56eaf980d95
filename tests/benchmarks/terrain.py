"""What a terrain model is worth, and what a wrong one costs: `python -m tests.benchmarks.terrain [campaigns]`.

In the valley of 300 m relief and ten beacons of the accuracy benchmark the same campaigns are located with the terrain model, without
it, and with the raster shifted by 200 m to the east and the north. Prints one table and writes it to tests/benchmarks/terrain.csv.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pandas as pd

from tests.benchmarks.accuracy import LEVELS, animals_located
from tests.benchmarks.worlds import WORLDS, campaign, hills_of
from pipeline.simulate import invented_valley

RESULT = Path(__file__).with_name("terrain.csv")
SHIFT_M = 200.0


def main(campaigns: int = 5) -> None:
    world = next(world for world in WORLDS if world.name == "terrain")
    parts = []
    for number in range(campaigns):
        seed = 2000 + number
        made = campaign(world, seed)
        ways = {"with the terrain model": made, "without it": replace(made, hills={}), "with it shifted by 200 m": replace(made, hills=hills_of([made.records], invented_valley(seed), SHIFT_M))}
        for way, some in ways.items():
            parts.append(animals_located(some, seed=1).assign(way=way))
    fixes = pd.concat(parts)
    rows = [{"way": way, "fixes": len(part), "median_m": part["error_ours_m"].median(), **{f"held_{round(100 * level)}": int((part["level"] <= level).sum()) for level in LEVELS},
             "median_region_95_ha": part["region_95_ha"].median(), "terrain_share": part["terrain_share"].mean()} for way, part in fixes.groupby("way", sort=False)]
    table = pd.DataFrame(rows)
    table.to_csv(RESULT, index=False, float_format="%.4g")
    print(table.round(3).to_string(index=False))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
