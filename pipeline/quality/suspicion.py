"""Hits that are probably not the tag: judged per tag and flight, with the reason."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.quality.hits import hit_table

PULSE_RATE_TOLERANCE = 0.15
HEARD_EVERYWHERE_SHARE = 0.95
DISTANCE_EXPLAINS_LEAST = 0.15   # share of the variance of strength that some place for the tag must explain
RECORDS_FOR_EVERYWHERE = 30


def suspicion_table(records: pd.DataFrame, tags: pd.DataFrame) -> pd.DataFrame:
    """Per tag and flight listened to: is what was heard probably something else?

    Suspect are: any hit of a decoy; hits that are all isolated with every pulse rate more than 15 % off both expected rates; a tag heard in more than
    95 % of at least 30 records with a strength that no place on or near the track explains (a tag in the bag, or noise).

    Returns
    -------
    DataFrame: tag_id, flight_id, suspect (flag), reason (a sentence with numbers, blank when not suspect).
    """
    expected = tags.set_index("tag_id")
    hits = dict(list(hit_table(records).groupby(["tag_id", "flight_id"])))
    rows = []
    for (tag_id, flight_id), part in records.groupby(["tag_id", "flight_id"]):
        heard = hits.get((tag_id, flight_id))
        reason = "" if heard is None else _reason(expected.loc[tag_id] if tag_id in expected.index else None, part, heard)
        rows.append((tag_id, flight_id, reason != "", reason))
    return pd.DataFrame(rows, columns=["tag_id", "flight_id", "suspect", "reason"]).astype({"suspect": bool})


def _reason(tag, listened: pd.DataFrame, heard: pd.DataFrame) -> str:
    if tag is not None and tag["role"] == "decoy":
        return f"This tag is known to be switched off, yet {len(heard):,d} of {len(listened):,d} records say it was heard."
    return _wrong_pulse(tag, heard) or _heard_everywhere(listened, heard)


def _wrong_pulse(tag, heard: pd.DataFrame) -> str:
    if tag is None or not heard["isolated"].all():
        return ""
    rates = heard["pulse_rate_per_min"].dropna().to_numpy(float)
    expected = [float(tag[name]) for name in ("pulse_rate_live_per_min", "pulse_rate_mortality_per_min") if pd.notna(tag[name])]
    if not rates.size or not expected or not pulse_rate_off(rates, expected).all():
        return ""
    what = "one isolated hit" if len(heard) == 1 else f"{len(heard)} hits, all isolated"
    wanted = " or ".join(f"{rate:.0f}" for rate in expected)
    return f"Heard as {what}, pulsing {np.median(rates):.0f} per minute where {wanted} is expected."


def pulse_rate_off(rate_per_min, expected_per_min) -> np.ndarray:
    """True where a rate is more than 15 % away from every expected rate. [per minute]"""
    rates = np.atleast_1d(np.asarray(rate_per_min, float))
    expected = np.asarray(list(expected_per_min), float)
    return (np.abs(rates[:, None] / expected[None, :] - 1.0) > PULSE_RATE_TOLERANCE).all(axis=1)


def _heard_everywhere(listened: pd.DataFrame, heard: pd.DataFrame) -> str:
    share = len(heard) / len(listened)
    if len(listened) < RECORDS_FOR_EVERYWHERE or share <= HEARD_EVERYWHERE_SHARE:
        return ""
    used = listened[listened["heard"] & listened["usable"]]
    explained = distance_explains(used["easting_m"], used["northing_m"], used["strength_db"])
    if not np.isfinite(explained) or explained >= DISTANCE_EXPLAINS_LEAST:
        return ""
    return (f"Heard in {len(heard):,d} of {len(listened):,d} records, and no place for the tag explains more than {100 * max(explained, 0.0):.0f} % "
            "of how its strength varies: noise, or a tag on the aircraft or in the bag.")


def distance_explains(easting_m, northing_m, strength_db, places_each_way: int = 15) -> float:
    """Largest share of the variance of strength that the logarithm of distance to a single place explains, 0 to 1.

    Places are tried on a regular grid over the track's box widened by half its size; a strength that grows with distance explains nothing.
    Blank with fewer than 10 records or no variation. Least squares on log10 distance.
    """
    east, north, strength = (np.asarray(values, float) for values in (easting_m, northing_m, strength_db))
    known = np.isfinite(east) & np.isfinite(north) & np.isfinite(strength)
    east, north, strength = east[known], north[known], strength[known]
    if len(east) < 10:
        return np.nan
    if np.ptp(strength) == 0:
        return 0.0
    margin = 0.5 * max(np.ptp(east), np.ptp(north), 1.0)
    place_east, place_north = np.meshgrid(np.linspace(east.min() - margin, east.max() + margin, places_each_way),
                                          np.linspace(north.min() - margin, north.max() + margin, places_each_way))
    distance_m = np.hypot(place_east.reshape(-1, 1) - east, place_north.reshape(-1, 1) - north)
    log_distance = np.log10(np.maximum(distance_m, 10.0))
    log_distance -= log_distance.mean(axis=1, keepdims=True)
    about_mean = strength - strength.mean()
    covariance = log_distance @ about_mean
    scale = (log_distance ** 2).sum(axis=1) * (about_mean ** 2).sum()
    correlation = np.divide(covariance, np.sqrt(scale), out=np.zeros_like(covariance), where=scale > 0)
    return float(np.max(np.where(correlation < 0, correlation ** 2, 0.0)))
