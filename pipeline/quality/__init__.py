"""Can these logs be trusted? Verdicts per flight, column and tag, with the numbers behind each, and the survey effort.

    track_table         where the receiver was; on and off effort
    flight_table        one row and one verdict per flight
    column_table        missing and impossible values per flight and column
    tag_table           what was heard of each tag
    heard_matrix        tags by flights
    suspicion_table     hits that are probably not the tag
    findings            everything noticed, as messages; terrain_findings, noise_findings and north_findings say how ground, thresholds and north stand
    effort_table        minutes listening, kilometres, records per tag, speed, height
    strongest_records   the crude beacon error: how far the receiver was at its strongest record
"""

from pipeline.quality.column_summary import column_table
from pipeline.quality.effort import effort_table, records_per_tag
from pipeline.quality.findings import findings
from pipeline.quality.flights import azimuth_coverage_deg, beacon_rows, flight_table, noise_step
from pipeline.quality.hits import hit_table, saturation_db
from pipeline.quality.noise import man_made_noise_db, noise_findings
from pipeline.quality.north import north_findings
from pipeline.quality.pace import pace_table
from pipeline.quality.strongest import strongest_records
from pipeline.quality.style import flight_style
from pipeline.quality.suspicion import suspicion_table
from pipeline.quality.tags import heard_matrix, tag_table
from pipeline.quality.terrain import terrain_findings
from pipeline.quality.track import track_table

__all__ = ["azimuth_coverage_deg", "beacon_rows", "column_table", "effort_table", "findings", "flight_style", "flight_table", "heard_matrix",
           "hit_table", "man_made_noise_db", "noise_findings", "noise_step", "north_findings", "pace_table", "records_per_tag", "saturation_db", "strongest_records", "suspicion_table", "tag_table", "terrain_findings", "track_table"]
