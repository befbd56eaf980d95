"""Every animal in one table: when it was last heard, in which state, how well it is placed, and whether it moved.

    every_animal     one row per animal, those that ask for something to be done first
    silent_since     animals heard earlier that later flights, which would probably have heard them, did not hear
    newest_places    where each animal was last placed
    one_record_only  animals whose hearing rests on single records, which may be false
"""

from __future__ import annotations

import pandas as pd

from pipeline.columns import conform
from pipeline.fate.triage import FLIGHTS_OF_SILENCE
from pipeline.location import PLACED

EVERY_ANIMAL = {
    "tag_id": "text",
    "animal_id": "text",
    "species": "text",
    "last_heard_utc": "time",             # blank when never heard in this campaign
    "flights_heard": "int",
    "flights_listened": "int",
    "records_heard": "int",
    "state": "text",
    "error_radius_95_m": "float",         # of the newest position
    "position_utc": "time",
    "position_from": "text",              # flight or ground session that gave it
    "moved": "text",                      # yes | not shown | cannot tell
}
PLACES = ["tag_id", "position_utc", "position_from", "easting_m", "northing_m", "error_radius_95_m"]
SILENT = ["tag_id", "last_heard_utc", "flights_heard", "flights_silent", "probability"]
# The best of the silent flights alone is the least that all of them together can do, whatever their looks share.
WELL_SEARCHED = 0.9
SILENT_RULE = ("Named as silent is an animal that was heard, and then in none of the last two flights or more that listened to it, of which the best alone would have heard a tag of its type with probability 0.9 or more "
               "(averaged over the ground looked at, and reckoned with weak tags). One silent flight may be chance; flights together search at least as well as the best of them.")
SEEN = {"Confirmed dead": "found dead", "Confirmed dropped tag": "tag found without its animal"}
NEVER = "never heard"
_STATES = SEEN | {"Retrieve": "sends the mortality rate", "Check soon": "stays in one place, no clear pulse rate", "Watch": "alive or dead unclear, see the fates", "Live mode heard": "alive when last heard",
                  "Heard, mode unknown": "heard, pulse rate unknown", "Battery end expected": f"{NEVER}, battery expected to have ended", "Not heard": NEVER, "Not searched": "not listened to"}


def heard_searches(animals: pd.DataFrame) -> pd.DataFrame:
    """Rows of FIXES in which something of the animal was heard and is believed."""
    return animals[(animals["records_heard"].fillna(0) > 0) & (animals["status"] != "suspect")]


def one_record_only(animals: pd.DataFrame, tags_heard: pd.DataFrame) -> dict[str, int]:
    """Tag -> records, of the animals heard in one record, or in a few of which no two follow each other; animals : rows of FIXES."""
    records = heard_searches(animals).groupby("tag_id", sort=True)["records_heard"].sum()
    longest = dict(zip(tags_heard["tag_id"], tags_heard["longest_run"].fillna(0)))
    lone = set(heard_searches(animals)["tag_id"]) - set(animals.loc[animals["status"].isin(PLACED), "tag_id"])
    return {tag_id: int(count) for tag_id, count in records.items() if count == 1 or (tag_id in lone and longest.get(tag_id, 2) == 1)}


def silent_since(animals: pd.DataFrame, flights: pd.DataFrame, searched: pd.DataFrame, tags: pd.DataFrame, triage: pd.DataFrame) -> pd.DataFrame:
    """Animals to be missed although they were heard, by SILENT_RULE; columns of SILENT. animals : rows of FIXES. searched : of searched_area.

    probability : that the best of the silent flights alone would have heard a tag of the type. What was found by eye is not missed.
    """
    order = {flight_id: number for number, flight_id in enumerate(flights.sort_values("start_utc", kind="stable")["flight_id"])}
    kinds, seen = dict(zip(tags["tag_id"], tags["tag_type"].fillna(""))), set(triage.loc[triage["class"].isin(SEEN), "tag_id"])
    adequacy = {(row.flight_id, row.tag_type): row.mean_cautious for row in searched.fillna({"tag_type": ""}).itertuples()}
    rows = []
    for tag_id, own in animals.groupby("tag_id", sort=True):
        heard = heard_searches(own)
        if heard.empty or tag_id in seen:
            continue
        last = heard["flight_id"].map(order).max()
        later = own[(own["flight_id"].map(order) > last) & (own["records_listened"].fillna(0) > 0)]
        best = max((adequacy.get((flight_id, kinds.get(tag_id, "")), 0.0) for flight_id in later["flight_id"]), default=0.0)
        if len(later) >= FLIGHTS_OF_SILENCE and best >= WELL_SEARCHED:
            rows.append((tag_id, heard["time_end_utc"].max(), heard["flight_id"].nunique(), len(later), best))
    return pd.DataFrame(rows, columns=SILENT)


