"""Every search for an animal as it may be published: what became of it and how large its region is, without where that lies."""

from __future__ import annotations

import pandas as pd

SEARCHES = ["tag_id", "animal_id", "flight_id", "time_start_utc", "time_end_utc", "status", "status_reason", "error_radius_50_m", "error_radius_95_m", "region_50_ha", "region_80_ha", "region_95_ha",
            "records_listened", "records_heard", "fate", "method"]


def published_searches(animals: pd.DataFrame) -> pd.DataFrame:
    """One row per animal and flight, columns of SEARCHES. animals : fixes of animals, columns of FIXES; ellipses are left out with the positions, since their azimuths tell of the ground."""
    return animals[SEARCHES].reset_index(drop=True)
