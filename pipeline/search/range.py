"""How far a tag is heard: detection ranges and the effective sweep width of a tag type, from the signal model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.radio import Listening, SignalModel, steps_along
from pipeline.search.detection import probability_heard
from pipeline.search.silence import along_the_track, heard_at_all, strengths_of
from pipeline.search.theory import fit_logistic, half_normal_half_width_m

LONGEST_M = 20_000.0
GOLDEN_ANGLE_DEG = 137.508  # successive azimuths by this angle cover the horizon evenly however many there are
HALF_PASS_M = 5_000.0


@dataclass(frozen=True)
class DetectionRange:
    """d50_m, d90_m : slant distance at which half, and 90 %, of single records hear a tag of the type; blank when never. [m]
    sweep_width_m : effective width swept by one straight pass. [m]
    logistic_half_m, logistic_slope_per_decade : of the logistic curve nearest to single records by slant distance. [m], [1]
    half_normal_on_line, half_normal_sigma_m : of the half-normal nearest to one straight pass by distance to the side. [1], [m]
    """

    d50_m: float
    d90_m: float
    sweep_width_m: float
    logistic_half_m: float
    logistic_slope_per_decade: float
    half_normal_on_line: float
    half_normal_sigma_m: float


def detection_curve(model: SignalModel, tag_type: str, height_above_ground_m: float, azimuth_known: bool = True, points: int = 200) -> pd.DataFrame:
    """Share of single records that hear a tag, by distance, the antenna turned evenly to all sides.

    Columns horizontal_m, slant_m, probability; distances 5 m to 20 km, evenly spaced in the logarithm. The tag lies on the ground.
    """
    horizontal = np.geomspace(5.0, LONGEST_M, points)
    azimuth = np.arange(0.0, 360.0, 10.0) if azimuth_known else np.array([np.nan])
    many = np.zeros(len(azimuth))
    turning = _listening(many, many, height_above_ground_m, azimuth)
    probability = probability_heard(turning, model, horizontal, np.zeros(points), tag_type).mean(axis=0)
    return pd.DataFrame({"horizontal_m": horizontal, "slant_m": np.hypot(horizontal, height_above_ground_m), "probability": probability})


def distance_at(curve: pd.DataFrame, share: float) -> float:
    """Largest slant distance at which at least this share of records hears, interpolated in log distance; blank when none does. [m]"""
    slant, probability = curve["slant_m"].to_numpy(), curve["probability"].to_numpy()
    reached = np.flatnonzero(probability >= share)
    if not len(reached):
        return np.nan
    last = int(reached[-1])
    if last == len(slant) - 1:
        return float(slant[-1])
    part = (probability[last] - share) / (probability[last] - probability[last + 1])
    return float(np.exp(np.log(slant[last]) + part * (np.log(slant[last + 1]) - np.log(slant[last]))))


def lateral_range(model: SignalModel, tag_type: str, height_above_ground_m: float, step_m: float, azimuth_known: bool = True, points: int = 80) -> pd.DataFrame:
    """Probability that one straight pass hears a tag, by how far to the side it lies (looks share the tag's power and the shadowing).

    The pass is 10 km long, a record every step_m, the antenna turned evenly. Columns: offset_m, probability.
    """
    along = np.arange(-HALF_PASS_M, HALF_PASS_M + step_m, step_m)
    azimuth = (np.arange(len(along)) * GOLDEN_ANGLE_DEG) % 360.0 if azimuth_known else np.full(len(along), np.nan)
    a_pass = _listening(np.zeros(len(along)), along, height_above_ground_m, azimuth)
    offset = np.concatenate([[0.0], np.geomspace(10.0, LONGEST_M, points - 1)])
    tags = strengths_of((model,), tag_type)
    return pd.DataFrame({"offset_m": offset, "probability": heard_at_all(along_the_track(a_pass, tags, offset, np.zeros(points)), tags)})


def sweep_width_m(lateral: pd.DataFrame) -> float:
    """W = integral of the lateral range curve over both sides (Cooper & Frost, Selected inland search definitions). [m]"""
    return float(2.0 * np.trapezoid(lateral["probability"], lateral["offset_m"]))


def logistic_summary(curve: pd.DataFrame) -> tuple[float, float]:
    """(slant distance at which half is heard, slope of the logit per tenfold distance) of the logistic curve in log distance nearest to a detection curve; blanks where nothing or all is heard.

    A summary for readers who expect one: the curve itself levels off below 1 and falls by the antenna, which a logistic does not.
    """
    if curve["probability"].max() < 0.05 or curve["probability"].min() > 0.95:
        return np.nan, np.nan
    fitted = fit_logistic(np.log10(curve["slant_m"]), curve["probability"], np.ones(len(curve)))
    return float(10.0 ** fitted.half), float(fitted.slope)


def half_normal_summary(lateral: pd.DataFrame) -> tuple[float, float]:
    """(detection on the line g0, sigma) of the half-normal with the same detection on the line and the same sweep width: W = 2 g0 sigma sqrt(pi / 2). [1], [m]"""
    on_line = float(lateral["probability"].iloc[0])
    return on_line, float(sweep_width_m(lateral) / (2.0 * on_line * half_normal_half_width_m(1.0))) if on_line > 0 else np.nan


def detection_range(model: SignalModel, tag_type: str, height_above_ground_m: float, step_m: float, azimuth_known: bool = True) -> DetectionRange:
    """Ranges, sweep width and their summaries for a tag type at a flight's height and record spacing."""
    curve = detection_curve(model, tag_type, height_above_ground_m, azimuth_known)
    lateral = lateral_range(model, tag_type, height_above_ground_m, step_m, azimuth_known)
    return DetectionRange(distance_at(curve, 0.5), distance_at(curve, 0.9), sweep_width_m(lateral), *logistic_summary(curve), *half_normal_summary(lateral))


def range_table(model: SignalModel, draws: list[SignalModel], tag_types, height_above_ground_m: float, step_m: float, azimuth_known: bool = True) -> pd.DataFrame:
    """Ranges of every tag type with 95 % intervals from models drawn from the fit's uncertainty (blank without draws).

    Columns: tag_type, height_m, then those of DetectionRange; each length, such as d50_m, with d50_low_m and d50_high_m. An interval covers what the fit leaves open, not how tags of a type differ:
    that is in the curve itself.
    """
    rows = []
    for tag_type in tag_types:
        best = detection_range(model, tag_type, height_above_ground_m, step_m, azimuth_known)
        drawn = [detection_range(draw, tag_type, height_above_ground_m, step_m, azimuth_known) for draw in draws]
        row = {"tag_type": tag_type, "height_m": height_above_ground_m}
        for name in DetectionRange.__dataclass_fields__:
            row[name] = getattr(best, name)
            if not name.endswith("_m"):
                continue
            values = np.array([getattr(each, name) for each in drawn])
            known = values[np.isfinite(values)]
            low, high = np.quantile(known, [0.025, 0.975]) if known.size else (np.nan, np.nan)
            row |= {f"{name.removesuffix('_m')}_low_m": low, f"{name.removesuffix('_m')}_high_m": high}
        rows.append(row)
    return pd.DataFrame(rows)


def _listening(easting_m, northing_m, height_above_ground_m: float, azimuth_deg) -> Listening:
    blank = np.full(len(easting_m), np.nan)
    return Listening(easting_m, northing_m, np.full(len(easting_m), float(height_above_ground_m)), np.asarray(azimuth_deg, float), blank, blank,
                     steps_along(easting_m, northing_m))
