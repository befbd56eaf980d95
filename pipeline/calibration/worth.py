"""What each correction is worth: the beacons located with and without it, by models that never saw them.

A correction that enters the signal model (hills, clock lags, azimuth bias) is left out of the fit as well. Absences and the
correlation of shadowing are left out in locating only: without absences a fit has no threshold to find, and what a reader asks is
what a fix would be that ignores them. The widening is that of the full way, so that areas and coverage can be compared.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pipeline.calibration.held_out import HeldOutModels, known_tags
from pipeline.calibration.locating import Heard, Widening, gather_heard, locate_all
from pipeline.location import best_position
from pipeline.radio import Corrections, Listening, SignalModel, fit_leaving_out

COLUMNS = ["left_out", "fixes", "median_m", "p90_m", "held_95", "median_region_95_ha"]


@dataclass(frozen=True)
class _Altered(HeldOutModels):
    """Models with something changed in every one of them."""

    changes: tuple = ()

    def for_place(self, place_id):
        fitted = super().for_place(place_id)
        return _AlteredFit(fitted, dict(self.changes)) if self.changes else fitted


@dataclass(frozen=True)
class _AlteredFit:
    fitted: object
    changes: dict

    @property
    def model(self) -> SignalModel:
        return replace(self.fitted.model, **self.changes)

    def draws(self, count, generator) -> list[SignalModel]:
        return [replace(model, **self.changes) for model in self.fitted.draws(count, generator)]


def worth_of_corrections(records: pd.DataFrame, tags: pd.DataFrame, beacons: pd.DataFrame, models: HeldOutModels, widening: Widening, styles: dict[str, str],
                         margin_m: float | None = None) -> pd.DataFrame:
    """One row for the full way and one for each thing left out, columns COLUMNS; empty without beacons to test on.

    models, widening : as used for the fixes. Lags, hills and azimuth bias get a row only where they were corrected at all.
    """
    own = records[records["tag_id"].isin(beacons["tag_id"])]

    def heard_with(some: HeldOutModels) -> list[Heard]:
        return [item for item in gather_heard(own, tags, beacons, None, styles, some.corrections_for) if item.truth is not None]

    if not models.left_out or not heard_with(models):
        return pd.DataFrame(columns=COLUMNS)
    rows = [_row("nothing", heard_with(models), models, widening, margin_m)]
    for name, some in _refitted(records, beacons, models):
        rows.append(_row(name, heard_with(some), some, widening, margin_m))
    only_heard = [replace(item, listening=_heard_only(item.listening)) for item in heard_with(models)]
    rows.append(_row("records not heard", only_heard, models, widening, margin_m))
    independent = _altered(models, {"shadowing_length_m": 1.0})
    rows.append(_row("likeness of neighbouring records", heard_with(models), independent, widening, margin_m))
    return pd.DataFrame(rows, columns=COLUMNS)


def _refitted(records, beacons, models: HeldOutModels):
    """(name, models fitted without it) for the corrections that enter the signal model and were made."""
    corrections, given = models.corrections, models.whole.given
    made = []
    if corrections.terrain:
        made.append(("hills", replace(corrections, terrain={}), ()))
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


def _altered(models: HeldOutModels, changes: dict) -> HeldOutModels:
    return _Altered(models.whole, models.left_out, models.seed, models.tails, models.corrections, models.left_out_lags_s, models.lags, tuple(changes.items()))


def _heard_only(listening: Listening) -> Listening:
    """The heard records as if no others had been made."""
    return listening.chosen(listening.heard)


def _row(name: str, heard: list[Heard], models: HeldOutModels, widening: Widening, margin_m) -> tuple:
    located = locate_all(heard, models, widening, margin_m)
    errors = np.array([np.hypot(*(best_position(found.posterior) - np.array(item.truth))) for item, found in zip(heard, located)])
    held = sum(found.posterior.level_at(*item.truth) <= 0.95 for item, found in zip(heard, located))
    return (name, len(heard), float(np.median(errors)), float(np.quantile(errors, 0.9)), int(held), float(np.median([found.posterior.region_area_ha(0.95) for found in located])))
