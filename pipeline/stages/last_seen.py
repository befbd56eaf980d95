"""Where an animal that no flight heard was last: seen alive, or its tag placed by the ground crew."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.location import PLACED
from pipeline.movement.shared_errors import RADIUS_95_PER_SD
from pipeline.search import SearchGrid, prior_from_last_fix, stated_probability
from pipeline.stages.ground_fixes import GROUND_FIXES
from pipeline.stages.workspace import Workspace
from pipeline.wording import counted

COLUMNS = ["time_utc", "tag_id", "state", "easting_m", "northing_m", "position_sd_m", "how"]


@dataclass(frozen=True)
class LastSeen:
    """Last places, and how far each species wanders in a day.

    places : DataFrame with time_utc, tag_id, state (only "alive" and "" count), easting_m, northing_m, position_sd_m, and how, in words, it is known.
    movement_m_per_day : species -> root mean square of a day's net displacement. [m]
    """

    places: pd.DataFrame
    movement_m_per_day: dict

    def prior(self, tag: dict, grid: SearchGrid, until_utc) -> tuple[np.ndarray, str, float] | None:
        """(where the animal may be, in words, days between that place and the last record); None when no place is known or its species' movement is not stated."""
        own = self.places[(self.places["tag_id"] == tag["tag_id"]) & self.places["state"].fillna("").isin(["alive", ""]) & self.places["easting_m"].notna()]
        movement = self.movement_m_per_day.get(str(tag["species"] or ""))
        if own.empty or movement is None or pd.isna(until_utc):
            return None
        last = own.sort_values("time_utc", kind="stable").iloc[-1]
        days = float(abs(until_utc - last["time_utc"]) / pd.Timedelta(days=1))
        sd_m = float(last["position_sd_m"]) if np.isfinite(last["position_sd_m"]) else 0.0
        # The place's own spread as a ring of eight places with the same variance along each axis.
        angle = np.arange(8) * np.pi / 4.0
        ring = np.array([last["easting_m"], last["northing_m"]]) + np.sqrt(2.0) * sd_m * np.stack([np.cos(angle), np.sin(angle)], axis=1)
        prior, inside = prior_from_last_fix(grid.easting_m, grid.northing_m, grid.cell_m, ring, days, movement)
        return prior, f"{last['how']} {last['time_utc']:%Y-%m-%d}, spread by {movement:.0f} m a day over {counted(round(days), 'day')}; {stated_probability(inside)} of that lies in the ground asked about", days


def last_seen(workspace: Workspace) -> LastSeen:
    """From the sightings, the fixes of the ground crew, and the survey file."""
    seen = workspace.read_work("sightings").assign(how="seen")
    ground = workspace.read_table("ground_fixes", GROUND_FIXES)
    return LastSeen(places_of(seen, ground), dict(workspace.survey.movement.species_movement_m_per_day))


def places_of(seen: pd.DataFrame, ground: pd.DataFrame) -> pd.DataFrame:
    """Sightings, and fixes of the ground crew that have a position, as last places; columns as LastSeen has them. ground : columns of GROUND_FIXES."""
    placed = ground[ground["status"].isin(PLACED) & ground["easting_m"].notna()]
    by_crew = pd.DataFrame({"time_utc": placed["session_end_utc"], "tag_id": placed["tag_id"], "state": placed["state"], "easting_m": placed["easting_m"], "northing_m": placed["northing_m"],
                            "position_sd_m": placed["error_radius_95_m"] / RADIUS_95_PER_SD, "how": "placed by the ground crew"})
    parts = [part for part in (seen[COLUMNS], by_crew) if len(part)]
    return pd.concat(parts, ignore_index=True) if parts else seen[COLUMNS]
