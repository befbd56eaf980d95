"""What is known of one tag over all flights of a campaign, gathered before it is judged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class TagEvidence:
    """Counts and dates for one tag. Only flights with a verdict on 3 or more records count as live or mortality."""

    tag_id: str
    flights_searched: int
    flights_heard: int
    flights_silent_since: int
    flights_live: int
    flights_mortality: int
    records_with_rate: int
    records_live: int
    records_mortality: int
    passes_mortality: int
    stray_mortality_records: int        # at the mortality rate in flights without a verdict
    last_state: str                     # of the last flight with a verdict: live, mortality or ""
    rate_per_min: float
    last_live_utc: pd.Timestamp
    first_mortality_utc: pd.Timestamp
    alive_after_mortality: bool
    seen_state: str
    seen_utc: pd.Timestamp
    alive_after_dead: bool              # seen alive after it was found dead: one of the two is an error
    same_place_flights: int
    minimum_detectable_m: float
    unmoved_flights: int                # the last flights between which no step shows a movement, though each could have shown a coarse one
    unmoved_detectable_m: float         # the largest of the movements that each of these steps would have shown
    mortality_days: float               # from the first to the last flight with the mortality verdict
    live_rate_per_min: float
    mortality_rate_per_min: float
    frequency_mhz: float
    expected_end_utc: pd.Timestamp
    days_since_deployed: float          # from deployment to the first flight with the mortality verdict


def gather_evidence(tag, pulses, fixes, sightings=None, stillness=None):
    """Evidence on one tag.

    Parameters
    ----------
    tag : dict, one row of TAGS
    pulses, fixes, sightings, stillness : DataFrames as in triage

    Returns
    -------
    TagEvidence
    """
    own = pulses[pulses["tag_id"] == tag["tag_id"]].sort_values("first_utc", kind="stable")
    live, mortality = own[own["fate"] == "live"], own[own["fate"] == "mortality"]
    clear = own[own["fate"].isin(["live", "mortality"])]
    rows = fixes[fixes["tag_id"] == tag["tag_id"]]
    seen = _seen(tag["tag_id"], sightings)
    first_mortality = mortality["first_utc"].min()
    alive_utc = seen.loc[seen["state"] == "alive", "time_utc"].max()
    still_flights, still_m = _still(tag["tag_id"], stillness)
    unmoved_flights, unmoved_m = _still(tag["tag_id"], stillness, "unmoved_flights", "unmoved_detectable_m")
    ground = seen[seen["state"].isin(["dead", "tag only"])]
    last_state = clear["fate"].iloc[-1] if len(clear) else ""
    return TagEvidence(
        tag_id=tag["tag_id"],
        flights_searched=int((rows["records_listened"].fillna(0) > 0).sum()),
        flights_heard=int((rows["records_heard"].fillna(0) > 0).sum()), flights_silent_since=_silent_since(rows, alive_utc),
        flights_live=len(live), flights_mortality=len(mortality), records_with_rate=int(own["records_with_rate"].sum()),
        records_live=int(live["records_live"].sum()), records_mortality=int(mortality["records_mortality"].sum()),
        passes_mortality=int(mortality["passes_mortality"].sum()),
        stray_mortality_records=int(own.loc[~own["fate"].isin(["live", "mortality"]), "records_mortality"].sum()),
        last_state=last_state, rate_per_min=_last_rate(clear),
        last_live_utc=_latest(live["last_utc"].max(), alive_utc), first_mortality_utc=first_mortality,
        alive_after_mortality=bool(pd.notna(alive_utc) and pd.notna(first_mortality) and alive_utc > mortality["last_utc"].max()),
        seen_state=ground["state"].iloc[-1] if len(ground) else "", seen_utc=ground["time_utc"].iloc[-1] if len(ground) else pd.NaT,
        alive_after_dead=bool(len(ground) and pd.notna(alive_utc) and alive_utc > ground["time_utc"].iloc[-1]),
        same_place_flights=still_flights, minimum_detectable_m=still_m, unmoved_flights=unmoved_flights, unmoved_detectable_m=unmoved_m,
        mortality_days=float((mortality["first_utc"].max() - first_mortality) / pd.Timedelta(days=1)) if len(mortality) else 0.0,
        live_rate_per_min=_number(tag, "pulse_rate_live_per_min"), mortality_rate_per_min=_number(tag, "pulse_rate_mortality_per_min"),
        frequency_mhz=_number(tag, "frequency_mhz"), expected_end_utc=pd.to_datetime(tag.get("expected_end_utc"), utc=True),
        days_since_deployed=float((first_mortality - pd.to_datetime(tag.get("deployed_utc"), utc=True)) / pd.Timedelta(days=1)),
    )


def _silent_since(rows, alive_utc) -> int:
    """Flights that listened to the tag after the last one that heard it, and after it was last seen alive; 0 when it was never heard."""
    listened = rows[rows["records_listened"].fillna(0) > 0]
    heard = listened.loc[listened["records_heard"].fillna(0) > 0, "time_start_utc"]
    last = _latest(heard.max(), alive_utc)
    return int((listened["time_start_utc"] > last).sum()) if len(heard) else 0


def _seen(tag_id, sightings):
    if sightings is None or not len(sightings):
        return pd.DataFrame({"time_utc": pd.Series(dtype="datetime64[us, UTC]"), "state": pd.Series(dtype="string")})
    return sightings[sightings["tag_id"] == tag_id].sort_values("time_utc", kind="stable")


def _still(tag_id, stillness, flights="same_place_flights", detectable_m="minimum_detectable_m"):
    if stillness is None or flights not in stillness.columns or not (stillness["tag_id"] == tag_id).any():
        return 0, np.nan
    row = stillness[stillness["tag_id"] == tag_id].iloc[0]
    return int(row[flights]), float(row[detectable_m])


def _latest(*times):
    known = [time for time in times if pd.notna(time)]
    return max(known) if known else pd.NaT


def _last_rate(clear):
    return float(clear["rate_per_min"].iloc[-1]) if len(clear) else np.nan


def _number(tag, name):
    value = tag.get(name)
    return float(value) if value is not None and pd.notna(value) else np.nan
