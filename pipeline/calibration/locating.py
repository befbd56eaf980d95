"""Every tag of a campaign located with honest regions: beacons first, the widening found on them, then all.

A beacon is located by a model that never saw its place and widened by what the other places show, in every table.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from pipeline.calibration.held_out import HeldOutModels, stands_in
from pipeline.calibration.widening import HeldOutPlace, choose_widening, scores, widenings_leaving_out
from pipeline.location import ByHand, Located, Task, hearing_reach_m, leaves_and_truth, locate, search_margins_m, spread_over_cores
from pipeline.radio import Listening


@dataclass(frozen=True)
class Heard:
    """One tag heard in one flight, or found by hand during it. place_id and truth (easting_m, northing_m) for beacons only."""

    tag_id: str
    flight_id: str
    tag_type: str
    listening: Listening
    place_id: str | None = None
    truth: tuple[float, float] | None = None
    by_hand: ByHand | None = None


@dataclass(frozen=True)
class Widening:
    """overall : for every tag that is no beacon. left_out : for each beacon place, from the others. places : how many taught it."""

    overall: float
    left_out: dict[str, float]
    places: int

    def for_place(self, place_id: str | None) -> float:
        """The widening that may be used at a place (None: any other tag)."""
        return self.left_out.get(place_id, self.overall) if place_id is not None else self.overall


def gather_heard(records: pd.DataFrame, tags: pd.DataFrame, beacons: pd.DataFrame, by_hand: dict[tuple[str, str], ByHand] | None = None) -> list[Heard]:
    """Every tag and flight with at least one usable heard record or with evidence taken by hand, in order of tag and flight.

    by_hand : (tag_id, flight_id) -> bearings and sightings; those of beacons are not used, since beacons test the strengths.
    """
    by_hand = by_hand or {}
    usable = records[records["usable"].to_numpy(bool)]
    kinds = dict(zip(tags["tag_id"], tags["tag_type"]))
    found = []
    for (tag_id, flight_id), rows in usable.groupby(["tag_id", "flight_id"], sort=True):
        if not rows["heard"].any() and (tag_id, flight_id) not in by_hand:
            continue
        standing = [beacon for beacon in beacons[beacons["tag_id"] == tag_id].itertuples() if stands_in(beacon, rows["time_utc"].iloc[0])]
        beacon = standing[0] if standing else None
        found.append(Heard(
            tag_id, flight_id, beacon.tag_type if beacon and beacon.tag_type else kinds.get(tag_id, ""), Listening.from_records(rows),
            beacon.place_id if beacon else None, (beacon.easting_m, beacon.northing_m) if beacon else None,
            None if beacon else by_hand.get((tag_id, flight_id)),
        ))
    return found


def find_widening(heard: list[Heard], models: HeldOutModels, not_taught_by: set[str] = frozenset(), margin_m: float | None = None) -> Widening:
    """The widening that held-out beacons ask for.

    not_taught_by : places that are kept for testing only. margin_m : as in locate_all.
    """
    teaching = [item for item in heard if item.truth is not None and item.place_id not in not_taught_by]
    measured = spread_over_cores(leaves_and_truth, [_task(item, models, 1.0, margin_m) for item in teaching])
    table = scores([HeldOutPlace(item.place_id, leaves, at_truth) for item, (leaves, at_truth) in zip(teaching, measured)])
    places = [item.place_id for item in teaching]
    return Widening(choose_widening(table, places), widenings_leaving_out(table, places), len(set(places)))


def locate_all(heard: list[Heard], models: HeldOutModels, widening: Widening, margin_m: float | None = None) -> list[Located]:
    """A widened posterior for every tag and flight, in the order given.

    margin_m : how far beyond the track a tag may be; found from how far it is heard when left out. [m]
    """
    tasks = [_task(item, models, widening.for_place(item.place_id), margin_m) for item in heard]
    return spread_over_cores(locate, tasks)


def _task(item: Heard, models: HeldOutModels, widening: float, margin_m: float | None) -> Task:
    model = models.for_place(item.place_id).model
    reach = hearing_reach_m(model, item.tag_type, item.listening)
    first, farthest = search_margins_m(reach) if margin_m is None else (margin_m, margin_m)
    return Task(item.listening, model, models.drawn(item.place_id), item.tag_type, first, farthest, widening, item.truth, item.by_hand)
