"""The animals that no flight heard, that all flights together heard in one record, which may be false, or that fell silent."""

from __future__ import annotations

import pandas as pd

from pipeline.fate.triage import FLIGHTS_OF_SILENCE

MISSING = ["tag_id", "animal_id", "species", "class", "records_listened", "records_heard", "adequacy_expected", "adequacy_cautious", "battery_used"]
HEARD_ONCE = "heard once"


def heard_once(animals: pd.DataFrame) -> pd.DataFrame:
    """tag_id, animal_id, records_heard, records_listened of the animals that all flights together heard in one record. animals : fixes of animals."""
    if not len(animals):
        return pd.DataFrame(columns=["tag_id", "animal_id", "records_heard", "records_listened"])
    rows = animals.groupby("tag_id", sort=True).agg(animal_id=("animal_id", "first"), records_heard=("records_heard", "sum"), records_listened=("records_listened", "sum")).reset_index()
    return rows[rows["records_heard"] == 1].reset_index(drop=True)


def fell_silent(animals: pd.DataFrame, triage: pd.DataFrame) -> pd.DataFrame:
    """tag_id, animal_id, flights (in vain since), records_heard, records_listened, last_utc of the animals that two flights or more listened for in vain since they were heard.

    animals : fixes of animals. triage : rows of fate_triage.
    """
    since = dict(zip(triage["tag_id"], triage["flights_silent_since"])) if len(triage) else {}
    rows = animals[animals["tag_id"].map(lambda tag_id: since.get(tag_id, 0) >= FLIGHTS_OF_SILENCE).astype(bool)] if len(animals) else animals
    if not len(rows):
        return pd.DataFrame(columns=["tag_id", "animal_id", "flights", "records_heard", "records_listened", "last_utc"])
    found = rows.groupby("tag_id", sort=True).agg(animal_id=("animal_id", "first"), records_heard=("records_heard", "sum"), records_listened=("records_listened", "sum")).reset_index()
    last = rows[rows["records_heard"].fillna(0) > 0].groupby("tag_id")["time_end_utc"].max()
    return found.assign(last_utc=found["tag_id"].map(last), flights=found["tag_id"].map(since))


def missing_animals(not_found: pd.DataFrame, animals: pd.DataFrame, species: dict[str, str], triage: pd.DataFrame) -> pd.DataFrame:
    """One row per animal heard in no flight (rows of not_found), then those heard in one record, then those that fell silent; columns of MISSING.

    How well the ground was searched is blank for the latter two: it is reckoned for animals that no flight heard.
    """
    once, silent = heard_once(animals), fell_silent(animals, triage)
    once = once.assign(species=[species.get(tag_id, "") for tag_id in once["tag_id"]], **{"class": HEARD_ONCE})
    silent = silent[~silent["tag_id"].isin(once["tag_id"])]
    silent = silent.assign(species=[species.get(tag_id, "") for tag_id in silent["tag_id"]], **{"class": [f"silent since {moment:%Y-%m-%d}" for moment in silent["last_utc"]]})
    parts = [part.reindex(columns=MISSING) for part in (not_found.assign(records_heard=0) if len(not_found) else not_found, once, silent) if len(part)]
    return pd.concat([part.astype(object) for part in parts], ignore_index=True).infer_objects() if parts else pd.DataFrame(columns=MISSING)


def false_record_words(animals: pd.DataFrame, false: pd.DataFrame) -> str:
    """How many false records are to be expected in the searches that heard nothing or one record; animals : fixes of animals, false : row of false_detections."""
    quiet = animals[animals["status"].isin(["not heard", HEARD_ONCE])] if len(animals) else animals
    if not len(quiet) or not (quiet["status"] == HEARD_ONCE).any():
        return ""
    if not len(false) or not false.iloc[0]["records_listened"]:
        return " How often a single record is false was not measured: no tag known to be switched off was listened to."
    row, records = false.iloc[0], int(quiet["records_listened"].sum())
    low, expected, high = (f"{records * row[name]:.2g}" for name in ("share_low", "share", "share_high"))
    return (f" A single record may be false: tags known to be switched off were heard in {int(row['records_heard'])} of {int(row['records_listened']):,d} records, at which rate {expected} false records ({low} to {high} by the exact 95 % interval of the rate) are to be "
            f"expected in the {records:,d} records of the {len(quiet)} searches that heard nothing or one record.")
