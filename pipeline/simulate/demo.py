"""The demo campaign, made from one seed: `python -m pipeline.simulate.demo` writes data/demo and data/demo-truth anew."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path as FilePath

import numpy as np

from ..geodesy import choose_projection
from . import cast as story
from .animals import Stay, Tag
from .campaign import (LOG_HEADER, FlightPlan, flight_stream, heard_by, log_rows, noise_floor_db, power_heard_once, write_lines,
                       write_registers, write_study_area, write_terrain)
from .demo_texts import CAMPAIGN_README, SURVEY, TRUTH_README
from .draws import normals, stream
from .field_notes import bearing_rows, sighting_rows
from .flights import Path, antenna_along_track, antenna_rotating, antenna_sideways, fly, joined, line_waypoints, loop_waypoints
from .physics import rich_physics
from .terrain import invented_valley
from .truth import write_truth

SEED = 20260422
PLANE = choose_projection([57.2], [-4.1])
TERRAIN_CRS = "EPSG:32630"
VALLEY = "Glen Tarvennoch (an invented valley)"
STARTS = {"0421-a": "2026-04-21T05:42:00", "0421-b": "2026-04-21T06:31:00", "0429-a": "2026-04-29T05:27:00",
          "0429-b": "2026-04-29T06:18:00", "0507-a": "2026-05-07T05:11:00", "0507-b": "2026-05-07T06:04:00"}
FAULTS = {"0429-a": {"doubled": tuple(range(61, 69))}, "0429-b": {"lag_s": 5}, "0507-a": {"lost_s": (606, 648)}}
AZIMUTH_BIAS_DEG = 3.0
FALSE_HITS = {"0429-b": {("D01", 101): (-114.5, 61.7)}}
LONGEST_S = 1496
LOOP_PART_OF_MIXED_S = 700

# Who took a bearing of what, in which flight, from where (metres right of the valley and along it), one every five minutes.
BEARINGS = (("G11", 0, ((-900, -700), (-620, 240), (-1050, 780))), ("H02", 1, ((-900, -700), (-350, 60), (240, -150))))
# Which animal was seen in which flight how many seconds after its start (or at which time), how exactly, in what state.
SIGHTINGS = (("H07", 0, 780, "", 15, "alive"), ("G02", 3, 420, "", 25, "alive"), ("H05", 5, 0, "2026-05-07T13:20:00Z", 5, "dead"))


def flight_paths(seed: int) -> list[Path]:
    """Two scouting loops, three line patterns and a mixed flight, in the order they were flown."""
    draws = [flight_stream(seed, 1, flight) for flight in range(6)]
    along = story.VALLEY_BEARING_DEG
    mixed = [loop_waypoints([(1050, 1050)], bearing_deg=along - 20),
             line_waypoints((-800, 0, 800), 1300, bearing_deg=along - 20, bend_m=60)]
    ways = [
        loop_waypoints([(1250, 1250), (330, 760)], bearing_deg=along),
        line_waypoints((-1200, -600, 0, 600, 1200), 1450, bearing_deg=along, bend_m=110),
        loop_waypoints([(1000, 1300), (520, 900)], bearing_deg=along + 35, centre=(120, -60)),
        line_waypoints((1200, 600, 0, -600, -1200), 1420, bearing_deg=along + 90, bend_m=90),
        line_waypoints((-1450, -870, -290, 290, 870, 1450), 1180, bearing_deg=along, bend_m=-90),
        np.vstack(mixed),
    ]
    flown = [fly(way, generator=generator, longest_s=LONGEST_S) for way, generator in zip(ways, draws)]
    second = np.arange(len(flown[5]))
    loop, lines = flown[5].at(second[:LOOP_PART_OF_MIXED_S]), flown[5].at(second[LOOP_PART_OF_MIXED_S:])
    return [
        antenna_along_track(flown[0], generator=draws[0]),
        antenna_rotating(flown[1], generator=draws[1]),
        antenna_along_track(flown[2], generator=draws[2]),
        antenna_sideways(flown[3]),
        antenna_rotating(flown[4], generator=draws[4], deg_per_s=7.0),
        joined(antenna_along_track(loop, generator=draws[5]), antenna_rotating(lines, generator=draws[5])),
    ]


def flight_plans(seed: int, gain_sd_db: float) -> list[FlightPlan]:
    """The six flights with their dates, gains and faults."""
    gains_db = gain_sd_db * normals(stream(seed, 6), 6)
    return [FlightPlan(flight_id, datetime.fromisoformat(start), path, gain_db=round(float(gain_db), 2),
                       azimuth_bias_deg=AZIMUTH_BIAS_DEG, **FAULTS.get(flight_id, {}))
            for (flight_id, start), path, gain_db in zip(STARTS.items(), flight_paths(seed), gains_db)]


class DemoCampaign:
    """Everything about the demo campaign, known before a file is written.

    plans, floors_db : one per flight. tags : the cast. stays, strengths : by tag_id, a list with one entry per flight.
    """

    def __init__(self, seed: int = SEED):
        self.seed, self.physics, self.terrain = seed, rich_physics(), invented_valley(seed)
        self.plans = flight_plans(seed, self.physics.flight_gain_sd_db)
        self.floors_db = [noise_floor_db(plan, flight_stream(seed, 2, flight)) for flight, plan in enumerate(self.plans)]
        self.tags = story.cast(seed, self.physics)
        self.beacon_places = story.beacon_places(self.tags)
        self.first_places = story.first_places([tag for tag in self.tags if tag.role == "animal"], seed, self.terrain)
        self.stays = {tag.tag_id: self._stays(tag, index) for index, tag in enumerate(self.tags)}
        self.tags = [self._weakened(tag) if tag.tag_id == story.HEARD_ONCE else tag for tag in self.tags]
        self.strengths = {tag.tag_id: self._strengths(tag) for tag in self.tags}

    def _stays(self, tag: Tag, index: int) -> list[Stay]:
        if tag.role == "decoy":
            return [Stay((0.0, 0.0), (0.0, 0.0), in_area=False, mode="silent")] * len(self.plans)
        if tag.role == "beacon":
            return [Stay(self.beacon_places[tag.tag_id], self.beacon_places[tag.tag_id])] * len(self.plans)
        return story.stays_of(tag, self.first_places[tag.tag_id], stream(self.seed, 5, index))

    def _strengths(self, tag: Tag) -> list[np.ndarray]:
        index = [other.tag_id for other in self.tags].index(tag.tag_id)
        return [heard_by(plan, tag, stay, physics=self.physics, terrain=self.terrain, floor_db=floor_db,
                         generator=flight_stream(self.seed, 3, flight, index))
                for flight, (plan, stay, floor_db) in enumerate(zip(self.plans, self.stays[tag.tag_id], self.floors_db))]

    def _weakened(self, tag: Tag) -> Tag:
        def times_heard(weaker: Tag) -> int:
            return sum(int(np.isfinite(strengths).sum()) for strengths in self._strengths(weaker))

        return power_heard_once(tag, times_heard, highest_db=tag.power_db)

    def write(self, folder: FilePath, truth_folder: FilePath) -> None:
        """Write the campaign folder and, outside it, the truth."""
        for flight in range(len(self.plans)):
            write_lines(folder / "flights" / f"{self.plans[flight].flight_id}.csv", [LOG_HEADER, *self._log(flight)])
        write_registers(folder, self.tags, self.beacon_places, PLANE, stream(self.seed, 4))
        write_terrain(folder / "terrain.tif", self.terrain, PLANE, TERRAIN_CRS)
        write_study_area(folder / "study_area.geojson", story.AREA_CORNERS_M[::-1], PLANE, VALLEY)
        bearings = [(tag_id, flight, story.turned(stands, story.VALLEY_BEARING_DEG)) for tag_id, flight, stands in BEARINGS]
        write_lines(folder / "bearings.csv", bearing_rows(bearings, self.plans, self.stays, PLANE, stream(self.seed, 7)))
        write_lines(folder / "sightings.csv", sighting_rows(SIGHTINGS, self.plans, self.stays, PLANE, stream(self.seed, 8)))
        write_lines(folder / "survey.yml", SURVEY.strip("\n").split("\n"))
        write_lines(folder / "README.md", CAMPAIGN_README.strip("\n").split("\n"))
        write_truth(truth_folder, self.plans, self.tags, self.stays, self._times_heard(), story.STORIES, PLANE, TRUTH_README)

    def _log(self, flight: int) -> list[str]:
        stays, strengths = ([by_tag[tag.tag_id][flight] for tag in self.tags] for by_tag in (self.stays, self.strengths))
        return log_rows(self.plans[flight], self.tags, stays, strengths, plane=PLANE, floor_db=self.floors_db[flight],
                        generator=flight_stream(self.seed, 4, flight), false_hits=FALSE_HITS.get(self.plans[flight].flight_id))

    def _times_heard(self) -> dict:
        """{tag_id: records with a sound in each flight}, false hits included."""
        times = {tag_id: [int(np.isfinite(values).sum()) for values in strengths] for tag_id, strengths in self.strengths.items()}
        for flight, plan in enumerate(self.plans):
            for tag_id, _ in FALSE_HITS.get(plan.flight_id, {}):
                times[tag_id][flight] += 1
        return times


def main() -> None:
    """Write the demo campaign and its truth into the project."""
    data = FilePath(__file__).resolve().parents[2] / "data"
    DemoCampaign().write(data / "demo", data / "demo-truth")
    print(f"written: {data / 'demo'} and {data / 'demo-truth'}")


if __name__ == "__main__":
    main()
