"""The parts of the publication appendix in their order: methods, tables, checklist, references, dictionary."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from pipeline.report import Book
from pipeline.report.display import Figure, Part, Table
from pipeline.report.picture import picture_html
from pipeline.stages import appendix_error_words as tested
from pipeline.stages import appendix_field_words as field
from pipeline.stages import appendix_limit_words as limit
from pipeline.stages import appendix_method_words as method
from pipeline.stages import appendix_tables as tables
from pipeline.stages import appendix_words as say
from pipeline.stages.appendix_checklist import NOT_STATED
from pipeline.stages.appendix_references import FROM_MEMORY_MARK, FROM_MEMORY_WORDS, cited_in
from pipeline.stages.appendix_cells import span_of_days
from pipeline.stages.appendix_withheld import withheld_words
from pipeline.stages.appendix_words import Material
from pipeline.stages.data_dictionary import table_meaning, without_repeats
from pipeline.stages.workspace import Workspace
from pipeline.wording import counted, listed

FEW_TABLES = 4


class AppendixReport:
    """Makes the parts. Tables show what other stages have saved, so that each number stands in one file only."""

    def __init__(self, workspace: Workspace, found: Material):
        self.workspace = workspace
        self.book = Book(workspace.tables, workspace.figures)
        self._made = {name: self._as_it_may_be(table, found.withheld) for name, make in tables.MAKERS.items() if (table := make(self.book, found)) is not None}
        self._drawn = self._figures(found)
        self.found = replace(found, shown=frozenset([*self.table_names, *(f"figure:{figure.name}" for figure in self._drawn)]))

    @staticmethod
    def _as_it_may_be(table: Table, withheld: tuple[str, ...]) -> Table:
        """The table without links to files that hold exact positions."""
        held = {f"tables/{name}.csv" for name in withheld}
        table = replace(table, beside=[file for file in table.beside if file not in held])
        return replace(table, file="", notes=f"{table.notes} {table.file.rsplit('/', 1)[-1]} is withheld, since it holds exact positions.") if table.file in held else table

    @property
    def table_names(self) -> list[str]:
        """Names of the tables in the order in which they are numbered."""
        return [*self._made, "checklist", "files", "columns"]

    def dates(self) -> str:
        """Flights and dates, for the head of the page."""
        flights = self.found.table("flights")
        if flights.empty:
            return "no flights"
        times = pd.to_datetime(flights["start_utc"], utc=True)
        return f"{counted(len(flights), 'flight')}, {span_of_days(times.min(), times.max())} (UTC)"

    def parts(self, rows: pd.DataFrame, dictionary: pd.DataFrame) -> list[Part]:
        """All parts in order. rows : the checklist. dictionary : of all tables."""
        book, found = self.book, self.found
        methods = self._methods()
        cited = [words for part in methods for words in part.paragraphs] + [table.notes for table in self._made.values()]
        return [
            book.answer(*say.opening(found, limit.pairs_in_short(found))), *methods, book.words("Tables and figures"), *self._made.values(), *self._drawn,
            book.words("Reporting checklist", f"What reviewers of telemetry studies ask, and where this survey answers it{found.cite('checklist')}."), self._checklist(rows),
            *self._references(cited), self._availability(), *self._dictionary(dictionary),
        ]

    def _methods(self) -> list:
        sections = (("Animals and tags", say.animals), ("Flights and receiver", say.flights), (field.HEADING, field.field_record), ("Signal model", method.signal), ("Location", method.location), ("Errors", tested.errors), ("Where these errors hold", tested.reach),
                    ("What the testing beacons had a part in", tested.chosen), ("Limits", limit.limits), ("Ground searched", say.search),
                    ("Fate and movement", lambda found: say.fate_and_movement(found, limit.shortly_after(found))), ("Positions published", say.positions), ("Software", say.software))
        written = ((heading, write(self.found)) for heading, write in sections)
        return [self.book.words("Methods"), *(self.book.words(heading, *paragraphs, level=3) for heading, paragraphs in written if paragraphs)]

    def _checklist(self, rows: pd.DataFrame):
        return self.book.table("checklist", rows, "Reporting checklist.", {"question": ("Question", "", "text"), "item": ("Item", "", "text"), "where": ("Where", "", "text"), "answer": ("Answer", "", "text")},
                               saved_as="appendix_checklist.csv", notes="The questions are common practice of reviewers, no single source.")

    # Figures that another stage has drawn

    def _figures(self, found: Material) -> list[Figure]:
        if found.table("error_summary").empty:
            return []
        wanted = (("beacon_error_distribution", "Share of beacon fixes with an error up to each distance; medians are marked. Dashed: the place of the receiver at the strongest record, on the same fixes.", tested.error_alt),
                  ("coverage", "Stated probability of the regions against the share of beacons held, as computed and after widening, with 95 % intervals that count each beacon once. On the dotted line the regions hold what they say, above it more and below it less; an interval that crosses the line shows neither.", tested.coverage_alt))
        return [figure for name, caption, alt in wanted if (figure := self._figure(name, caption, alt(found)))]

    def _figure(self, name: str, caption: str, alt: str) -> Figure | None:
        try:
            svg, png = (self.workspace.path_to_read(f"figures/{name}.{kind}") for kind in ("svg", "png"))
        except FileNotFoundError:
            return None
        return Figure(name, picture_html(svg.read_text(encoding="utf-8"), png.read_bytes(), alt, name), caption, [f"figures/{name}.svg"])

    # References, availability, dictionary

    def _references(self, texts: list[str]) -> list:
        entries = cited_in(" ".join(texts))
        if not entries:
            return []
        lines = [f"{entry.full}{' ' + FROM_MEMORY_MARK if not entry.compared_with else ''}" for entry in entries]
        return [self.book.words("References", *lines, *([FROM_MEMORY_WORDS] if not all(entry.compared_with for entry in entries) else []))]

    def _availability(self):
        settings, survey, found = self.found.survey.publication, self.found.survey, self.found
        permits = "; ".join(f"{name}: {words}" for name, words in survey.permits.items())
        return self.book.words("Availability and permits", f"Data and code: {settings.availability.strip() or NOT_STATED}.", "The files named over the tables and figures go with this page. All else that the analysis left is called the archive here and does not go with it.", withheld_words(found.withheld, found.withheld_files, survey), f"Licence of the data and of this appendix: {settings.licence.strip() or NOT_STATED}. Citation: {settings.citation.strip() or NOT_STATED}.", f"Permits: {permits or 'not recorded'}.")

    def own_dictionary(self, dictionary: pd.DataFrame) -> pd.DataFrame:
        """The rows of the dictionary of all tables that tell of the files that go with the page."""
        own = {file.rsplit("/", 1)[-1].removesuffix(".csv") for table in self._made.values() for file in (table.file, *table.beside) if file} | {"appendix_checklist", "appendix_dictionary"}
        return dictionary[dictionary["table"].isin(own)].reset_index(drop=True)

    def _dictionary(self, dictionary: pd.DataFrame) -> list:
        """The dictionary of the tables that go with the page; that of every table and layer stays in the archive."""
        rows = self.own_dictionary(dictionary)
        files = [(f"{name}.csv", table_meaning(name) or "not described", ", ".join(part["column"])) for name, part in rows.groupby("table", sort=True)]
        columns = without_repeats(rows)
        columns = columns.assign(tables=[listed(names, FEW_TABLES) if len(names) <= FEW_TABLES else f"{len(names)} tables" for names in columns["tables"]])
        heading = self.book.words("Data dictionary", "The tables that go with this page (comma-separated, UTF-8, times in UTC, a blank for what is missing) and their columns; columns of one name and meaning are explained once"
                                  f"{self.found.cite('files', 'columns')}.")
        return [heading,
                self.book.table("files", pd.DataFrame(files, columns=["file", "meaning", "columns"]), "Tables that go with this page.", {"file": ("File", "", "text"), "meaning": ("Rows", "", "text"), "columns": ("Columns, in order", "", "text")}, saved_as="appendix_dictionary.csv", most_rows=len(files)),
                self.book.table("columns", columns, "Their columns.", {"column": ("Column", "", "text"), "unit": ("Unit", "", "text"), "meaning": ("Meaning", "", "text"), "tables": ("In", "", "text")}, saved_as="appendix_dictionary.csv", most_rows=len(columns))]
