"""The animals that no flight heard, that were heard in single records only, which may be false, or that fell silent."""

from __future__ import annotations

import pandas as pd

from pipeline.stages.doubtful_hits import LoneHits
from pipeline.stages.search_tables import batteries_used
from pipeline.stages.silences import Silence

MISSING = ["tag_id", "animal_id", "species", "class", "records_listened", "records_heard", "adequacy_expected", "adequacy_cautious", "battery_used"]
HEARD_ONCE = "heard once"


def missing_animals(not_found: pd.DataFrame, lone: dict[str, LoneHits], silent: dict[str, Silence], tags: pd.DataFrame, animals: pd.DataFrame) -> pd.DataFrame:
    """One row per animal heard in no flight (rows of not_found), then those heard in single records only, then those that fell silent; columns of MISSING.

    tags : the register. animals : fixes of animals. How well the ground was searched is blank for the latter two: it is reckoned for animals that no flight heard.
    """
    register, battery = tags.set_index("tag_id")[["animal_id", "species"]].fillna("").to_dict("index"), batteries_used(tags, animals["time_end_utc"].max())
    records = animals.groupby("tag_id")[["records_listened", "records_heard"]].sum().astype(int).to_dict("index")
    classes = {tag_id: HEARD_ONCE if each.hits == 1 else "single records" for tag_id, each in lone.items()}
    classes |= {tag_id: each.since for tag_id, each in silent.items() if tag_id not in lone}
    rows = [{"tag_id": tag_id, "class": name, "battery_used": battery.get(tag_id, float("nan"))} | register.get(tag_id, {"animal_id": "", "species": ""}) | records[tag_id] for tag_id, name in classes.items()]
    parts = [part.reindex(columns=MISSING).astype(object) for part in (not_found.assign(records_heard=0), pd.DataFrame(rows)) if len(part)]
    return pd.concat(parts, ignore_index=True).infer_objects() if parts else pd.DataFrame(columns=MISSING)


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
