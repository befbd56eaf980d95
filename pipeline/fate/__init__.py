"""Fate: what the pulse rates say, which tags to fetch first, and what else could explain them.

    pulse_table      live, mortality or unclear for every tag and flight
    triage           every animal's tag in one class, the most urgent first
    retrieval_list   positions and circles for the walk
    search_areas     the same as GPX and GeoJSON
"""

from pipeline.fate.flights import PULSES, pulse_table
from pipeline.fate.pulse import CERTAINTY, RECORDS_FOR_A_VERDICT, PulseVerdict, count_passes, mode_probabilities, read_pulses
from pipeline.fate.retrieval import RETRIEVAL, retrieval_list
from pipeline.fate.search_areas import SearchArea, search_areas, to_geojson, to_gpx
from pipeline.fate.triage import CLASSES, TRIAGE, Ladder, triage

__all__ = [
    "CERTAINTY", "CLASSES", "Ladder", "PULSES", "PulseVerdict", "RECORDS_FOR_A_VERDICT", "RETRIEVAL", "SearchArea", "TRIAGE", "count_passes", "mode_probabilities", "pulse_table",
    "read_pulses", "retrieval_list", "search_areas", "to_geojson", "to_gpx", "triage",
]
