"""Movement: what moved more than its error allows, how far the fixes reach, and what the data cannot bear.

    animals_with_fixes   which fixes may be used, with the draws that carry their errors
    gate                 what may be said from so many fixes
    displacement_table   did it move?            stillness    has it stayed, as a tag that lies?
    true_places          where fixes may truly lie, as places of one animal
    extent_table         how far the fixes reach range_table  a range, where there are fixes enough
    track_table          the track with its band overlap_table, outline_table
    joined_by_flight     draws in which fixes of one flight share their errors
    fidelity_table, proximity_table, net_displacement_table, timeline_table, survival_table, animal_table
"""

from pipeline.movement.animals import ANIMALS, animal_table
from pipeline.movement.difference_of_places import NormalDifference, ShapedDifference, difference
from pipeline.movement.displacement import STEPS, STILLNESS, displacement_table, distance_interval_m, holm, stillness, unmoved_step_m
from pipeline.movement.extent import EXTENTS, extent_table, hull_area_m2, places_of_animals
from pipeline.movement.fidelity import FIDELITY, fidelity_table
from pipeline.movement.fixes import USABLE_STATUSES, AnimalFixes, Fix, animals_with_fixes
from pipeline.movement.gates import Gate, error_range_ratio, gate, largest_likely_ratio, refusal, without_width
from pipeline.movement.kernel import cross_validated_bandwidth_m, cross_validation_score, kernel_density, reference_bandwidth_m, utilisation
from pipeline.movement.net_displacement import NET, net_displacement_table, net_squared_m2
from pipeline.movement.outlines import OUTLINES, outline_table
from pipeline.movement.overlap import OVERLAPS, kernel_affinity, normal_affinity, overlap_table
from pipeline.movement.proximity import PROXIMITY, proximity_table
from pipeline.movement.ranges import (METHODS, RANGES, extent_growth, growth_table, kernel_area_m2, kernel_to_truth, normal_range, normal_range_area_m2, range_refusal, range_table)
from pipeline.movement.shared_errors import SharedError, joined_by_flight, shared_error
from pipeline.movement.survival import LIVES, SURVIVAL, kaplan_meier, lives_table, survival_table
from pipeline.movement.tails import Tails, tails_of
from pipeline.movement.timeline import TIMELINE, timeline_table
from pipeline.movement.track import TRACKS, WALKS, Walk, bridge_variance_m2, track_table, walk_of, walk_table, walks_of_animals
from pipeline.movement.true_places import TruePlaces, true_places

__all__ = [
    "ANIMALS", "AnimalFixes", "EXTENTS", "FIDELITY", "Fix", "Gate", "LIVES", "METHODS", "NET", "NormalDifference", "OUTLINES", "OVERLAPS", "PROXIMITY",
    "RANGES", "STEPS", "STILLNESS", "SURVIVAL", "ShapedDifference", "Tails", "tails_of", "largest_likely_ratio", "SharedError", "TIMELINE", "TRACKS", "TruePlaces", "USABLE_STATUSES",
    "WALKS", "Walk", "animal_table", "animals_with_fixes", "bridge_variance_m2", "cross_validated_bandwidth_m", "cross_validation_score",
    "difference", "displacement_table", "distance_interval_m", "error_range_ratio", "extent_growth", "extent_table", "fidelity_table",
    "gate", "growth_table", "holm", "hull_area_m2", "joined_by_flight", "kaplan_meier", "kernel_affinity", "kernel_area_m2",
    "kernel_density", "kernel_to_truth", "lives_table", "net_displacement_table", "net_squared_m2", "normal_affinity", "normal_range", "normal_range_area_m2",
    "outline_table", "overlap_table", "places_of_animals", "proximity_table", "range_refusal", "range_table", "reference_bandwidth_m", "refusal",
    "shared_error", "stillness", "survival_table", "timeline_table", "track_table", "true_places", "unmoved_step_m", "utilisation",
    "walk_of", "walk_table", "walks_of_animals", "without_width",
]
