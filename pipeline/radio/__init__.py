"""Strength against place: what a tag at a place would sound like along a flight, and the model estimated from beacons."""

from pipeline.radio.canopy import Canopy, FlightCanopy
from pipeline.radio.clock_lag import CANDIDATES_S, Lag, delayed, lag_curves, lag_from_curves
from pipeline.radio.corrections import Corrections
from pipeline.radio.evidence import Scatter, log_evidence, stacked_scatter
from pipeline.radio.fitting import FittedModel, fit_leaving_out, fit_signal_model, prior_model
from pipeline.radio.lanes import KnownTag
from pipeline.radio.listening import Listening, steps_along
from pipeline.radio.model import SignalModel
from pipeline.radio.own_strengths import own_strengths
from pipeline.radio.propagation import Sightlines, path_gain_db, sightlines
from pipeline.radio.tails import Chosen, fit_with_chosen_tails
from pipeline.radio.terrain_loss import FlightTerrainLoss, TerrainLoss
from pipeline.radio.timing import AZIMUTH_LAG, DRIFT, LAG, Estimate, Timing, estimate_timing, search_timing
from pipeline.radio.walking import Walked, walk_slopes_db_per_m, walking_evidence

__all__ = ["AZIMUTH_LAG", "Canopy", "DRIFT", "Estimate", "LAG", "Timing", "estimate_timing", "search_timing", "FlightCanopy", "FlightTerrainLoss", "TerrainLoss", "CANDIDATES_S", "Chosen", "Corrections", "Lag", "delayed", "lag_curves", "lag_from_curves", "Walked", "fit_with_chosen_tails", "walk_slopes_db_per_m", "walking_evidence",
           "FittedModel", "KnownTag", "Listening", "Scatter", "Sightlines", "SignalModel", "fit_leaving_out", "fit_signal_model",
           "log_evidence", "own_strengths", "path_gain_db", "prior_model", "sightlines", "stacked_scatter", "steps_along"]
