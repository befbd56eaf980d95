"""Tags whose hearing rests on single records, of which no two follow each other, beside the false hits that tags switched off gave."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from pipeline.location import PLACED
from pipeline.stages.silences import heard_searches
from pipeline.wording import counted, number_word


@dataclass(frozen=True)
class FalseHits:
    """What tags known to be switched off seemed to send: decoys that were listened to, usable records listened, and those among them with a hit."""

    decoys: int = 0
    records_listened: int = 0
    records_heard: int = 0

    @classmethod
    def from_table(cls, false_detections: pd.DataFrame) -> "FalseHits":
        """From the one row of false_detections; all zero where no decoy was listened to."""
        if false_detections.empty:
            return cls()
        row = false_detections.iloc[0]
        return cls(int(row["decoys"]), int(row["records_listened"]), int(row["records_heard"]))

    def expected(self, records_listened: int) -> float:
        """False hits to be expected in so many records, at the rate of the decoys; NaN without decoys."""
        return self.records_heard / self.records_listened * records_listened if self.records_listened else math.nan


@dataclass(frozen=True)
class LoneHits:
    """A tag heard in single records only. records_listened : over all flights."""

    tag_id: str
    hits: int
    records_listened: int

    @property
    def counted(self) -> str:
        """"one hit", "3 single hits"."""
        return "one hit" if self.hits == 1 else f"{number_word(self.hits)} single hits"

    @property
    def state(self) -> str:
        """In a table or a list, for those who read no further."""
        return "one record only, which may be false" if self.hits == 1 else f"{self.hits} single records only, which may be false"


def lone_hits(animals: pd.DataFrame, tags_heard: pd.DataFrame) -> dict[str, LoneHits]:
    """Tag -> its hits, of every tag that was heard in no flight more than once, or was placed by none and never heard twice running.

    animals : rows of FIXES; what is doubted already is no hit. tags_heard : tag_id, longest_run.
    """
    longest, found = dict(zip(tags_heard["tag_id"], tags_heard["longest_run"].fillna(0))), {}
    for tag_id, rows in animals[animals["status"] != "suspect"].groupby("tag_id", sort=True):
        heard = heard_searches(rows)
        if len(heard) and ((heard["status"] == "heard once").all() or (longest.get(tag_id, 0) == 1 and not heard["status"].isin(PLACED).any())):
            found[tag_id] = LoneHits(tag_id, int(heard["records_heard"].sum()), int(rows["records_listened"].fillna(0).sum()))
    return found


def in_the_lead(lone: dict[str, LoneHits], false: FalseHits) -> str:
    """Whose hearing is in doubt, for the first paragraph of a page; nothing where nobody's is."""
    said = []
    for each in lone.values():
        expected = false.expected(each.records_listened)
        beside = f", and {_about(expected)} to be expected in so many" if expected > 0 else ""
        said.append(f"{each.tag_id} was heard by {each.counted} alone, in {each.records_listened:,d} records that listened to it{beside}: it may not have been heard at all.")
    return " ".join(said)


def in_full(lone: LoneHits | None, false: FalseHits) -> str:
    """What the hits of one tag are worth; nothing for a tag that was heard better."""
    if lone is None:
        return ""
    rests = f"It rests on {lone.counted} in {lone.records_listened:,d} records that listened to it in all flights."
    if not false.records_listened:
        return f"{rests} No decoy was listened to, so how often a hit is false is not known: a single hit may be false."
    decoys = f"{counted(false.decoys, 'decoy')}, switched off, gave {counted(false.records_heard, 'false hit') if false.records_heard else 'no hit'} in {false.records_listened:,d} records"
    if not false.records_heard:
        return f"{rests} {decoys}; a single hit may be false all the same."
    return f"{rests} {decoys}; at that rate {_about(false.expected(lone.records_listened))} to be expected in its records, so what was heard may not be this tag."


def in_brief(tag_ids, lone: dict[str, LoneHits]) -> str:
    """A sentence for a plan that leans on such tags; nothing where none of them does."""
    own = [lone[tag_id] for tag_id in tag_ids if tag_id in lone]
    return " ".join(f"What is known of {each.tag_id} rests on {each.counted} that may be false." for each in own)


def _about(expected: float) -> str:
    shown = f"{expected:.2g}" if expected < 10 else f"{expected:.0f}"
    return f"about {shown} false {'hit is' if shown == '1' else 'hits are'}"
