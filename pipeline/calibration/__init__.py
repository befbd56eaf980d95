"""Errors against known positions, coverage, and the widening that makes regions honest."""

from pipeline.calibration.conformal import conformal_quantile, places_needed, quantiles_leaving_out, score_that_holds
from pipeline.calibration.coverage import LEVELS, chance_of_so_few, coverage_table, exact_interval, what_beacons_can_prove
from pipeline.calibration.errors import (accuracy_statement, doubtful_places, elliptical_probability, elliptical_radius, error_summary, median_interval,
                                         median_interval_by_place, median_interval_by_place_and_flight, median_interval_of_fixes, nssda_95_m, p90_interval_by_place, p90_interval_of_fixes, summary_by)
from pipeline.calibration.flight_levels import flight_levels
from pipeline.calibration.held_out import HeldOutModels, fit_held_out, known_tags, stands_in
from pipeline.calibration.instruments import Instruments, look_at_instruments
from pipeline.calibration.locating import Heard, Widening, find_widening, gather_heard, locate_all, task_of
from pipeline.calibration.residual_correlation import residual_correlation, simulated_residuals
from pipeline.calibration.residuals import expected_when_heard, pattern_at, record_residuals
from pipeline.calibration.widening import HeldOutPlace, choose_widening, scores, widenings_leaving_out
from pipeline.calibration.worth import worth_of_corrections

__all__ = ["Instruments", "look_at_instruments", "worth_of_corrections", "Heard", "HeldOutModels", "LEVELS", "HeldOutPlace", "Widening", "accuracy_statement", "chance_of_so_few", "choose_widening", "conformal_quantile", "coverage_table",
           "doubtful_places", "elliptical_probability", "elliptical_radius", "error_summary", "exact_interval", "expected_when_heard", "find_widening", "task_of",
           "fit_held_out", "flight_levels", "gather_heard", "known_tags", "locate_all", "median_interval", "median_interval_by_place", "median_interval_of_fixes", "p90_interval_of_fixes", "median_interval_by_place_and_flight", "nssda_95_m", "p90_interval_by_place",
           "pattern_at", "places_needed", "quantiles_leaving_out", "record_residuals", "residual_correlation", "score_that_holds", "scores", "simulated_residuals", "stands_in", "summary_by", "what_beacons_can_prove", "widenings_leaving_out"]
