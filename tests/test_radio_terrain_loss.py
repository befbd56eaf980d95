"""What hills take from a signal: obvious answers on made ground, and profile by profile on the demo's valley."""

import io
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from pipeline.intake import Terrain
from pipeline.radio import diffraction as dif
from pipeline.radio.terrain_loss import FlightTerrainLoss, TerrainLoss

CELL_M = 20.0
SIDE = 161
# The centre of the middle cell is at (0, 0).
WEST_M, NORTH_M = -SIDE * CELL_M / 2, SIDE * CELL_M / 2
EAST, NORTH = np.meshgrid((np.arange(SIDE) - SIDE // 2) * CELL_M, (SIDE // 2 - np.arange(SIDE)) * CELL_M)


def terrain(height_m) -> TerrainLoss:
    return TerrainLoss(height_m + 0.0 * EAST, WEST_M, NORTH_M, CELL_M, 150.0)


def receivers(easting_m, northing_m, height_m=80.0):
    east = np.atleast_1d(np.asarray(easting_m, float))
    return SimpleNamespace(easting_m=east, northing_m=np.broadcast_to(northing_m, east.shape).astype(float), height_above_ground_m=np.broadcast_to(height_m, east.shape).astype(float))


def wall(height_m):
    """A ridge one cell wide along the line easting = 0."""
    return np.where(EAST == 0, height_m, 0.0)


def rough_ground(seed=1):
    generator = np.random.default_rng(seed)
    waves = [(generator.uniform(0.002, 0.02), generator.uniform(0, np.pi), generator.uniform(0, 6.28), generator.uniform(3, 15)) for _ in range(15)]
    return sum(high * np.sin(pace * (EAST * np.sin(turn) + NORTH * np.cos(turn)) + phase) for pace, turn, phase, high in waves)


@pytest.mark.parametrize("slope", [0.0, 0.15])
@pytest.mark.parametrize("height_m", [2.0, 80.0])
def test_level_ground_and_an_even_slope_take_nothing(slope, height_m):
    places = np.linspace(-1500.0, 1500.0, 61)
    loss = terrain(slope * EAST).loss_db(receivers([-1550.0, 0.0], 300.0, height_m), places, 0.3 * places)
    assert np.abs(loss).max() < 0.05


@pytest.mark.parametrize("height_m", [60.0, 150.0])
def test_a_wall_between_costs_its_knife_edge(height_m):
    """Against the exact loss of one edge, ITU-R P.526-15 section 4.1, with what section 4.5.1 adds for rough ground and less level ground."""
    loss = terrain(wall(height_m)).loss_db(receivers(-800.0, 0.0, 20.0), [800.0], [0.0])[0, 0]
    wavelength = dif.wavelength_m(150.0)
    above = height_m + 800.0**2 / (2 * dif.EFFECTIVE_EARTH_RADIUS_M) - 0.5 * (20.0 + 0.3)
    edge = dif.knife_edge_loss_db(dif.fresnel_parameter(above, 800.0, 800.0, wavelength))
    expected = edge + (1 - np.exp(-edge / 6)) * (10 + 0.02 * 1.6) - dif.level_ground_loss_db(1600.0, 20.0, 0.3, wavelength, nearest_m=CELL_M)
    assert loss == pytest.approx(expected, abs=0.13)


def test_the_loss_grows_with_the_depth_of_the_shadow():
    higher = [terrain(wall(height)).loss_db(receivers(-800.0, 0.0), [600.0], [0.0])[0, 0] for height in (60.0, 80.0, 120.0, 200.0)]
    assert (np.diff(higher) > 1.0).all()
    nearer = terrain(wall(120.0)).loss_db(receivers(-800.0, 0.0), [100.0, 200.0, 400.0, 800.0], np.zeros(4))[0]
    assert (np.diff(nearer) < 0.0).all()


def test_flying_high_enough_looks_over_the_wall():
    """From low down a higher receiver gains as much over level ground as behind the wall, so that only the way over it shows."""
    low, middle, high = terrain(wall(120.0)).loss_db(receivers([-800.0] * 3, 0.0, [80.0, 200.0, 600.0]), [600.0], [0.0])[:, 0]
    assert low > middle + 0.5 > 20.0
    assert high == 0.0


def test_a_wall_behind_the_tag_costs_nothing():
    with_wall, without = (terrain(ground).loss_db(receivers(-800.0, 0.0), [-300.0], [0.0]) for ground in (wall(150.0), 0.0))
    assert with_wall == pytest.approx(without)


def test_a_tag_on_a_slope_that_faces_the_receiver_is_heard_better_than_over_level_ground():
    slope = np.maximum(0.0, 0.4 * (EAST - 400.0))
    facing, behind = (terrain(sign * slope).loss_db(receivers(-400.0, 0.0), [900.0], [0.0])[0, 0] for sign in (1, -1))
    assert facing < -2.0
    assert behind > 5.0


def test_receiver_and_tag_may_change_places():
    ground = terrain(rough_ground())
    generator = np.random.default_rng(3)
    here, there = generator.uniform(-1500, 1500, (2, 40)), generator.uniform(-1500, 1500, (2, 40))
    forth = ground.loss_db(receivers(here[0], here[1], 60.0), *there, tag_height_m=1.0)
    back = ground.loss_db(receivers(there[0], there[1], 1.0), *here, tag_height_m=60.0)
    assert np.ptp(forth) > 20.0
    np.testing.assert_allclose(forth, back.T, atol=0.02)


def test_mirrored_ground_mirrors_the_loss():
    ground = rough_ground()
    generator = np.random.default_rng(3)
    place = generator.uniform(-1500, 1500, (2, 60))
    loss = terrain(ground).loss_db(receivers([-700.0, 430.0], [210.0, -900.0]), *place)
    mirrored = terrain(ground[:, ::-1]).loss_db(receivers([700.0, -430.0], [210.0, -900.0]), -place[0], place[1])
    turned = terrain(ground.T[::-1, ::-1]).loss_db(receivers([210.0, -900.0], [-700.0, 430.0]), place[1], place[0])
    np.testing.assert_allclose(loss, mirrored, atol=0.02)
    np.testing.assert_allclose(loss, turned, atol=0.02)


def test_straight_below_nothing_is_in_the_way():
    assert terrain(rough_ground()).loss_db(receivers(0.0, 0.0), [0.0, 15.0], [0.0, 20.0]).tolist() == [[0.0, 0.0]]


def test_a_finer_raster_of_the_same_ground_gives_the_same_loss():
    coarse = rough_ground()
    place = np.random.default_rng(3).uniform(-1500, 1500, (2, 200))
    known = Terrain(coarse, WEST_M, NORTH_M, CELL_M)
    fine_east, fine_north = np.meshgrid(WEST_M + 4.0 * (np.arange(5 * SIDE) + 0.5), NORTH_M - 4.0 * (np.arange(5 * SIDE) + 0.5))
    fine = TerrainLoss(known.at(fine_east, fine_north), WEST_M, NORTH_M, 4.0, 150.0)
    flown = receivers([-700.0, 430.0], [210.0, -900.0])
    difference = np.abs(fine.loss_db(flown, *place) - terrain(coarse).loss_db(flown, *place))
    assert fine.ground.cell_m == CELL_M
    assert np.median(difference) < 0.2 and np.quantile(difference, 0.95) < 1.0


def test_where_there_is_no_ground_the_loss_is_nought_and_the_share_is_told():
    height = rough_ground()
    height[:, EAST[0] > 1000.0] = np.nan
    area = (-1000.0, -1000.0, 2000.0, 1000.0)
    flight = terrain(height).along(receivers([-500.0, 500.0, 1500.0], 0.0), area, lattice_m=100.0)
    beyond = flight.loss_db(np.linspace(1100.0, 1900.0, 30), np.linspace(-800.0, 800.0, 30))
    assert (beyond == 0.0).all()
    assert (flight.loss_db([-300.0, 300.0], [500.0, 500.0])[:2] != 0.0).all()
    # 31 columns of places, of which those up to 1000 m have ground but for the last beside the hole; of three records one has none below it.
    assert flight.share_without_terrain == pytest.approx(1 - 2 / 3 * 20 / 31, abs=0.03)


def test_a_small_hole_between_is_left_out_and_a_large_one_makes_the_path_unknown():
    ground, small, large = (wall(100.0) for _ in range(3))
    small[75:86, 60] = np.nan
    large[70:91, 40:80] = np.nan
    losses = [terrain(height).along(receivers(-1000.0, 0.0), (1000.0, 0.0, 1000.0, 0.0)) for height in (ground, small, large)]
    assert [flight.share_without_terrain for flight in losses] == [0.0, 0.0, 1.0]
    assert losses[0].loss_db(1000.0, 0.0)[0, 0] == pytest.approx(losses[1].loss_db(1000.0, 0.0)[0, 0], abs=0.05)
    assert losses[2].loss_db(1000.0, 0.0)[0, 0] == 0.0


def test_no_ground_at_all_takes_nothing():
    flight = terrain(np.nan).along(receivers([0.0, 100.0], 0.0), (-500.0, -500.0, 500.0, 500.0))
    assert flight.share_without_terrain == 1.0
    assert (flight.loss_db([10.0, 20.0], [0.0, 30.0]) == 0.0).all()


def test_a_record_without_a_height_or_position_has_no_loss():
    flown = receivers([-700.0, np.nan, -700.0], 0.0, [80.0, 80.0, np.nan])
    loss = terrain(wall(100.0)).loss_db(flown, [600.0], [0.0])[:, 0]
    assert loss[0] > 10.0 and loss[1:].tolist() == [0.0, 0.0]


def a_flight(count=12, lattice_m=80.0):
    flown = receivers(np.linspace(-900.0, 900.0, count), 150.0)
    ground = terrain(rough_ground())
    return ground, flown, ground.along(flown, (-1200.0, -1100.0, 1200.0, 1130.0), record=100 + np.arange(count), lattice_m=lattice_m)


def test_at_the_places_of_the_lattice_the_loss_is_that_of_the_profiles():
    ground, flown, flight = a_flight()
    place = np.array([-1200.0, -400.0, 80.0]), np.array([-1100.0, 180.0, 20.0])
    np.testing.assert_allclose(flight.loss_db(*place), ground.loss_db(flown, *place), atol=0.03)


def test_the_lattice_covers_its_area_and_no_more_is_known_beyond():
    _, _, flight = a_flight()
    assert np.abs(flight.loss_db([1199.0, -1199.0], [1129.0, -1099.0])).min() > 0.0
    assert (flight.loss_db([1400.0, 0.0, 0.0], [0.0, -1101.0, 1300.0]) == 0.0).all()


def test_the_records_of_one_tag_are_found_by_their_numbers():
    _, _, flight = a_flight()
    place = [300.0, -200.0, 5.0], [100.0, 700.0, -300.0]
    whole = flight.loss_db(*place)
    some = flight.of_records([109, 102, 103])
    np.testing.assert_array_equal(some.loss_db(*place), whole[[9, 2, 3]])
    np.testing.assert_array_equal(some.chosen_records(np.arange(2)).loss_db(*place), whole[[9, 2]])
    np.testing.assert_array_equal(flight.chosen_records(np.arange(5)).loss_db(*place), whole[:5])
    assert [len(flight), len(some), len(flight.chosen_records(np.arange(5))), len(flight.of_records([]))] == [12, 3, 5, 0]
    with pytest.raises(ValueError, match=r"not of this flight: \[99\], 1 in all"):
        flight.of_records([99, 100])


def test_a_flight_comes_back_from_its_file_as_it_was():
    _, _, flight = a_flight()
    file = io.BytesIO()
    np.savez(file, **flight.to_arrays())
    file.seek(0)
    with np.load(file) as arrays:
        again = FlightTerrainLoss.from_arrays(arrays)
    place = [300.0, -200.0, 5.0], [100.0, 700.0, -300.0]
    np.testing.assert_array_equal(again.of_records([104]).loss_db(*place), flight.of_records([104]).loss_db(*place))
    assert again.share_without_terrain == flight.share_without_terrain


def test_a_frequency_or_a_cell_of_nothing_is_refused():
    with pytest.raises(ValueError, match="above 0"):
        TerrainLoss(np.zeros((3, 3)), 0.0, 0.0, 30.0, 0.0)
    with pytest.raises(ValueError, match="above 0"):
        TerrainLoss(np.zeros((3, 3)), 0.0, 0.0, 0.0)


@pytest.fixture(scope="module")
def valley(project):
    """The demo's terrain, and one of its flights in the same CRS."""
    import pandas as pd
    import rasterio
    from pyproj import Transformer

    with rasterio.open(project / "data" / "demo" / "terrain.tif") as raster:
        ground = Terrain(raster.read(1).astype(float), raster.bounds.left, raster.bounds.top, raster.transform.a)
        onto = Transformer.from_crs(4326, raster.crs, always_xy=True)
    rows = pd.read_csv(project / "data" / "demo" / "flights" / "0429-a.csv").drop_duplicates("time_utc").dropna(subset=["latitude", "height_m"])
    return ground, receivers(*onto.transform(rows["longitude"].to_numpy(), rows["latitude"].to_numpy()), rows["height_m"].to_numpy())


def profile_loss_db(ground: Terrain, start, height_m, end, tag_height_m=0.3):
    """One pair in double precision, points a quarter of a cell apart, from one cell off either end."""
    distance = float(np.hypot(end[0] - start[0], end[1] - start[1]))
    count = int(4 * distance / ground.cell_m)
    share = np.arange(4, count - 3) / max(count, 1)
    if len(share) == 0:
        return 0.0
    along = ground.at(start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1]))
    wavelength = dif.wavelength_m(150.0)
    behind = dif.bullington_loss_db(share[:, None], along[:, None], distance, ground.at(*start) + height_m, ground.at(*end) + tag_height_m, wavelength)[0]
    return behind - dif.level_ground_loss_db(distance, height_m, tag_height_m, wavelength, nearest_m=ground.cell_m)


