"""What the localisation notebook shows: words, tables, figures and maps, made from the tables of the stage."""

from __future__ import annotations

from functools import cached_property

import numpy as np
import pandas as pd

from pipeline.calibration import error_summary
from pipeline.calibration.errors import FIXES_FOR_P90
from pipeline.columns import FIXES
from pipeline.figures import MapSheet
from pipeline.fate import Ladder
from pipeline.figures import localisation as draw
from pipeline.location import PLACED
from pipeline.radio import SignalModel
from pipeline.report import Book, see
from pipeline.report.sections import Facts, Files
from pipeline.search import stated_probability
from pipeline.stages import doubtful_hits, localisation_words as say, silences
from pipeline.stages.doubtful_hits import FalseHits
from pipeline.stages.ground_files import read_ground
from pipeline.stages.ground_report import ground_part, use_words
from pipeline.stages.joined_report import joined_part
from pipeline.stages.localisation_map import localisation_map
from pipeline.stages.next_flight_report import next_flight_part
from pipeline.stages.strength_panels import chosen_fixes, panel
from pipeline.stages.instruments import read_corrections
from pipeline.stages.search_tables import weak_tags
from pipeline.stages.several_places import places_part
from pipeline.stages.tag_panels import tag_by_tag, tag_links
from pipeline.stages.walking import walking_part
from pipeline.stages.workspace import Workspace
from pipeline.wording import as_given, counted, rounded_up, two_figures

ALL_FLIGHTS = "all flights"


