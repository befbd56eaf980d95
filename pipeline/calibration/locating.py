"""Every tag of a campaign located with honest regions: beacons first, the widening found on them, then all.

A beacon is located by a model that never saw its place and widened by what the other places show, in every table.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from pipeline.calibration.held_out import HeldOutModels, stands_in
from pipeline.calibration.widening import HeldOutPlace, choose_widening, scores, widenings_by_style, widenings_leaving_out
from pipeline.location import ByHand, Located, Task, hearing_reach_m, leaves_and_truth, locate, search_margins_m, spread_over_cores
from pipeline.radio import Corrections, Listening


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
    style: str = ""


@dataclass(frozen=True)
class Widening:
    """How much regions are widened.

    overall : for every tag that is no beacon. left_out : for each beacon place, from the others. places : how many taught it.
    by_style : the same for flight styles that enough beacons were heard in. left_out_by_style : place -> style -> widening.
    """

    overall: float
    left_out: dict[str, float]
    places: int
    by_style: dict[str, float] = field(default_factory=dict)
    left_out_by_style: dict[str, dict[str, float]] = field(default_factory=dict)

    def at(self, place_id: str | None, style: str = "") -> float:
        """The widening that may be used at a place (None: any other tag) in a flight of this style."""
        if place_id is None or place_id not in self.left_out:
            return self.by_style.get(style, self.overall)
        return self.left_out_by_style.get(place_id, {}).get(style, self.left_out[place_id])


def gather_heard(records: pd.DataFrame, tags: pd.DataFrame, beacons: pd.DataFrame, by_hand: dict[tuple[str, str], ByHand] | None = None,
                 styles: dict[str, str] | None = None, corrections_for=lambda place_id: Corrections()) -> list[Heard]:
    """Every tag and flight with at least one usable heard record or with evidence taken by hand, in order of tag and flight.

    by_hand : (tag_id, flight_id) -> bearings and sightings; those of beacons are not used, since beacons test the strengths.
    styles : flight_id -> flight style. corrections_for : place_id (None: no beacon) -> Corrections of clocks and ground.
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
            tag_id, flight_id, beacon.tag_type if beacon and beacon.tag_type else kinds.get(tag_id, ""), corrections_for(beacon.place_id if beacon else None).listening(rows),
            beacon.place_id if beacon else None, (beacon.easting_m, beacon.northing_m) if beacon else None,
            None if beacon else by_hand.get((tag_id, flight_id)), (styles or {}).get(flight_id, ""),
        ))
    return found


def find_widening(heard: list[Heard], models: HeldOutModels, not_taught_by: set[str] = frozenset(), margin_m: float | None = None) -> Widening:
    """The widening that held-out beacons ask for.

    not_taught_by : places that are kept for testing only. margin_m : as in locate_all.
    """
    teaching = [item for item in heard if item.truth is not None and item.place_id not in not_taught_by]
    measured = spread_over_cores(leaves_and_truth, [task_of(item, models, 1.0, margin_m) for item in teaching])
    table = scores([HeldOutPlace(item.place_id, leaves, at_truth) for item, (leaves, at_truth) in zip(teaching, measured)])
    places, styles = [item.place_id for item in teaching], [item.style for item in teaching]
    overall, left_out = choose_widening(table, places), widenings_leaving_out(table, places)
    others = {place: [index for index, other in enumerate(places) if other != place] for place in left_out}
    return Widening(overall, left_out, len(set(places)), widenings_by_style(table, places, styles, overall), {
        place: widenings_by_style(table[rest], [places[i] for i in rest], [styles[i] for i in rest], left_out[place]) for place, rest in others.items()})


def locate_all(heard: list[Heard], models: HeldOutModels, widening: Widening, margin_m: float | None = None, walk_sd_m: float = 0.0) -> list[Located]:
    """A widened posterior for every tag and flight, in the order given.

    walk_sd_m : sd of how far an animal walks during a flight, along each axis; beacons stay. [m]
    margin_m : how far beyond the track a tag may be; found from how far it is heard when left out. [m]
    """
    tasks = [task_of(item, models, widening.at(item.place_id, item.style), margin_m, walk_sd_m) for item in heard]
    return spread_over_cores(locate, tasks)


def task_of(item: Heard, models: HeldOutModels, widening: float, margin_m: float | None, walk_sd_m: float = 0.0) -> Task:
    """All that is needed to locate one tag in one flight. widening, margin_m, walk_sd_m : as in locate_all."""
    model = models.for_place(item.place_id).model
    reach = hearing_reach_m(model, item.tag_type, item.listening)
    first, farthest = search_margins_m(reach) if margin_m is None else (margin_m, margin_m)
    return Task(item.listening, model, models.drawn(item.place_id), item.tag_type, first, farthest, widening, item.truth, item.by_hand,
                0.0 if item.truth else walk_sd_m)
