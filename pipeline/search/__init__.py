"""Was the ground really searched, and what does silence mean?

    GroundSearch, search_grid, ground_searched, area_table, cumulative_area   the ground, cell by cell
    probability_heard, detection_at          would a tag there have been heard?
    area_by_ground                           how well each kind of ground was searched
    range_table, detection_range             how far a tag is heard; effective sweep width
    not_found_table, explanation_table       animals not found, under stated priors
    band_table, well_searched_beacons        the test of all this on beacons
    candidate_flights, GroundAhead, rank_flights   where a next flight would tell most, hills and canopy in the way
"""

from pipeline.search.detection import Detection, detection_at, probability_heard
from pipeline.search.ground import (CAMPAIGN, GroundSearch, SearchGrid, area_table, cumulative_area, ground_round_track, ground_searched,
                                    search_grid)
from pipeline.search.ground_ahead import GroundAhead
from pipeline.search.missing import (PRIORS, MissingTag, StatedPrior, explain_silence, explanation_table, not_found_table, prior_from_last_fix,
                                     prior_over_area, search_adequacy, silence_sentence, stated_probability)
from pipeline.search.next_flight import Candidate, Sought, Unplaced, candidate_flights, rank_flights
from pipeline.search.range import DetectionRange, detection_curve, detection_range, range_table
from pipeline.search.silence import WeakTags, along_the_track, cautious_strengths, heard_at_all, one_look_per_pass, strengths_of
from pipeline.search.strata import BY_GROUND, area_by_ground, canopy_classes, height_classes, slope_classes
from pipeline.search.theory import coverage, fit_logistic, half_normal_half_width_m, parallel_sweep_detection, random_search_detection
from pipeline.search.validation import band_table, none_heard_limit, share_interval, well_searched_beacons

__all__ = ["BY_GROUND", "CAMPAIGN", "Candidate", "Detection", "DetectionRange", "GroundAhead", "GroundSearch", "MissingTag", "PRIORS", "SearchGrid", "Sought", "StatedPrior", "Unplaced", "WeakTags",
           "along_the_track", "area_by_ground", "area_table", "band_table", "candidate_flights", "canopy_classes", "cautious_strengths", "coverage", "cumulative_area", "detection_at", "detection_curve", "detection_range", "explain_silence", "explanation_table", "fit_logistic",
           "ground_round_track", "ground_searched", "half_normal_half_width_m", "heard_at_all", "height_classes", "none_heard_limit", "not_found_table", "one_look_per_pass", "parallel_sweep_detection",
           "prior_from_last_fix", "prior_over_area", "probability_heard", "random_search_detection", "range_table", "rank_flights", "search_adequacy", "search_grid",
           "share_interval", "silence_sentence", "slope_classes", "stated_probability", "strengths_of", "well_searched_beacons"]
