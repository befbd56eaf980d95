"""What each flight listened with: one listening per flight for a tag of a type, and each silent tag's own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.quality import pace_table
from pipeline.radio import Corrections, Listening


@dataclass(frozen=True)
class FlightLook:
    """The records in which a flight listened to a typical tag of a type. minutes : that each record stands for, shape (records,). [min]"""

    listening: Listening
    minutes: np.ndarray


class Listened:
    """The usable records of a campaign, each with the median threshold of all tags listened to in it.

    One threshold per record lets tags that were listened to together share the work, which costs seconds per flight and tag otherwise. A tag
    whose own threshold lies elsewhere (noise on its frequency) keeps the difference, in whole dB.
    """

    def __init__(self, records: pd.DataFrame, track: pd.DataFrame, corrections: Corrections = Corrections()):
        usable = records[records["usable"].to_numpy(bool)]
        self._corrections = corrections
        shared = usable.groupby(["flight_id", "record"])["threshold_db"].transform("median")
        own = usable["threshold_db"] - shared
        offset_db = own.groupby([usable["tag_id"], usable["flight_id"]]).transform("median").round().fillna(0.0)
        self.records = usable.assign(threshold_db=shared + offset_db, typical_threshold_db=shared)
        pace = pace_table(track)
        self._minutes = pd.Series(pace["listening_s"].fillna(0.0).to_numpy(float) / 60.0,
                                  index=pd.MultiIndex.from_arrays([track["flight_id"], track["record"]]))
        self._by_tag = dict(list(self.records.groupby("tag_id", sort=True)))

    def of_tag(self, tag_id: str) -> dict[str, Listening]:
        """The listening of one tag in every flight with a usable record of it."""
        rows = self._by_tag.get(tag_id)
        return {} if rows is None else {flight_id: self._corrections.listening(own) for flight_id, own in rows.groupby("flight_id", sort=True)}

    def of_type(self, tag_ids) -> dict[str, FlightLook]:
        """For each flight in order of time, the listening of a typical tag among these: the one with the median number of records in the flight."""
        rows = self.records[self.records["tag_id"].isin(list(tag_ids))]
        starts = rows.groupby("flight_id")["time_utc"].min()
        looks = {}
        for flight_id in sorted(starts.index, key=lambda flight: (starts[flight], flight)):
            here = rows[rows["flight_id"] == flight_id]
            counts = here["tag_id"].value_counts().rename_axis("tag_id").reset_index(name="records").sort_values(["records", "tag_id"], kind="stable")
            typical = counts["tag_id"].iloc[(len(counts) - 1) // 2]
            own = here[here["tag_id"] == typical].sort_values(["time_utc", "record"], kind="stable")
            listening = self._corrections.listening(own.assign(threshold_db=own["typical_threshold_db"])).with_nothing_heard()
            keys = pd.MultiIndex.from_arrays([own["flight_id"], own["record"]])
            looks[flight_id] = FlightLook(listening, self._minutes.reindex(keys).fillna(0.0).to_numpy(float))
        return looks


def antenna_known(looks: dict[str, FlightLook]) -> bool:
    """Whether any record says where the antenna pointed."""
    return any(np.isfinite(look.listening.azimuth_grid_deg).any() for look in looks.values())
