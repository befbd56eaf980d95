"""The six worlds of the accuracy benchmark: flights, beacons and animals with known truth."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from pipeline.columns import BEACONS, RECORDS, TAGS, conform
from pipeline.radio import Canopy, SignalModel, TerrainLoss
from pipeline.simulate import (Physics, antenna_along_track, antenna_rotating, antenna_sideways, fly, invented_valley, line_waypoints,
                               loop_waypoints, matched_physics, simulate_strengths, stream, uniforms)
from pipeline.simulate.diffraction import terrain_loss_db

TAG_TYPE = "collar"
RECORD_S = 6
# Six lines 500 m apart are what a flight of 23 minutes covers.
HALF_SIDE_M = 1250.0
LINES = 6
ANIMALS, FLIGHTS = 20, 3


@dataclass(frozen=True)
class Woods:
    """Rectangular woods on level ground that do not overlap: (west, south, east, north) of each, height of the canopy [m], and what it takes:
    A (1 - exp(-way gamma / A)), ITU-R P.833-9 equation 1, with gamma per_m_db [dB/m] and A most_db [dB]."""

    boxes_m: tuple[tuple[float, float, float, float], ...]
    height_m: float
    per_m_db: float
    most_db: float

    def way_m(self, easting_m, northing_m, height_above_ground_m, place, tag_height_m: float = 0.3) -> np.ndarray:
        """Exact length of each straight ray within the woods: under the top it is the lowest part, which is cut to each box. Shape (records,)."""
        east, north, up = easting_m - place[0], northing_m - place[1], height_above_ground_m - tag_height_m
        last = np.minimum((self.height_m - tag_height_m) / up, 1.0)
        share = np.zeros(len(east))
        for west_m, south_m, east_m, north_m in self.boxes_m:
            enter, leave = np.zeros(len(east)), last
            for over, low, high in ((east, west_m - place[0], east_m - place[0]), (north, south_m - place[1], north_m - place[1])):
                with np.errstate(divide="ignore", invalid="ignore"):
                    ends = np.sort([low / over, high / over], axis=0)
                enter, leave = np.maximum(enter, ends[0]), np.minimum(leave, ends[1])
            share += np.maximum(leave - enter, 0.0)
        return share * np.sqrt(east**2 + north**2 + up**2)

    def loss_db(self, *ray) -> np.ndarray:
        """What the woods take from each record; arguments as for way_m. [dB]"""
        return self.most_db * (1.0 - np.exp(-self.way_m(*ray) * self.per_m_db / self.most_db))

    def raster(self, half_side_m: float, cell_m: float = 10.0) -> np.ndarray:
        """Heights as a canopy model has them, north up, the middle at (0, 0). [m]"""
        along = np.arange(-half_side_m + cell_m / 2, half_side_m, cell_m)
        east, north = np.meshgrid(along, along[::-1])
        return self.height_m * sum((east > west_m) & (east < east_m) & (north > south_m) & (north < north_m) for west_m, south_m, east_m, north_m in self.boxes_m)


@dataclass(frozen=True)
class World:
    """How a setting differs: physics, beacons, relief, how far animals walk during a flight [m], woods, height of the flights above ground [m]."""

    name: str
    physics: Physics
    beacons: int = 10
    relief: bool = False
    walk_m: float = 0.0
    woods: Woods | None = None
    flown_m: float = 80.0


def _physics(power_mean_db: float = -42.0, **changes) -> Physics:
    return matched_physics(power_mean_db={TAG_TYPE: power_mean_db}, **changes)


WORLDS = (
    World("matched", _physics()),
    World("forest", _physics(-28.0, exponent=3.0, shadowing=((5.5, 120.0),), fade_share=0.06)),
    World("terrain", _physics(), relief=True),
    World("weak tags", _physics(-50.0)),
    World("four beacons", _physics(), beacons=4),
    World("walking", _physics(), walk_m=200.0),
)


@dataclass(frozen=True)
class Campaign:
    """What the analysis gets (tables, what hills take and how rays run through canopy by flight, how far animals may walk), and the truth it does not: places (easting, northing) by tag."""

    records: pd.DataFrame
    tags: pd.DataFrame
    beacons: pd.DataFrame
    truth: dict
    model: SignalModel
    hills: dict
    true_hills: dict
    walk_m: float
    canopy: dict = field(default_factory=dict)


def true_model(world: World) -> SignalModel:
    """The signal model with the world's own numbers; what hills take is believed in full."""
    physics, antenna = world.physics, world.physics.antenna
    (sd, length), = physics.shadowing
    return SignalModel(
        exponent=physics.exponent, ahead_db=antenna.a1_db, ahead_squared_db=antenna.a2_db, below_db=antenna.b_db,
        power_mean_db={TAG_TYPE: physics.power_mean_db[TAG_TYPE]}, power_sd_db=physics.power_sd_db, power_drift_sd_db=0.0,
        shadowing_sd_db=sd, shadowing_length_m=length, noise_sd_db=physics.noise_sd_db, threshold_db=physics.threshold_db,
        threshold_shift_db=0.0, softness_db=physics.softness_db, miss_share=max(physics.miss_share, 1e-6), fault_share=max(physics.fade_share, 1e-6),
        terrain_share=1.0,
    )


