"""What the index page is made from: the tables of all stages, side by side."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

# Below so many beacon fixes nine in ten of them is nearly all: the largest error is told instead.
FEWEST_FOR_NINE_IN_TEN = 10
PILOT_DECIDES = "Where and how to fly is for the licensed pilot to decide."
NO_COMPARISON = "Nothing is compared with an earlier campaign: each run stands for itself, and a change of tags, gain, antenna or settings between campaigns is not looked for."


@dataclass(frozen=True)
class Found:
    """The tables that the answers are made from."""

    flights: pd.DataFrame
    tags_heard: pd.DataFrame
    messages: pd.DataFrame
    changes: pd.DataFrame
    animals: pd.DataFrame        # fixes of animals
    decoys: pd.DataFrame         # fixes of decoys
    tests: pd.DataFrame          # held-out beacons
    errors: pd.DataFrame         # beacon_errors
    beacons: pd.DataFrame        # beacon_places
    coverage: pd.DataFrame
    reach: pd.DataFrame          # beacon_reach
    levels: pd.DataFrame         # flight_levels
    triage: pd.DataFrame
    walk: pd.DataFrame
    not_found: pd.DataFrame
    searched: pd.DataFrame
    well_searched: pd.DataFrame
    steps: pd.DataFrame
    has_register: bool
    permits: dict
    status: str
    sensitive: bool
    false: pd.DataFrame          # false_detections: one row over all decoys
    blind_share: float | None    # largest share of a flight's paths beyond the terrain model; None without one
    canopy: bool = False         # whether canopy heights were given
    candidates: pd.DataFrame = field(default_factory=pd.DataFrame)   # next_flight, the most telling first
    silent: dict = field(default_factory=dict)    # tag -> Silence, of animals heard earlier and not by the flights since
    single: dict = field(default_factory=dict)    # tag -> LoneHits, of animals heard in single records only
    battery: dict = field(default_factory=dict)   # tag -> share of the expected life of its battery that has passed, NaN where unknown
    field_work_told: bool = False   # whether the survey file tells of incidents and reactions of animals
