"""Signal models for a campaign: one from all beacons, and one per beacon place that never saw it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pipeline.quality import saturation_db
from pipeline.radio import FittedModel, KnownTag, Listening, SignalModel, fit_with_chosen_tails, prior_model

# Models drawn from the uncertainty of the estimate and averaged over in every fix: two antithetic pairs. With sixteen the
# demo's regions changed by less than 2 % in area.
MODELS_DRAWN = 4


def known_tags(records: pd.DataFrame, beacons: pd.DataFrame) -> list[KnownTag]:
    """Beacons at their places with what each flight heard of them; flights outside a beacon's period are left out.

    records : columns of RECORDS. beacons : columns of BEACONS, one row per tag and place.
    """
    usable = records[records["usable"].to_numpy(bool)]
    by_tag = dict(list(usable.groupby("tag_id", sort=True)))
    known = []
    for beacon in beacons.itertuples():
        flights = by_tag.get(beacon.tag_id)
        if flights is None:
            continue
        listenings = tuple(Listening.from_records(rows) for _, rows in flights.groupby("flight_id", sort=True)
                           if stands_in(beacon, rows["time_utc"].iloc[0]))
        if listenings:
            height = beacon.height_above_ground_m if np.isfinite(beacon.height_above_ground_m) else 0.0
            known.append(KnownTag(beacon.tag_id, beacon.place_id, beacon.tag_type, beacon.easting_m, beacon.northing_m, height, listenings))
    return known


def stands_in(beacon, time_utc: pd.Timestamp) -> bool:
    """Whether a beacon row is valid at a time; a blank limit is no limit."""
    after_start = pd.isna(beacon.valid_from_utc) or beacon.valid_from_utc <= time_utc
    return bool(after_start and (pd.isna(beacon.valid_to_utc) or time_utc <= beacon.valid_to_utc))


@dataclass(frozen=True)
class HeldOutModels:
    """whole : from all beacons that may be used for fitting. left_out : by place_id, from all the others. tails : see radio.tails."""

    whole: FittedModel
    left_out: dict[str, FittedModel]
    seed: int
    tails: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=["fault_sd_db", "log_score", "chosen", "places"]))

    def for_place(self, place_id: str | None) -> FittedModel:
        """The model that may locate a tag at this beacon place (None: any other tag): it never saw the place."""
        return self.left_out.get(place_id, self.whole) if place_id is not None else self.whole

    def drawn(self, place_id: str | None) -> tuple[SignalModel, ...]:
        """Models drawn from the uncertainty of that model; the same draws in every call."""
        return tuple(self.for_place(place_id).draws(MODELS_DRAWN, np.random.default_rng(self.seed)))


def fit_held_out(records: pd.DataFrame, beacons: pd.DataFrame, seed: int) -> HeldOutModels:
    """Fit all models that a campaign needs. Beacons whose use is "test" enter none of them.

    With no beacon to fit on, every model is the prior one, which says so by its standard errors.
    """
    known = known_tags(records, beacons)
    tests_only = set(beacons.loc[beacons["use"] == "test", "place_id"])
    fitting = [tag for tag in known if tag.place_id not in tests_only]
    rough = prior_model([Listening.from_records(rows) for _, rows in records[records["usable"].to_numpy(bool)].groupby(["tag_id", "flight_id"], sort=True)])
    if not fitting:
        return HeldOutModels(rough, {}, seed)
    places = sorted({tag.place_id for tag in fitting})
    ceiling_db = saturation_db(records.loc[records["usable"].to_numpy(bool), "strength_db"])
    chosen = fit_with_chosen_tails(fitting, places, ceiling_db if np.isfinite(ceiling_db) else None)
    # The only beacon has no others to be judged by.
    return HeldOutModels(chosen.whole, {place: chosen.left_out.get(place, rough) for place in places}, seed, chosen.scores)
