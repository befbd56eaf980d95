"""Tables of other stages as they may be published: what they measured, without where it lies and without words for the office."""

from __future__ import annotations

import pandas as pd

SEARCHES = ["tag_id", "animal_id", "flight_id", "time_start_utc", "time_end_utc", "status", "status_reason", "error_radius_50_m", "error_radius_95_m", "region_50_ha", "region_80_ha", "region_95_ha",
            "records_listened", "records_heard", "fate", "method"]
BEACON_FIXES = ["tag_id", "flight_id", "flight_style", "status", "records_heard", "closest_approach_m", "error_m", "error_east_m", "error_north_m", "error_radius_95_m", "region_95_ha", "level_before", "level_after",
                "inside_95", "strongest_record_error_m"]
FATES = ["tag_id", "animal_id", "species", "fate_shown", "why", "other_explanations", "last_live_utc", "first_mortality_utc", "records_mortality", "passes_mortality", "flights_mortality", "flights_heard", "flights_silent_since",
         "flights_searched", "pulse_rate_per_min", "pulse_rate_mortality_per_min", "mortality_days"]
# What a class of fate says of the animal itself, where its name says it to the office; of those that change what the fixes mean.
_SHOWN = {"Confirmed dead": "found dead", "Confirmed dropped tag": "tag found dropped", "Retrieve": "mortality rate kept up", "Check soon": "mortality rate", "Watch": "mortality rate in few records"}
# The same classes where no record stood at the mortality rate: such a tag asks for a look since it stays in one place, or for single signs.
_WITHOUT_A_RATE = {"Check soon": "one place, no clear pulse rate", "Watch": "alive or dead unclear"}


def published_searches(animals: pd.DataFrame) -> pd.DataFrame:
    """One row per animal and flight, columns of SEARCHES. animals : fixes of animals, columns of FIXES; ellipses are left out with the positions, since their azimuths tell of the ground."""
    return animals[SEARCHES].reset_index(drop=True)


def published_beacon_fixes(details: pd.DataFrame) -> pd.DataFrame:
    """One row per beacon fix, columns of BEACON_FIXES: errors and radii. details : rows of beacon_error_details; empty without a heard beacon."""
    return details.reindex(columns=BEACON_FIXES).reset_index(drop=True)


def fate_shown(name: str, records_mortality: float) -> str:
    """What is shown of an animal whose fate changes what its fixes mean, "" of others. name : its class. records_mortality : records at the mortality rate."""
    return _WITHOUT_A_RATE[name] if name in _WITHOUT_A_RATE and not records_mortality > 0 else _SHOWN.get(name, "")


def published_fates(triage: pd.DataFrame) -> pd.DataFrame:
    """One row per animal, columns of FATES, in the order of the tags. triage : rows of fate_triage, in the order in which something is to be done."""
    rows = triage.assign(fate_shown=[fate_shown(name, records) or name for name, records in zip(triage["class"], triage["records_mortality"])]) if len(triage) else triage
    return rows.reindex(columns=FATES).sort_values("tag_id", kind="stable").reset_index(drop=True)
