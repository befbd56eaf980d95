"""Tag ids: one spelling for one tag, the role of each, and ids that belong to two animals."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from pipeline.columns import BEACONS, TAGS, conform
from pipeline.intake.findings import Findings


def plain_id(tag_id: str) -> str:
    """An id without what typing adds: case, blanks, leading zeros of a number, a trailing ".0"."""
    text = re.sub(r"\s+", " ", str(tag_id).strip().casefold())
    text = re.sub(r"^(\d+)\.0+$", r"\1", text)
    return text.lstrip("0") or "0" if text.isdigit() else text


def aliases(logged: list[str], known: list[str], where: str, findings: Findings) -> dict[str, str]:
    """Logged id -> registered id, for ids that differ only in typing; two candidates are never guessed between.

    Without a register the first spelling in the logs counts as the known one.
    """
    known_set, by_plain = set(known), {}
    for tag in dict.fromkeys(known):
        by_plain.setdefault(plain_id(tag), []).append(tag)
    renamed = {}
    for tag in logged:
        if tag in known_set:
            continue
        candidates = by_plain.get(plain_id(tag), [])
        if len(candidates) == 1:
            renamed[tag] = candidates[0]
            findings.look("id-spelling", f"id {tag!r} taken as {candidates[0]!r}", file=where, value=tag, remedy="write the id in one way", done="rows renamed in memory")
        elif candidates:
            findings.look("id-unclear", f"id {tag!r} could be {' or '.join(map(repr, candidates))}", file=where, value=tag, consequence="listed as unknown",
                          remedy="write the id in one way", done="kept apart")
        elif not known:
            by_plain[plain_id(tag)] = [tag]
    return renamed


def renamed_ids(rows: pd.DataFrame, known: list[str], where: str, findings: Findings) -> pd.DataFrame:
    """The rows with their tag ids as the register writes them."""
    renamed = aliases(sorted(rows["tag_id"].unique()), known, where, findings)
    if not renamed:
        return rows
    for old, new in renamed.items():
        findings.changed("tag id respelled", int((rows["tag_id"] == old).sum()), old, new)
    return rows.assign(tag_id=rows["tag_id"].replace(renamed))


def one_row_per_tag(tags: pd.DataFrame, start: pd.Timestamp, end: pd.Timestamp, name: str, findings: Findings):
    """The register with one row per tag for the time of the campaign, and the ids that belong to two animals then.

    A reused id is settled by deployed_utc and expected_end_utc; without them it is left out.
    """
    begins = tags["deployed_utc"].isna() | (tags["deployed_utc"] <= end)
    ends = tags["expected_end_utc"].isna() | (tags["expected_end_utc"] >= start)
    repeated = tags["tag_id"].duplicated(keep=False)
    keep = tags[~repeated | (begins & ends)].drop_duplicates([column for column in TAGS if column in tags.columns])
    doubtful = sorted(keep["tag_id"][keep["tag_id"].duplicated()].unique())
    for tag in doubtful:
        rows = keep[keep["tag_id"] == tag]
        animals = " and ".join(animal or "an unnamed animal" for animal in rows["animal_id"])
        findings.left_out("id-collision", f"Id {tag} belongs to two animals at this date: {animals}", file=name, line=int(rows["source_line"].iloc[1]), value=str(tag),
                          consequence="nobody can say whose position it is", remedy="give each row deployed_utc and expected_end_utc", done="tag left out")
    return keep.drop_duplicates("tag_id").reset_index(drop=True), doubtful


def complete_tags(tags: pd.DataFrame | None, beacons: pd.DataFrame | None, logged: list[str], first_seen: dict[str, tuple[str, int]], findings: Findings) -> pd.DataFrame:
    """TAGS with a row for every tag of the register, the beacons and the logs, and the role of each.

    first_seen : logged id -> (file, line). Tags that no register knows are told once, all together; with no register at all
    every logged tag that is no beacon is taken for an animal's.
    """
    tags = conform(tags if tags is not None else pd.DataFrame(), TAGS)
    placed = conform(beacons if beacons is not None else pd.DataFrame(), BEACONS).drop_duplicates("tag_id")
    registered = set(tags["tag_id"])
    added = placed[~placed["tag_id"].isin(registered)][["tag_id", "tag_type", "frequency_mhz"]]
    unknown = [tag for tag in logged if tag not in registered and tag not in set(placed["tag_id"])]
    tags = conform(pd.concat([tags, added, pd.DataFrame({"tag_id": unknown, "role": "unregistered" if registered else "animal"})], ignore_index=True), TAGS)
    tags["role"] = np.where(tags["tag_id"].isin(placed["tag_id"]), "beacon", tags["role"])
    types = dict(zip(placed["tag_id"], placed["tag_type"]))
    tags["tag_type"] = [own or types.get(tag, "") for tag, own in zip(tags["tag_id"], tags["tag_type"])]
    if unknown and len(registered):
        file, line = first_seen[unknown[0]]
        findings.look("tag-unknown", f"{len(unknown)} tag{'s' if len(unknown) > 1 else ''} in the logs and in no register: {', '.join(unknown)}", file=file, line=line,
                      value=", ".join(unknown), consequence="listed as unknown; no animal can be named", remedy="add them to tags.csv")
    return conform(tags.sort_values("tag_id", kind="stable"), TAGS)
