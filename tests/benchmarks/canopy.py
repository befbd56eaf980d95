"""What canopy heights are worth: `python -m tests.benchmarks.canopy [campaigns]`.

Woods of 22 m over two fifths of level ground and ten beacons: the same campaigns are located with the canopy heights, without them, and with
woods shifted by 200 m to the east and the north, in two worlds: one whose woods take what the model thinks they take at most (10.9 dB), one
whose woods take up to 18 dB, as no prior knows. Prints one table and writes it to tests/benchmarks/canopy.csv.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.location import best_position
from tests.benchmarks.accuracy import LEVELS, located_as_users_do
from tests.benchmarks.worlds import WORLDS, Campaign, Woods, World, campaign, canopy_of

RESULT = Path(__file__).with_name("canopy.csv")
SHIFT_M = 200.0
# Two fifths of the square of 2.5 km in which beacons and animals lie, in four pieces.
BOXES_M = ((-1250.0, 100.0, -250.0, 1250.0), (300.0, -1250.0, 1100.0, -300.0), (350.0, 300.0, 950.0, 900.0), (-900.0, -1000.0, -500.0, -500.0))
# 0.12 dB/m is twice what is believed without beacons.
WORLD = replace(WORLDS[0], name="woods", woods=Woods(BOXES_M, 22.0, 0.12, 10.9))
DEEPER = replace(WORLD, name="deeper woods", woods=replace(WORLD.woods, most_db=18.0))


def shaded(made: Campaign, woods: Woods, place) -> bool:
    """Whether a tag there loses 3 dB or more in the woods on half of the records of the flights."""
    flown = made.records.drop_duplicates(["flight_id", "record"])
    return bool(np.median(woods.loss_db(*(flown[name].to_numpy() for name in ("easting_m", "northing_m", "height_above_ground_m")), place)) >= 3.0)


def located_in_woods(made: Campaign, woods: Woods, seed: int = 1) -> tuple[pd.DataFrame, dict | None]:
    """(a row per animal and flight: error, level of the truth, area of the region, whether the woods shade it; the row of the fitted coefficient)."""
    models, _, animals, ours = located_as_users_do(made, seed)
    table = models.whole.table().set_index("parameter")
    fixes = pd.DataFrame([{"tag_id": item.tag_id, "flight_id": item.flight_id, "error_m": float(np.hypot(*(best_position(mine.posterior) - made.truth[item.tag_id]))),
                           "level": mine.posterior.level_at(*made.truth[item.tag_id]), "region_95_ha": mine.posterior.region_area_ha(0.95),
                           "shaded": shaded(made, woods, made.truth[item.tag_id])} for item, mine in zip(animals, ours)])
    return fixes, table.loc["canopy_db_per_m"].to_dict() if "canopy_db_per_m" in table.index else None


def shifted(woods: Woods) -> Woods:
    return replace(woods, boxes_m=tuple(tuple(np.array(box) + SHIFT_M) for box in woods.boxes_m))


def compared(world: World, campaigns: int) -> pd.DataFrame:
    parts = []
    for number in range(campaigns):
        made = campaign(world, 3000 + number)
        ways = {"with canopy heights": made, "without them": replace(made, canopy={}), "with them shifted by 200 m": replace(made, canopy=canopy_of([made.records], shifted(world.woods)))}
        for way, some in ways.items():
            fixes, found = located_in_woods(some, world.woods)
            found = found or {"value": np.nan, "standard_error": np.nan}
            parts.append(fixes.assign(way=way, per_m_db=found["value"], off_in_se=(found["value"] - world.woods.per_m_db) / found["standard_error"]))
    fixes, rows = pd.concat(parts), []
    for way, part in fixes.groupby("way", sort=False):
        in_shade, each = part[part["shaded"]], part.drop_duplicates("per_m_db")
        rows.append({"world": world.name, "way": way, "fixes": len(part), "median_m": part["error_m"].median(), "shaded": len(in_shade), "median_shaded_m": in_shade["error_m"].median(),
                     **{f"held_{round(100 * level)}": int((part["level"] <= level).sum()) for level in LEVELS}, "median_region_95_ha": part["region_95_ha"].median(),
                     "per_m_db": each["per_m_db"].mean(), "largest_off_in_se": each["off_in_se"].abs().max()})
    return pd.DataFrame(rows)


def main(campaigns: int = 5) -> None:
    table = pd.concat([compared(world, campaigns) for world in (WORLD, DEEPER)])
    table.to_csv(RESULT, index=False, float_format="%.4g")
    print(table.round(3).to_string(index=False))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
