"""Would a tag lying in a cell have been heard? Per record, and for whole flights."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from pipeline.radio import Listening, SignalModel, sightlines
from pipeline.search.silence import WeakTags, along_the_track, cautious_strengths, heard_at_all, one_look_per_pass, strengths_of


def probability_heard(listening: Listening, model: SignalModel, easting_m, northing_m, tag_type: str = "", height_above_ground_m=0.0) -> np.ndarray:
    """Probability that each record hears a tag of this type in each cell, everything else unknown.

    The expected strength with power, shadowing, noise and softness of the threshold together as one normal deviate, less the share of records missed whatever
    the strength: (1 - miss) * Phi((expected - threshold) / sd). Adequate wherever the signal model is; hills count where the listening knows the ground.

    Parameters
    ----------
    easting_m, northing_m : arrays (cells,), survey CRS. [m]
    tag_type : chooses mean and spread of the power.

    Returns
    -------
    array (records, cells), 0 to 1. What the listening heard is not used.
    """
    scatter = model.scatter(tag_type)
    gain = model.gain_db(sightlines(listening, np.asarray(easting_m, float), np.asarray(northing_m, float), height_above_ground_m))
    sd = np.sqrt(np.square(scatter.power_sd_db) + np.square(scatter.power_drift_sd_db) + np.square(scatter.shadowing_sd_db)
                 + np.square(scatter.noise_sd_db) + np.square(scatter.softness_db))
    margin = scatter.power_mean_db + gain - model.thresholds_db(listening)[:, None]
    return (1.0 - scatter.miss_share) * ndtr(margin / sd)


def independent_detection(probability) -> np.ndarray:
    """1 - prod(1 - p): detection if every look were independent of every other. Too high wherever looks share a tag; shape (records, cells) to (cells,)."""
    return 1.0 - np.prod(1.0 - np.asarray(probability, float), axis=0)


@dataclass(frozen=True)
class Detection:
    """Probability that a tag in each cell was heard at least once, shape (cells,), under three views of how looks hang together.

    independent : every record a look of its own, which is too high wherever looks share a tag.
    expected : looks share the tag's power and, along the track, the shadowing; averaged over what the fit leaves open. The best estimate for a sound tag.
    cautious : one look per pass, tags as above but some of them far weaker (see WeakTags); never above the other two. Decisions rest on this one.
    """

    independent: np.ndarray
    expected: np.ndarray
    cautious: np.ndarray


def detection_at(listenings, model: SignalModel, easting_m, northing_m, tag_type: str = "", height_above_ground_m=0.0, drawn=(), weak: WeakTags = WeakTags()) -> Detection:
    """Probability that a tag was heard at least once in some flights together; it keeps its power from flight to flight.

    model : the best estimate. drawn : models drawn from its uncertainty, averaged over; none = the best estimate stands for sure. weak : of the cautious view.
    With no flight, or none with a record, all are 0: ground not searched.
    """
    easting_m, northing_m = np.atleast_1d(np.asarray(easting_m, float)), np.atleast_1d(np.asarray(northing_m, float))
    flights = [listening for listening in listenings if len(listening)]
    if not flights:
        nothing = np.zeros(len(easting_m))
        return Detection(nothing, nothing, nothing)
    plain, careful = strengths_of(drawn or (model,), tag_type), cautious_strengths(drawn or (model,), tag_type, weak)
    places = (easting_m, northing_m, height_above_ground_m)
    missed = np.prod([1.0 - independent_detection(probability_heard(flight, model, easting_m, northing_m, tag_type, height_above_ground_m)) for flight in flights], axis=0)
    return in_order(1.0 - missed, heard_at_all(sum(along_the_track(flight, plain, *places) for flight in flights), plain),
                    heard_at_all(sum(one_look_per_pass(flight, careful, *places) for flight in flights), careful))


def in_order(independent, expected, cautious) -> Detection:
    """The three views, none less careful than the one before it: what little approximation and averaging turn round is turned back."""
    expected = np.minimum(expected, np.maximum(independent, cautious))
    return Detection(independent, expected, np.minimum(cautious, np.minimum(expected, independent)))
