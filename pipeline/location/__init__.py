"""Where a tag was: likelihood over cells, adaptive grid, posterior, status gates."""

from pipeline.location.batch import HEARD_FOR_A_WALK, Located, Task, hearing_reach_m, leaves_and_truth, locate, search_margins_m, spread_over_cores
from pipeline.location.bearings import concentration_from_sd, estimate_concentration
from pipeline.location.by_hand import ByHand
from pipeline.location.deciding import deciding_pass, is_mirror_image
from pipeline.location.evidence_so_far import moments, posteriors_so_far
from pipeline.location.fixes import FIX_STATUSES, PLACED, best_position, evidence_columns, heaviest_place, position_columns
from pipeline.location.grid import Fineness, SearchArea, adaptive_posterior, edge_probability
from pipeline.location.leaves import Leaves, tile
from pipeline.location.likelihood import log_likelihood, mean_log_likelihood, walking_likelihood
from pipeline.location.posterior import Posterior
from pipeline.location.sightings import taken_during
from pipeline.location.status import Evidence, Gates, gather_evidence, status_of
from pipeline.location.walk_test import SHOWN_FROM, TRIED_WALK_SD_M, WalkTest, walk_test

__all__ = ["deciding_pass", "is_mirror_image", "SHOWN_FROM", "HEARD_FOR_A_WALK", "TRIED_WALK_SD_M", "WalkTest", "walk_test", "walking_likelihood", "ByHand", "Evidence", "Fineness", "Gates", "Leaves", "Located", "FIX_STATUSES", "PLACED", "Posterior", "SearchArea", "Task", "adaptive_posterior", "best_position", "concentration_from_sd",
           "edge_probability", "estimate_concentration", "evidence_columns", "gather_evidence", "hearing_reach_m", "heaviest_place", "leaves_and_truth", "locate", "log_likelihood", "mean_log_likelihood", "position_columns",
           "moments", "posteriors_so_far", "search_margins_m", "spread_over_cores", "status_of", "taken_during", "tile"]