def every_animal(animals: pd.DataFrame, tags: pd.DataFrame, triage: pd.DataFrame, *, walk: pd.DataFrame, silent: pd.DataFrame, single: dict[str, int], ground: pd.DataFrame, steps: pd.DataFrame) -> pd.DataFrame:
    """One row per animal, columns of EVERY_ANIMAL, those that ask for something to be done first.

    animals : rows of FIXES. tags : the register, whose animals all have a row even when no flight listened. silent, single : see silent_since, one_record_only.
    ground : ground_fixes. steps : movement_steps.
    """
    register = tags[tags["role"] == "animal"].set_index("tag_id")
    names = sorted({*register.index, *animals["tag_id"], *triage["tag_id"]} - set(tags.loc[tags["role"].isin(["beacon", "decoy"]), "tag_id"]))
    classes = dict(zip(triage["tag_id"], triage["class"]))
    sending = set(triage.loc[triage["records_mortality"].fillna(0) > 0, "tag_id"])
    places = newest_places(animals, ground).set_index("tag_id")[["error_radius_95_m", "position_utc", "position_from"]].to_dict("index")
    rows = []
    for tag_id in names:
        own = animals[animals["tag_id"] == tag_id]
        heard = heard_searches(own)
        state = _state(classes.get(tag_id, ""), own, heard, single.get(tag_id, 0), tag_id in sending)
        gone = silent[silent["tag_id"] == tag_id]
        if len(gone):
            state = f"{state}; silent since {gone.iloc[0]['last_heard_utc']:%Y-%m-%d}"
        listened = int((own["records_listened"].fillna(0) > 0).sum())
        rows.append({"tag_id": tag_id, "animal_id": _of(register, tag_id, "animal_id"), "species": _of(register, tag_id, "species"), "last_heard_utc": heard["time_end_utc"].max() if len(heard) else pd.NaT,
                     "flights_heard": heard["flight_id"].nunique(), "flights_listened": listened, "records_heard": int(heard["records_heard"].sum()), "state": state,
                     "moved": _moved(steps, tag_id), "rank": _rank(tag_id, classes.get(tag_id, ""), own, heard, walk, silent, single)} | places.get(tag_id, {}))
    table = pd.DataFrame(rows, columns=[*EVERY_ANIMAL, "rank"]).sort_values(["rank", "tag_id"], kind="stable", ignore_index=True)
    return conform(table.drop(columns="rank"), EVERY_ANIMAL)


def _of(register: pd.DataFrame, tag_id: str, column: str) -> str:
    value = register[column].get(tag_id, "")
    return "" if pd.isna(value) else str(value)


def newest_places(animals: pd.DataFrame, ground: pd.DataFrame) -> pd.DataFrame:
    """The newest position of each animal that has one, from the air or from the ground; columns of PLACES. ground : ground_fixes."""
    parts = [table[table["status"].isin(PLACED)].rename(columns={time: "position_utc", source: "position_from"})[PLACES]
             for table, time, source in ((animals, "time_end_utc", "flight_id"), (ground, "session_end_utc", "session_id")) if len(table)]
    placed = pd.concat(parts) if parts else pd.DataFrame(columns=PLACES)
    return placed.sort_values(["tag_id", "position_utc"], kind="stable").groupby("tag_id").tail(1).reset_index(drop=True)


def _state(name: str, own: pd.DataFrame, heard: pd.DataFrame, single: int, sending: bool) -> str:
    if single and name not in SEEN:
        return "one record only, which may be false" if single == 1 else f"{single} single records only, which may be false"
    if name == "Check soon" and sending:
        return _STATES["Retrieve"]
    if name in _STATES:
        return _STATES[name]
    if len(heard):
        return _STATES["Heard, mode unknown"]
    if (own["status"] == "suspect").any():
        return "heard, but doubted"
    return NEVER if (own["records_listened"].fillna(0) > 0).any() else _STATES["Not searched"]


def _rank(tag_id: str, name: str, own: pd.DataFrame, heard: pd.DataFrame, walk: pd.DataFrame, silent: pd.DataFrame, single: dict[str, int]) -> int:
    """What asks for more to be done stands first: a walk, a search for what fell silent or was never heard or placed; then the others; last what was found."""
    placed = own["status"].isin(PLACED).any()
    reasons = (tag_id in set(walk["tag_id"]), tag_id in set(silent["tag_id"]), tag_id in single, len(heard) == 0 and name not in SEEN, name == "Watch", len(heard) > 0 and not placed and name not in SEEN, name not in SEEN)
    return next((number for number, holds in enumerate(reasons) if holds), len(reasons))


def _moved(steps: pd.DataFrame, tag_id: str) -> str:
    verdicts = set(steps.loc[steps["tag_id"] == tag_id, "verdict"]) if len(steps) else set()
    return "yes" if "moved" in verdicts else "not shown" if "not shown" in verdicts else "cannot tell"
