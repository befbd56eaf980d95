"""Tags at known places, side by side: the log-evidence of each under many parameter vectors in one pass over the records."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.radio.evidence import Scatter, log_evidence
from pipeline.radio.listening import Listening
from pipeline.radio.parameters import USUAL_FAULT_SD_DB, Given, natural_values
from pipeline.radio.propagation import Sightlines, path_gain_db, sightlines

_GAIN_NAMES = ("exponent", "ahead_db", "ahead_squared_db", "below_db", "azimuth_bias_deg", "terrain_share")
_SCATTER_NAMES = ("power_drift_sd_db", "shadowing_sd_db", "shadowing_length_m", "noise_sd_db", "softness_db", "miss_share", "fault_share")


@dataclass(frozen=True)
class KnownTag:
    """A tag at a known place, as heard in one or more flights.

    listenings : one per flight, in time order. place : (easting_m, northing_m). place_id : what is left out together.
    """

    tag_id: str
    place_id: str
    tag_type: str
    easting_m: float
    northing_m: float
    height_above_ground_m: float
    listenings: tuple[Listening, ...]


@dataclass(frozen=True)
class Lanes:
    """All known tags side by side: arrays of shape (records, tags), padded where a tag has fewer records."""

    strength_db: np.ndarray
    threshold_db: np.ndarray
    step_m: np.ndarray
    listened: np.ndarray
    lines: Sightlines
    tag_types: tuple[str, ...]

    @property
    def usual_threshold_db(self) -> float:
        """Median of the records' own thresholds; 0, which is used nowhere, when there are none."""
        own = self.threshold_db[np.isfinite(self.threshold_db)]
        return float(np.median(own)) if len(own) else 0.0


def _pad(arrays, fill: float) -> np.ndarray:
    longest = max((len(array) for array in arrays), default=0)
    padded = np.full((longest, len(arrays)), fill)
    for column, array in enumerate(arrays):
        padded[: len(array), column] = array
    return padded


def side_by_side(known: list[KnownTag]) -> Lanes:
    def joined(name):
        return [np.concatenate([getattr(listening, name) for listening in tag.listenings]) for tag in known]

    geometry = [
        [sightlines(listening, tag.easting_m, tag.northing_m, tag.height_above_ground_m) for listening in tag.listenings]
        for tag in known
    ]
    lines = Sightlines(*(
        _pad([np.concatenate([getattr(part, name)[:, 0] for part in parts]) for parts in geometry], 0.0)
        for name in Sightlines.__dataclass_fields__
    ))
    strength = joined("strength_db")
    return Lanes(
        strength_db=_pad(strength, np.nan),
        threshold_db=_pad(joined("threshold_db"), np.nan),
        step_m=_pad(joined("step_m"), 1.0),
        listened=_pad([np.ones(len(values)) for values in strength], 0.0) > 0,
        lines=lines,
        tag_types=tuple(tag.tag_type for tag in known),
    )


def log_likelihoods(lanes: Lanes, parameters, vectors: np.ndarray, given: Given = Given()) -> np.ndarray:
    """Log-evidence of every tag under every vector: (vectors, parameters) -> (vectors, tags)."""
    values = {name: value[:, None] for name, value in natural_values(parameters, vectors, given).items()}
    most_db = given.canopy_most_db if "canopy_db_per_m" in values else None
    gain = path_gain_db(_with_axis(lanes.lines), **{name: values[name] for name in _GAIN_NAMES}, canopy_db_per_m=values.get("canopy_db_per_m"), canopy_most_db=most_db)
    power = np.concatenate([values[f"power_mean_db {kind}"] for kind in lanes.tag_types], axis=1)
    scatter = Scatter(power_mean_db=power, power_sd_db=values["power_sd_db"], fault_sd_db=given.fault_sd_db or USUAL_FAULT_SD_DB,
                      ceiling_db=np.inf if given.ceiling_db is None else given.ceiling_db,
                      **{name: values[name] for name in _SCATTER_NAMES})
    own = lanes.threshold_db[:, None, :] + values["threshold_shift_db"]
    # Padding has no threshold at all; any finite number serves, since it is not listened to.
    threshold = np.where(lanes.listened[:, None, :], np.where(np.isnan(own), values["threshold_db"], own), 0.0)
    return log_evidence(lanes.strength_db[:, None, :], gain, threshold, lanes.step_m[:, None, :], scatter,
                        listened=lanes.listened[:, None, :])


def _with_axis(lines: Sightlines) -> Sightlines:
    return Sightlines(*(getattr(lines, name)[:, None, :] for name in lines.__dataclass_fields__))
