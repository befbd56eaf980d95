"""What each correction is worth: the beacons located with and without it, by models that never saw them.

A correction that enters the signal model (hills, canopy, clock lags, azimuth bias) is left out of the fit as well. Absences and the
correlation of shadowing are left out in locating only: without absences a fit has no threshold to find, and what a reader asks is
what a fix would be that ignores them. The widening is that of the full way, so that areas and coverage can be compared.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from pipeline.calibration.held_out import HeldOutModels, known_tags
from pipeline.calibration.locating import Heard, Widening, gather_heard, locate_all
from pipeline.location import Located, best_position
from pipeline.radio import fit_leaving_out

# Shorter than any step between records.
_NO_LENGTH_M = 1.0

COLUMNS = ["left_out", "fixes", "median_m", "p90_m", "held_95", "median_region_95_ha"]


def worth_of_corrections(records: pd.DataFrame, tags: pd.DataFrame, beacons: pd.DataFrame, models: HeldOutModels, widening: Widening, heard: list[Heard],
                         located: list[Located], margin_m: float | None = None) -> pd.DataFrame:
    """One row for the full way and one for each thing left out, columns COLUMNS; empty without beacons to test on.

    models, widening : as used for the fixes. heard, located : what was heard and the fixes of it, in one order; those of beacons are used.
    Lags, hills, canopy and azimuth bias get a row only where they were corrected at all.
    """
    whole = [(item, found) for item, found in zip(heard, located) if item.truth is not None]
    if not models.left_out or not whole:
        return pd.DataFrame(columns=COLUMNS)
    tests, own = [item for item, _ in whole], records[records["tag_id"].isin(beacons["tag_id"])]
    styles = {item.flight_id: item.style for item in tests}

    def row(name: str, items: list[Heard], some: HeldOutModels) -> tuple:
        return _row(name, items, locate_all(items, some, widening, margin_m))

    rows = [_row("nothing", tests, [found for _, found in whole])]
    for name, some in _refitted(records, beacons, models):
        again = gather_heard(own, tags, beacons, None, styles, some.corrections_for)
        rows.append(row(name, [item for item in again if item.truth is not None], some))
    rows.append(row("records not heard", [replace(item, listening=item.listening.chosen(item.listening.heard)) for item in tests], models))
    rows.append(row("likeness of neighbouring records", tests, _independent(models)))
    return pd.DataFrame(rows, columns=COLUMNS)


def _refitted(records, beacons, models: HeldOutModels):
    """(name, models fitted without it) for the corrections that enter the signal model and were made."""
    corrections, given = models.corrections, models.whole.given
    made = []
    if corrections.terrain:
        made.append(("hills", replace(corrections, terrain={}), ()))
    if corrections.canopy:
        made.append(("canopy", replace(corrections, canopy={}), ()))
    if any(corrections.lags_s.values()):
        made.append(("clock lags", replace(corrections, lags_s={}), ()))
    if any(p.name == "azimuth_bias_deg" for p in models.whole.parameters):
        made.append(("azimuth bias", corrections, ("azimuth_bias_deg",)))
    tests_only = set(beacons.loc[beacons["use"] == "test", "place_id"])
    for name, some, without in made:
        known = [tag for tag in known_tags(records, beacons, some) if tag.place_id not in tests_only]
        places = sorted({tag.place_id for tag in known})
        whole, left_out = fit_leaving_out(known, places, fault_sd_db=given.fault_sd_db, ceiling_db=given.ceiling_db, start=models.whole, rough=True, without=without)
        yield name, HeldOutModels(whole, {place: left_out.get(place, models.left_out[place]) for place in places}, models.seed, corrections=some,
                                  left_out_lags_s={} if name == "clock lags" else models.left_out_lags_s)


def _independent(models: HeldOutModels) -> HeldOutModels:
    """The same models with the shadowing of every record its own."""
    def alone(fitted):
        return replace(fitted, given=replace(fitted.given, settled={"shadowing_length_m": _NO_LENGTH_M}))

    return replace(models, whole=alone(models.whole), left_out={place: alone(fitted) for place, fitted in models.left_out.items()})


def _row(name: str, heard: list[Heard], located: list[Located]) -> tuple:
    errors = np.array([np.hypot(*(best_position(found.posterior) - np.array(item.truth))) for item, found in zip(heard, located)])
    held = sum(found.posterior.level_at(*item.truth) <= 0.95 for item, found in zip(heard, located))
    return (name, len(heard), float(np.median(errors)), float(np.quantile(errors, 0.9)), int(held), float(np.median([found.posterior.region_area_ha(0.95) for found in located])))