def campaign(world: World, seed: int) -> Campaign:
    """Beacons and animals over a square of 2.5 km, three flights: a scouting loop and lines in two directions."""
    terrain = invented_valley(seed) if world.relief else None
    places = _places(world, stream(seed, 1))
    powers = world.physics.power_mean_db[TAG_TYPE] + world.physics.power_sd_db * stream(seed, 2).standard_normal(len(places))
    rows = []
    for flight in range(FLIGHTS):
        path = _flight(flight, world.flown_m, stream(seed, 3, flight))
        for number, (tag_id, place) in enumerate(places.items()):
            rows.append(_records(tag_id, place, powers[number], flight, path, world, terrain, stream(seed, 4, flight, number)))
    ids = list(places)
    known = [tag_id for tag_id in ids if tag_id.startswith("B")]
    beacons = pd.DataFrame({"tag_id": known, "place_id": known, "tag_type": TAG_TYPE, "use": "both", "height_above_ground_m": 0.3,
                            "easting_m": [places[tag_id][0] for tag_id in known], "northing_m": [places[tag_id][1] for tag_id in known]})
    return Campaign(conform(pd.concat(rows), RECORDS), conform(pd.DataFrame({"tag_id": ids, "tag_type": TAG_TYPE}), TAGS),
                    conform(beacons, BEACONS), places, true_model(world), hills_of(rows, terrain), true_hills_of(rows, terrain), world.walk_m, canopy_of(rows, world.woods))


def hills_of(rows: list[pd.DataFrame], terrain, shift_m: float = 0.0) -> dict:
    """What hills take along each flight, by the analysis's own reckoning; the terrain model may be shifted, as wrong ones are. [m]"""
    if terrain is None:
        return {}
    cell = terrain.cell_m
    loss = TerrainLoss(terrain.height_m[::-1], terrain.west_m - cell / 2 + shift_m, terrain.south_m + cell * (len(terrain.height_m) - 0.5) + shift_m, cell)
    flown = pd.concat(rows).drop_duplicates(["flight_id", "record"])
    reach = HALF_SIDE_M + 1500.0
    return {flight: loss.along(track, (-reach, -reach, reach, reach), record=track["record"].to_numpy()) for flight, track in flown.groupby("flight_id", sort=True)}


def canopy_of(rows: list[pd.DataFrame], woods: Woods | None) -> dict:
    """Ways through canopy along each flight, by the analysis's own reckoning from a raster of 10 m."""
    if woods is None:
        return {}
    reach = HALF_SIDE_M + 1500.0
    canopy = Canopy(woods.raster(reach), -reach, reach, 10.0)
    flown = pd.concat(rows).drop_duplicates(["flight_id", "record"])
    return {flight: canopy.along(track, (-reach, -reach, reach, reach), record=track["record"].to_numpy()) for flight, track in flown.groupby("flight_id", sort=True)}


