"""What was heard of each tag over all flights, and in which flight."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.columns import require_columns
from pipeline.quality.hits import hit_table, saturation_db
from pipeline.quality.suspicion import suspicion_table


def tag_table(records: pd.DataFrame, tags: pd.DataFrame, suspicion: pd.DataFrame | None = None) -> pd.DataFrame:
    """One row per tag of the register or the logs.

    Returns
    -------
    DataFrame: tag_id, animal_id, species, role, tag_type, frequency_mhz, flights_listened, flights_heard, records_listened, records_heard,
    heard_percent, best_strength_db, median_strength_db, saturated, longest_run, isolated_hits, pulse_interval_s (median of heard records),
    pulse_interval_live_s, pulse_interval_mortality_s, suspicion (text, blank when nothing speaks against the hits).
    """
    require_columns(tags, ["tag_id", "role", "pulse_rate_live_per_min"], "tags")
    suspicion = suspicion_table(records, tags) if suspicion is None else suspicion
    hits = hit_table(records)
    ceiling = saturation_db(hits["strength_db"])
    table = tags[["tag_id", "animal_id", "species", "role", "tag_type", "frequency_mhz"]].reset_index(drop=True)
    table = table.merge(_listened(records), on="tag_id", how="left").merge(_heard(hits, ceiling), on="tag_id", how="left")
    counts = ["flights_listened", "records_listened", "flights_heard", "records_heard", "saturated", "longest_run", "isolated_hits"]
    table[counts] = table[counts].fillna(0).astype(int)
    with np.errstate(divide="ignore", invalid="ignore"):
        table["heard_percent"] = np.where(table["records_listened"] > 0, 100.0 * table["records_heard"] / table["records_listened"], np.nan)
    table["pulse_interval_live_s"] = 60.0 / tags["pulse_rate_live_per_min"].to_numpy(float)
    table["pulse_interval_mortality_s"] = 60.0 / tags["pulse_rate_mortality_per_min"].to_numpy(float)
    texts = _suspicion_text(suspicion)
    table["suspicion"] = pd.array([texts.get(tag_id, "") for tag_id in table["tag_id"]], dtype="string")
    order = ["tag_id", "animal_id", "species", "role", "tag_type", "frequency_mhz", "flights_listened", "flights_heard", "records_listened",
             "records_heard", "heard_percent", "best_strength_db", "median_strength_db", "saturated", "longest_run", "isolated_hits",
             "pulse_interval_s", "pulse_interval_live_s", "pulse_interval_mortality_s", "suspicion"]
    return table[order]


def _listened(records: pd.DataFrame) -> pd.DataFrame:
    grouped = records.groupby("tag_id")
    return pd.DataFrame({"flights_listened": grouped["flight_id"].nunique(), "records_listened": grouped.size()}).reset_index()


def _heard(hits: pd.DataFrame, ceiling_db: float) -> pd.DataFrame:
    top = hits["strength_db"].round(2) >= ceiling_db if np.isfinite(ceiling_db) else pd.Series(False, index=hits.index)
    grouped = hits.assign(saturated=top).groupby("tag_id")
    return pd.DataFrame({
        "flights_heard": grouped["flight_id"].nunique(), "records_heard": grouped.size(),
        "best_strength_db": grouped["strength_db"].max(), "median_strength_db": grouped["strength_db"].median(),
        "saturated": grouped["saturated"].sum(), "longest_run": grouped["run_length"].max(), "isolated_hits": grouped["isolated"].sum(),
        "pulse_interval_s": 60.0 / grouped["pulse_rate_per_min"].median(),
    }).reset_index()


def _suspicion_text(suspicion: pd.DataFrame) -> dict[str, str]:
    marked = suspicion[suspicion["suspect"]]
    return {tag_id: "; ".join(f"{flight}: {reason}" for flight, reason in zip(part["flight_id"], part["reason"]))
            for tag_id, part in marked.groupby("tag_id")}


def heard_matrix(records: pd.DataFrame, tags: pd.DataFrame) -> pd.DataFrame:
    """Tags by flights, one row per pair: tag_id, flight_id, records_listened, records_heard, heard_percent.

    A pair that was not listened to has 0 records listened and a blank percentage: never merged with not heard.
    """
    flights = records.groupby("flight_id")["time_utc"].min().sort_values(kind="stable").index
    grouped = records.groupby(["tag_id", "flight_id"])["heard"].agg(records_listened="size", records_heard="sum")
    pairs = pd.MultiIndex.from_product([tags["tag_id"], flights], names=["tag_id", "flight_id"])
    table = grouped.reindex(pairs).fillna(0).astype(int).reset_index()
    share = 100.0 * table["records_heard"] / table["records_listened"].where(table["records_listened"] > 0)
    return table.assign(heard_percent=share)
