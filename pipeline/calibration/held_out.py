"""Signal models for a campaign: one from all beacons, and one per beacon place that never saw it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from pipeline.quality import saturation_db
from pipeline.radio import LAG, Corrections, FittedModel, KnownTag, Lag, SignalModel, fit_leaving_out, fit_with_chosen_tails, prior_model, search_timing

# Models that stand for the uncertainty of the estimate and are averaged over in every fix: twelve pairs at right angles. Against a long run of a
# sampler 24 were off by 0.02 in the difference of two cells (median of many small cases with few beacons), sixteen random ones by 0.06 to 0.12.
MODELS_DRAWN = 24
# Gain in log-posterior from which on a flight's lag is looked into; a lag is applied from 4 on.
_WORTH_ASKING = 2.0
# A model fitted with a clock off has learned part of the lag as scatter: refitted with it taken out, it sees the rest.
_ROUNDS = 3


def known_tags(records: pd.DataFrame, beacons: pd.DataFrame, corrections: Corrections = Corrections()) -> list[KnownTag]:
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
        listenings = tuple(corrections.listening(rows) for _, rows in flights.groupby("flight_id", sort=True)
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
    """The signal models of a campaign and what was found of its clocks and ground.

    whole : from all beacons that may be used for fitting. left_out : by place_id, from all the others. tails : see radio.tails.
    corrections : of all flights. left_out_lags_s : for places without which other lags are found, these.
    lags : flight_id -> the Lag from all beacons.
    """

    whole: FittedModel
    left_out: dict[str, FittedModel]
    seed: int
    tails: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=["fault_sd_db", "log_score", "chosen", "places"]))
    corrections: Corrections = Corrections()
    left_out_lags_s: dict[str, dict[str, float]] = field(default_factory=dict)
    lags: dict[str, Lag] = field(default_factory=dict)

    def for_place(self, place_id: str | None) -> FittedModel:
        """The model that may locate a tag at this beacon place (None: any other tag): it never saw the place."""
        return self.left_out.get(place_id, self.whole) if place_id is not None else self.whole

    def drawn(self, place_id: str | None) -> tuple[SignalModel, ...]:
        """Models drawn from the uncertainty of that model; the same draws in every call."""
        return tuple(self.for_place(place_id).draws(MODELS_DRAWN, np.random.default_rng(self.seed)))

    def corrections_for(self, place_id: str | None) -> Corrections:
        """The corrections that may be used for a tag at this beacon place (None: any other tag): found without it."""
        return replace(self.corrections, lags_s=self.left_out_lags_s.get(place_id, self.corrections.lags_s))


def fit_held_out(records: pd.DataFrame, beacons: pd.DataFrame, seed: int, terrain: dict | None = None, canopy: dict | None = None) -> HeldOutModels:
    """Fit all models that a campaign needs. Beacons whose use is "test" enter none of them.

    terrain : flight_id -> what hills take, see radio.terrain_loss. canopy : flight_id -> ways through vegetation, see radio.canopy.
    With no beacon to fit on, every model is the prior one, which says so by its standard errors.
    """
    plain = Corrections(terrain=terrain or {}, canopy=canopy or {})
    usable = records[records["usable"].to_numpy(bool)]
    rough = prior_model([plain.listening(rows) for _, rows in usable.groupby(["tag_id", "flight_id"], sort=True)])
    tests_only = set(beacons.loc[beacons["use"] == "test", "place_id"])

    def fitting(corrections: Corrections) -> list[KnownTag]:
        return [tag for tag in known_tags(records, beacons, corrections) if tag.place_id not in tests_only]

    known = fitting(plain)
    if not known:
        return HeldOutModels(rough, {}, seed, corrections=plain)
    places, ceiling_db = sorted({tag.place_id for tag in known}), saturation_db(usable["strength_db"])
    chosen = fit_with_chosen_tails(known, places, ceiling_db if np.isfinite(ceiling_db) else None)
    whole, left_out, lags, without = chosen.whole, dict(chosen.left_out), {}, {}
    for _ in range(_ROUNDS):
        before = _applied(lags), without
        lags, without = _lags(known, whole, left_out)
        if (_applied(lags), without) == before or not any(any(each.values()) for each in (_applied(lags), *without.values())):
            break
        whole, left_out = _refitted(fitting, plain, chosen, places, whole, lags, without)
    # The only beacon has no others to be judged by.
    return HeldOutModels(whole, {place: left_out.get(place, rough) for place in places}, seed, chosen.scores, replace(plain, lags_s=_applied(lags)), without, lags)


def _applied(lags: dict[str, Lag]) -> dict[str, float]:
    return {flight: lag.applied_s for flight, lag in lags.items()}


def _refitted(fitting, plain: Corrections, chosen, places: list[str], start: FittedModel, lags: dict[str, Lag], without: dict) -> tuple[FittedModel, dict[str, FittedModel]]:
    """(whole, left_out) with the clocks put right. Each set of lags has a fit of its own; a place takes that of the lags found without it."""
    whole, left_out, given = chosen.whole, dict(chosen.left_out), chosen.whole.given
    for applied in sorted({tuple(sorted(each.items())) for each in [_applied(lags), *without.values()]}):
        served = [place for place in places if without.get(place) == dict(applied)]
        fits = fit_leaving_out(fitting(replace(plain, lags_s=dict(applied))), served, fault_sd_db=given.fault_sd_db, ceiling_db=given.ceiling_db, start=start)
        whole = fits[0] if dict(applied) == _applied(lags) else whole
        left_out |= fits[1]
    return whole, left_out


def _lags(known: list[KnownTag], whole: FittedModel, left_out: dict[str, FittedModel]) -> tuple[dict[str, Lag], dict[str, dict[str, float]]]:
    """(lag of every flight from all beacons, place -> lags to be applied that its own records had no part in)."""
    lags = _together(known, whole, None)
    without = {}
    # Where all beacons together speak for no lag at all, none is looked for without one of them.
    asked = [flight for flight, lag in lags.items() if lag.gain >= _WORTH_ASKING]
    for place, fitted in left_out.items():
        others = _together([tag for tag in known if tag.place_id != place], fitted, asked) if asked else {}
        without[place] = {flight: others[flight].applied_s if flight in asked and flight in others else 0.0 for flight in lags}
    return lags, without


def _together(known: list[KnownTag], fitted: FittedModel, asked: list[str] | None) -> dict[str, Lag]:
    """Lag of every flight that heard a known tag, estimated together with the azimuth bias, which a clock that is off would otherwise pass for.

    asked : see search_timing.
    """
    timing = search_timing(known, fitted, asked)
    lags = {flight: each[LAG] for flight, each in timing.flights.items()}
    return {flight: Lag(lag.value, lag.se, 0.5 * (lag.value / lag.se) ** 2, timing.tags[flight]) for flight, lag in lags.items()}
