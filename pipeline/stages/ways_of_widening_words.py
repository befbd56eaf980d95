"""The sentences on tempering and its rivals, made from their table."""

from __future__ import annotations

import pandas as pd

from pipeline.stages.ways_of_widening import BY_LEVEL, BY_RADIUS, TEMPERED
from pipeline.wording import listed, two_figures

# Areas that differ by less than a tenth are called alike.
ALIKE = 1.1
SAID = {TEMPERED: "by tempering", BY_LEVEL: "by a conformal level", BY_RADIUS: "by a conformal radius"}
LISTED = {BY_LEVEL: "conformal levels", BY_RADIUS: "conformal radii"}


def heading(ways: pd.DataFrame) -> str:
    """Whether tempering or a rival gives the smaller regions at equal coverage, at the highest level at which two can be compared."""
    compared = _compared(ways)
    if compared is None:
        return "No two ways of widening can be compared at equal coverage"
    area = dict(zip(compared["way"], compared["equal_coverage_median_ha"]))
    rivals = {way: value for way, value in area.items() if way != TEMPERED}
    rival = min(rivals, key=rivals.get)
    if TEMPERED not in area:
        return f"Tempering cannot be set to hold {_share(compared)} of these truths; {LISTED[rival]} can"
    if area[TEMPERED] > ALIKE * rivals[rival]:
        return f"At equal coverage {LISTED[rival]} are sharper than tempering"
    return f"At equal coverage tempering is {'sharper than' if rivals[rival] > ALIKE * area[TEMPERED] else 'as sharp as'} {LISTED[rival]}"


def paragraph(ways: pd.DataFrame) -> str:
    """The areas at equal coverage, whether a conformal 95 % region exists, and what this report does."""
    compared, words = _compared(ways), []
    if compared is not None:
        words.append(f"Set to hold {_share(compared)} of these truths, the median region has {listed(f'{two_figures(row.equal_coverage_median_ha)} ha {SAID[row.way]}' for row in compared.itertuples())}.")
    missing = ways[(ways["nominal"] == 0.95) & (ways["fixes"] == 0)]
    for reason, rows in missing.groupby("reason", sort=False):
        words.append(f"No 95 % region exists {' or '.join(SAID[way] for way in rows['way'])}: {reason}.")
    return " ".join([*words, "The regions of this report are tempered, which any number of beacons allows."])


def _share(compared: pd.DataFrame) -> str:
    return f"{100 * compared['nominal'].iloc[0]:.0f} %"


def _compared(ways: pd.DataFrame) -> pd.DataFrame | None:
    """The ways that reach a level, smallest region first; None where no level is reached by two."""
    for nominal in (0.95, 0.8, 0.5):
        rows = ways[(ways["nominal"] == nominal) & ways["equal_coverage_median_ha"].notna()]
        if len(rows) > 1:
            return rows.sort_values("equal_coverage_median_ha", kind="stable")
    return None
