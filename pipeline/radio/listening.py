"""One tag listened to in one flight: the evidence that a fix is made from."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Listening:
    """Records of one tag in one flight, in the order flown; every array has shape (records,).

    easting_m, northing_m : receiver, survey CRS. [m]
    height_above_ground_m : receiver over the ground. [m]
    azimuth_grid_deg : where the antenna's strong side points, clockwise from grid north; NaN when unknown. [degrees]
    strength_db : received strength; NaN = listened and not heard. [dB]
    threshold_db : level above which this record counts as heard; NaN = the signal model's. [dB]
    step_m : metres flown since the record before; infinite at the first record and at breaks. [m]
    time_s : seconds since some moment; None where times are not known. [s]
    flight_id : the flight it belongs to.
    canopy : how far this flight looked through vegetation, see radio.canopy; None where none is known.
    terrain : what hills take from the strength along this flight, see radio.terrain_loss; None where nothing is known of the ground.
    """

    easting_m: np.ndarray
    northing_m: np.ndarray
    height_above_ground_m: np.ndarray
    azimuth_grid_deg: np.ndarray
    strength_db: np.ndarray
    threshold_db: np.ndarray
    step_m: np.ndarray
    time_s: np.ndarray | None = None
    terrain: object | None = None
    canopy: object | None = None
    flight_id: str = ""

    def __post_init__(self):
        lengths = {len(values) for values in self._arrays().values()}
        if len(lengths) != 1:
            raise ValueError(f"all arrays of a listening need one length, got {sorted(lengths)}")

    def __len__(self) -> int:
        return len(self.easting_m)

    def _arrays(self) -> dict:
        """The arrays by name; those that are not known are left out."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__ if name not in ("terrain", "canopy", "flight_id") and getattr(self, name) is not None}

    @property
    def heard(self) -> np.ndarray:
        """True where the tag was heard, shape (records,)."""
        return ~np.isnan(self.strength_db)

    @classmethod
    def from_records(cls, records: pd.DataFrame) -> "Listening":
        """The usable records of one tag and flight (columns of RECORDS), ordered by record number."""
        if records["tag_id"].nunique() > 1 or records["flight_id"].nunique() > 1:
            raise ValueError("a listening is made from the records of one tag in one flight")
        rows = records[records["usable"].to_numpy(bool)].sort_values(["time_utc", "record"], kind="stable")
        easting, northing = rows["easting_m"].to_numpy(float), rows["northing_m"].to_numpy(float)
        return cls(
            easting_m=easting,
            northing_m=northing,
            height_above_ground_m=rows["height_above_ground_m"].fillna(0.0).to_numpy(float),
            azimuth_grid_deg=rows["antenna_azimuth_grid_deg"].to_numpy(float),
            strength_db=np.where(rows["heard"].to_numpy(bool), rows["strength_db"].to_numpy(float), np.nan),
            threshold_db=rows["threshold_db"].to_numpy(float),
            step_m=steps_along(easting, northing),
            time_s=(rows["time_utc"] - rows["time_utc"].min()).dt.total_seconds().to_numpy(float),
            flight_id=str(rows["flight_id"].iloc[0]) if len(rows) else "",
        )

    def first_records(self, count: int) -> "Listening":
        """The listening as it stood after so many records."""
        return self.chosen(np.arange(len(self)) < count)

    def chosen(self, flags: np.ndarray) -> "Listening":
        """Some of the records, shape (records,) of flags; the steps between them run over those left out."""
        kept = np.flatnonzero(flags)
        # What was flown since the last kept record adds up; a break among the steps stays a break.
        flown = np.cumsum(np.where(np.isinf(self.step_m), 0.0, self.step_m))
        breaks = np.cumsum(np.isinf(self.step_m))
        steps = np.diff(flown[kept], prepend=0.0)
        parted = np.diff(breaks[kept], prepend=0) > 0
        arrays = {name: values[kept] for name, values in self._arrays().items()} | {"step_m": np.where(parted, np.inf, steps)}
        return replace(self, **arrays, terrain=None if self.terrain is None else self.terrain.chosen_records(kept),
                       canopy=None if self.canopy is None else self.canopy.chosen_records(kept))

    def with_nothing_heard(self) -> "Listening":
        """The same flight as it would be if no record had heard the tag."""
        return replace(self, strength_db=np.full(len(self), np.nan))


def steps_along(easting_m: np.ndarray, northing_m: np.ndarray) -> np.ndarray:
    """Distance from each position to the one before it; infinite for the first. Shape (records,). [m]"""
    if len(easting_m) == 0:
        return np.zeros(0)
    return np.concatenate([[np.inf], np.hypot(np.diff(easting_m), np.diff(northing_m))])
