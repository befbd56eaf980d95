"""The sentences on tempering and its rivals, made from their table."""

from __future__ import annotations

import pandas as pd

from pipeline.stages.ways_of_widening import BY_LEVEL, BY_RADIUS, TEMPERED
from pipeline.wording import listed, two_figures

# Areas that differ by less than a tenth are called alike.
AS_GOOD = 1.1
RIVAL_SHARPER, TEMPERED_SHARPER, ALIKE = "rival", "tempered", "alike"
SAID = {TEMPERED: "by tempering", BY_LEVEL: "by a conformal level", BY_RADIUS: "by a conformal radius"}
LISTED = {BY_LEVEL: "conformal levels", BY_RADIUS: "conformal radii"}


def heading(ways: pd.DataFrame) -> str:
    """Whether tempering or a rival gives the smaller regions at equal coverage: at the highest level at which two can be compared, and where lower levels say otherwise."""
    compared = _compared(ways)
    if not compared:
        return "No two ways of widening can be compared at equal coverage"
    highest, *lower = compared
    if TEMPERED not in set(highest["way"]):
        return f"Tempering cannot be set to hold {_share(highest)} of these truths; {LISTED[_best_rival(highest)]} can"
    verdict = _verdict(highest)
    sharper = [_share(rows) for rows in lower if _verdict(rows) == RIVAL_SHARPER]
    rival = LISTED[_best_rival(highest)]
    first = {RIVAL_SHARPER: f"At equal coverage {rival} are sharper than tempering", TEMPERED_SHARPER: f"At equal coverage tempering is sharper than {rival}",
             ALIKE: f"At equal coverage tempering is about as sharp as {rival}"}[verdict]
    return f"{first} at {_share(highest)}, and less sharp than a rival at {listed(sharper)}" if sharper and verdict != RIVAL_SHARPER else first


def paragraph(ways: pd.DataFrame) -> str:
    """The areas at equal coverage, whether a conformal 95 % region exists, and what this report does."""
    words = [f"Set to hold {_share(rows)} of these truths, the median region has {listed(f'{two_figures(row.equal_coverage_median_ha)} ha {SAID[row.way]}' for row in rows.itertuples())}." for rows in _compared(ways)]
    missing = ways[(ways["nominal"] == 0.95) & (ways["fixes"] == 0)]
    for reason, rows in missing.groupby("reason", sort=False):
        words.append(f"No 95 % region exists {' or '.join(SAID[way] for way in rows['way'])}: {reason}.")
    return " ".join([*words, "The regions of this report are tempered, which any number of beacons allows."])


def _share(rows: pd.DataFrame) -> str:
    return f"{100 * rows['nominal'].iloc[0]:.0f} %"


def _compared(ways: pd.DataFrame) -> list[pd.DataFrame]:
    """For every level that two ways or more reach, the highest first: these ways, smallest region first."""
    levels = [ways[(ways["nominal"] == nominal) & ways["equal_coverage_median_ha"].notna()] for nominal in (0.95, 0.8, 0.5)]
    return [rows.sort_values("equal_coverage_median_ha", kind="stable") for rows in levels if len(rows) > 1]


def _best_rival(rows: pd.DataFrame) -> str:
    return rows.loc[rows["way"] != TEMPERED, "way"].iloc[0]


def _verdict(rows: pd.DataFrame) -> str:
    """Of the ways at one level, smallest region first."""
    area = dict(zip(rows["way"], rows["equal_coverage_median_ha"]))
    tempered, rival = area.get(TEMPERED, float("inf")), area[_best_rival(rows)]
    return RIVAL_SHARPER if tempered > AS_GOOD * rival else TEMPERED_SHARPER if rival > AS_GOOD * tempered else ALIKE
