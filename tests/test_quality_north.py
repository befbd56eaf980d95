"""The north of the azimuths, with declination and convergence apart."""

import numpy as np
import pandas as pd
import pytest

from pipeline.geodesy import choose_projection
from pipeline.quality import north_findings


def track(latitude=57.2, longitude=-4.1, azimuth_deg=10.0, when="2027-04-25T10:00:00Z"):
    return pd.DataFrame({"time_utc": pd.to_datetime([when] * 3), "latitude": latitude, "longitude": longitude, "antenna_azimuth_deg": azimuth_deg})


def told(*arguments):
    return [message.text for message in north_findings(*arguments)]


def test_in_the_local_projection_grid_north_is_true_north():
    (text,) = told(track(), choose_projection([57.2], [-4.1]), "true")
    assert text.startswith("Antenna azimuths count from true north") and "not added; grid north is true north to a tenth of a degree" in text


def test_convergence_is_told_beside_the_declination_and_not_in_it():
    """1.1 degrees west of the meridian of UTM zone 30: 0.92 degrees, (longitude - 3 W) sin(latitude); the declination is that of the World Magnetic Model whatever the grid."""
    (utm,) = told(track(), choose_projection([0], [0], "EPSG:32630"), "true")
    (local,) = told(track(), choose_projection([57.2], [-4.1]), "true")
    assert "grid north lies 0.9 degrees west of true north" in utm
    assert utm.split("; ")[1] == local.split("; ")[1] and "World Magnetic Model 2025" in utm


@pytest.mark.parametrize("latitude, longitude, side", [(64.84, -147.72, "east"), (45.0, -68.0, "west")])
def test_magnetic_azimuths_say_that_the_declination_is_added(latitude, longitude, side):
    (text,) = told(track(latitude, longitude), choose_projection([latitude], [longitude]), "magnetic")
    assert "from magnetic north" in text and f"degrees {side} on 2027-04-25" in text and "added to the azimuths" in text


def test_a_date_that_no_model_reaches_is_said_and_without_azimuths_nothing_is():
    assert "no model gives the magnetic declination of this date" in told(track(when="2060-01-01T00:00:00Z"), choose_projection([57.2], [-4.1]), "true")[0]
    assert told(track(azimuth_deg=np.nan), choose_projection([57.2], [-4.1]), "true") == []
