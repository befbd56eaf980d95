"""The invented animals, beacons and decoys of the demo campaign and what happens to each."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri
from shapely.geometry import Point, Polygon

from .animals import Stay, Tag
from .draws import stream, uniforms
from .flights import turned
from .physics import Physics

VALLEY_BEARING_DEG = 62.0
# Here and below, places in the valley are metres to the right of its axis and along it, turned into local east and north on use.
_CORNERS_M = [(-1650, -1700), (1150, -1700), (1650, -1250), (1650, 1550), (1250, 1700), (-1450, 1700), (-1650, 1350)]
AREA_CORNERS_M = turned(_CORNERS_M, VALLEY_BEARING_DEG)
AREA = Polygon(AREA_CORNERS_M)
DAY_OF_FLIGHT = (0, 0, 1, 1, 2, 2)
HARE, GROUSE = "hare collar", "grouse backpack"
PULSES_PER_MIN = {HARE: (40.0, 80.0), GROUSE: (55.0, 110.0)}
SPECIES = {HARE: "Lepus timidus", GROUSE: "Lyrurus tetrix"}
SETTLED_BETWEEN_DAYS_M = {HARE: (100.0, 500.0), GROUSE: (100.0, 800.0)}
SETTLED_WITHIN_DAY_M = {HARE: 60.0, GROUSE: 110.0}

# Where those stand whose story depends on it.
FIRST_PLACES_M = {"H05": (-330, 420), "G08": (420, -520), "H09": (700, 1250), "H02": (-260, -560), "G06": (260, 760), "G11": (-1540, 150)}
WALKS = {("H02", 1): ((80, 205), (420, 900)), ("G06", 4): ((-150, 235), (300, 840))}  # metres east and north, from and to second
MORTALITY_FROM_FLIGHT = {"H05": 0, "G08": 2}
LEAVES_BEFORE_FLIGHT = {"H09": 2}
DEAD_TRANSMITTERS = ("G03",)
HEARD_ONCE = "H12"
WEAK = {"G11": -46.5}
STORIES = {
    "H05": "mortality signal since before the first flight",
    "G08": "mortality signal from the second day on",
    "H09": "leaves the area after the first day",
    "G03": "dead transmitter; the bird is in the area",
    "H12": "weak transmitter; heard once in all",
    "H02": "walks during flight 0421-b",
    "G06": "walks during flight 0507-a",
    "G11": "beside one leg of the first loop; seen from one side only",
    "D01": "switched off; one false hit",
    "D02": "switched off",
}
BEACON_PLACES_M = ((-1150, -1200), (-60, -1330), (1130, -1010), (-1320, 90), (210, -140), (1240, 250),
                   (-890, 1260), (330, 1120), (1210, 1330))
BEACON_TYPES = (HARE, GROUSE, HARE, GROUSE, HARE, GROUSE, HARE, GROUSE, HARE)


def cast(seed: int, physics: Physics) -> list[Tag]:
    """28 animals, 9 beacons and 2 decoys, each with a power of its own."""
    generator = stream(seed, 3)
    names = [(f"H{number:02d}", HARE, "animal") for number in range(1, 17)]
    names += [(f"G{number:02d}", GROUSE, "animal") for number in range(1, 13)]
    names += [(f"B{number:02d}", tag_type, "beacon") for number, tag_type in enumerate(BEACON_TYPES, 1)]
    names += [("D01", HARE, "decoy"), ("D02", GROUSE, "decoy")]
    powers_db = _powers_db(names, physics, generator)
    return [_tag(index, *name, powers_db[name[0]], generator) for index, name in enumerate(names)]


def _powers_db(names, physics: Physics, generator) -> dict:
    """Powers spread as evenly as a normal law allows within each type and role, dealt out at random: no lucky or unlucky set of beacons."""
    powers_db = {}
    for kind in sorted({name[1:] for name in names}):
        ids = [name[0] for name in names if name[1:] == kind]
        spread = ndtri((np.argsort(generator.random(len(ids))) + 0.5) / len(ids))
        powers_db |= {tag_id: physics.power_mean_db[kind[0]] + physics.power_sd_db * float(value) for tag_id, value in zip(ids, spread)}
    return powers_db | WEAK


def _tag(index: int, tag_id: str, tag_type: str, role: str, power_db: float, generator) -> Tag:
    day, height_m = int(uniforms(generator, 0, 34)), float(uniforms(generator, 0.1, 0.5))
    silent = role == "decoy" or tag_id in DEAD_TRANSMITTERS
    animal = role == "animal"
    caught = f"2026-03-{day + 1:02d}T07:30:00Z" if day < 31 else f"2026-04-{day - 30:02d}T07:30:00Z"
    live, mortality = PULSES_PER_MIN[tag_type]
    return Tag(
        tag_id, tag_type, role, frequency_mhz=round(150.010 + 0.020 * index, 3),
        power_db=float("-inf") if silent else round(power_db, 2), height_m=round(height_m, 1),
        animal_id=f"{'LT' if tag_type == HARE else 'TT'}26-{tag_id[1:]}" if animal else "",
        species=SPECIES[tag_type] if animal else "",
        pulse_live_per_min=live, pulse_mortality_per_min=mortality,
        deployed_utc="2026-04-20T09:00:00Z" if role == "beacon" else caught if animal else "",
        expected_end_utc="" if not animal else "2027-09-30T00:00:00Z" if tag_type == HARE else "2027-03-31T00:00:00Z")


def beacon_places(tags: list[Tag]) -> dict:
    """{tag_id: (easting, northing)}: near, middle and edge, both sides of the valley. [m]"""
    beacons = [tag.tag_id for tag in tags if tag.role == "beacon"]
    return {tag_id: _turned_place(place) for tag_id, place in zip(beacons, BEACON_PLACES_M)}


def stays_of(tag: Tag, first_place, generator) -> list[Stay]:
    """Where an animal is in each of the six flights."""
    place, day = first_place, 0
    stays = []
    for flight, flight_day in enumerate(DAY_OF_FLIGHT):
        if flight:
            low, high = SETTLED_BETWEEN_DAYS_M[tag.tag_type] if flight_day > day else (0.0, SETTLED_WITHIN_DAY_M[tag.tag_type])
            place = _near(place, low, high, generator) if _moves(tag, flight) else place
        day = flight_day
        stays.append(_stay(tag, flight, place, generator))
        place = stays[-1].end
    return stays


def _moves(tag: Tag, flight: int) -> bool:
    return flight < MORTALITY_FROM_FLIGHT.get(tag.tag_id, 99)


def _stay(tag: Tag, flight: int, place, generator) -> Stay:
    drift = _near(place, 0.0, 45.0, generator)
    begin = float(uniforms(generator, 100, 600))
    if flight >= LEAVES_BEFORE_FLIGHT.get(tag.tag_id, 99):
        away = _turned_place((900, 7300 + 150 * flight))
        return Stay(away, away, in_area=False)
    if not _moves(tag, flight):
        return Stay(place, place, mode="mortality")
    if (tag.tag_id, flight) in WALKS:
        way, walk_s = WALKS[tag.tag_id, flight]
        return Stay(place, (place[0] + way[0], place[1] + way[1]), walk_s)
    return Stay(place, drift, (begin, begin + 500.0), mode="silent" if tag.tag_id in DEAD_TRANSMITTERS else "live")


def first_places(tags: list[Tag], seed: int, terrain) -> dict:
    """{tag_id: (easting, northing)} in the first flight: where the story asks, else spread over ground the species likes. [m]"""
    generator = stream(seed, 9)
    places = {tag_id: _turned_place(place) for tag_id, place in FIRST_PLACES_M.items()}
    for tag in tags:
        if tag.tag_id not in places:
            fitting = [_fitting_place(tag, terrain, generator) for _ in range(5)]
            room_m = [min(np.hypot(place[0] - other[0], place[1] - other[1]) for other in places.values()) for place in fitting]
            places[tag.tag_id] = fitting[int(np.argmax(room_m))]
    return places


def _turned_place(place_m) -> tuple[float, float]:
    return tuple(float(value) for value in turned([place_m], VALLEY_BEARING_DEG)[0])


def _fitting_place(tag: Tag, terrain, generator) -> tuple[float, float]:
    low_m, high_m = np.quantile(terrain.at(*turned(BEACON_PLACES_M, VALLEY_BEARING_DEG).T), (0.25, 0.75))
    while True:
        place = tuple(float(value) for value in uniforms(generator, -2300, 2300, 2))
        height_m = float(terrain.at(*place))
        # Hares keep off the valley floor, black grouse off the tops.
        fits = height_m > low_m if tag.tag_type == HARE else height_m < high_m
        if fits and AREA.buffer(-150).contains(Point(place)):
            return place


def _near(place, low_m: float, high_m: float, generator) -> tuple[float, float]:
    """A place between low_m and high_m away, inside the area unless the animal stands within 100 m of its edge."""
    for _ in range(60):
        reach, bearing = uniforms(generator, low_m, high_m), uniforms(generator, 0, 2 * np.pi)
        there = (float(place[0] + reach * np.sin(bearing)), float(place[1] + reach * np.cos(bearing)))
        if AREA.buffer(-80).contains(Point(there)):
            break
    return there
