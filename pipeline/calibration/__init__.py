"""Errors against known positions, coverage, and the widening that makes regions honest."""

from pipeline.calibration.coverage import LEVELS, coverage_table, exact_interval, what_beacons_can_prove
from pipeline.calibration.errors import error_summary, median_interval, summary_by
from pipeline.calibration.widening import TestedPlace, choose_widening, scores, widenings_leaving_out

__all__ = ["LEVELS", "TestedPlace", "choose_widening", "coverage_table", "error_summary", "exact_interval", "median_interval",
           "scores", "summary_by", "what_beacons_can_prove", "widenings_leaving_out"]
