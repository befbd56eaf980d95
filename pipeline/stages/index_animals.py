"""Every animal in one table: when it was last heard, in which state, how well it is placed, and whether it moved.

    every_animal     one row per animal, those that ask for something to be done first
"""

from __future__ import annotations

import pandas as pd

from pipeline.columns import conform
from pipeline.location import PLACED
from pipeline.stages.doubtful_hits import LoneHits
from pipeline.stages.newest_places import newest_places
from pipeline.stages.silences import Silence, heard_searches

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
    "moved": "text",                      # yes | not shown | cannot tell, with UNKNOWN_SINCE for an animal that fell silent
}
SEEN = {"Confirmed dead": "found dead", "Confirmed dropped tag": "tag found without its animal"}
NEVER = "never heard"
UNKNOWN_SINCE = "; unknown since"
_STATES = SEEN | {"Retrieve": "sends the mortality rate", "Check soon": "stays in one place, no clear pulse rate", "Watch": "alive or dead unclear, see the fates", "Live mode heard": "alive when last heard",
                  "Heard, mode unknown": "heard, pulse rate unknown", "Battery end expected": f"{NEVER}, battery expected to have ended", "Not heard": NEVER, "Not searched": "not listened to"}


def every_animal(animals: pd.DataFrame, tags: pd.DataFrame, triage: pd.DataFrame, *, walk: pd.DataFrame, silent: dict[str, Silence], single: dict[str, LoneHits], ground: pd.DataFrame, steps: pd.DataFrame) -> pd.DataFrame:
    """One row per animal, columns of EVERY_ANIMAL, those that ask for something to be done first.

    animals : rows of FIXES. tags : the register, whose animals all have a row even when no flight listened. silent : of silences.fell_silent. single : of doubtful_hits.lone_hits.
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
        state = _state(classes.get(tag_id, ""), own, heard, single.get(tag_id), tag_id in sending)
        if tag_id in silent:
            state = f"{state}; {silent[tag_id].since}"
        listened = int((own["records_listened"].fillna(0) > 0).sum())
        rows.append({"tag_id": tag_id, "animal_id": _of(register, tag_id, "animal_id"), "species": _of(register, tag_id, "species"), "last_heard_utc": heard["time_end_utc"].max() if len(heard) else pd.NaT,
                     "flights_heard": heard["flight_id"].nunique(), "flights_listened": listened, "records_heard": int(heard["records_heard"].sum()), "state": state,
                     "moved": _moved(steps, tag_id) + (UNKNOWN_SINCE if tag_id in silent else ""), "rank": _rank(tag_id, classes.get(tag_id, ""), own, heard, walk, silent, single)} | places.get(tag_id, {}))
    table = pd.DataFrame(rows, columns=[*EVERY_ANIMAL, "rank"]).sort_values(["rank", "tag_id"], kind="stable", ignore_index=True)
    return conform(table.drop(columns="rank"), EVERY_ANIMAL)


def _of(register: pd.DataFrame, tag_id: str, column: str) -> str:
    value = register[column].get(tag_id, "")
    return "" if pd.isna(value) else str(value)


def _state(name: str, own: pd.DataFrame, heard: pd.DataFrame, single: LoneHits | None, sending: bool) -> str:
    if single and name not in SEEN:
        return single.state
    if name == "Check soon" and sending:
        return _STATES["Retrieve"]
    if name in _STATES:
        return _STATES[name]
    if len(heard):
        return _STATES["Heard, mode unknown"]
    if (own["status"] == "suspect").any():
        return "heard, but doubted"
    return NEVER if (own["records_listened"].fillna(0) > 0).any() else _STATES["Not searched"]


def _rank(tag_id: str, name: str, own: pd.DataFrame, heard: pd.DataFrame, walk: pd.DataFrame, silent: dict[str, Silence], single: dict[str, LoneHits]) -> int:
    """What asks for more to be done stands first: a walk, a search for what fell silent or was never heard or placed; then the others; last what was found."""
    placed = own["status"].isin(PLACED).any()
    reasons = (tag_id in set(walk["tag_id"]), tag_id in silent, tag_id in single, len(heard) == 0 and name not in SEEN, name == "Watch", len(heard) > 0 and not placed and name not in SEEN, name not in SEEN)
    return next((number for number, holds in enumerate(reasons) if holds), len(reasons))


def _moved(steps: pd.DataFrame, tag_id: str) -> str:
    verdicts = set(steps.loc[steps["tag_id"] == tag_id, "verdict"]) if len(steps) else set()
    return "yes" if "moved" in verdicts else "not shown" if "not shown" in verdicts else "cannot tell"
