"""From flights, tags and a physics to the files a fieldworker brings home."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path as FilePath

import numpy as np
import pyproj
import rasterio
from rasterio.transform import from_origin

from ..geodesy import Projection
from .animals import Stay, Tag
from .draws import correlated_along, normals, stream, uniforms
from .flights import Path
from .physics import Physics, simulate_strengths

RECORD_INTERVAL_S = 6
HEARD_ABOVE_NOISE_DB = 6.0
NOISE_FLOOR_DB = -121.0
LOG_HEADER = "time_utc,latitude,longitude,height_m,antenna_azimuth_deg,tag_id,strength_db,pulse_rate_per_min,noise_db"
TAGS_HEADER = ("tag_id,animal_id,species,frequency_mhz,tag_type,pulse_rate_live_per_min,pulse_rate_mortality_per_min,"
               "deployed_utc,expected_end_utc,decoy")
BEACONS_HEADER = ("tag_id,latitude,longitude,height_above_ground_m,position_sd_m,tag_type,frequency_mhz,"
                  "valid_from_utc,valid_to_utc,use")
PULSE_JITTER_PER_MIN = 1.0


@dataclass(frozen=True)
class FlightPlan:
    """One flight of a campaign and what went wrong with its log.

    lag_s : seconds by which strengths are older than the positions and azimuths in the same row.
    lost_s : (from, to) without GNSS, or None. doubled : numbers of the records that the logger wrote twice.
    gain_db : offset of all strengths. azimuth_bias_deg : logged minus true azimuth.
    """

    flight_id: str
    start: datetime
    path: Path
    gain_db: float = 0.0
    lag_s: int = 0
    lost_s: tuple | None = None
    doubled: tuple = ()
    azimuth_bias_deg: float = 0.0

    @property
    def seconds(self) -> np.ndarray:
        """Seconds since the start at which a record was made."""
        return np.arange(0, len(self.path), RECORD_INTERVAL_S)

    @property
    def times(self) -> list[str]:
        """The same as ISO 8601 UTC."""
        return [f"{self.start + timedelta(seconds=int(second)):%Y-%m-%dT%H:%M:%SZ}" for second in self.seconds]


def noise_floor_db(plan: FlightPlan, generator) -> np.ndarray:
    """Background level in each record: it drifts by about 0.8 dB over five minutes."""
    step_s = np.full(len(plan.seconds), float(RECORD_INTERVAL_S))
    return NOISE_FLOOR_DB + correlated_along(step_s, 0.8, 300.0, generator)


def heard_by(plan: FlightPlan, tag: Tag, stay: Stay, *, physics: Physics, terrain, floor_db, generator) -> np.ndarray:
    """Strengths of one tag in the records of one flight [dB], NaN where it was not heard."""
    if stay.mode == "silent" or not stay.in_area or not np.isfinite(tag.power_db):
        return np.full(len(plan.seconds), np.nan)
    received_s = plan.seconds - plan.lag_s
    pose = plan.path.at(received_s)
    tag_easting_m, tag_northing_m = stay.place(received_s)
    return simulate_strengths(
        easting_m=pose.easting_m, northing_m=pose.northing_m, height_above_ground_m=pose.height_above_ground_m,
        azimuth_grid_deg=pose.azimuth_deg, tag_easting_m=tag_easting_m, tag_northing_m=tag_northing_m,
        tag_power_db=tag.power_db + plan.gain_db, tag_height_m=tag.height_m,
        physics=physics, terrain=terrain, generator=generator, threshold_db=floor_db + HEARD_ABOVE_NOISE_DB)


def receiver_columns(plan: FlightPlan, plane: Projection, generator) -> list[str]:
    """Time, position, height and azimuth of each record as the log writes them."""
    pose = plan.path.at(plan.seconds)
    count = len(plan.seconds)
    east_m, north_m = 1.2 * normals(generator, count), 1.2 * normals(generator, count)
    latitude, longitude = plane.inverse(pose.easting_m + east_m, pose.northing_m + north_m)
    height_m = pose.height_above_ground_m + 0.8 * normals(generator, count)
    azimuth_deg = np.round(pose.azimuth_deg + plan.azimuth_bias_deg + 2.0 * normals(generator, count)).astype(int) % 360
    lost_s = plan.lost_s or (-1, -1)
    lost = (plan.seconds >= lost_s[0]) & (plan.seconds < lost_s[1])
    places = [f"{north:.6f},{east:.6f}" if known else "," for north, east, known in zip(latitude, longitude, ~lost)]
    return [f"{time},{place},{height:.1f},{azimuth}"
            for time, place, height, azimuth in zip(plan.times, places, height_m, azimuth_deg)]


def log_rows(plan: FlightPlan, tags: list[Tag], stays: list[Stay], strengths: list[np.ndarray], *, plane: Projection,
             floor_db, generator, false_hits: dict | None = None) -> list[str]:
    """The lines of a receiver log under its header: record by record, every tag in each.

    stays and strengths go with tags. false_hits : {(tag_id, record): (strength, pulse rate)}, sounds that no tag made.
    """
    receiver = receiver_columns(plan, plane, generator)
    pulses = [tag.pulse_mortality_per_min if stay.mode == "mortality" else tag.pulse_live_per_min for tag, stay in zip(tags, stays)]
    rows = []
    for record, place in enumerate(receiver):
        jitter, noise = normals(generator, len(tags)), floor_db[record] + 0.4 * normals(generator, len(tags))
        block = []
        for index, tag in enumerate(tags):
            strength, pulse = strengths[index][record], pulses[index] + PULSE_JITTER_PER_MIN * jitter[index]
            strength, pulse = (false_hits or {}).get((tag.tag_id, record), (strength, pulse))
            sound = "," if np.isnan(strength) else f"{strength:.1f},{pulse:.1f}"
            block.append(f"{place},{tag.tag_id},{sound},{np.round(noise[index] * 2) / 2:.1f}")
        rows += block * (2 if record in plan.doubled else 1)
    return rows


def write_lines(path: FilePath, lines) -> None:
    """Text with line feeds, whatever the machine."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(("\n".join(lines) + "\n").encode("utf-8"))


