"""The noise that tags have to beat: thresholds that follow it, differences between flights and between ground and air, and a yardstick for their size."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd

from pipeline.messages import Message
from pipeline.wording import printed

# Man-made noise over thermal noise at 290 K, c - d log10(f / MHz), medians; 0.3 to 250 MHz. ITU-R P.372.
_MAN_MADE = {"city": (76.8, 27.7), "residential": (72.5, 27.7), "rural": (67.2, 27.7), "quiet rural": (53.6, 28.6)}
_LOWEST_MHZ, _HIGHEST_MHZ = 0.3, 250.0
# The middle of what animal tags use. Common practice, no source.
USUAL_FREQUENCY_MHZ = 150.0
NOISE_DIFFERENCE_DB = 3.0
_GROUND_RECORDS, _AIR_RECORDS = 5, 20


def man_made_noise_db(frequency_mhz: float, surroundings: str) -> float:
    """Median man-made noise over the thermal noise of the same bandwidth at 290 K, as a receiver with a short upright antenna near the ground takes it in. [dB]

    frequency_mhz : 0.3 to 250. surroundings : "city", "residential", "rural" or "quiet rural". ValueError outside of these.
    Source of the formula: Recommendation ITU-R P.372, man-made noise.
    """
    if surroundings not in _MAN_MADE:
        raise ValueError(f"surroundings must be one of {', '.join(_MAN_MADE)}, got {surroundings!r}")
    if not _LOWEST_MHZ <= frequency_mhz <= _HIGHEST_MHZ:
        raise ValueError(f"the formula holds from {_LOWEST_MHZ:g} to {_HIGHEST_MHZ:g} MHz, got {frequency_mhz:g}")
    start, fall = _MAN_MADE[surroundings]
    return float(start - fall * np.log10(frequency_mhz))


def like_surroundings(difference_db: float, frequency_mhz: float = USUAL_FREQUENCY_MHZ) -> str:
    """Between which surroundings man-made noise differs by about so much: a size that needs no receiver's scale."""
    levels = {name: man_made_noise_db(frequency_mhz, name) for name in _MAN_MADE}
    louder, quieter = min(combinations(levels, 2), key=lambda pair: abs(abs(difference_db) - (levels[pair[0]] - levels[pair[1]])))
    return f"man-made noise differs by {levels[louder] - levels[quieter]:.0f} dB between {louder} and {quieter} surroundings at {frequency_mhz:.0f} MHz, ITU-R P.372"


def noise_findings(records: pd.DataFrame, track: pd.DataFrame) -> list[Message]:
    """Messages about thresholds and noise of the whole campaign. records, track : RECORDS and TRACK tables."""
    return _thresholds(records) + _between_flights(records, track) + _ground_and_air(records, track)


def _thresholds(records: pd.DataFrame) -> list[Message]:
    own = records[records["threshold_db"].notna()]
    heard = records[records["heard"]]
    if own.empty:
        weakest = f"; the weakest strength heard is {_level(heard['strength_db'].min())}" if len(heard) else ""
        return [Message("note", "threshold-one", f"No record has a threshold of its own{weakest}", consequence="What silence means rests on one threshold, fitted on beacons and weak records",
                        remedy="Log the noise level, and set receiver_log.heard_above_noise_db")]
    margin = float((own["threshold_db"] - own["noise_db"]).median())
    low, middle, high = (float(value) for value in np.quantile(own["threshold_db"], [0.05, 0.5, 0.95]))
    tested = heard[heard["threshold_db"].notna()]
    below = int((tested["strength_db"] < tested["threshold_db"]).sum())
    return [Message("note", "threshold-from-noise", f"Thresholds follow the noise of each record, {margin:g} dB above it: median {_level(middle)}, {_level(low)} to {_level(high)} in nine records of ten; "
                    f"{below:,d} of {len(tested):,d} heard strengths lie below theirs", value=f"{middle:.1f} dB", done="the model fits how sharp the threshold is and by how much it is shifted")]


def _between_flights(records: pd.DataFrame, track: pd.DataFrame) -> list[Message]:
    on = track.loc[track["on_effort"], ["flight_id", "record"]]
    median = records.merge(on, on=["flight_id", "record"]).groupby("flight_id", sort=True)["noise_db"].median().dropna()
    if len(median) < 2 or median.max() - median.min() < NOISE_DIFFERENCE_DB:
        return []
    apart = float(median.max() - median.min())
    return [Message("look", "noise-differs", f"The noise is {apart:.1f} dB higher in flight {median.idxmax()} ({_level(median.max())}) than in flight {median.idxmin()} ({_level(median.min())})", value=f"{apart:.1f} dB",
                    consequence=f"Tags are heard less far in the louder flight; {like_surroundings(apart)}", remedy="Receiver gain, another battery, weather? Note the gain of every flight")]


def _ground_and_air(records: pd.DataFrame, track: pd.DataFrame) -> list[Message]:
    """Noise with the aircraft on the ground against noise in flight, where records on the ground were kept."""
    noise = records.groupby(["flight_id", "record"])["noise_db"].median().rename("noise_db").reset_index()
    placed = track[["flight_id", "record", "on_effort", "off_effort_reason"]].merge(noise, on=["flight_id", "record"]).dropna(subset=["noise_db"])
    found = []
    for flight_id, rows in placed.groupby("flight_id", sort=True):
        ground, air = rows.loc[rows["off_effort_reason"] == "ground", "noise_db"], rows.loc[rows["on_effort"], "noise_db"]
        if len(ground) < _GROUND_RECORDS or len(air) < _AIR_RECORDS:
            continue
        rise = float(air.median() - ground.median())
        found.append(Message("look" if rise >= NOISE_DIFFERENCE_DB else "note", "noise-in-flight", f"Flight {flight_id}: the noise in the air is {abs(rise):.1f} dB {'above' if rise >= 0 else 'below'} that on the ground "
                             f"({len(air):,d} and {len(ground):,d} records)", value=f"{rise:.1f} dB",
                             consequence="Motors, converters or the height bring noise that tags have to beat" if rise >= NOISE_DIFFERENCE_DB else ""))
    return found


def _level(value: float) -> str:
    return f"{printed(value)} dB"
