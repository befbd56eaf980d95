"""Times of a log in UTC."""

import numpy as np
import pandas as pd
import pytest

from intake_sample import codes, said
from pipeline.intake.findings import Findings
from pipeline.intake.log_format import Clock
from pipeline.intake.times import parse_times


def times_of(cells, *, column="time", file="log.csv", dates=None, **clock):
    findings = Findings()
    dates = pd.Series(dates) if dates is not None else None
    times = parse_times(pd.Series(cells), clock=Clock(**clock), column=column, file=file, lines=np.arange(len(cells)) + 2, findings=findings, dates=dates)
    assert str(times.dtype) == "datetime64[us, UTC]"
    return times, findings


def as_text(times):
    return [None if pd.isna(time) else time.strftime("%Y-%m-%dT%H:%M:%S") for time in times]


def test_iso_times_with_z_need_no_time_zone():
    times, findings = times_of(["2027-04-25T10:00:00Z", "2027-04-25 10:00:06.5Z"])
    assert as_text(times) == ["2027-04-25T10:00:00", "2027-04-25T10:00:06"] and findings.messages == []
    assert times.iloc[1].microsecond == 500000


def test_offsets_are_applied_and_may_differ():
    assert as_text(times_of(["2027-04-25T10:00:00+02:00", "2027-04-25T10:00:00-0800"])[0]) == ["2027-04-25T08:00:00", "2027-04-25T18:00:00"]


def test_a_missing_time_zone_stops_the_run():
    times, findings = times_of(["2027-04-25 10:00:00"])
    assert times.isna().all()
    message = said(findings.blocking, "time-zone-missing")
    assert message.text == "Time zone missing" and "receiver_log.time_zone" in message.remedy


def test_a_column_named_utc_is_utc():
    assert as_text(times_of(["2027-04-25 10:00:00"], column="UTC time")[0]) == ["2027-04-25T10:00:00"]


def test_local_time_is_turned_into_utc_by_the_season():
    times, _ = times_of(["2027-01-25 10:00:00", "2027-07-25 10:00:00"], time_zone="Europe/Berlin")
    assert as_text(times) == ["2027-01-25T09:00:00", "2027-07-25T08:00:00"]


def test_an_ambiguous_day_and_month_stops_the_run():
    _, findings = times_of(["03/04/2027 10:00:00", "05/04/2027 10:00:00"], time_zone="UTC")
    message = said(findings.blocking, "date-ambiguous")
    assert message.text == "03/04/2027 could be two dates" and message.line == 2 and "date_format" in message.remedy


def test_a_day_above_twelve_proves_the_order_and_is_told():
    times, findings = times_of(["03.04.2027 10:00:00", "25.04.2027 10:00:00"], time_zone="UTC")
    assert as_text(times) == ["2027-04-03T10:00:00", "2027-04-25T10:00:00"]
    assert said(findings, "date-order-found").text == "Dates in 'time' read day first"


def test_dates_that_contradict_each_other_stop_the_run():
    _, findings = times_of(["25.04.2027 10:00:00", "04.25.2027 10:00:00"], time_zone="UTC")
    assert "some dates read day first and some month first" in said(findings.blocking, "date-ambiguous").text.lower()


def test_the_declared_order_is_followed():
    assert as_text(times_of(["3/4/2027 9:05:00"], date_format="day first", time_zone="UTC")[0]) == ["2027-04-03T09:05:00"]
    assert as_text(times_of(["3/4/2027 09:05"], date_format="month first", time_zone="UTC")[0]) == ["2027-03-04T09:05:00"]


def test_two_digit_years_and_the_twelve_hour_clock():
    assert as_text(times_of(["25/04/27 03:05:09 PM"], date_format="day first", time_zone="UTC")[0]) == ["2027-04-25T15:05:09"]


def test_a_pattern_is_followed():
    assert as_text(times_of(["25 Apr 2027, 10h05"], date_format="%d %b %Y, %Hh%M", time_zone="UTC")[0]) == ["2027-04-25T10:05:00"]


def test_seconds_and_milliseconds_since_1970_are_recognised_and_told():
    times, findings = times_of(["1808647200", "1808647206.25"])
    assert as_text(times) == ["2027-04-25T10:00:00", "2027-04-25T10:00:06"] and said(findings, "time-epoch").severity == "note"
    assert as_text(times_of(["1808647200000"])[0]) == ["2027-04-25T10:00:00"]


