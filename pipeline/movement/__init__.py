"""Movement: what moved more than its error allows, how far the fixes reach, and what the data cannot bear.

    animals_with_fixes   which fixes may be used, with the draws that carry their errors
    gate                 what may be said from so many fixes
    displacement_table   did it move?            stillness    has it stayed, as a tag that lies?
    extent_table         how far the fixes reach range_table  a range, where there are fixes enough
    fidelity_table, proximity_table, timeline_table, animal_table
"""

from pipeline.movement.animals import ANIMALS, animal_table
from pipeline.movement.difference_of_places import NormalDifference, ShapedDifference, difference
from pipeline.movement.displacement import STEPS, STILLNESS, displacement_table, distance_interval_m, holm, stillness, unmoved_step_m
from pipeline.movement.extent import EXTENTS, extent_table, hull_area_m2
from pipeline.movement.fidelity import FIDELITY, fidelity_table
from pipeline.movement.fixes import USABLE_STATUSES, AnimalFixes, Fix, animals_with_fixes
from pipeline.movement.gates import Gate, error_range_ratio, gate, refusal
from pipeline.movement.proximity import PROXIMITY, proximity_table
from pipeline.movement.ranges import RANGES, extent_growth, kernel_area_m2, normal_range, normal_range_area_m2, range_table, reference_bandwidth_m
from pipeline.movement.timeline import TIMELINE, timeline_table

__all__ = [
    "ANIMALS", "AnimalFixes", "EXTENTS", "FIDELITY", "Fix", "Gate", "NormalDifference", "PROXIMITY", "RANGES", "STEPS", "STILLNESS",
    "ShapedDifference", "TIMELINE", "USABLE_STATUSES", "animal_table", "animals_with_fixes", "difference", "displacement_table",
    "distance_interval_m", "error_range_ratio", "extent_growth", "extent_table", "fidelity_table", "gate", "holm", "hull_area_m2",
    "kernel_area_m2", "normal_range", "normal_range_area_m2", "proximity_table", "range_table", "reference_bandwidth_m", "refusal",
    "stillness", "timeline_table", "unmoved_step_m",
]
