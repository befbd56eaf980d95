"""Times against printed values."""

import numpy as np
import pandas as pd
import pytest

from pipeline.intake.findings import Findings
from pipeline.intake.log_format import Clock
from pipeline.intake.times import gps_to_utc, parse_times


def utc_seconds(text, **clock):
    times = parse_times(pd.Series([text]), clock=Clock(**clock), column="time", file="log.csv", lines=np.array([2]), findings=Findings())
    return (times.iloc[0] - pd.Timestamp(0, tz="UTC")) / pd.Timedelta(seconds=1)


@pytest.mark.parametrize("text, seconds", [
    ("1985-04-12T23:20:50.52Z", 482196050.52), ("1996-12-19T16:39:57-08:00", 851042397), ("1937-01-01T12:00:27.87+00:20", -1041337172.13),
])
def test_times_with_offsets(text, seconds):
    # 10.3: RFC 3339, section 5.8 (seconds since 1970 derived)
    assert utc_seconds(text) == pytest.approx(seconds, abs=1e-6)


def test_a_leap_second_is_a_time():
    # 10.4: RFC 3339, section 5.8, value from memory, recomputed: the second after 23:59:59
    assert utc_seconds("1990-12-31T23:59:60Z") == utc_seconds("1991-01-01T00:00:00Z")


def test_gps_seconds_of_new_year_2017():
    # 10.1: IERS Bulletin C through astropy: GPS second 1167264018 is 2017-01-01T00:00:00Z, GPS = Unix - 315964800 + 18
    assert utc_seconds("1167264018", date_format="gps seconds") == utc_seconds("2017-01-01T00:00:00Z") == 1167264018 + 315964800 - 18


@pytest.mark.parametrize("utc, ahead_s", [("2016-12-31T12:00:00Z", 17), ("2017-01-01T12:00:00Z", 18), ("2027-04-25T10:00:00Z", 18)])
def test_gps_time_is_ahead_of_utc(utc, ahead_s):
    # 10.1: IERS Bulletin C through astropy
    true = pd.Series([pd.Timestamp(utc)])
    assert gps_to_utc(true + pd.Timedelta(seconds=ahead_s)).iloc[0] == true.iloc[0]


def test_gps_week_2048_began_on_7_april_2019():
    # 10.2: weeks since 6 January 1980; the number in the signal starts again every 1024 weeks (IERS through astropy). GPS midnight is 18 s before midnight UTC
    assert utc_seconds(str(2048 * 7 * 86400), date_format="gps seconds") == utc_seconds("2019-04-07T00:00:00Z") - 18


def test_a_receiver_left_on_gps_time_is_180_m_off_at_10_metres_per_second():
    # 10.1: 18 s since 2017, three records of 6 s (IERS through astropy; the metres are arithmetic)
    as_utc, as_gps = (utc_seconds("2027-04-25T10:00:18", time_zone=zone) for zone in ("UTC", "GPS"))
    assert (as_utc - as_gps) * 10 == 180
