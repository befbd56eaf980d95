"""Errors against known positions, coverage, and the widening that makes regions honest."""

from pipeline.calibration.coverage import LEVELS, coverage_table, exact_interval, what_beacons_can_prove
from pipeline.calibration.errors import error_summary, median_interval, summary_by
from pipeline.calibration.held_out import HeldOutModels, fit_held_out, known_tags, stands_in
from pipeline.calibration.locating import Heard, Widening, find_widening, gather_heard, locate_all
from pipeline.calibration.widening import TestedPlace, choose_widening, scores, widenings_leaving_out

__all__ = ["Heard", "HeldOutModels", "LEVELS", "TestedPlace", "Widening", "choose_widening", "coverage_table", "error_summary", "exact_interval", "find_widening", "fit_held_out", "gather_heard", "known_tags", "locate_all", "median_interval",
           "scores", "stands_in", "summary_by", "what_beacons_can_prove", "widenings_leaving_out"]
