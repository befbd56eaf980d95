"""Whether any animal walked during a flight: the table of stage 2 and its part of the report."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.location import SHOWN_FROM, TRIED_WALK_SD_M
from pipeline.wording import counted, listed, two_figures

COLUMNS = ["tag_id", "flight_id", "beacon", "bayes_factor", "walk_east_m", "walk_north_m", "walk_length_m", "walk_sd_m", "walk_shown"]


def walk_table(fixed) -> pd.DataFrame:
    """One row per tag and flight with five heard records or more: Bayes factor of walking against staying, and the walk if there was one.

    fixed : items with .heard and .located, see localisation. Beacons, which do not walk, test the test.
    """
    rows = [(item.heard.tag_id, item.heard.flight_id, item.heard.truth is not None, walk.bayes_factor, walk.east_m, walk.north_m, walk.length_m, walk.sd_m, walk.shown)
            for item in fixed if (walk := item.located.walk) is not None]
    return pd.DataFrame(rows, columns=COLUMNS)


def walking_part(workspace, book, animals: pd.DataFrame):
    """Words, and a table of the fixes that show a walk where there are any."""
    tests = workspace.read_table("walking_test")
    own = tests[tests["tag_id"].isin(animals["tag_id"]) & ~tests["beacon"].astype(bool)]
    if own.empty:
        return book.words(None)
    shown = own[own["walk_shown"].astype(bool)]
    words = book.words(heading(own), *paragraphs(own, tests[tests["beacon"].astype(bool)], workspace.survey.localisation.walk_m))
    if shown.empty:
        return words
    return book.together(words, book.table("walking_test", shown, "Fixes whose records speak for a walk during the flight.", {
        "tag_id": ("Tag", "", "text"), "flight_id": ("Flight", "", "text"), "bayes_factor": ("For a walk", "Bayes factor", two_figures), "walk_east_m": ("East", "m", two_figures),
        "walk_north_m": ("North", "m", two_figures), "walk_length_m": ("Length", "m", two_figures), "walk_sd_m": ("SD", "m each way", two_figures)},
        saved_as="walking_test.csv", tag_column="tag_id", notes="The stated place is that of an animal that stayed; where it walked, its place in the middle of the flight is less certain than its region says."))


def heading(own: pd.DataFrame) -> str:
    """How many fixes show a walk."""
    shown = int(own["walk_shown"].astype(bool).sum())
    return f"{shown} of {counted(len(own), 'fix', 'fixes')} {'speaks' if shown == 1 else 'speak'} for a walk during the flight" if shown else "No fix speaks for a walk during the flight"


def paragraphs(own: pd.DataFrame, beacons: pd.DataFrame, walk_m: float) -> list[str]:
    """What was assumed, what the records say of it, and how little they can say."""
    assumed = (f"Animals were allowed to walk {two_figures(walk_m)} m (root mean square) during a flight, as the survey file says, and their positions are those in the middle of the flight."
               if walk_m > 0 else "Every animal is taken to have stayed where it was during a flight; how far it may walk can be set in the survey file (localisation, walk_m).")
    named = [f"{row.tag_id} in {row.flight_id}" for row in own[own["walk_shown"].astype(bool)].head(6).itertuples()]
    said = f" It is shown by {listed(named)}." if named else ""
    false = int(beacons["walk_shown"].astype(bool).sum())
    control = f" Of {counted(len(beacons), 'fix', 'fixes')} of beacons, which cannot walk, {false} seemed to." if len(beacons) else ""
    return [assumed, f"The records of every fix were also explained by a straight walk (tried with {TRIED_WALK_SD_M:.0f} m each way). A walk counts as shown from a Bayes factor of {SHOWN_FROM:.0f} on, which a still animal reaches at most once in a hundred fixes.{said}{control} "
                     f"This sees long walks only: the walk of a typical fix is known to {two_figures(float(np.median(own['walk_sd_m'])))} m each way (one standard deviation), so that silence of this test does not show that an animal stayed."]