def write_registers(folder: FilePath, tags: list[Tag], beacon_places: dict, plane: Projection, generator) -> None:
    """tags.csv for animals and decoys, beacons.csv for beacons; beacon_places : {tag_id: (easting, northing)} [m]."""
    write_lines(folder / "tags.csv", [TAGS_HEADER, *(_register_row(tag) for tag in tags if tag.role != "beacon")])
    rows = [_beacon_row(tag, beacon_places[tag.tag_id], plane, generator) for tag in tags if tag.role == "beacon"]
    write_lines(folder / "beacons.csv", [BEACONS_HEADER, *rows])


def _register_row(tag: Tag) -> str:
    return (f"{tag.tag_id},{tag.animal_id},{tag.species},{tag.frequency_mhz:.3f},{tag.tag_type},{tag.pulse_live_per_min:.0f},"
            f"{tag.pulse_mortality_per_min:.0f},{tag.deployed_utc},{tag.expected_end_utc},{str(tag.role == 'decoy').lower()}")


def _beacon_row(tag: Tag, place, plane: Projection, generator) -> str:
    """The surveyed place, off the true one by what its sd says."""
    sd_m = round(float(uniforms(generator, 0.5, 2.5)), 1)
    latitude, longitude = plane.inverse(*(value + sd_m * float(normals(generator)) for value in place))
    return (f"{tag.tag_id},{latitude:.6f},{longitude:.6f},{tag.height_m:.1f},{sd_m:.1f},{tag.tag_type},"
            f"{tag.frequency_mhz:.3f},{tag.deployed_utc},,")


def write_study_area(path: FilePath, corners_m, plane: Projection, name: str) -> None:
    """A GeoJSON polygon in WGS 84, wound counter-clockwise as RFC 7946 asks when the corners are."""
    latitude, longitude = plane.inverse(*np.asarray(corners_m, float).T)
    ring = [[round(float(east), 6), round(float(north), 6)] for east, north in zip(longitude, latitude)]
    feature = {"type": "Feature", "properties": {"name": name}, "geometry": {"type": "Polygon", "coordinates": [ring + ring[:1]]}}
    write_lines(path, [json.dumps({"type": "FeatureCollection", "features": [feature]}, indent=1)])


def write_terrain(path: FilePath, terrain, plane: Projection, crs: str, *, half_width_m: float = 2700.0,
                  cell_m: float = 30.0) -> None:
    """Ground heights as a GeoTIFF in another CRS than the flights are made in, as terrain models come."""
    there = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    latitude, longitude = plane.inverse(0.0, 0.0)
    centre = np.round(np.array(there.transform(longitude, latitude)) / cell_m) * cell_m
    west_m, north_m, cells = centre[0] - half_width_m, centre[1] + half_width_m, int(2 * half_width_m / cell_m)
    middle_m = (np.arange(cells) + 0.5) * cell_m
    longitude, latitude = there.transform(*np.meshgrid(west_m + middle_m, north_m - middle_m), direction="INVERSE")
    height_m = np.round(terrain.at(*plane.forward(latitude, longitude)), 1).astype("float32")
    # Not compressed: compressed bytes differ between releases of the compression library.
    with rasterio.open(path, "w", driver="GTiff", height=cells, width=cells, count=1, dtype="float32", crs=crs,
                       transform=from_origin(west_m, north_m, cell_m, cell_m), nodata=-9999.0) as raster:
        raster.write(height_m, 1)


def power_heard_once(tag: Tag, times_heard, *, highest_db: float) -> Tag:
    """The tag with a power at which it is heard exactly once in all, found by halving; times_heard(tag) tells how often it is heard.

    ValueError when it goes from never to twice at one power.
    """
    low_db, high_db = highest_db - 60.0, highest_db
    for _ in range(14):
        weaker = replace(tag, power_db=round((low_db + high_db) / 2, 2))
        times = times_heard(weaker)
        if times == 1:
            return weaker
        low_db, high_db = (weaker.power_db, high_db) if times == 0 else (low_db, weaker.power_db)
    raise ValueError(f"{tag.tag_id} cannot be heard exactly once at any power")


def flight_stream(seed: int, kind: int, flight: int, tag: int = 0) -> np.random.Generator:
    """The random numbers of one purpose (kind) in one flight and, where it matters, for one tag."""
    return stream(seed, 2, kind, flight, tag)