class LocalisationReport:
    """Parts of the report, in the order in which the notebook shows them; every number comes from a table beside it."""

    def __init__(self, workspace: Workspace):
        self.workspace = workspace
        self.book = Book(workspace.tables, workspace.figures)
        self.ground = read_ground(workspace)
        self.fixes, self.tags = workspace.read_table("fixes", FIXES), workspace.read_work("tags")
        self.tests, self.triage, self.walk = (workspace.read_work(name) for name in ("beacon_tests", "fate_triage", "retrieval_list"))
        self.not_found, self.area = workspace.read_work("not_found"), workspace.read_work("searched_area")
        self.animals = say.animals_of(self.fixes, self.tags)
        self.placed = self.animals[self.animals["status"].isin(PLACED)]
        self.lone, self.false = doubtful_hits.lone_hits(self.animals, workspace.read_work("tags_heard")), FalseHits.from_table(workspace.read_work("false_detections"))
        self.missed = silences.silences(self.animals, self.tags, self.area, self.triage)
        self.found = say.found_by_eye(self.triage, workspace.read_work("sightings"))

    @cached_property
    def positions(self) -> pd.DataFrame:
        """Best place of every heard tag and flight, in metres, whatever its status."""
        heard = self.fixes[self.fixes["best_latitude"].notna()]
        east, north = self.ground.projection.forward(heard["best_latitude"].to_numpy(float), heard["best_longitude"].to_numpy(float))
        return heard.assign(easting_m=heard["easting_m"].fillna(pd.Series(east, heard.index)), northing_m=heard["northing_m"].fillna(pd.Series(north, heard.index)))

    def answer(self):
        """Where are the animals, and how well is that known?"""
        return self.book.answer(*say.answer(self.animals, self.tests, self.not_found, self.walk, self.triage, self._missing_since()))

    def _missing_since(self) -> tuple[str, str]:
        """Who fell silent, and whose hearing is in doubt."""
        return silences.in_the_lead(self.missed), doubtful_hits.in_the_lead(self.lone, self.false)

    def map(self):
        """Every animal at its newest position with its regions, and the tags to look for on foot."""
        doubts = {tag_id: doubtful_hits.in_full(lone, self.false) for tag_id, lone in self.lone.items()}
        return localisation_map(self.workspace, self.book, self.ground, self.animals, self.tags, tests=self.tests, walk=self.walk, found=self.found, silent=self.missed, doubts=doubts)

    def positions_table(self):
        """T1: every search with what came of it, also of those that heard nothing."""
        shown = self.animals
        frame = shown.assign(said=say.search_results(shown, self.tags, self.area), heard=[f"{heard:.0f} of {listened:.0f}" for heard, listened in zip(shown["records_heard"].fillna(0), shown["records_listened"].fillna(0))],
                             place=[f"{east:.0f}, {north:.0f}".replace("-", "−") if np.isfinite(east) else "–" for east, north in zip(shown["easting_m"], shown["northing_m"])])
        table = self.book.table("fixes", frame, "Every search, that is, every animal in every flight: what was heard, and what that allows to be said.", {
            "tag_id": ("Tag", "", "text"), "flight_id": ("Flight", "", "text"), "said": ("Status", "", "text"), "place": ("East, north", "m, survey grid", as_given),
            "error_radius_50_m": ("50 % radius", "m", two_figures), "error_radius_95_m": ("95 % radius", "m", two_figures), "region_95_ha": ("95 % region", "ha", two_figures), "heard": ("Heard", "records", as_given),
        }, saved_as="fixes.csv", tag_column="tag_id", links={"flight_id": tag_links(frame["tag_id"], self.fixes, self.tags)}, most_rows=600, notes=f"The flight leads to the section of the tag. No position is printed unless what was heard meets what the survey file asks of one (localisation.gates), or speaks for a few places apart, of which the likeliest is printed (several places); the reason of every status, latitude, longitude, "
                                f"ellipse and times are in the file. Radii and regions are widened by what held-out beacons asked for. {say.SEARCH_RESULTS_NOTE}")
        words = self.book.words(say.fixes_heading(self.animals), *say.status_paragraphs(self.animals), say.failed_gate_sentence(self.animals))
        return self.book.together(words, table)

    def by_hand(self):
        """What was taken by hand, and what became of it."""
        taken = self.workspace.read_table("hand_evidence")
        if taken.empty:
            return self.book.words(None)
        table = self.book.table("hand_evidence", taken.assign(use=use_words(taken)), "Bearings taken by hand and places found by eye.", {
            "kind": ("Kind", "", "text"), "tag_id": ("Tag", "", "text"), "time_utc": ("Time", "UTC", "time"), "flight_id": ("Flight", "", "text"), "use": ("Use", "", "text"), "why": ("Why", "", "text")},
            saved_as="hand_evidence.csv", tag_column="tag_id", notes="Those taken during a flight, or within ten minutes of one, enter the fix of that flight; the others make a fix of their own. They count by their own errors, and the widening found on beacons does not touch them.")
        return self.book.together(self.book.words(say.by_hand_heading(taken)), table)

    def ground_fixes(self):
        """What the ground crew alone found."""
        return ground_part(self.workspace, self.book, self.fixes)

    def joined_fixes(self):
        """Flights located as one, where the survey file asks for it."""
        return joined_part(self.workspace, self.book, self.fixes)

    def several_places(self):
        """Tags that fit more than one place, and the flight that would decide."""
        return places_part(self.workspace, self.book)

    def walking(self):
        """Whether any animal walked during a flight."""
        return walking_part(self.workspace, self.book, self.animals)

    def radii(self):
        """F4: how wide the stated radii are."""
        words = self.book.words(say.radii_heading(self.placed))
        if self.placed.empty:
            return words
        alt = (f"{counted(len(self.placed), 'fix')} ranked by 95 % radius: half are {rounded_up(self.placed['error_radius_95_m'].median())} m or less, the largest is {two_figures(self.placed['error_radius_95_m'].max())} m.").replace("fixs", "fixes")
        return self.book.together(words, self.book.figure("radii_ranked", draw.ranked_radii(self.placed), "Radii that hold the animal with probability 0.50 and 0.95, for every fix with a position.", alt))

    def errors(self):
        """The table of fix errors: beacons that the model had not seen."""
        merged = self.tests.merge(self.positions, on=["tag_id", "flight_id"]) if len(self.tests) else pd.DataFrame()
        if merged.empty:
            return self.book.words(say.errors_heading(self.tests, {}), "The stated radii are therefore the model's own word. What that costs is said in the report on error calibration.")
        errors = pd.DataFrame({"error_east_m": merged["easting_m"] - merged["true_easting_m"], "error_north_m": merged["northing_m"] - merged["true_northing_m"], "level_after": merged["level_after"], "flight_id": merged["flight_id"], "place_id": merged["place_id"]})
        errors["error_m"] = np.hypot(errors["error_east_m"], errors["error_north_m"])
        groups = [*errors.groupby("flight_id", sort=True), (ALL_FLIGHTS, errors)]
        rows = pd.DataFrame([{"flight_id": name, **error_summary(part), "inside_95": int((part["level_after"] <= 0.95).sum())} for name, part in groups])
        rows = rows.assign(held=[f"{row.inside_95} of {row.n}" for row in rows.itertuples()], p90_m=rows["p90_m"].where(rows["n"] >= FIXES_FOR_P90))
        table = self.book.table("fix_errors_by_flight", rows, "Errors of beacon fixes, flight by flight; every beacon was located by a model that had not seen it.", {
            "flight_id": ("Flight", "", "text"), "n": ("Beacon fixes", "", "d"), "median_m": ("Median error", "m", two_figures), "p90_m": ("90th", "percentile, m", two_figures), "rmse_m": ("RMSE", "m", two_figures), "held": ("Inside", "95 % region", as_given),
        }, notes="How these were found, by which conditions they differ and what they prove is the subject of the report on error calibration.")
        return self.book.together(self.book.words(say.errors_heading(self.tests, rows.iloc[-1].to_dict())), table)

    def strengths(self):
        """F3: what some tags sounded like, with what the model expects at the stated place."""
        chosen = chosen_fixes(self.animals, self.walk)
        if chosen.empty:
            return self.book.words(None)
        records, evidence = self.workspace.read_work("records"), self.workspace.read_table("fix_evidence").set_index(["tag_id", "flight_id"])
        model, corrections = SignalModel.from_dict(self.workspace.read_json("signal_models")["whole"]), read_corrections(self.workspace)()
        usable = dict(list(records[records["usable"]].groupby(["tag_id", "flight_id"])))
        kinds, places = dict(zip(self.tags["tag_id"], self.tags["tag_type"])), self.positions.set_index(["tag_id", "flight_id"])
        panels = [panel(fix, usable[fix.tag_id, fix.flight_id], model, kinds.get(fix.tag_id, ""), *places.loc[(fix.tag_id, fix.flight_id), ["easting_m", "northing_m"]],
                        float(evidence.loc[(fix.tag_id, fix.flight_id), "effective_records"]), corrections) for fix in chosen.itertuples()]
        words = self.book.words("No record was thrown away for being weak", "The positions weigh every record, heard or not. The panels show, for tags to look for on foot, for the narrowest and the widest positions and for some between, how the strengths along the "
                                "flight agree with a tag at the stated place.")
        figure = self.book.figure("strengths_along_flights", draw.strength_panels(panels), "Strength over the flight. Filled triangle: heard. Small open square: listened and not heard, drawn at the threshold of that record. Line and band: expected at the stated place, "
                                  "plus and minus one standard deviation of shadowing and noise.", f"Small panels for {counted(len(panels), 'search')}: heard records rise where the expected strength at the stated place rises above the threshold.".replace("searchs", "searches"))
        return self.book.together(words, figure)

    def fate(self):
        """T2 and the list to walk with."""
        words = self.book.words(say.fate_heading(self.triage, self.walk), *([say.CAUTION_WALK] if len(self.walk) else []), *([say.rungs_words(Ladder(**self.workspace.survey.fate.model_dump()))] if len(self.triage) else []))
        urgent = self.triage[~self.triage["class"].isin(["Live mode heard", "Heard, mode unknown", "Not heard", "Not searched"])]
        parts = [words]
        if len(urgent):
            parts.append(self.book.table("fate_triage", urgent, "Tags whose fate is in question, the most urgent first; the others are in the file.", {
                "tag_id": ("Tag", "", "text"), "animal_id": ("Animal", "", "text"), "class": ("Class", "", "text"), "why": ("Why", "", "text"),
                "last_live_utc": ("Last certain live", "date, UTC", "date"), "first_mortality_utc": ("First mortality rate", "date, UTC", "date"), "other_explanations": ("What else it could be", "", "text")}, saved_as="fate_triage.csv", tag_column="tag_id"))
        if len(self.walk):
            parts.append(self.book.table("retrieval_list", self.walk, "Where to look, with the circle to search.", {
                "tag_id": ("Tag", "", "text"), "class": ("Class", "", "text"), "latitude": ("Latitude", "deg", ".5f"), "longitude": ("Longitude", "deg", ".5f"), "error_radius_95_m": ("95 % radius", "m", two_figures),
                "region_95_ha": ("95 % region", "ha", two_figures), "time_utc": ("Heard", "date, UTC", "date")}, saved_as="retrieval_list.csv", tag_column="tag_id", links={"class": tag_links(self.walk["tag_id"], self.fixes, self.tags)},
                notes="The circle holds the tag with probability 0.95, and so does the region; the two differ in shape, and both are drawn in the section of the tag. What to carry stands below."))
            parts.append(Facts([(row.tag_id, row.note) for row in self.walk.itertuples() if isinstance(row.note, str)]))
            parts.append(Files("For a hand-held receiver of satellite positions:", ["tables/search_areas.gpx", "tables/search_areas.geojson"]))
        return self.book.together(*parts)

    def missing(self):
        """T3 and T4: animals not found, fallen silent or heard in doubt, and what silence in all flights can mean."""
        heading = say.missing_heading(self.not_found, len(self.lone), len(set(silences.fell_silent(self.missed)) - set(self.lone)))
        words = self.book.words(heading, say.missing_sentence(self.not_found) if len(self.not_found) else "", *(said for said in self._missing_since() if said), say.missing_paragraph(self.not_found))
        if self.not_found.empty:
            return words
        first = self.book.table("not_found", self.not_found, "Animals heard in no flight.", {
            "tag_id": ("Tag", "", "text"), "class": ("Class", "", "text"), "records_listened": ("Listened", "records", ",d"), "prior_used": ("Where it could be", "", "text"),
            "adequacy_independent": ("Would be heard", "independent", stated_probability), "adequacy_expected": ("Would be heard", "expected", stated_probability), "adequacy_cautious": ("Would be heard", "cautious", stated_probability), "battery_used": ("Battery used", "share", ".2f")}, saved_as="not_found.csv",
            notes="Would be heard: the probability, 0 to 1, that these flights would have heard the animal had it been where it could be. Independent, expected and cautious are explained under ground searched.")
        explained = self.workspace.read_work("silence_explained")
        second = self.book.table("silence_explained", explained, "What the silence may mean under each stated belief.", {
            "tag_id": ("Tag", "", "text"), "prior": ("Belief before", "", "text"), "prior_in_area": ("In the area", "before", ".2f"), "prior_silent": ("Tag silent", "before", ".2f"), "missed": ("Missed", "in the area", stated_probability),
            "outside": ("Outside", "", stated_probability), "silent": ("Tag silent", "", stated_probability), "missed_cautious": ("Missed", "cautious", stated_probability)}, saved_as="silence_explained.csv", notes="The three add up to 1 and rest on the expected figure of ground searched; the last column is what missed comes to with the cautious one.") if len(explained) else self.book.words(None)
        return self.book.together(words, first, second)

    def searched(self):
        """Survey effort: what ground was searched, and the test of that on beacons."""
        effort, well = self.workspace.read_work("effort"), self.workspace.read_work("well_searched_beacons")
        words = self.book.words(say.search_heading(self.area), *say.search_paragraphs(self.area, effort, well, weak_tags(self.workspace.survey)))
        if self.area.empty:
            return words
        frame = self.area.assign(kind=self.area["tag_type"].replace("", "all tags"))
        table = self.book.table("searched_area", frame, "Ground searched, by flight and tag type.", {
            "flight_id": ("Flight", "", "text"), "kind": ("Tag type", "", "text"), "area_ha": ("Ground", "ha", two_figures), "area_50_cautious_ha": ("0.5 or more", "cautious, ha", two_figures), "area_90_cautious_ha": ("0.9 or more", "cautious, ha", two_figures),
            "area_90_independent_ha": ("0.9 or more", "independent, ha", two_figures), "share_90_cautious": ("Share at 0.9", "cautious", ".2f")}, saved_as="searched_area.csv")
        ranges = self.workspace.read_work("detection_ranges").assign(kind=lambda rows: rows["tag_type"].replace("", "all tags"))
        lengths = {f"{name}_words": say.with_interval(ranges, name) for name in ("d50", "d90", "sweep_width", "logistic_half", "half_normal_sigma")}
        reach = self.book.table("detection_ranges", ranges.assign(**lengths), "How far a tag is heard, antenna turned evenly to all sides, with 95 % intervals.", {
            "kind": ("Tag type", "", "text"), "height_m": ("Height", "m", ".0f"), "d50_words": ("Half of records", "slant, m", as_given), "d90_words": ("Nine in ten", "slant, m", as_given), "sweep_width_words": ("Sweep width", "m", as_given),
            "logistic_half_words": ("Half, logistic", "slant, m", as_given), "half_normal_on_line": ("On the line", "half-normal", stated_probability), "half_normal_sigma_words": ("Sigma", "half-normal, m", as_given)}, saved_as="detection_ranges.csv", notes=say.RANGES_NOTE)
        return self.book.together(words, self._searched_map(), table, *self._by_ground(), self._over_time(), reach, *self._detection_test())

    def _by_ground(self) -> list:
        """Each kind of ground, for the type heard least far; nothing without terrain and canopy."""
        rows = self.workspace.read_work("searched_by_ground")
        if rows.empty:
            return []
        weakest = self.area[self.area["flight_id"] == ALL_FLIGHTS].sort_values("mean_cautious", kind="stable").iloc[0]["tag_type"]
        return [self.book.table("searched_by_ground", rows[rows["tag_type"] == weakest], f"How well each kind of ground was searched for a {weakest or 'tag'}, all flights together.", {
            "kind": ("By", "", "text"), "ground": ("Ground", "", "text"), "area_ha": ("Area", "ha", two_figures), "mean_expected": ("Heard there", "expected, mean", stated_probability),
            "mean_cautious": ("Heard there", "cautious, mean", stated_probability), "area_90_cautious_ha": ("0.9 or more", "cautious, ha", two_figures), "share_90_cautious": ("Share at 0.9", "cautious", ".2f")},
            saved_as="searched_by_ground.csv", notes="Heights in three parts of about equal area; slopes over a cell of the search grid; limits of slope and canopy are a choice of this project. Other tag types are in the file.")]

    def _detection_test(self):
        """Predicted against heard on beacons, by band, where any were listened to; and what decoys say."""
        bands, false = self.workspace.read_work("search_validation_bands"), self.workspace.read_work("false_detections")
        parts = [] if bands.empty else [self.book.table("search_validation_bands", bands, "Beacons, each asked about with a model that never saw it: predicted probability of being heard in a flight against what was heard.", {
            "version": ("Reckoned", "", "text"), "band": ("Predicted", "band", "text"), "predicted_mean": ("Mean", "predicted", stated_probability), "tags": ("Searches", "", "d"), "heard": ("Heard", "", "d"),
            "share_low": ("Share from", "95 %", ".2f"), "share_high": ("to", "95 %", ".2f")}, saved_as="search_validation_bands.csv",
            notes="The intervals are exact binomial ones and take every search as a test of its own; searches for one beacon in several flights are not, so that the intervals are too narrow where beacons are few.")]
        if len(false):
            row = false.iloc[0]
            parts.append(self.book.words(None, f"False detections: {counted(int(row['decoys']), 'decoy')}, known to be switched off, seemed to be heard in {int(row['records_heard'])} of {int(row['records_listened']):,d} usable records "
                                               f"(exact 95 % interval of the share {row['share_low']:.4f} to {row['share_high']:.4f}, records taken as independent)."))
        return parts

    def next_flight(self):
        """Where a next flight would tell most."""
        return next_flight_part(self.workspace, self.book, self.lone)

    def tag_by_tag(self):
        """A section for every tag: its picture, what is known of it and how well."""
        return tag_by_tag(self.workspace, self.book, self.positions, self.fixes, self.tags, self.walk)

    def _searched_map(self):
        cells, grids = self.workspace.read_work("searched"), self.workspace.read_json("searched_grid")
        weakest = self.area[self.area["flight_id"] == ALL_FLIGHTS].sort_values("mean_cautious", kind="stable").iloc[0]
        rows = cells[(cells["flight_id"] == ALL_FLIGHTS) & (cells["tag_type"] == weakest["tag_type"])]
        grid = grids[0] if isinstance(grids, list) else grids
        values = np.full((grid["rows"], grid["columns"]), np.nan)
        values[rows["row"].to_numpy(int), rows["column"].to_numpy(int)] = rows["cautious"].to_numpy(float)
        kind = weakest["tag_type"] or "tag"
        alt = f"Map of the ground searched for a {kind} over all flights: {two_figures(weakest['area_90_cautious_ha'])} of {two_figures(weakest['area_ha'])} ha at 0.9 or more, cautiously reckoned."
        sheet = MapSheet(self.ground.projection, alt=alt).backdrop(self.ground.terrain).study_area(self.ground.study_area)
        sheet = sheet.searched(values, grid["west_m"], grid["north_m"], grid["cell_m"]).track(self.workspace.read_work("track"))
        return self.book.map("searched_map", sheet, f"Probability, cautiously reckoned, that a {kind} lying there would have been heard in at least one flight, in cells of {grid['cell_m']:.0f} m.")

    def _over_time(self):
        cumulative = self.workspace.read_work("cumulative_area")
        area_ha = float(self.area["area_ha"].max())
        last = cumulative["minutes"].max()
        return self.book.figure("searched_over_time", draw.searched_over_time(cumulative, area_ha), "Ground searched (cautious) as the minutes of listening add up, flights in order of time. Dotted: all of the ground asked about. Worked out on a coarse grid.",
                                f"Area searched over {last:.0f} minutes of listening, rising towards the {two_figures(area_ha)} ha asked about.")

    def not_searched(self):
        """What was not listened to, and what was heard but not believed."""
        unsought = self.animals[self.animals["status"] == "not searched"]
        doubtful = self.fixes[self.fixes["status"] == "suspect"]
        if unsought.empty and doubtful.empty:
            return self.book.words("Every registered tag was listened to in every flight, and no hit is doubted")
        heading = f"{counted(len(unsought), 'search', )} could not be made; {counted(len(doubtful), 'hit')} are doubted".replace("1 hit are", "1 hit is").replace("searchs", "searches") if len(unsought) else f"{counted(len(doubtful), 'tag')} heard but not believed"
        table = self.book.table("not_believed", pd.concat([doubtful, unsought])[["tag_id", "flight_id", "status", "status_reason", "records_heard", "records_listened"]], "Searches that say nothing, and why.", {
            "tag_id": ("Tag", "", "text"), "flight_id": ("Flight", "", "text"), "status": ("Status", "", "text"), "records_heard": ("Heard", "records", "d"), "status_reason": ("Why", "", "text")}, most_rows=40)
        return self.book.together(self.book.words(heading, f"See {see('table', 'not_believed')}. These are listed apart and not on the map."), table)
