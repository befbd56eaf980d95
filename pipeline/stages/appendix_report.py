"""The parts of the publication appendix in their order: methods, tables, checklist, references, dictionary."""

from __future__ import annotations

import pandas as pd

from pipeline.quality.effort import CAMPAIGN
from pipeline.report import Book, see
from pipeline.report.display import Figure, Part
from pipeline.report.picture import picture_html
from pipeline.stages import appendix_words as say
from pipeline.stages import calibration_numbers as number
from pipeline.stages.appendix_positions import precision_sentences
from pipeline.stages.appendix_references import FROM_MEMORY_MARK, FROM_MEMORY_WORDS, cited_in
from pipeline.stages.appendix_words import Material
from pipeline.stages.calibration_report import SHORT
from pipeline.stages.data_dictionary import layer_meaning, table_meaning, without_repeats
from pipeline.stages.localisation_words import STATUS_WORDS
from pipeline.stages.workspace import Workspace
from pipeline.wording import as_given, counted, listed, two_figures

FEW_TABLES = 4


class AppendixReport:
    """Makes the parts. Tables show what other stages have saved, so that each number stands in one file only."""

    def __init__(self, workspace: Workspace, found: Material):
        self.workspace, self.found = workspace, found
        self.book = Book(workspace.tables, workspace.figures)
        makers = {"animals": self._animals, "effort": self._effort, "errors": self._errors, "coverage": self._coverage, "signal_model": self._signal_model, "detection": self._detection, "statuses": self._statuses,
                  "not_found": self._not_found, "positions": self._positions}
        self._made = {name: table for name, make in makers.items() if (table := make()) is not None}

    @property
    def table_names(self) -> list[str]:
        """Names of the tables in the order in which they are numbered."""
        return [*self._made, "checklist", "files", "columns", "layers"]

    def dates(self) -> str:
        """Flights and dates, for the head of the page."""
        flights = self.found.table("flights")
        if flights.empty:
            return "no flights"
        times = pd.to_datetime(flights["start_utc"], utc=True)
        return f"{counted(len(flights), 'flight')}, {_span(times.min(), times.max())} (UTC)"

    def parts(self, rows: pd.DataFrame, dictionary: pd.DataFrame, layers: dict[str, list[str]]) -> list[Part]:
        """All parts in order. rows : the checklist. dictionary : of the tables. layers : name -> columns of results.gpkg."""
        book, found = self.book, self.found
        methods = self._methods()
        answers = [*self._made.values(), *self._figures()]
        return [
            book.answer(*say.opening(found)), *methods, book.words("Tables and figures", self._overview()), *answers,
            book.words("Reporting checklist", "What reviewers of telemetry studies ask, and where this survey answers it. Tables with an S stand here, the others in the named report of the archive."), self._checklist(rows),
            *self._references([words for part in methods for words in part.paragraphs] + precision_sentences(found.positions)), self._availability(), *self._dictionary(dictionary, layers),
        ]

    def _methods(self) -> list:
        sections = (("Animals and tags", say.animals), ("Flights and receiver", say.flights), ("Signal model", say.signal), ("Location", say.location), ("Errors", say.errors), ("Ground searched", say.search),
                    ("Fate and movement", say.fate_and_movement), ("Software", say.software))
        return [self.book.words("Methods"), *(self.book.words(heading, *write(self.found), level=3) for heading, write in sections)]

    def _overview(self) -> str:
        named = {"animals": "Animals", "effort": "survey effort", "errors": "errors", "signal_model": "signal model", "statuses": "what became of each search", "positions": "positions"}
        said = listed(words + " (" + see("table", name) + ")" for name, words in named.items() if name in self._made)
        return f"{said}." if said else ""

    # Tables

    def _animals(self):
        rows = self.found.table("movement_animals")
        if rows.empty:
            return None
        frame = rows.assign(heard=[f"{heard} of {searched}" for heard, searched in zip(rows["flights_heard"], rows["flights_searched"])], span=[_span(first, last) for first, last in zip(rows["first_utc"], rows["last_utc"])],
                            radius=[None if pd.isna(value) else two_figures(value) for value in rows["median_error_radius_95_m"]])
        return self.book.table("animals", frame, "Animals: what there is to go on, and what may be said of each.", {
            "tag_id": ("Tag", "", "text"), "animal_id": ("Animal", "", "text"), "species": ("Species", "", "text"), "fixes_usable": ("Usable fixes", "", "d"), "span": ("First to last fix", "UTC", "text"),
            "heard": ("Heard", "flights", as_given), "radius": ("95 % radius", "median, m", as_given), "gate": ("May be said", "", "text")}, saved_as="movement_animals.csv",
            notes="A fix is usable when it is located, or has several places that are all weighed. The last column follows from the number of usable fixes.")

    def _effort(self):
        rows, area = self.found.table("effort"), self.found.table("searched_area")
        if rows.empty:
            return None
        least = area.sort_values("area_90_cautious_ha", kind="stable").groupby("flight_id").head(1).set_index("flight_id") if len(area) else area
        searched = [f"{two_figures(least.at[flight, 'area_50_cautious_ha'])}, {two_figures(least.at[flight, 'area_90_cautious_ha'])}" if len(area) and flight in least.index else None for flight in rows["flight_id"]]
        frame = rows.assign(searched=searched, flight=rows["flight_id"].where(rows["flight_id"] != CAMPAIGN, "all"))
        return self.book.table("effort", frame, "Survey effort.", {
            "flight": ("Flight", "", "text"), "start_utc": ("Start", "UTC", "time"), "style": ("Style", "as found", "text"), "listening_min": ("Listening", "min", ".1f"), "distance_km": ("Flown", "km", ".1f"),
            "speed_median_m_per_s": ("Speed", "median, m/s", ".1f"), "height_median_m": ("Height", "median, m", ".0f"), "searched": ("Searched", "ha at 0.5, 0.9", as_given)}, saved_as="effort.csv",
            notes="On effort only; height above ground. Searched: cautious, for the tag type heard least far in that flight. Time off effort with reasons, and tags listened to, are in the file. Wind, rain and temperature are in no log.")

    def _errors(self):
        rows = self.found.table("error_summary")
        if rows.empty:
            return None
        frame = rows.assign(condition=[group if grouping == "all" else f"{SHORT.get(grouping, grouping)}: {group}" for grouping, group in zip(rows["grouping"], rows["group"])], median=[number.interval_m(row) for _, row in rows.iterrows()],
                            bias=[number.offset(east, north) for east, north in zip(rows["bias_east_m"], rows["bias_north_m"])],
                            held=[f"{row.inside_95} of {row.n} ({number.probability(row.inside_low_95)} to {number.probability(row.inside_high_95)})" for row in rows.itertuples()])
        return self.book.table("errors", frame, "Errors on beacons by condition; every beacon was located by a model that had not seen it.", {
            "condition": ("Condition", "", "text"), "n": ("Fixes", "", "d"), "places": ("Beacons", "", "d"), "mean_m": ("Mean", "m", two_figures), "median": ("Median", "m (95 %)", as_given), "p90_m": ("90 % within", "m", two_figures),
            "bias": ("Bias", "m E, N", as_given), "held": ("95 % region held", "fixes (95 %)", as_given)}, saved_as="error_summary.csv",
            notes="Intervals of the median draw whole beacons again; none below six beacons. Intervals of coverage are exact and take fixes as independent, so that they are too narrow where beacons repeat. Conditions overlap. RMSE is in the file.")

    def _coverage(self):
        rows = self.found.table("coverage")
        if rows.empty or self.found.table("error_summary").empty:
            return None
        frame = rows.assign(held=[f"{row.inside:.1f} of {row.tests}" if row.counted_by == "places" else f"{row.inside:.0f} of {row.tests}" for row in rows.itertuples()], when=rows["calibration"].map({"before": "as computed", "after": "widened"}),
                            counted=rows["counted_by"].map({"places": "beacons", "fixes": "fixes"}))
        return self.book.table("coverage", frame, "How often the stated regions held the beacons.", {
            "when": ("Regions", "", "text"), "counted": ("Counted by", "", "text"), "nominal": ("Stated", "", ".2f"), "held": ("Held", "", as_given), "share": ("Share", "", "share"), "low_95": ("From", "95 % interval", number.probability),
            "high_95": ("To", "95 % interval", number.probability)}, saved_as="coverage.csv", notes="By beacons: the mean over beacons of the share of each one's fixes. Limits of Clopper & Pearson (1934): exact by fixes, approximate by beacons, where the count need not be whole.")

    def _signal_model(self):
        rows = self.found.table("signal_model")
        if rows.empty:
            return None
        frame = rows.assign(prior=[f"{number.significant(low)} to {number.significant(high)}" for low, high in zip(rows["prior_low_95"], rows["prior_high_95"])], unit=_words(rows["unit"]))
        return self.book.table("signal_model", frame, "The signal model.", {
            "meaning": ("Parameter", "", "text"), "value": ("Value", "", number.significant), "standard_error": ("SE", "", two_figures), "unit": ("Unit", "", "text"), "prior": ("Prior", "95 % range", as_given), "prior_share": ("From the prior", "share", number.percent)},
            saved_as="signal_model.csv", notes="From the prior: variance now over variance of the prior. Priors are common practice, no source.")

    def _detection(self):
        rows = self.found.table("detection_ranges")
        if rows.empty:
            return None
        frame = rows.assign(**{name: [f"{two_figures(row[f'{name}_m'])} ({two_figures(row[f'{name}_low_m'])} to {two_figures(row[f'{name}_high_m'])})" if pd.notna(row[f"{name}_m"]) else None for row in rows.to_dict("records")]
                               for name in ("d50", "d90", "sweep_width")}, tag_type=_words(rows["tag_type"]).replace("", "not stated"))
        return self.book.table("detection", frame, "How far a tag is heard, with 95 % intervals.", {
            "tag_type": ("Tag type", "", "text"), "height_m": ("Receiver", "m above ground", ".0f"), "d50": ("Half of records", "m, slant", as_given), "d90": ("Nine in ten", "m, slant", as_given), "sweep_width": ("Sweep width", "m, one pass", as_given)},
            saved_as="detection_ranges.csv", notes="From the fitted signal model, the antenna turned evenly to all sides, tag on level ground.")

    def _statuses(self):
        animals = self.found.animals
        if animals.empty:
            return None
        counts = animals["status"].value_counts()
        frame = pd.DataFrame([(status, words.split(": ", 1)[1], int(counts.get(status, 0))) for status, words in STATUS_WORDS.items()], columns=["status", "means", "searches"])
        return self.book.table("statuses", frame.assign(share=frame["searches"] / len(animals)), f"What became of {counted(len(animals), 'search', 'searches')}, each of one animal in one flight.", {
            "status": ("Status", "", "text"), "means": ("Meaning", "", "text"), "searches": ("Searches", "", "d"), "share": ("Share", "", "share")}, saved_as="fixes.csv",
            notes="The file has a row for each search, with the reason in words.")

    def _not_found(self):
        rows = self.found.table("not_found")
        if rows.empty:
            return None
        return self.book.table("not_found", rows, "Animals heard in no flight.", {
            "tag_id": ("Tag", "", "text"), "species": ("Species", "", "text"), "class": ("Class", "", "text"), "records_listened": ("Listened", "records", ",d"), "adequacy_expected": ("Searched to", "expected", number.probability),
            "adequacy_cautious": ("Searched to", "cautious", number.probability), "battery_used": ("Battery used", "share", number.percent)}, saved_as="not_found.csv",
            notes="Searched to: probability that the tag would have been heard, had it been in the ground of its prior and working. It is no probability that the animal has left or died.")

    def _positions(self):
        rows = self.found.positions
        if rows.empty:
            return None
        decimals = max((len(f"{value:.5f}".rstrip("0").split(".")[1]) for value in rows["latitude"]), default=1)
        degrees = f".{max(decimals, 1)}f"
        return self.book.table("positions", rows, "Positions of the animals, each from its best flight.", {
            "tag_id": ("Tag", "", "text"), "animal_id": ("Animal", "", "text"), "species": ("Species", "", "text"), "time_utc": ("Date", "UTC", "date"), "latitude": ("Latitude", "deg, WGS 84", degrees), "longitude": ("Longitude", "deg, WGS 84", degrees),
            "coordinate_uncertainty_m": ("Uncertainty", "m", ",d")}, saved_as="appendix_positions.csv", notes=" ".join(precision_sentences(rows)))

    def _checklist(self, rows: pd.DataFrame):
        return self.book.table("checklist", rows, "Reporting checklist.", {"question": ("Question", "", "text"), "item": ("Item", "", "text"), "where": ("Where", "", "text"), "answer": ("Answer", "", "text")},
                               saved_as="appendix_checklist.csv", notes="The questions are common practice of reviewers, no single source.")

    # Figures that another stage has drawn

    def _figures(self) -> list[Figure]:
        if self.found.table("error_summary").empty:
            return []
        wanted = (("beacon_error_distribution", "Share of beacon fixes with an error up to each distance. Dashed: the place of the receiver at the strongest record, on the same fixes.", say.error_alt),
                  ("coverage", "Stated probability of the regions against the share of beacons held, before and after widening, with 95 % intervals that count each beacon once.", say.coverage_alt))
        return [figure for name, caption, alt in wanted if (figure := self._figure(name, caption, alt(self.found)))]

    def _figure(self, name: str, caption: str, alt: str) -> Figure | None:
        try:
            svg, png = (self.workspace.path_to_read(f"figures/{name}.{kind}") for kind in ("svg", "png"))
        except FileNotFoundError:
            return None
        return Figure(name, picture_html(svg.read_text(encoding="utf-8"), png.read_bytes(), alt, name), caption, [f"figures/{name}.svg"])

    # References, availability, dictionary

    def _references(self, texts: list[str]) -> list:
        entries = cited_in(" ".join([*texts, "Clopper & Pearson 1934" if "coverage" in self._made else ""]))
        if not entries:
            return []
        lines = [f"{entry.full}{' ' + FROM_MEMORY_MARK if entry.from_memory else ''}" for entry in entries]
        return [self.book.words("References", *lines, *([FROM_MEMORY_WORDS] if any(entry.from_memory for entry in entries) else []))]

    def _availability(self):
        settings, survey = self.found.survey.publication, self.found.survey
        permits = "; ".join(f"{name}: {words}" for name, words in survey.permits.items())
        return self.book.words("Availability and permits", f"Data and code: {settings.availability or 'not recorded'}.", f"Licence: {settings.licence or 'not recorded'}. Citation: {settings.citation or 'not recorded'}.", f"Permits: {permits or 'not recorded'}.")

    def _dictionary(self, dictionary: pd.DataFrame, layers: dict[str, list[str]]) -> list:
        files = [(f"{name}.csv", table_meaning(name) or "not described", ", ".join(part["column"])) for name, part in dictionary.groupby("table", sort=True)]
        columns = without_repeats(dictionary)
        columns = columns.assign(tables=[listed(names, FEW_TABLES) if len(names) <= FEW_TABLES else f"{len(names)} tables" for names in columns["tables"]])
        layer_rows = pd.DataFrame([(name, layer_meaning(name) or "not described", ", ".join(fields)) for name, fields in layers.items()], columns=["layer", "meaning", "columns"])
        heading = self.book.words("Data dictionary", "Every table of the archive (comma-separated, UTF-8, times in UTC, a blank for what is missing) and every layer of results.gpkg. Columns of one name and meaning are explained once; a layer uses the columns of the table of its name.")
        return [heading,
                self.book.table("files", pd.DataFrame(files, columns=["file", "meaning", "columns"]), "Tables.", {"file": ("File", "", "text"), "meaning": ("Rows", "", "text"), "columns": ("Columns, in order", "", "text")}, saved_as="data_dictionary.csv", most_rows=len(files)),
                self.book.table("columns", columns, "Columns.", {"column": ("Column", "", "text"), "unit": ("Unit", "", "text"), "meaning": ("Meaning", "", "text"), "tables": ("In", "", "text")}, saved_as="data_dictionary.csv", most_rows=len(columns)),
                self.book.table("layers", layer_rows, "Layers of results.gpkg.", {"layer": ("Layer", "", "text"), "meaning": ("What", "", "text"), "columns": ("Columns", "", "text")}, saved_as="data_dictionary.csv")]


def _span(first, last) -> str:
    """Two dates, or one where they are the same day; blank without."""
    days = [f"{pd.Timestamp(moment):%Y-%m-%d}" for moment in (first, last) if pd.notna(moment)]
    return " to ".join(dict.fromkeys(days))


def _words(values: pd.Series) -> pd.Series:
    """A column as words, blank where there is none; a column without any comes as numbers."""
    return values.astype("string").fillna("")
