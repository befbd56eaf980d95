"""What was noticed about tags: false detections, copies, saturation, dates, duplicates."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.messages import Message
from pipeline.quality.hits import hit_table, saturation_db
from pipeline.wording import printed

COPY_CORRELATION = 0.8
COPY_RECORDS = 15
COPY_SCATTER_DB = 3.0
COPY_OFFSET_DB = 10.0
ISOLATED_SHARE = 0.5


def tag_findings(records: pd.DataFrame, tags: pd.DataFrame, suspicion: pd.DataFrame, changes: pd.DataFrame | None = None) -> list[Message]:
    """Messages about tags, rule by rule, tags in order of their id.

    Parameters
    ----------
    records, tags : RECORDS and TAGS tables.
    suspicion : table of `suspicion_table`.
    changes : intake's table of changes (rule, rows, flight_id), or None.
    """
    hits = hit_table(records)
    return [*_decoys(records, tags), *_suspects(suspicion, tags), *_isolated(hits, suspicion), *_copies(records, tags),
            *_saturation(hits), *_past_battery(hits, tags), *_duplicates(changes)]


def _decoys(records, tags) -> list[Message]:
    decoys = set(tags.loc[tags["role"] == "decoy", "tag_id"])
    rows = records[records["tag_id"].isin(decoys)]
    if rows.empty:
        return []
    heard = rows[rows["heard"]]
    listened = len(rows)
    if heard.empty:
        return [Message("note", "decoys-silent", f"{_plural(len(decoys), 'decoy')}, listened to in {listened:,d} records, usable or not, never heard",
                        consequence=f"False detections are rarer than {3.0 / listened:.1g} per record (95 %, rule of three)")]
    names = ", ".join(sorted(heard["tag_id"].unique()))
    return [Message("look", "decoys-heard", f"False detections: {len(heard):,d} of {listened:,d} records, usable or not, for tags that were switched off ({names})",
                    value=f"{len(heard) / listened:.2g} per record", consequence="A single hit of any tag may be false at this rate",
                    done="decoys are marked suspect and not located")]


def _suspects(suspicion, tags) -> list[Message]:
    decoys = set(tags.loc[tags["role"] == "decoy", "tag_id"])
    marked = suspicion[suspicion["suspect"] & ~suspicion["tag_id"].isin(decoys)]
    code = {True: "heard-everywhere", False: "pulse-rate-wrong"}
    return [Message("look", code["in the bag" in row.reason], f"Tag {row.tag_id} in flight {row.flight_id}: {row.reason}", value=row.tag_id,
                    consequence="What was heard may not be this tag", done="marked suspect, listed apart and not located")
            for row in marked.itertuples()]


def _isolated(hits, suspicion) -> list[Message]:
    if hits.empty:
        return []
    grouped = hits.groupby(["tag_id", "flight_id"])["isolated"].agg(["sum", "size"]).reset_index()
    grouped = grouped.merge(suspicion[["tag_id", "flight_id", "suspect"]], on=["tag_id", "flight_id"], how="left")
    lone = grouped[(grouped["size"] == grouped["sum"]) & ~grouped["suspect"].fillna(False).astype(bool)]
    if lone.empty:
        return []
    cases = ", ".join(f"{tag} ({flight}, {count})" for tag, flight, count in zip(lone["tag_id"], lone["flight_id"], lone["size"]))
    return [Message("note", "isolated-hits", f"Heard only in isolated records, never twice running: {cases}", value=str(len(lone)),
                    consequence="One or two isolated hits say little about a place and may be false")]


def _copies(records, tags) -> list[Message]:
    frequency = tags.set_index("tag_id")["frequency_mhz"]
    found = []
    for flight_id, rows in records[records["heard"]].groupby("flight_id", sort=False):
        wide = rows.pivot_table(index="record", columns="tag_id", values="strength_db", aggfunc="first")
        wide = wide.loc[:, wide.notna().sum() >= COPY_RECORDS]
        correlation = wide.corr(min_periods=COPY_RECORDS).to_numpy()
        for i, j in zip(*np.where(np.triu(np.nan_to_num(correlation) > COPY_CORRELATION, k=1))):
            message = _copy_message(flight_id, wide.iloc[:, i], wide.iloc[:, j], correlation[i, j], frequency)
            found += [message] if message else []
    return found


def _copy_message(flight_id, one, other, correlation, frequency) -> Message | None:
    difference = (one - other).dropna()
    offset, scatter = float(difference.median()), float(difference.std())
    if scatter > COPY_SCATTER_DB or abs(offset) < COPY_OFFSET_DB:
        return None  # two animals side by side sound alike too: only a weak copy is cross-talk
    strong, weak = (one.name, other.name) if offset > 0 else (other.name, one.name)
    apart_khz = 1000.0 * abs(frequency.get(strong, np.nan) - frequency.get(weak, np.nan))
    channels = f"; their channels are {apart_khz:.0f} kHz apart" if np.isfinite(apart_khz) else ""
    return Message("look", "tags-copy-one-another",
                   f"Flight {flight_id}: {weak} follows {strong} {abs(offset):.0f} dB below it in {len(difference):,d} records (correlation {correlation:.2f}){channels}",
                   value=f"{strong}, {weak}", consequence=f"{weak} may be a weak copy of {strong} and not a tag of its own",
                   remedy="Compare their positions; keep the channels further apart next time")


def _saturation(hits) -> list[Message]:
    ceiling_db = saturation_db(hits["strength_db"])
    if not np.isfinite(ceiling_db):
        return []
    top = hits[hits["strength_db"].round(2) >= ceiling_db]
    return [Message("look", "saturated", f"{len(top):,d} of {len(hits):,d} heard records of {_plural(top['tag_id'].nunique(), 'tag')} stand at {printed(ceiling_db, ',g')} dB, the receiver's ceiling",
                    value=f"{ceiling_db:g} dB", consequence="Their true strength is that or more: places near the track are less certain")]


def _past_battery(hits, tags) -> list[Message]:
    last_heard = hits.groupby("tag_id")["time_utc"].max().rename("last_heard_utc").reset_index()
    over = tags.merge(last_heard, on="tag_id", how="inner")
    over = over[over["last_heard_utc"] > over["expected_end_utc"]]
    return [Message("note", "past-battery", f"Tag {row.tag_id} was heard after the expected end of its battery ({row.expected_end_utc:%Y-%m-%d})", value=row.tag_id)
            for row in over.itertuples()]


def _duplicates(changes) -> list[Message]:
    if changes is None or changes.empty:
        return []
    rows = changes[changes["rule"].astype(str).str.contains("duplicate", case=False)]
    return [Message("note", "duplicates", f"Flight {flight_id or 'unknown'}: {_plural(int(count), 'duplicate row')} removed or set aside", value=str(int(count)),
                    consequence="Counting a record twice would make a position look surer than it is", done="see the table of changes")
            for flight_id, count in rows.groupby("flight_id", sort=False)["rows"].sum().items()]


def _plural(count, noun: str) -> str:
    return f"{int(count):,d} {noun}{'' if count == 1 else 's'}"
