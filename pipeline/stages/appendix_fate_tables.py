"""Tables of the appendix on fates, survival and ranges."""

from __future__ import annotations

import pandas as pd

from pipeline.report import Book
from pipeline.report.display import Table
from pipeline.stages import calibration_numbers as number
from pipeline.stages.appendix_cells import as_words
from pipeline.stages.appendix_published import fate_shown, published_fates
from pipeline.stages.appendix_words import Material
from pipeline.wording import as_given, two_figures


def fates_that_matter(found: Material) -> dict[str, str]:
    """Tag -> "; found dead", of the animals whose fate changes what their fixes mean."""
    triage = found.table("fate_triage")
    return {row["tag_id"]: f"; {shown}" for row in triage.to_dict("records") if (shown := fate_shown(row["class"], row["records_mortality"]))}


def fates(book: Book, found: Material) -> Table | None:
    """What pulse rates and sightings say of every animal."""
    rows = published_fates(found.table("fate_triage"))
    if rows.empty:
        return None
    frame = rows.assign(shown=[_shown(why, other) for why, other in zip(as_words(rows["why"]), as_words(rows["other_explanations"]))])
    return book.table("fates", frame, "Fate of every animal, with what shows it.", {
        "tag_id": ("Tag", "", "text"), "fate_shown": ("Fate", "", "text"), "shown": ("What shows it", "", "text"), "last_live_utc": ("Last alive", "for certain, UTC", "date"), "first_mortality_utc": ("Mortality rate", "first heard, UTC", "date")}, saved_as="appendix_fates.csv",
        notes="A mortality rate is a signal of the tag and no proof of death. Records, passes and flights behind each are in the file. Passes are here runs of records at the mortality rate more than 60 s apart; the movement that would have "
              "shown takes errors as normal and no other test into account, and is somewhat larger in movement_steps.csv, with the tails and the level of the movement test.", most_rows=len(rows))


def _shown(why: str, other: str) -> str:
    """What shows the fate of an animal, and what else it could be."""
    return f"{why} Besides death it could be: {other}." if other else why


def survival(book: Book, found: Material) -> Table | None:
    """The curve, with both extremes."""
    rows = found.table("survival")
    if rows.empty:
        return None
    interval = [f"{number.probability(row.survival)} ({number.probability(row.survival_low)} to {number.probability(row.survival_high)})" if pd.notna(row.survival_low) else number.probability(row.survival) if pd.notna(row.survival) else None
                for row in rows.itertuples()]
    return book.table("survival", rows.assign(curve=interval), "Share of the animals alive.", {
        "date_utc": ("Date", "UTC", "date"), "days": ("Days", "since first tag", ".0f"), "at_risk": ("At risk", "animals", "d"), "deaths": ("Deaths", "confirmed so far", "d"), "curve": ("Alive", "share (95 %)", as_given),
        "if_lost_alive": ("Alive", "if lost ones live", number.probability), "if_lost_dead": ("Alive", "if lost ones died", number.probability)}, saved_as="survival.csv", beside=("survival_animals.csv",),
        notes="Kaplan-Meier with staggered entry; intervals by log-minus-log, none before the first death. A death stands in the middle of the time in which it fell. Lost: of unknown fate, those with an unconfirmed mortality rate among them; they leave at their last certain life, "
              "and the lowest curve lets each die in the middle between that and the first mortality rate, or the end of the survey. A row for each moment at which a curve changes. When and why each animal left is in survival_animals.csv.", most_rows=len(rows))


def ranges(book: Book, found: Material) -> Table | None:
    """Ranges that could be stated."""
    rows = found.table("ranges")
    given = rows[rows["verdict"] == "given"] if len(rows) else rows
    if given.empty:
        return None
    frame = given.assign(**{f"area_{level}": [f"{two_figures(row[f'area_{level}_ha'])} ({two_figures(row[f'area_{level}_low_ha'])} to {two_figures(row[f'area_{level}_high_ha'])})" for row in given.to_dict("records")] for level in (50, 95)})
    return book.table("ranges", frame, "Ranges.", {
        "tag_id": ("Tag", "", "text"), "method": ("Method", "", "text"), "fixes": ("Fixes", "", "d"), "span_days": ("Span", "days", ".0f"), "bandwidth_m": ("Bandwidth", "m", two_figures), "area_50": ("50 % area", "ha (95 %)", as_given),
        "area_95": ("95 % area", "ha (95 %)", as_given)}, saved_as="ranges.csv", notes="Corrected for location error; the ratio of error to range and the slope of the asymptote are in the file, with every range that was refused and why.", most_rows=len(given))