def test_on_the_demos_valley_the_lattice_agrees_with_300_profiles_computed_one_by_one(valley):
    ground, flown = valley
    loss = TerrainLoss(ground.height_m, ground.west_m, ground.north_m, ground.cell_m, 150.0)
    centre = np.array([(flown.easting_m.min() + flown.easting_m.max()) / 2, (flown.northing_m.min() + flown.northing_m.max()) / 2])
    flight = loss.along(flown, (*(centre - 2000.0), *(centre + 2000.0)))
    generator = np.random.default_rng(11)
    record, place = generator.integers(0, len(flown.easting_m), 300), centre + generator.uniform(-2000.0, 2000.0, (300, 2))
    one_by_one = np.array([profile_loss_db(ground, (flown.easting_m[r], flown.northing_m[r]), flown.height_above_ground_m[r], p) for r, p in zip(record, place)])
    assert flight.share_without_terrain == 0.0
    assert one_by_one.min() < -5.0 and one_by_one.max() > 15.0
    for name, found, median_db, tail_db in [("profiles", loss.loss_db(flown, *place.T), 0.02, 0.1), ("lattice", flight.loss_db(*place.T), 0.06, 0.4)]:
        difference = np.abs(found[record, np.arange(300)] - one_by_one)
        print(f"{name}: median {np.median(difference):.3f} dB, 95 % {np.quantile(difference, 0.95):.3f} dB, spacing {flight.cell_m:.0f} m")
        assert np.median(difference) < median_db and np.quantile(difference, 0.95) < tail_db


