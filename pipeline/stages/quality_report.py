"""What the quality notebook shows: words, tables, figures and the map, made from the tables of the stage."""

from __future__ import annotations

from functools import cached_property

import pandas as pd

from pipeline.figures import MapSheet
from pipeline.figures.quality import azimuth_roses, heard_matrix_figure, strength_histogram, time_strips
from pipeline.messages import Message
from pipeline.quality import pace_table, saturation_db
from pipeline.report import Book, see
from pipeline.stages import quality_words as say
from pipeline.stages.ground_files import read_ground
from pipeline.stages.instrument_check import instruments_checked
from pipeline.wording import counted


class QualityReport:
    """Parts of the report, in the order in which the notebook shows them; every number comes from a table beside it."""

    def __init__(self, workspace):
        self.workspace = workspace
        self.book = Book(workspace.tables, workspace.figures)
        self.records, self.track = workspace.read_work("records"), workspace.read_work("track")
        self.flights, self.message_rows = workspace.read_work("flights"), workspace.read_work("messages")
        self.beacons = workspace.read_work("beacons")

    @cached_property
    def effort_rows(self) -> pd.DataFrame:
        return self.workspace.read_work("effort")

    @cached_property
    def tag_rows(self) -> pd.DataFrame:
        return self.workspace.read_work("tags_heard")

    @cached_property
    def crude_rows(self) -> pd.DataFrame:
        return self.workspace.read_work("beacon_strongest_record_summary")

    @cached_property
    def pace(self) -> pd.DataFrame:
        return pace_table(self.track)

    def answer(self):
        """Can these logs be trusted?"""
        return self.book.answer(*say.trust_paragraphs(self.flights, self.effort_rows, self.tag_rows, self.message_rows, self.crude_rows))

    def map(self):
        """Tracks, effort, beacons and study area."""
        ground = read_ground(self.workspace)
        off = int((~self.track["on_effort"]).sum())
        alt = (f"Map of {counted(len(self.flights), 'flight track')} with {counted(len(self.beacons), 'beacon')}"
               f"{' and the study area' if ground.study_area is not None else ''}; {counted(off, 'record')} off effort are left open in the tracks.")
        places = self.beacons.rename(columns={"easting_m": "true_easting_m", "northing_m": "true_northing_m"})[["tag_id", "true_easting_m", "true_northing_m"]]
        sheet = MapSheet(ground.projection, alt=alt).backdrop(ground.terrain).study_area(ground.study_area).track(self.track)
        sheet = sheet.beacons(places.drop_duplicates()) if len(places) else sheet
        return self.book.map("quality_map", sheet, "Where the receiver was. A track is open where a record is off effort: on the ground, in transit, landing, without position, or not "
                             f"listening. Coordinates are in the {ground.projection.name}.")

    def effort(self):
        """Survey effort per flight and for the campaign."""
        words = self.book.words(say.effort_heading(self.effort_rows), "Minutes count the time that records on effort stand for, at most twice the record interval each, so a gap adds nothing.")
        table = self.book.table("effort", self.effort_rows, "Survey effort, flight by flight and for the campaign.", {
            "flight_id": ("Flight", "", "text"), "listening_min": ("Listening", "min", ".1f"), "off_effort_min": ("Off effort", "min", ".1f"),
            "off_effort_why": ("Off effort for", "min", "text"), "distance_km": ("Flown", "km", ".1f"), "speed_median_m_per_s": ("Speed", "m/s", ".1f"),
            "height_median_m": ("Height", "m", ".0f"), "records_per_tag_median": ("Records per tag", "", ",.0f"),
        }, saved_as="effort.csv", notes="Kilometres, speed and height above ground are those on effort; speed, height and records per tag are medians. Searched area belongs to the localisation report, which has the signal model it needs.")
        return self.book.together(words, table)

    def messages(self):
        """Everything noticed, the worst first."""
        fields = list(Message.__dataclass_fields__)
        rows = [Message(**{name: None if name == "line" and pd.isna(row[name]) else int(row[name]) if name == "line" else str(row[name]) for name in fields})
                for row in self.message_rows.to_dict("records")]
        return self.book.together(self.book.words(say.message_heading(self.message_rows)), self.book.messages(rows, file="tables/messages.csv"))

    def files(self):
        """Files and what became of their rows."""
        files, changes = self.workspace.read_work("files"), self.workspace.read_work("changes")
        first = self.book.table("files", files, "Receiver logs as they were read; hash, size and encoding are in the file.", {
            "file": ("File", "", "text"), "rows": ("Rows", "", ",d"), "rows_used": ("Used", "", ",d"), "rows_dropped": ("Left out", "", ",d"),
            "first_utc": ("First record", "UTC", "time"), "last_utc": ("Last record", "UTC", "time"), "verdict": ("Verdict", "", "text"), "reason": ("Reason", "", "text"),
        }, saved_as="files.csv")
        second = self.book.table("changes", changes, "Changes made on reading. The files themselves were not touched.", {
            "rule": ("Rule", "", "text"), "rows": ("Rows", "", ",d"), "before": ("Before", "", "text"), "after": ("After", "", "text"), "flight_id": ("Flight", "", "text"),
            "reversible": ("Can be undone", "", "flag"),
        }, saved_as="changes.csv")
        return self.book.together(self.book.words(say.change_heading(changes)), first, second)

    def flight_verdicts(self):
        """Verdict and numbers of every flight, with strips over time."""
        words = self.book.words(say.position_heading(self.flights), say.flight_paragraph(self.flights))
        table = self.book.table("flights", self.flights, "Flights and what they may be used for.", {
            "flight_id": ("Flight", "", "text"), "style": ("Style found", "", "text"), "start_utc": ("Start", "UTC", "time"), "records": ("Records", "", "d"),
            "positions_lost": ("No position", "records", "d"), "azimuth_coverage_deg": ("Azimuths", "deg of 360", ".0f"), "noise_median_db": ("Noise", "dB", ".1f"),
            "verdict": ("Verdict", "", "text"),
        }, saved_as="flights.csv", notes=say.verdict_notes(self.flights))
        figure = self.book.figure("time_strips", time_strips(self._strips()), "Each flight over time: tags heard in a record, height above ground, turning of the antenna, background noise. "
                                  "Shaded: off effort.", self._strips_alt())
        return self.book.together(words, table, figure)

    def _strips(self) -> pd.DataFrame:
        noise = self.records.groupby(["flight_id", "record"])["noise_db"].median().rename("noise_db").reset_index()
        strips = self.track.assign(turn_deg_per_s=self.pace["turn_deg_per_s"]).merge(noise, on=["flight_id", "record"], how="left")
        start = strips.groupby("flight_id")["time_utc"].transform("min")
        return strips.assign(minute=(strips["time_utc"] - start).dt.total_seconds() / 60.0)

    def _strips_alt(self) -> str:
        flights = self.flights
        heights = f"heights {flights['height_min_m'].min():.0f} to {flights['height_max_m'].max():.0f} m" if flights["height_median_m"].notna().any() else "no heights logged"
        return (f"Strips over time for {counted(len(flights), 'flight')}: {heights}, turning up to {flights['turn_rate_max_deg_per_s'].max():.0f} degrees per second, "
                f"{counted(int(flights['positions_lost'].sum()), 'record')} without position.")

    def listening(self):
        """Where the antenna pointed."""
        words = self.book.words(say.listening_heading(self.flights), say.listening_paragraph(self.flights))
        on = self.track["on_effort"]
        rows = self.track.assign(listening_s=self.pace["listening_s"])[on]
        covered = "; ".join(f"{flight}: {degrees:.0f} degrees" for flight, degrees in zip(self.flights["flight_id"], self.flights["azimuth_coverage_deg"].fillna(0)))
        figure = self.book.figure("azimuth_roses", azimuth_roses(rows), "Minutes of listening towards each 10-degree sector, true north up, one scale for all flights.",
                                  f"Roses of the directions listened to. Covered of 360: {covered}.")
        return self.book.together(words, figure)

    def instruments(self):
        """Clocks and antenna on beacons."""
        return instruments_checked(self.book, self.workspace.read_work("instruments"))

    def strengths(self):
        """How strong, and where the scale ends."""
        heard = self.records.loc[self.records["heard"], "strength_db"]
        ceiling_db = saturation_db(heard)
        threshold = self.records["threshold_db"].median()
        limits = f"the usual threshold is {say.decibels(threshold)}" if pd.notna(threshold) else "the logs give no threshold"
        spread = f"{say.decibels(heard.min())} to {say.decibels(heard.max())}, median {say.decibels(heard.median())}" if len(heard) else "none was heard"
        words = self.book.words(say.strength_heading(len(heard), ceiling_db), f"Heard strengths: {spread}; {limits}. Weak records crowd at the threshold, where hearing is a matter of chance: what was "
                                "not heard is used as well, as strengths that stayed below it.")
        figure = self.book.figure("strengths", strength_histogram(heard, self.records["threshold_db"], ceiling_db), "Strengths of the heard records. Dashed: median threshold of the records listened to, "
                                  "shaded from its 5 to its 95 % quantile.", f"Histogram of {len(heard):,d} heard strengths: {spread}; {limits}.")
        return self.book.together(words, figure)

    def tags(self):
        """What was heard of whom."""
        words = self.book.words(say.tag_heading(self.tag_rows), f"{see('table', 'tags_heard').capitalize()} counts all records; {see('figure', 'heard_by_flight')} shows them flight by flight. A dash means that the tag was not listened to, which is not the same as not heard.")
        table = self.book.table("tags_heard", self.tag_rows, "Tags, and what speaks against their hits.", {
            "tag_id": ("Tag", "", "text"), "role": ("Role", "", "text"), "records_listened": ("Listened", "records", ",d"), "heard_percent": ("Heard", "%", ".1f"),
            "best_strength_db": ("Strongest", "dB", ".1f"), "longest_run": ("Longest run", "records", "d"), "pulse_interval_s": ("Pulse interval", "s", ".2f"),
            "suspicion": ("Suspicion", "", "text"),
        }, saved_as="tags_heard.csv", notes="Pulse intervals are medians of the heard records; the expected ones, isolated hits and more are in the file.")
        matrix = self.workspace.read_work("heard_by_flight")
        listened = matrix[matrix["records_listened"] > 0]
        figure = self.book.figure("heard_by_flight", heard_matrix_figure(matrix), "Share of records in which each tag was heard, by flight; a dash: not listened to.",
                                  f"Matrix of {counted(matrix['tag_id'].nunique(), 'tag')} by {counted(len(self.flights), 'flight')}: heard in {int((listened['records_heard'] > 0).sum())} of "
                                  f"{len(listened)} pairs listened to.")
        return self.book.together(words, table, figure)

    def columns(self):
        """Missing and impossible values."""
        columns = self.workspace.read_work("columns")
        table = self.book.table("columns", columns, "Columns of each flight.", {
            "flight_id": ("Flight", "", "text"), "column": ("Column", "", "text"), "unit": ("Unit", "", "text"), "missing_percent": ("Missing", "%", ".1f"),
            "minimum": ("Least", "", ".6g"), "median": ("Median", "", ".6g"), "maximum": ("Largest", "", ".6g"), "suspicious": ("Impossible", "values", "d"),
        }, saved_as="columns.csv", notes="Strengths and pulse rates are counted over heard records: a strength blank because the tag was not heard is not missing.")
        return self.book.together(self.book.words(say.column_heading(columns)), table)

    def crude_errors(self):
        """The table of fix errors of this report: the strongest record, the crude figure that the later reports improve on."""
        each = self.workspace.read_work("beacon_strongest_record")
        words = self.book.words(say.crude_heading(self.crude_rows), "This is the crude error figure: the distance between a surveyed beacon and the receiver at the moment it heard that beacon best. It is what taking the "
                                "strongest record for the place would cost, before any model. The localisation and calibration reports give the errors of the fixes themselves.")
        summary = self.book.table("beacon_strongest_record_summary", self.crude_rows, "Crude error of the strongest record, by flight.", {
            "flight_id": ("Flight", "", "text"), "beacons": ("Beacons listened to", "", "d"), "heard": ("Heard", "", "d"), "median_m": ("Median error", "m", ".2g"),
            "p90_m": ("90 % within", "m", ".2g"), "largest_m": ("Largest", "m", ".2g"),
        }, saved_as="beacon_strongest_record_summary.csv")
        table = self.book.table("beacon_strongest_record", each, "Crude error of the strongest record, beacon by beacon.", {
            "tag_id": ("Beacon", "", "text"), "flight_id": ("Flight", "", "text"), "records_heard": ("Heard", "records", "d"), "best_strength_db": ("Strongest", "dB", ".1f"),
            "strongest_record_error_m": ("Crude error", "m", ".2g"), "closest_approach_m": ("Closest approach", "m", ".2g"),
        }, saved_as="beacon_strongest_record.csv")
        return self.book.together(words, summary, table)