def true_hills_of(rows: list[pd.DataFrame], terrain) -> dict:
    """What hills take by the simulator's own reckoning, on a lattice: what only an analysis that knows the world could use."""
    hills = hills_of(rows, terrain)
    flown = pd.concat(rows).drop_duplicates(["flight_id", "record"])
    for flight, track in flown.groupby("flight_id", sort=True):
        along = hills.get(flight)
        if along is None:
            continue
        count = np.arange(len(along.lattice_db))
        east, north = along.west_m + along.cell_m * (count % along.columns), along.south_m + along.cell_m * (count // along.columns)
        tag_m = terrain.at(east, north) + 0.3
        loss = np.stack([terrain_loss_db(np.full(len(east), at.easting_m), at.northing_m, terrain.at(at.easting_m, at.northing_m) + at.height_above_ground_m, east, north, tag_m, terrain) for at in track.itertuples()], axis=1)
        hills[flight] = replace(along, lattice_db=np.nan_to_num(loss).astype(np.float32))
    return hills


def _places(world: World, generator) -> dict:
    names = [f"B{number:02d}" for number in range(world.beacons)] + [f"T{number:02d}" for number in range(ANIMALS)]
    return {name: uniforms(generator, -0.95 * HALF_SIDE_M, 0.95 * HALF_SIDE_M, 2) for name in names}


def _flight(number: int, height_m: float, generator):
    if number == 0:
        ring = fly(loop_waypoints([(HALF_SIDE_M, HALF_SIDE_M), (0.5 * HALF_SIDE_M, 0.5 * HALF_SIDE_M)]), generator=generator, height_above_ground_m=height_m, longest_s=1380)
        return antenna_along_track(ring, generator=generator)
    lines = fly(line_waypoints(np.linspace(-HALF_SIDE_M, HALF_SIDE_M, LINES), HALF_SIDE_M, bearing_deg=90.0 * number), generator=generator, height_above_ground_m=height_m, longest_s=1380)
    return antenna_rotating(lines, generator=generator) if number == 1 else antenna_sideways(lines)


def _records(tag_id, place, power_db, flight, path, world, terrain, generator) -> pd.DataFrame:
    at = path.at(np.arange(0, len(path), RECORD_S))
    share = np.linspace(-0.5, 0.5, len(at))
    bearing = uniforms(generator, 0.0, 2 * np.pi)
    walked = world.walk_m if tag_id.startswith("T") else 0.0
    lost_db = 0.0 if world.woods is None else world.woods.loss_db(at.easting_m, at.northing_m, at.height_above_ground_m, place)
    strength = simulate_strengths(
        easting_m=at.easting_m, northing_m=at.northing_m, height_above_ground_m=at.height_above_ground_m, azimuth_grid_deg=at.azimuth_deg,
        tag_easting_m=place[0] + walked * share * np.sin(bearing), tag_northing_m=place[1] + walked * share * np.cos(bearing), tag_height_m=0.3,
        tag_power_db=power_db - lost_db, physics=world.physics, generator=generator, terrain=terrain)
    time = pd.Timestamp("2026-04-21T06:00:00Z") + pd.to_timedelta(3600 * flight + RECORD_S * np.arange(len(at)), unit="s")
    return pd.DataFrame({
        "flight_id": f"F{flight}", "tag_id": tag_id, "record": np.arange(len(at)), "time_utc": time, "easting_m": at.easting_m, "northing_m": at.northing_m,
        "height_above_ground_m": at.height_above_ground_m, "antenna_azimuth_deg": at.azimuth_deg % 360, "antenna_azimuth_grid_deg": at.azimuth_deg % 360,
        "heard": ~np.isnan(strength), "strength_db": strength, "usable": True})
