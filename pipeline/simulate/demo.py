"""The demo campaign, made from one seed: `python -m pipeline.simulate.demo` writes data/demo and data/demo-truth anew."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path as FilePath

import numpy as np

from ..geodesy import choose_projection
from . import cast as story
from .animals import Stay, Tag
from .campaign import (FlightPlan, LOG_HEADER, flight_stream, heard_by, log_rows, noise_floor_db, power_heard_once, write_lines,
                       write_registers, write_study_area, write_terrain)
from .demo_texts import CAMPAIGN_README, SURVEY, TRUTH_README
from .draws import normals, stream
from .flights import antenna_along_track, antenna_rotating, antenna_sideways, fly, joined, line_waypoints, loop_waypoints
from .physics import rich_physics
from .terrain import invented_valley
from .truth import write_truth

SEED = 20260421
PLANE = choose_projection([57.2], [-4.1])
TERRAIN_CRS = "EPSG:32630"
VALLEY = "Glen Tarvennoch (an invented valley)"
FALSE_HITS = {3: {("D01", 101): (-114.5, 61.7)}}
STYLES = ("loop", "lines", "loop", "lines", "lines", "mixed")
STARTS = ("2026-04-21T05:42:00", "2026-04-21T06:31:00", "2026-04-29T05:27:00", "2026-04-29T06:18:00", "2026-05-07T05:11:00", "2026-05-07T06:04:00")
FLIGHT_IDS = ("0421-a", "0421-b", "0429-a", "0429-b", "0507-a", "0507-b")
LONGEST_S = 1496


def flight_paths(seed: int) -> list:
    """Two scouting loops, three line patterns and a mixed flight."""
    draws = [flight_stream(seed, 1, flight) for flight in range(6)]
    valley = story.VALLEY_BEARING_DEG
    ways = [
        loop_waypoints([(1250, 1250), (330, 760)], bearing_deg=valley),
        line_waypoints((-1200, -600, 0, 600, 1200), 1450, bearing_deg=valley, bend_m=110),
        loop_waypoints([(1000, 1300), (520, 900)], bearing_deg=valley + 35, centre=(120, -60)),
        line_waypoints((1200, 600, 0, -600, -1200), 1420, bearing_deg=valley + 90, bend_m=90),
        line_waypoints((-1450, -870, -290, 290, 870, 1450), 1180, bearing_deg=valley, bend_m=-90),
        np.vstack([loop_waypoints([(1050, 1050)], bearing_deg=valley - 20), line_waypoints((-800, 0, 800), 1300, bearing_deg=valley - 20, bend_m=60)]),
    ]
    flown = [fly(way, generator=generator, longest_s=LONGEST_S) for way, generator in zip(ways, draws)]
    first, rest = flown[5].at(np.arange(700)), flown[5].at(np.arange(700, len(flown[5])))
    return [
        antenna_along_track(flown[0], generator=draws[0]), antenna_rotating(flown[1], generator=draws[1]), antenna_along_track(flown[2], generator=draws[2]),
        antenna_sideways(flown[3]), antenna_rotating(flown[4], generator=draws[4], deg_per_s=7.0),
        joined(antenna_along_track(first, generator=draws[5]), antenna_rotating(rest, generator=draws[5])),
    ]


def flight_plans(seed: int, gain_sd_db: float) -> list[FlightPlan]:
    """The six flights with their dates and faults: a clock lag in the fourth, no GNSS for 42 s in the fifth, records written twice in the third."""
    gains = gain_sd_db * normals(stream(seed, 6), 6)
    faults = {2: {"doubled": tuple(range(61, 69))}, 3: {"lag_s": 5}, 4: {"lost_s": (606, 648)}}
    return [FlightPlan(name, datetime.fromisoformat(start), path, round(float(gain), 2), azimuth_bias_deg=3.0, **faults.get(number, {}))
            for number, (name, start, path, gain) in enumerate(zip(FLIGHT_IDS, STARTS, flight_paths(seed), gains))]


class DemoCampaign:
    """Everything about the demo campaign, known before a file is written."""

    def __init__(self, seed: int = SEED):
        self.seed, self.physics, self.terrain = seed, rich_physics(), invented_valley(seed)
        self.plans = flight_plans(seed, self.physics.flight_gain_sd_db)
        self.floors_db = [noise_floor_db(plan, flight_stream(seed, 2, flight)) for flight, plan in enumerate(self.plans)]
        self.tags = story.cast(seed, self.physics)
        self.beacon_places = story.beacon_places(self.tags, seed)
        self.first_places = story.first_places([tag for tag in self.tags if tag.role == "animal"], seed, self.terrain)
        self.stays = {tag.tag_id: self._stays(tag, index) for index, tag in enumerate(self.tags)}
        self.tags = [self._weakened(tag) if tag.tag_id == story.HEARD_ONCE else tag for tag in self.tags]
        self.strengths = {tag.tag_id: self._strengths(tag) for tag in self.tags}

    def _stays(self, tag: Tag, index: int) -> list[Stay]:
        if tag.role == "decoy":
            return [Stay((0.0, 0.0), (0.0, 0.0), in_area=False, mode="silent")] * len(self.plans)
        if tag.role == "beacon":
            place = self.beacon_places[tag.tag_id][:2]
            return [Stay(place, place)] * len(self.plans)
        return story.stays_of(tag, self.first_places[tag.tag_id], stream(self.seed, 5, index))

    def _strengths(self, tag: Tag) -> list[np.ndarray]:
        index = [other.tag_id for other in self.tags].index(tag.tag_id)
        return [heard_by(plan, tag, stay, physics=self.physics, terrain=self.terrain, floor_db=floor_db, generator=flight_stream(self.seed, 3, flight, index))
                if stay.in_area else np.full(len(plan.seconds), np.nan)
                for flight, (plan, stay, floor_db) in enumerate(zip(self.plans, self.stays[tag.tag_id], self.floors_db))]

    def _weakened(self, tag: Tag) -> Tag:
        return power_heard_once(tag, lambda weaker: sum(int(np.isfinite(values).sum()) for values in self._strengths(weaker)), highest_db=tag.power_db)

    def write(self, folder: FilePath, truth_folder: FilePath) -> None:
        """Write the campaign folder and, outside it, the truth."""
        folder.mkdir(parents=True, exist_ok=True)
        for flight, plan in enumerate(self.plans):
            rows = log_rows(plan, self.tags, [self.stays[tag.tag_id][flight] for tag in self.tags], [self.strengths[tag.tag_id][flight] for tag in self.tags],
                            plane=PLANE, floor_db=self.floors_db[flight], generator=flight_stream(self.seed, 4, flight), false_hits=FALSE_HITS.get(flight))
            write_lines(folder / "flights" / f"{plan.flight_id}.csv", [LOG_HEADER, *rows])
        write_registers(folder, self.tags, self.beacon_places, PLANE)
        write_terrain(folder / "terrain.tif", self.terrain, PLANE, TERRAIN_CRS)
        write_study_area(folder / "study_area.geojson", story.AREA_CORNERS_M[::-1], PLANE, VALLEY)
        write_lines(folder / "bearings.csv", self.bearing_rows())
        write_lines(folder / "sightings.csv", self.sighting_rows())
        write_lines(folder / "survey.yml", SURVEY.strip("\n").split("\n"))
        write_lines(folder / "README.md", CAMPAIGN_README.strip("\n").split("\n"))
        by_flight = {(tag.tag_id, plan.flight_id): number for tag in self.tags for number, plan in enumerate(self.plans)}
        heard = {key: int(np.isfinite(self.strengths[key[0]][number]).sum()) + sum(hit[0] == key[0] for hit in FALSE_HITS.get(number, {}))
                 for key, number in by_flight.items()}
        write_truth(truth_folder, self.plans, self.tags, {key: self.stays[key[0]][number] for key, number in by_flight.items()}, heard, story.STORIES, PLANE, TRUTH_README)

    def bearing_rows(self) -> list[str]:
        """Bearings taken by hand from the valley track: three of the bird beside the loop, three of a hare."""
        generator, rows = stream(self.seed, 7), []
        for tag_id, flight, stands in (("G11", 0, ((-900, -700), (-620, 240), (-1050, 780))), ("H02", 1, ((-900, -700), (-350, 60), (240, -150)))):
            for number, (east, north) in enumerate(story.turned(stands, story.VALLEY_BEARING_DEG)):
                second = 240 + 300 * number
                there = self.stays[tag_id][flight].place(second)
                bearing = np.degrees(np.arctan2(there[0] - east, there[1] - north)) + 6.0 * float(normals(generator))
                latitude, longitude = PLANE.inverse(east, north)
                time = self.plans[flight].times[second // 6]
                rows.append(f"{time},{tag_id},{latitude:.6f},{longitude:.6f},{int(np.round(bearing)) % 360},8,true")
        return ["time_utc,tag_id,latitude,longitude,bearing_deg,bearing_sd_deg,north_reference", *rows]

    def sighting_rows(self) -> list[str]:
        """Three seen by eye: two alive during a flight, and the carcass of the hare, found on the last afternoon."""
        generator, rows = stream(self.seed, 8), []
        for tag_id, flight, second, time, sd_m, state in (("H07", 0, 780, "", 15, "alive"), ("G02", 3, 420, "", 25, "alive"), ("H05", 5, 0, "2026-05-07T13:20:00Z", 5, "dead")):
            easting_m, northing_m = (float(value) for value in self.stays[tag_id][flight].place(second))
            latitude, longitude = PLANE.inverse(easting_m + sd_m * float(normals(generator)), northing_m + sd_m * float(normals(generator)))
            rows.append(f"{time or self.plans[flight].times[second // 6]},{tag_id},{latitude:.6f},{longitude:.6f},{sd_m},{state}")
        return ["time_utc,tag_id,latitude,longitude,position_sd_m,state", *rows]


def main() -> None:
    """Write the demo campaign and its truth into the project."""
    data = FilePath(__file__).resolve().parents[2] / "data"
    DemoCampaign().write(data / "demo", data / "demo-truth")
    print(f"written: {data / 'demo'} and {data / 'demo-truth'}")


if __name__ == "__main__":
    main()
