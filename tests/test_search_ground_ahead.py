"""Hills and canopy along flights that were not flown: against the exact loss, profile by profile."""

import numpy as np
import pytest

from pipeline.radio import Canopy, Listening, TerrainLoss, steps_along
from pipeline.search import GroundAhead, Sought, candidate_flights, cautious_strengths, rank_flights
from tests.radio_sample import signal_model

CELL_M = 25.0
AXIS = np.arange(-2487.5, 2500.0, CELL_M)
EAST, NORTH = np.meshgrid(AXIS, -AXIS)
# A ridge of 120 m from south to north along easting 0, 400 m wide at half its height.
RIDGE = TerrainLoss(120.0 * np.exp(-0.5 * (EAST / 170.0) ** 2), -2500.0, 2500.0, CELL_M)
WOODS = Canopy(np.where(EAST > 0.0, 15.0, 0.0), -2500.0, 2500.0, CELL_M)
WHOLE = (-2000.0, -2000.0, 2000.0, 2000.0)


def line(easting_m, height_m=80.0, records=60):
    """North along one easting, a record every 60 m."""
    east, north, blank = np.full(records, easting_m), -1770.0 + 60.0 * np.arange(records), np.full(records, np.nan)
    return Listening(east, north, np.full(records, height_m), blank, blank, blank, steps_along(east, north))


def places(count=200):
    return np.random.default_rng(3).uniform(-1800.0, 1800.0, (2, count))


def test_the_loss_along_a_proposed_track_is_that_of_its_profiles_to_a_decibel_or_two():
    flight, (east, north) = line(-730.0), places()
    exact, read_off = RIDGE.loss_db(flight, east, north), GroundAhead(RIDGE, None, WHOLE, WHOLE).along(flight).terrain.loss_db(east, north)
    assert exact.std() > 6.0
    assert np.sqrt(np.mean((read_off - exact) ** 2)) < 0.25 * exact.std() and abs((read_off - exact).mean()) < 0.5


def test_a_finer_lattice_comes_nearer():
    flight, (east, north) = line(-730.0, records=12), places(60)
    exact = RIDGE.loss_db(flight, east, north)
    errors = [np.abs(GroundAhead(RIDGE, None, (-800, -1800, -650, -1000), WHOLE, spacing_m).along(flight).terrain.loss_db(east, north) - exact).mean() for spacing_m in (400.0, 100.0)]
    assert errors[1] < 0.5 * errors[0]


def test_relief_enters_the_slant_distance_as_it_does_for_flights_that_were_flown():
    flight, (east, north) = line(0.0), places()
    climb_m = GroundAhead(RIDGE, None, WHOLE, WHOLE).along(flight).terrain.climb_m(east, north)
    ground_m = 120.0 * np.exp(-0.5 * (east / 170.0) ** 2)
    assert np.abs(climb_m - (120.0 - ground_m)[None, :]).max() < 30.0  # between places 200 m apart
    assert climb_m[0, np.abs(east) > 900.0] == pytest.approx(120.0, abs=1.0)


def test_the_way_through_canopy_is_that_of_its_rays():
    flight, (east, north) = line(-730.0), places()
    exact, read_off = WOODS.way_m(flight, east, north), GroundAhead(None, WOODS, WHOLE, WHOLE).along(flight).canopy.way_m(east, north)
    assert exact.max() > 100.0
    assert np.sqrt(np.mean((read_off - exact) ** 2)) < 0.25 * exact.std()


def test_each_height_has_a_lattice_of_its_own_and_a_flight_has_one_height():
    ahead, (east, north) = GroundAhead(RIDGE, None, WHOLE, WHOLE), places()
    low, high = (ahead.along(line(-730.0, height_m)).terrain.loss_db(east, north).mean() for height_m in (40.0, 120.0))
    exact_low, exact_high = (RIDGE.loss_db(line(-730.0, height_m), east, north).mean() for height_m in (40.0, 120.0))
    assert exact_low > exact_high and low - high == pytest.approx(exact_low - exact_high, rel=0.3)
    climbing = line(-730.0)
    climbing.height_above_ground_m[3] = 90.0
    with pytest.raises(ValueError, match="one height above the ground, got 80 to 90 m"):
        ahead.along(climbing)


def test_without_ground_the_listening_is_as_it_was():
    assert GroundAhead(None, None, WHOLE, WHOLE).along(line(0.0)).terrain is None


def test_a_tag_behind_a_ridge_is_looked_for_from_its_own_side():
    model = signal_model(power_mean_db={"collar": -42.0}, terrain_share=1.0)
    axis = np.arange(-1500.0, 1600.0, 300.0)
    east, north = (values.ravel() for values in np.meshgrid(axis, axis))
    strengths = cautious_strengths((model,), "collar")
    behind = (east > 300.0).astype(float)
    tag = Sought("M1", strengths, behind / behind.sum(), np.zeros((*strengths.power_db.shape, len(east))))
    flights = candidate_flights(east, north, [(-900.0, 0.0)], minutes=12.0, heights_m=(60.0,))
    ranked = [rank_flights(flights, [tag], [], model, east, north, ahead=ahead).set_index("name")["adequacy_gain"] for ahead in (None, GroundAhead(RIDGE, None, WHOLE, WHOLE))]
    this_side = [each.name for each in flights if each.waypoints_m[:, 0].max() < -300.0]
    assert len(this_side) >= 3 and all(ranked[1][name] < 0.8 * ranked[0][name] for name in this_side)
    best = next(each for each in flights if each.name == ranked[1].idxmax())
    assert best.middle_m[0] > 0.0