def test_gps_time_is_eighteen_seconds_ahead():
    assert as_text(times_of(["2027-04-25 10:00:18"], time_zone="GPS")[0]) == ["2027-04-25T10:00:00"]


def test_times_of_day_cross_midnight():
    times, findings = times_of(["23:59:54", "23:59:54", "00:00:00", "00:00:06"], file="flights/2027-04-25.csv", time_zone="UTC")
    assert as_text(times) == ["2027-04-25T23:59:54", "2027-04-25T23:59:54", "2027-04-26T00:00:00", "2027-04-26T00:00:06"]
    assert said(findings, "date-advanced").text == "Date advanced at midnight 1 time"


def test_times_of_day_take_the_declared_date_or_the_date_column():
    assert as_text(times_of(["10:00:00"], date="2027-04-25", time_zone="UTC")[0]) == ["2027-04-25T10:00:00"]
    assert as_text(times_of(["10:00:00"], dates=["25.04.2027"], date_format="day first", time_zone="UTC")[0]) == ["2027-04-25T10:00:00"]


def test_times_of_day_without_any_date_stop_the_run():
    assert "Times of day without a date" in said(times_of(["10:00:00"], time_zone="UTC")[1].blocking, "date-missing").text


def test_the_repeated_hour_is_settled_by_the_step_back():
    # clocks went from 03:00 back to 02:00 on 2027-10-31 in Berlin
    cells = ["2027-10-31 02:58:00", "2027-10-31 02:59:30", "2027-10-31 02:00:30", "2027-10-31 02:02:00"]
    times, findings = times_of(cells, time_zone="Europe/Berlin")
    assert as_text(times) == ["2027-10-31T00:58:00", "2027-10-31T00:59:30", "2027-10-31T01:00:30", "2027-10-31T01:02:00"]
    assert said(findings, "clock-hour-twice").text == "02:00-03:00 occurs twice on 2027-10-31 in Europe/Berlin"


def test_a_flight_that_runs_out_of_the_repeated_hour_began_in_its_second_pass():
    times, _ = times_of(["2027-10-31 02:58:00", "2027-10-31 03:01:00"], time_zone="Europe/Berlin")
    assert as_text(times) == ["2027-10-31T01:58:00", "2027-10-31T02:01:00"]


def test_a_flight_that_runs_into_the_repeated_hour_is_in_its_first_pass():
    times, _ = times_of(["2027-10-31 01:58:00", "2027-10-31 02:01:00"], time_zone="Europe/Berlin")
    assert as_text(times) == ["2027-10-30T23:58:00", "2027-10-31T00:01:00"]


def test_an_hour_that_does_not_exist_is_told():
    times, findings = times_of(["2027-03-28 02:30:00"], time_zone="Europe/Berlin")
    assert as_text(times) == ["2027-03-28T01:30:00"]
    assert said(findings, "clock-hour-missing").text == "2027-03-28 02:30 does not exist in Europe/Berlin"


def test_an_unreadable_time_is_told_with_its_line_and_the_rest_is_read():
    times, findings = times_of(["2027-04-25T10:00:00Z", "??", "2027-04-25T10:00:06Z"])
    assert as_text(times) == ["2027-04-25T10:00:00", None, "2027-04-25T10:00:06"]
    assert (said(findings, "time-unreadable").line, said(findings, "time-unreadable").value) == (3, "??")


def test_a_column_without_any_time_stops_the_run():
    assert "date_format" in said(times_of(["noon", "soon"], time_zone="UTC")[1].blocking, "time-unreadable").remedy


def test_a_day_that_does_not_exist_is_unreadable():
    assert "time-unreadable" in codes(times_of(["2027-02-30T10:00:00Z", "2027-04-25T10:00:00Z"])[1])


@pytest.mark.parametrize("zone", ["UTC", "Europe/Berlin", "GPS"])
def test_many_rows_of_one_time_are_read_alike(zone):
    times, _ = times_of(["2027-04-25 10:00:00"] * 50, time_zone=zone)
    assert times.nunique() == 1


def test_a_year_that_cannot_be_is_unreadable():
    times, findings = times_of(["-999", "2027-04-25T10:00:00Z", "9999-01-01T00:00:00Z"])
    assert as_text(times) == [None, "2027-04-25T10:00:00", None] and said(findings, "time-unreadable").text == "2 records without a readable time"
