"""Which fixes movement may use, in order of time, with the draws that carry their errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.location import PLACED

USABLE_STATUSES = PLACED


@dataclass(frozen=True)
class Fix:
    """One usable fix of one tag.

    time_utc : middle of the records that carry information on it.
    easting_m, northing_m : the position as printed (of several places the heaviest), survey CRS.
    draws_m : array of shape (n, 2), draws of the calibrated posterior with all its places. [m]
    """

    tag_id: str
    flight_id: str
    time_utc: pd.Timestamp
    easting_m: float
    northing_m: float
    error_radius_95_m: float
    several_places: bool
    draws_m: np.ndarray


@dataclass(frozen=True)
class AnimalFixes:
    """One animal's tag and its usable fixes in order of time, perhaps none. Two flights on one day give two fixes."""

    tag_id: str
    animal_id: str
    species: str
    fixes: tuple[Fix, ...]

    @property
    def name(self):
        """Animal and tag as one phrase."""
        return self.animal_id or f"tag {self.tag_id}"

    @property
    def identity(self):
        """The columns every movement table starts with."""
        return {"tag_id": self.tag_id, "animal_id": self.animal_id}

    @property
    def positions_m(self):
        """Printed positions, (n, 2)."""
        return np.array([(fix.easting_m, fix.northing_m) for fix in self.fixes]).reshape(-1, 2)


def animals_with_fixes(tags, fixes, draws):
    """Every animal's tag with its usable fixes.

    Parameters
    ----------
    tags : DataFrame with the columns of TAGS; beacons, decoys and unregistered tags are left out
    fixes : DataFrame with the columns of FIXES
    draws : dict of (tag_id, flight_id) -> array (n, 2), metres in the survey CRS

    Returns
    -------
    list of AnimalFixes, one per animal's tag in order of tag, also those without a fix.
    """
    role = tags["role"].fillna("") if "role" in tags.columns else pd.Series("", index=tags.index)
    usable = fixes[fixes["status"].isin(USABLE_STATUSES)]
    by_tag = {tag_id: rows.to_dict("records") for tag_id, rows in usable.groupby("tag_id")}
    return [
        AnimalFixes(str(tag["tag_id"]), _text(tag.get("animal_id")), _text(tag.get("species")), _usable(by_tag.get(tag["tag_id"], []), draws))
        for tag in tags[role.isin(["animal", ""])].sort_values("tag_id", kind="stable").to_dict("records")
    ]


def _usable(rows, draws):
    found = [_fix(row, draws[row["tag_id"], row["flight_id"]]) for row in rows if (row["tag_id"], row["flight_id"]) in draws]
    return tuple(sorted(found, key=lambda fix: (fix.time_utc, fix.flight_id)))


def _fix(row, draws_m):
    middle = row["time_start_utc"] + (row["time_end_utc"] - row["time_start_utc"]) / 2
    return Fix(str(row["tag_id"]), str(row["flight_id"]), middle, float(row["easting_m"]), float(row["northing_m"]),
               float(row["error_radius_95_m"]), row["status"] == "several places", np.asarray(draws_m, dtype=float))


def _text(value):
    return "" if value is None or pd.isna(value) else str(value)
