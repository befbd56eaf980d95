"""Tables of the appendix on what went in: changes to the data on reading, and what was taken by hand."""

from __future__ import annotations

import pandas as pd

from pipeline.report import Book
from pipeline.report.display import Table
from pipeline.stages.appendix_cells import as_words
from pipeline.stages.appendix_words import Material
from pipeline.stages.ground_report import use_words
from pipeline.wording import as_given


def changes(book: Book, found: Material) -> Table | None:
    """What was changed on reading, by rule."""
    rows = found.table("changes")
    rows = rows[rows["rows"] > 0] if len(rows) else rows
    if rows.empty:
        return None
    frame = rows.assign(**{name: as_words(rows[name]) for name in ("before", "after", "flight_id")})
    return book.table("changes", frame, "Changes to the data on reading.", {
        "rule": ("Rule", "", "text"), "rows": ("Rows", "", ",d"), "before": ("Before", "", "text"), "after": ("After", "", "text"), "flight_id": ("Flight", "", "text")}, saved_as="changes.csv",
        notes="Rows of the receiver logs: one for each tag listened to in a record. The files themselves were not touched.")


def hand_evidence(book: Book, found: Material) -> Table | None:
    """Bearings and sightings, and whether they were used."""
    rows = found.table("hand_evidence")
    if rows.empty:
        return None
    stated = [f"{row.bearing_sd_deg:g} degrees" if pd.notna(row.bearing_sd_deg) else f"{row.position_sd_m:g} m" if pd.notna(row.position_sd_m) else None for row in rows.itertuples()]
    return book.table("hand_evidence", rows.assign(use=use_words(rows), stated=stated), "Bearings taken by hand and animals seen.", {
        "kind": ("Kind", "", "text"), "tag_id": ("Tag", "", "text"), "time_utc": ("Taken", "UTC", "time"), "stated": ("Standard deviation", "as stated", as_given), "use": ("Use", "", "text")}, saved_as="hand_evidence.csv",
        notes=f"In the fix: of the flight during which it was had. In a ground fix: of bearings and sightings alone, outside of the flights.{' From where they were taken is withheld with the places.' if found.withheld else ''}")
