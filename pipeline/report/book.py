"""The book of a report: what a stage shows is made here, and each table, figure and map is saved as a file beside it."""

from __future__ import annotations

from pathlib import Path
from typing import Mapping, Sequence

import pandas as pd
from matplotlib.figure import Figure as MatplotlibFigure

from pipeline.exchange import write_csv_table
from pipeline.figures.drawing import Drawing
from pipeline.figures.sheet import MapSheet
from pipeline.figures.sheet_twin import draw_twin
from pipeline.figures.style import figure_as_png, figure_as_svg, settle
from pipeline.messages import Message
from pipeline.report.display import Column, Figure, Map, MessageList, Table, Together, Words, checked_name
from pipeline.report.maps import map_html
from pipeline.report.picture import picture_html


class Book:
    """Makes the parts of one report and writes their files.

    tables_folder, figures_folder : where the CSV, SVG and PNG files go.
    Links in the report are written as tables/NAME.csv and figures/NAME.svg, that is, beside the report.
    """

    def __init__(self, tables_folder: Path, figures_folder: Path):
        self.tables_folder = Path(tables_folder)
        self.figures_folder = Path(figures_folder)
        self._names: set[tuple[str, str]] = set()

    def words(self, heading: str | None, *paragraphs: str, level: int = 2) -> Words:
        """A heading and paragraphs, all plain text. The heading may be a finding, and may be None."""
        return Words(heading, paragraphs, level)

    def answer(self, *paragraphs: str) -> Words:
        """The paragraphs that open a report and answer its question."""
        return Words(None, paragraphs, lead=True)

    def table(
        self,
        name: str,
        frame: pd.DataFrame,
        caption: str,
        columns: Mapping[str, tuple | Column | str] | None = None,
        *,
        notes: str = "",
        saved_as: str | None = None,
        beside: Sequence[str] = (),
        tag_column: str = "",
        links: Mapping[str, Sequence[str]] | None = None,
        most_rows: int = 200,
    ) -> Table:
        """A numbered table; the whole frame is saved as tables/NAME.csv at full precision.

        columns : what is shown, in order: {column: (head, unit, format)}, tuples may be shorter. None shows every column.
        saved_as : name of a CSV that another part of the stage has already written; nothing is saved then.
        beside : names of further CSV files that the notes speak of; they are linked after its own.
        tag_column : column of tag names; a click on one brings that tag to the front of the map above.
        links : column -> name of a section of the same report for every row; its cells become links.
        most_rows : rows shown at most; the note then says how many there are.
        """
        self._take("table", name)
        if saved_as is None:
            write_csv_table(self.tables_folder / f"{name}.csv", frame)
        shown_columns = {column: _column(column, how) for column, how in (columns or {column: column for column in frame.columns}).items()}
        missing = [column for column in shown_columns if column not in frame.columns]
        if missing:
            raise ValueError(f"table {name!r} lacks {', '.join(missing)}; it has {', '.join(map(str, frame.columns))}")
        rows = frame[list(shown_columns)].head(most_rows).reset_index(drop=True)
        return Table(name, rows, caption, shown_columns, notes, f"tables/{saved_as or name + '.csv'}", len(frame), tag_column, links or {}, [f"tables/{name}" for name in beside])

    def figure(self, name: str, figure: MatplotlibFigure, caption: str, alt: str) -> Figure:
        """A numbered figure, saved as figures/NAME.svg and NAME.png. alt says the finding to a reader who cannot see it."""
        self._take("figure", name)
        svg, png, files = self._save_picture(name, figure)
        return Figure(name, picture_html(svg, png, alt, name), caption, files)

    def drawing(self, name: str, drawing: Drawing, caption: str, alt: str) -> Figure:
        """A numbered figure from a drawing of our own, saved as `figure` does; for figures that come by the dozen."""
        self._take("figure", name)
        svg, png = drawing.as_svg(), drawing.as_png()
        return Figure(name, picture_html(svg, png, alt, name), caption, self._written({f"{name}.svg": svg, f"{name}.png": png}))

    def picture_file(self, name: str, drawing: Drawing) -> str:
        """The link to a drawing that is saved as figures/NAME.svg and not shown; for what would make the page too long, by the hundred."""
        self._take("figure", name)
        (link,) = self._written({f"{name}.svg": drawing.as_svg()})
        return link

    def map(self, name: str, sheet: MapSheet, caption: str) -> Map:
        """A numbered interactive map with its printed twin, which is saved as figures/NAME.svg and NAME.png."""
        self._take("map", name)
        twin = draw_twin(sheet)
        svg, png, files = self._save_picture(name, twin)
        return Map(name, *map_html(sheet, name, picture_html(svg, png, sheet.alt, f"{name}-twin")), " ".join(filter(None, (caption, sheet.waiting_words()))), files)

    def messages(self, messages: Sequence[Message], *, most_of_a_rule: int = 5, file: str = "", empty_words: str = "Nothing was noticed.") -> MessageList:
        """Messages, the worst first. file : where all of them are, e.g. "tables/messages.csv"."""
        return MessageList(tuple(messages), most_of_a_rule, file, empty_words)

    def together(self, *parts) -> Together:
        """Several parts as one, for a notebook cell that shows more than one."""
        return Together(parts)

    def _take(self, kind: str, name: str) -> None:
        """Refuse a name that would write over a file of this book."""
        shelf = "table" if kind == "table" else "picture"
        if (shelf, checked_name(name)) in self._names:
            raise ValueError(f"{kind} {name!r}: this report already has a {shelf} of that name")
        self._names.add((shelf, name))

    def _save_picture(self, name: str, figure: MatplotlibFigure) -> tuple[str, bytes, list[str]]:
        settle(figure)
        svg, png = figure_as_svg(figure), figure_as_png(figure)
        return svg, png, self._written({f"{name}.svg": svg, f"{name}.png": png})

    def _written(self, pictures: dict[str, str | bytes]) -> list[str]:
        """Links to these pictures, by file name, once they are in the folder of figures."""
        self.figures_folder.mkdir(parents=True, exist_ok=True)
        for file, picture in pictures.items():
            (self.figures_folder / file).write_bytes(picture.encode("utf-8") if isinstance(picture, str) else picture)
        return [f"figures/{file}" for file in pictures]


def _column(name: str, how: tuple | Column | str) -> Column:
    if isinstance(how, Column):
        return how
    return Column(how) if isinstance(how, str) else Column(*how)
