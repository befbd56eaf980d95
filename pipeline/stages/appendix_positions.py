"""The positions that the appendix publishes: one an animal, exact or as the centre of the square that stands for the whole campaign, with how far the animal may be from it."""

from __future__ import annotations

import math

import pandas as pd

from pipeline.exchange import OneSquare

POSITIONS = ["tag_id", "animal_id", "species", "flight_id", "time_utc", "method", "error_radius_95_m", "latitude", "longitude", "coordinate_uncertainty_m", "precision"]
EXACT = "exact"
# before the name of the square; one for all places of a campaign
CENTRE = "centre of the one "


def published_positions(best: pd.DataFrame, species: dict[str, str], *, sensitive: bool, sensitive_species, square: OneSquare | None) -> pd.DataFrame:
    """One row per animal with a position, columns of POSITIONS.

    best : the best fix of each animal, columns of FIXES. species : tag -> scientific name. sensitive : generalise every position, else
    only those of sensitive_species. square : of the campaign, given for every position that is generalised. The uncertainty is the 95 % radius of
    an exact position; of the generalised ones it is one for all, that of the square.
    """
    rows = best.assign(species=best["tag_id"].map(species).fillna(""), time_utc=best["time_end_utc"])
    hidden = pd.Series(sensitive, index=rows.index) | rows["species"].isin(list(sensitive_species))
    exact, coarse = rows[~hidden], rows[hidden]
    exact = exact.assign(latitude=exact["latitude"].round(5), longitude=exact["longitude"].round(5), coordinate_uncertainty_m=exact["error_radius_95_m"].map(math.ceil), precision=EXACT)
    if len(coarse):
        coarse = coarse.assign(latitude=square.latitude, longitude=square.longitude, precision=f"{CENTRE}{square.grid}",
                               coordinate_uncertainty_m=square.uncertainty_m)
    parts = [part[POSITIONS] for part in (exact, coarse) if len(part)]
    table = pd.concat(parts, ignore_index=True) if parts else rows.reindex(columns=POSITIONS)
    # in the order of the tags: the order of places would tell something of where they are
    return table.sort_values("tag_id", kind="stable").reset_index(drop=True)


def square_words(rows: pd.DataFrame) -> str:
    """The square of the generalised ones with its centre and how far they may be from it. rows : precision, latitude, longitude, coordinate_uncertainty_m."""
    first = rows[rows["precision"] != EXACT].iloc[0]
    return f"{first['precision']} ({first['latitude']:g}, {first['longitude']:g} deg, WGS 84; uncertainty {first['coordinate_uncertainty_m']:,.0f} m)".replace("-", "\u2212")


def precision_sentences(positions: pd.DataFrame) -> list[str]:
    """How the positions are given, and why."""
    generalised = sorted(set(positions["precision"]) - {EXACT})
    if not len(positions):
        return ["No animal has a position."]
    said = []
    if generalised:
        few = (positions["precision"] != EXACT).sum()
        whose = "All positions were" if few == len(positions) else f"{few} of {len(positions)} positions were"
        said.append(f"{whose} generalised before publication: all are given as the {generalised[0]} that holds the middle of the survey, in whichever square an animal was, since two squares "
                    "would give the border between them away. The uncertainty is half the diagonal of the square (1 % more for the scale of the grid) and, rounded up to whole kilometres, the reach of the survey from its middle with the 95 % radii, so that it tells nothing of where in the square that lies; a stated grid and uncertainty follow the guidance for sensitive species (Chapman 2020). No position was shifted at random. Exact positions, flight tracks, exact places of beacons and maps are withheld.")
    if EXACT in set(positions["precision"]):
        said.append("Positions not generalised are means of the posterior; their uncertainty is the radius that holds the animal with probability 0.95.")
    return said