def test_ground_that_falls_away_makes_the_way_to_the_tag_longer_and_steeper():
    """A plane that rises 0.2 m per metre to the north: what climb_m says, and what it does to slant distance and depression."""
    from pipeline.radio import sightlines
    from tests.radio_sample import listening

    north = np.arange(40)[::-1] * 50.0 + 25.0
    height = np.repeat(0.2 * north[:, None], 40, axis=1)
    flight = listening([1000.0, 1000.0], [1000.0, 1400.0], height_m=80.0)
    along = TerrainLoss(height, 0.0, 2000.0, 50.0).along(flight, (100.0, 100.0, 1900.0, 1900.0))
    np.testing.assert_allclose(along.climb_m([1000.0], [700.0])[:, 0], [60.0, 140.0], atol=0.01)
    assert np.isnan(along.climb_m([5000.0], [700.0])).all()
    np.testing.assert_allclose(along.of_records([1]).climb_m([1000.0], [700.0]), [[140.0]], atol=0.01)
    lines = sightlines(replace(flight, terrain=along), [1000.0], [700.0], 0.0)
    np.testing.assert_allclose(10 ** lines.log10_distance[:, 0], np.hypot([300.0, 700.0], [140.0, 220.0]), rtol=1e-4)
    np.testing.assert_allclose(lines.below[:, 0], np.square(np.array([140.0, 220.0]) / np.hypot([300.0, 700.0], [140.0, 220.0])), rtol=1e-3)
