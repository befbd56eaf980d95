"""What the calibration notebook shows: words, tables, figures and the map, made from the tables of the stage."""

from __future__ import annotations

from functools import cached_property

import numpy as np
import pandas as pd

from pipeline.calibration import pattern_at
from pipeline.calibration.errors import RESAMPLES
from pipeline.columns import FIXES
from pipeline.figures import MapSheet
from pipeline.figures import calibration as draw
from pipeline.radio import SignalModel
from pipeline.report import Book
from pipeline.stages import calibration_numbers as number
from pipeline.stages import calibration_words as say
from pipeline.stages import ways_of_widening_words as ways_say
from pipeline.stages.beacon_reach import limit_m
from pipeline.stages.error_calibration import CalibrationTables
from pipeline.stages.ground_files import read_ground
from pipeline.stages.instrument_report import instruments_part, worth_part
from pipeline.stages.workspace import Workspace
from pipeline.wording import as_given, counted, two_figures

# Records from farther below say more of the underside than of the pattern round the horizon.
PATTERN_DEPRESSION_DEG = 30.0
SHORT = {"where errors are claimed": "claimed", "status of the fix": "fix", "flight style": "style", "closest approach": "closest", "tag type": "type", "records heard": "records", "flight": "flight"}


class CalibrationReport:
    """Parts of the report, in the order in which the notebook shows them; every number comes from a table beside it."""

    def __init__(self, workspace: Workspace, tables: CalibrationTables):
        self.workspace, self.tables = workspace, tables
        self.book = Book(workspace.tables, workspace.figures)
        self.model = workspace.read_json("signal_models")
        self.parameters = workspace.read_table("signal_model")

    @cached_property
    def tested(self) -> bool:
        return len(self.tables.beacon_error_details) > 0

    def answer(self):
        """How large are the errors, and are the regions honest?"""
        return self.book.answer(*say.answer(self.tables))

    def map(self):
        """Beacons, their estimates and 95 % regions; the tracks where no beacon was heard."""
        ground = read_ground(self.workspace)
        details = self.tables.beacon_error_details
        if not self.tested:
            sheet = MapSheet(ground.projection, alt="The tracks flown. No beacon was heard, so there is nothing to compare.").backdrop(ground.terrain).study_area(ground.study_area)
            return self.book.map("calibration-map", sheet.track(self.workspace.read_work("track")), "Where the receiver was. No beacon was heard from it.")
        shown, wide = self._regions()
        inside, fixes = int(details["inside_95"].sum()), counted(len(details), "fix", "fixes")
        sheet = MapSheet(ground.projection, alt=f"Map of {counted(details['place_id'].nunique(), 'beacon')} with lines to the {len(details)} places estimated for them; {inside} of {fixes} have the beacon inside their 95 % region.")
        sheet = sheet.backdrop(ground.terrain).study_area(ground.study_area).regions(shown).beacons(self._beacon_marks(ground.projection))
        left_out = f" Regions wider than the ground flown over are left out ({wide} of {len(details)})." if wide else ""
        return self.book.map("calibration-map", sheet, f"Beacons, a line to the place estimated in each flight, and the 95 % region of each estimate. Type a beacon to see its own alone.{left_out}")

    def _regions(self):
        """(95 % regions of beacons, how many are left out because they are wider than the ground flown over)."""
        details, track, regions = self.tables.beacon_error_details, self.workspace.read_work("track"), self.workspace.read_work("regions")
        widest_m = 0.5 * float(np.hypot(*(track[axis].max() - track[axis].min() for axis in ("easting_m", "northing_m"))))
        kept = details[details["error_radius_95_m"] <= widest_m]
        keys = set(zip(kept["tag_id"], kept["flight_id"]))
        chosen = [probability == 0.95 and pair in keys for pair, probability in zip(zip(regions["tag_id"], regions["flight_id"]), regions["probability"])]
        return regions[chosen], len(details) - len(kept)

    def _beacon_marks(self, projection) -> pd.DataFrame:
        details = self.tables.beacon_error_details
        true_east, true_north = projection.forward(details["true_latitude"].to_numpy(float), details["true_longitude"].to_numpy(float))
        notes = [f"flight {row.flight_id}: {two_figures(row.error_m)} m off, {'inside' if row.inside_95 else 'outside'} its 95 % region, heard in {row.records_heard} records" for row in details.itertuples()]
        return pd.DataFrame({"tag_id": details["tag_id"], "label": details["tag_id"], "true_easting_m": true_east, "true_northing_m": true_north,
                             "easting_m": true_east + details["error_east_m"], "northing_m": true_north + details["error_north_m"], "note": notes})

    def beacons(self):
        """T1: the beacons."""
        rows = self.tables.beacon_places
        frame = rows.assign(heard=[f"{heard} of {listened}" for heard, listened in zip(rows["flights_heard"], rows["flights_listened"])], use=rows["use"].replace({"both": "fit and test"}),
                            moved=["no" if not doubt else f"look: {doubt} of {heard} fixes" for doubt, heard in zip(rows["doubtful_fixes"], rows["flights_heard"])])
        table = self.book.table("beacon_places", frame, "Beacons and what they were used for.", {
            "tag_id": ("Beacon", "", "text"), "tag_type": ("Tag type", "", "text"), "latitude": ("Latitude", "deg", ".5f"), "longitude": ("Longitude", "deg", ".5f"), "position_sd_m": ("Surveyed to", "m", ".1f"),
            "heard": ("Heard", "flights", as_given), "use": ("Used to", "", "text"), "moved": ("Moved?", "", "text"),
        }, saved_as="beacon_places.csv", tag_column="tag_id", notes="Fit and test: each beacon teaches the model that locates the others, and is itself located by a model that never saw it. Height above ground, widening and "
                                                                     "median error are in the file; orientation, habitat and slope side are in no register.")
        words = self.book.words(say.beacons_heading(self.tables), say.doubt_sentence(self.tables.beacon_error_details))
        return self.book.together(words, table)

    def errors(self):
        """F2 and T2: how large the errors are."""
        if not self.tested:
            return self._stated_radii()
        details, whole = self.tables.beacon_error_details, self.tables.error_summary.iloc[0]
        words = self.book.words(say.errors_heading(self.tables), say.errors_paragraph(self.tables))
        figure = self.book.figure("beacon_error_distribution", draw.error_distribution(details["error_m"], details["strongest_record_error_m"]), "Share of beacon fixes with an error up to each distance. Dashed: the place of the "
                                  "receiver at the strongest record, on the same fixes; medians are marked.",
                                  f"Two rising curves of {len(details)} errors: medians {two_figures(whole['median_m'])} m for the best position and {two_figures(whole['strongest_median_m'])} m for the strongest record.")
        frame = details.assign(off=[number.offset(east, north) for east, north in zip(details["error_east_m"], details["error_north_m"])], inside=["inside" if yes else "outside" for yes in details["inside_95"]])
        table = self.book.table("beacon_errors", frame, "Every beacon in every flight that heard it.", {
            "tag_id": ("Beacon", "", "text"), "flight_id": ("Flight", "", "text"), "records_heard": ("Heard", "records", "d"), "closest_approach_m": ("Closest", "m, slant", limit_m), "error_m": ("Error", "m", two_figures),
            "off": ("East, north", "m", as_given), "error_radius_95_m": ("95 % radius", "m", two_figures), "inside": ("95 % region", "truth is", "text"),
        }, saved_as="beacon_errors.csv", tag_column="tag_id", notes="The position is the best one, whatever the status of the fix. East and north are those of the survey grid. Independent records, spread of bearings, number of places and status are in "
                                                                     "beacon_error_details.csv.")
        return self.book.together(words, figure, table)

    def _stated_radii(self):
        """Without beacons: the radii as the model states them, by status of the fix."""
        fixes = self.workspace.read_table("fixes", FIXES)
        groups = fixes[fixes["best_latitude"].notna()].groupby("status", sort=True)
        frame = groups.agg(fixes=("tag_id", "size"), median_50_m=("error_radius_50_m", "median"), median_95_m=("error_radius_95_m", "median"), largest_95_m=("error_radius_95_m", "max")).reset_index()
        words = self.book.words("The radii are the model's own word", "They are what the positions state of themselves, compared with nothing.")
        return self.book.together(words, self.book.table("stated_radii", frame, "Stated radii of the fixes, untested.", {
            "status": ("Status", "", "text"), "fixes": ("Fixes", "", "d"), "median_50_m": ("50 % radius", "median, m", two_figures), "median_95_m": ("95 % radius", "median, m", two_figures),
            "largest_95_m": ("95 % radius", "largest, m", two_figures)}))

    def summary(self):
        """T3: errors by condition."""
        if not self.tested:
            return self.book.words(None)
        rows = self.tables.error_summary
        frame = rows.assign(condition=[group if grouping == "all" else f"{SHORT[grouping]}: {group}" for grouping, group in zip(rows["grouping"], rows["group"])], median=[number.interval_m(row) for _, row in rows.iterrows()],
                            held=[f"{inside} of {n}" for inside, n in zip(rows["inside_95"], rows["n"])], bias=[number.offset(east, north) for east, north in zip(rows["bias_east_m"], rows["bias_north_m"])])
        table = self.book.table("error_summary", frame, "Errors by condition.", {
            "condition": ("Condition", "", "text"), "n": ("Fixes", "", "d"), "places": ("Beacons", "", "d"), "median": ("Median error", "m (95 %)", as_given), "p90_m": ("90th", "percentile, m", two_figures),
            "bias": ("Bias", "m E, N", as_given), "strongest_median_m": ("Strongest", "median, m", two_figures), "held": ("Inside", "95 % region", as_given),
        }, saved_as="error_summary.csv", notes=f"Closest: how near the receiver came, slant. Strongest: error of the place of the strongest record on the same fixes. Fix: its status; all fixes count, at their best position. Intervals of the median: percentiles of {RESAMPLES:,d} medians, beacons and flights both drawn again as wholes where there are three flights, else beacons, so that repeats do not narrow them; in one flight order statistics; none below six beacons. 90th percentile: none below ten fixes. Claimed: within both limits of what is claimed. Mean, RMSE, intervals of the 90 %, exact intervals of coverage and the number of fixes "
                                               "with a position are in the file. Conditions overlap: do not read one as the cause.")
        return self.book.together(self.book.words(say.summary_heading(rows)), table)

    def coverage(self):
        """F5 and F6: whether the regions say the truth."""
        if not self.tested:
            return self._widening_only()
        tables, details = self.tables, self.tables.beacon_error_details
        by_place = tables.coverage[tables.coverage["counted_by"] == say.COUNTED_PLACES]
        shares = {when: ", ".join(f"{row.share:.2f}" for row in by_place[by_place["calibration"] == when].itertuples()) for when in ("before", "after")}
        first = self.book.figure("coverage", draw.coverage_plot(by_place), "Stated probability against the share of truths held, with 95 % intervals that count each beacon once. On the dotted line the regions hold what they say.",
                                 f"Shares held by the 50, 80 and 95 % regions: {shares['before']} as computed and {shares['after']} after widening.")
        frame = tables.coverage.assign(held=[f"{row.inside:.1f} of {row.tests}" if row.counted_by == say.COUNTED_PLACES else f"{row.inside:.0f} of {row.tests}" for row in tables.coverage.itertuples()],
                                       when=tables.coverage["calibration"].map({"before": "as computed", "after": "widened"}))
        table = self.book.table("coverage", frame, "How often the regions held the truth.", {
            "when": ("Regions", "", "text"), "counted_by": ("Counted by", "", "text"), "nominal": ("Stated", "", ".2f"), "held": ("Held", "", as_given), "share": ("Share", "", "share"), "low_95": ("From", "95 % interval", number.probability),
            "high_95": ("To", "95 % interval", number.probability),
        }, saved_as="coverage.csv", notes="By places: the mean over beacons of the share of each one's fixes. Limits after Clopper and Pearson: exact by fixes, approximate by places, where the count need not be whole; those by fixes take repeats for independent and are too narrow.")
        heading = say.radius_heading(details)
        second = self.book.figure("radius_against_error", draw.radius_against_error(details), "Stated 95 % radius against actual error. Filled marks lie beyond their radius.", heading + ".")
        return self.book.together(self.book.words(say.coverage_heading(tables), *say.coverage_paragraphs(tables)), first, table, self.book.words(heading, level=3), second)

    def _widening_only(self):
        return self.book.words("The regions are widened by a prior, untested", f"Their density is raised to the power {self.tables.widening.iloc[0]['widening']:.2f}, which simulations suggest.")

    def two_ways(self):
        """Tempering against conformal levels and radii, on the same held-out fixes."""
        rows = self.tables.two_ways_of_widening
        if not len(rows):
            return self.book.words(None)
        frame = rows.assign(held=[f"{row.inside} of {row.fixes}" if row.fixes else "none" for row in rows.itertuples()],
                            share=[number.share_with_interval(row) for row in rows.itertuples()], used=[number.span(row.used_low, row.used_high, "{:.2f}".format if row.way == "radius" else number.probability) for row in rows.itertuples()])
        table = self.book.table("two_ways_of_widening", frame, "Tempering and two rivals on the same beacon fixes, each place served by the others.", {
            "nominal": ("Stated", "", ".2f"), "way": ("Way", "", "text"), "held": ("Held", "fixes", as_given), "share": ("Share", "of places (95 %)", as_given), "used": ("Used", "level or factor", as_given),
            "median_area_ha": ("Region", "median, ha", two_figures), "equal_coverage_median_ha": ("At equal coverage", "median, ha", two_figures), "reason": ("Why none", "", "text"),
        }, saved_as="two_ways_of_widening.csv", notes="Level: the density as computed, with regions of the level that the other beacons ask for. Radius: discs round the best position, the radius as computed times a factor that the other beacons ask for. "
                                                      "At equal coverage: each way set so that it holds the stated share of these very truths, every place counting once. Means of the areas are in the file; a dash: no level below one does it.")
        return self.book.together(self.book.words(ways_say.heading(rows), ways_say.paragraph(rows), level=3), table)

    def strengths(self):
        """F3: observed against expected strength."""
        residuals = self.tables.beacon_residuals
        if not self.tested:
            return self.book.words(None)
        figure = self.book.figure("strengths_against_model", draw.strengths_against_model(residuals), "Heard strengths of beacons against what is expected of them, and the difference by distance, azimuth and time. Diamonds: median of a bin, with quartiles.",
                                  f"{say.strengths_heading(residuals)}; four panels of {len(residuals):,d} heard records, observed against expected and the difference by distance, relative azimuth and time.")
        return self.book.together(self.book.words(say.strengths_heading(residuals), say.strengths_paragraph(residuals)), figure)

    def antenna(self):
        """F4: the antenna pattern with data."""
        residuals = self.tables.beacon_residuals
        level = residuals[residuals["depression_deg"].astype(float) < PATTERN_DEPRESSION_DEG] if self.tested else residuals
        known = level[level["relative_azimuth_deg"].notna()] if self.tested else level
        heading = say.antenna_heading(self.parameters)
        if not len(known):
            return self.book.words(heading if self.tested else None)
        depression = float(known["depression_deg"].median())
        curve = np.arange(-180.0, 181.0, 3.0)
        pattern = pattern_at(SignalModel.from_dict(self.model["whole"]), curve, depression)
        words = self.book.words(heading, f"Shown are records of beacons less than {PATTERN_DEPRESSION_DEG:.0f} degrees below the horizon, the median {depression:.0f} degrees. The pattern is a short series in the direction, so that it cannot follow narrow lobes.")
        figure = self.book.figure("antenna_pattern", draw.antenna_pattern(known["relative_azimuth_deg"], known["pattern_db"] + known["residual_db"], curve, pattern), "The antenna's part of the strength by azimuth relative to the antenna: what is left of "
                                  "each heard record when power, distance and the effect of hearing are taken off.", f"{heading}; {len(known):,d} records and the fitted curve between {number.decibel(pattern.min())} and {number.decibel(pattern.max())} dB.")
        return self.book.together(words, figure)

    def correlation(self):
        """F7: residual autocorrelation along the track."""
        table = self.tables.residual_correlation
        if not self.tested:
            return self.book.words(None)
        if not len(table):
            return self.book.words("How alike neighbouring records are could not be measured", "No flight heard a beacon over a long enough stretch.")
        heading = say.correlation_heading(table)
        figure = self.book.figure("residual_correlation", draw.correlation_along_track(table), "Correlation of what is left of two records, by the metres flown between them. Curve and band: the same taken from strengths that the model itself made up on the same flights.", heading + ".")
        return self.book.together(self.book.words(heading, say.correlation_paragraph(self.tables.beacon_error_details)), figure)

    def signal_model(self):
        """T4: the parameters."""
        rows = self.parameters
        frame = rows.assign(prior=[f"{number.significant(low)} to {number.significant(high)}" for low, high in zip(rows["prior_low_95"], rows["prior_high_95"])])
        table = self.book.table("signal_model", frame, "The signal model.", {
            "meaning": ("Parameter", "", "text"), "value": ("Value", "", number.significant), "standard_error": ("SE", "", two_figures), "unit": ("Unit", "", "text"), "prior": ("Prior", "95 % range", as_given),
            "prior_share": ("From the prior", "share", number.percent),
        }, saved_as="signal_model.csv", notes="SE: standard error. From the prior: the part of what is known that was put in and not learned (variance now over variance of the prior). Priors are common practice, no source.")
        return self.book.together(self.book.words(say.model_heading(self.model, rows), say.model_paragraph(self.model, rows)), table)

    def instruments(self):
        """What beacons say of clocks, antenna, hills and receiver."""
        return instruments_part(self.workspace, self.book)

    def worth(self):
        """The beacons with and without each correction."""
        return worth_part(self.workspace, self.book)

    def effort(self):
        """The report's share of survey effort."""
        rows = self.tables.beacon_effort
        table = self.book.table("beacon_effort", rows, "What each flight spent on beacons.", {
            "flight_id": ("Flight", "", "text"), "style": ("Style", "", "text"), "beacon_min": ("Listened to beacons", "min", ".1f"), "beacons_listened": ("Beacons", "listened to", "d"), "beacons_heard": ("Beacons", "heard", "d"),
            "beacon_records_listened": ("Records", "listened", ",d"), "beacon_records_heard": ("Records", "heard", ",d"), "closest_approach_median_m": ("Closest", "median, m, level", two_figures),
        }, saved_as="beacon_effort.csv")
        return self.book.together(self.book.words(say.effort_heading(rows), say.effort_paragraph(rows) if self.tested else ""), table)

    def reach(self):
        """Where to believe the results and where not."""
        reach = self.tables.beacon_reach
        if not len(reach):
            return self.book.words("Nowhere are these results tested", "Without a heard beacon no tag type, flight style, distance or ground is covered.")
        table = self.book.table("beacon_reach", reach, "What the heard beacons cover, and the fixes of animals outside of it.", {
            "condition": ("Condition", "", "text"), "beacons": ("Beacons cover", "", "text"), "rests_on": ("Behind it", "beacon fixes", "text"), "fixes_outside": ("Fixes outside", "", "d"), "fixes": ("of fixes", "", "d"),
        }, saved_as="beacon_reach.csv", notes="Closest approach and records heard: as far as the hardest class (100, 200, 400, 800 m; 3, 8, 20 records) in which six beacons or more stand, the fewest that bound a median with 95 % confidence. Fixes of animals that were heard, at their best position. "
                                              "A position outside is not wrong; its error is untested.")
        return self.book.together(self.book.words(say.reach_heading(reach), say.reach_paragraph(reach)), table)
