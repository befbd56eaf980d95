"""The signal model: the numbers that say what strength a tag shows where, and how far a record may stray from it."""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields

import numpy as np

from pipeline.radio.diffraction import vegetation_loss_db
from pipeline.radio.evidence import Scatter
from pipeline.radio.listening import Listening
from pipeline.radio.propagation import Sightlines, path_gain_db


@dataclass(frozen=True)
class SignalModel:
    """All numbers of the signal model.

    exponent : path-loss exponent. [1]
    ahead_db, ahead_squared_db, below_db : antenna pattern, see propagation. [dB]
    power_mean_db : mean strength at 1 m of each tag type. [dB]
    power_sd_db : spread of tags of one type; power_drift_sd_db : of one tag between flights. [dB]
    shadowing_sd_db, shadowing_length_m : correlated scatter along the track. [dB], [m]
    noise_sd_db : white scatter of a record. [dB]
    threshold_db : strength above which a record hears, where the record has no threshold of its own. [dB]
    threshold_shift_db : what to add to a record's own threshold. [dB]
    softness_db : sd of the threshold. [dB]
    miss_share : records that hear nothing whatever the strength. [0 to 1)
    fault_share, fault_sd_db : heard records with a wider error (fades, reflections). [0 to 1), [dB]
    azimuth_bias_deg : where the antenna points, less the azimuth in the log. [degrees]
    terrain_share : share of the computed terrain loss that is believed. [0 to 1]
    ceiling_db : strength at which the receiver saturates; None where it was never seen to. [dB]
    canopy_db_per_m, canopy_most_db : loss per metre of canopy and the most that canopy takes, see canopy; None where no canopy is known. [dB/m], [dB]
    """

    exponent: float
    ahead_db: float
    ahead_squared_db: float
    below_db: float
    power_mean_db: dict
    power_sd_db: float
    power_drift_sd_db: float
    shadowing_sd_db: float
    shadowing_length_m: float
    noise_sd_db: float
    threshold_db: float
    threshold_shift_db: float
    softness_db: float
    miss_share: float
    fault_share: float
    fault_sd_db: float = 10.0
    azimuth_bias_deg: float = 0.0
    terrain_share: float = 0.0
    ceiling_db: float | None = None
    canopy_db_per_m: float | None = None
    canopy_most_db: float | None = None

    def mean_power_db(self, tag_type: str) -> float:
        """Mean power of a tag type; of a type never calibrated, the mean over the types that were. [dB]"""
        if tag_type in self.power_mean_db:
            return self.power_mean_db[tag_type]
        return float(np.mean(list(self.power_mean_db.values())))

    def scatter(self, tag_type: str) -> Scatter:
        """What spreads the strengths of a tag of this type about their expectation."""
        known = tag_type in self.power_mean_db
        # A type that no beacon carried may differ from the mean of the others as much as types differ: 6 dB is common practice, no source.
        sd = self.power_sd_db if known else float(np.hypot(self.power_sd_db, 6.0))
        values = {field.name: getattr(self, field.name) for field in fields(Scatter) if field.name not in ("power_mean_db", "power_sd_db", "ceiling_db")}
        return Scatter(power_mean_db=self.mean_power_db(tag_type), power_sd_db=sd, ceiling_db=np.inf if self.ceiling_db is None else self.ceiling_db, **values)

    def gain_db(self, lines: Sightlines) -> np.ndarray:
        """Expected strength less power, shape of the sightlines. [dB]"""
        return path_gain_db(lines, exponent=self.exponent, ahead_db=self.ahead_db,
                            ahead_squared_db=self.ahead_squared_db, below_db=self.below_db,
                            azimuth_bias_deg=self.azimuth_bias_deg, terrain_share=self.terrain_share,
                            canopy_db_per_m=self.canopy_db_per_m, canopy_most_db=self.canopy_most_db)

    def canopy_loss_db(self, lines: Sightlines) -> np.ndarray:
        """What vegetation takes, shape of the sightlines; 0 where none is known. [dB]"""
        if self.canopy_most_db is None:
            return np.zeros_like(lines.canopy_way_m)
        return vegetation_loss_db(lines.canopy_way_m, self.canopy_db_per_m, self.canopy_most_db)

    def thresholds_db(self, listening: Listening) -> np.ndarray:
        """Threshold of each record, shape (records,). [dB]"""
        own = listening.threshold_db + self.threshold_shift_db
        return np.where(np.isnan(own), self.threshold_db, own)

    def to_dict(self) -> dict:
        """Plain numbers, ready for JSON; what canopy takes only where canopy is known."""
        return {name: value for name, value in asdict(self).items() if value is not None or not name.startswith("canopy_")}

    @classmethod
    def from_dict(cls, values: dict) -> "SignalModel":
        """The model from what to_dict gave."""
        return cls(**values)
