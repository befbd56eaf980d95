"""One row per tag and flight with what its pulse rates say."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.columns import conform, require_columns
from pipeline.fate.pulse import count_passes, read_pulses

PULSES = {
    "tag_id": "text",
    "flight_id": "text",
    "fate": "text",                    # live | mortality | unclear | blank without pulse rates
    "fate_reason": "text",
    "records_with_rate": "int",
    "records_live": "int",
    "records_mortality": "int",
    "passes": "int",
    "passes_mortality": "int",         # passes with at least one record at the mortality rate
    "rate_per_min": "float",
    "probability_live": "float",
    "probability_mortality": "float",
    "first_utc": "time",               # first and last heard record
    "last_utc": "time",
}

_NEEDED = ("flight_id", "tag_id", "time_utc", "heard", "pulse_rate_per_min")


def pulse_table(records, tags, *, gap_s=60.0, records_needed=3):
    """What the pulse rates of every tag say in every flight in which it was heard.

    Parameters
    ----------
    records : DataFrame with the columns of RECORDS (at least flight, tag, time, heard, pulse rate; unusable rows are left out)
    tags : DataFrame with tag_id, pulse_rate_live_per_min, pulse_rate_mortality_per_min
    gap_s : float
        A silence longer than this between heard records starts a new pass. [s]
    records_needed : int
        Fewer records with a rate than this are never a verdict.

    Returns
    -------
    DataFrame with the columns of PULSES, sorted by tag and flight. Tags not heard in a flight have no row in it.
    """
    require_columns(records, _NEEDED, "the record table")
    heard = records[records["heard"].astype(bool)]
    if "usable" in heard.columns:
        heard = heard[heard["usable"].astype(bool)]
    rates = _register_rates(tags)
    rows = []
    for (tag_id, flight_id), group in heard.groupby(["tag_id", "flight_id"], sort=True):
        live, mortality = rates.get(tag_id, (np.nan, np.nan))
        rows.append({"tag_id": tag_id, "flight_id": flight_id, **_flight_row(group, live, mortality, gap_s, records_needed)})
    return conform(pd.DataFrame(rows, columns=list(PULSES)), PULSES)


def _register_rates(tags):
    columns = ("pulse_rate_live_per_min", "pulse_rate_mortality_per_min")
    blank = pd.Series(np.nan, index=tags.index)
    live, mortality = (pd.to_numeric(tags.get(column, blank)).astype(float) for column in columns)
    return dict(zip(tags["tag_id"], zip(live, mortality)))


def _flight_row(group, live, mortality, gap_s, records_needed):
    rates = pd.to_numeric(group["pulse_rate_per_min"]).to_numpy(dtype=float, na_value=np.nan)
    times_s = (group["time_utc"] - group["time_utc"].min()).dt.total_seconds().to_numpy()
    verdict = read_pulses(rates, live_per_min=live, mortality_per_min=mortality, records_needed=records_needed)
    at_mortality = _supports_mortality(rates, verdict)
    return {
        "fate": verdict.state, "fate_reason": verdict.reason, "records_with_rate": verdict.records,
        "records_live": verdict.records_live, "records_mortality": verdict.records_mortality,
        "passes": count_passes(times_s, gap_s), "passes_mortality": count_passes(times_s[at_mortality], gap_s),
        "rate_per_min": verdict.rate_per_min, "probability_live": verdict.probability_live,
        "probability_mortality": verdict.probability_mortality, "first_utc": group["time_utc"].min(), "last_utc": group["time_utc"].max(),
    }


def _supports_mortality(rates, verdict):
    """Records within a tenth of the mortality rate as it was received; none unless the flight's verdict is mortality."""
    if verdict.state != "mortality":
        return np.zeros(len(rates), dtype=bool)
    return np.abs(rates - verdict.rate_per_min) <= max(0.1 * verdict.rate_per_min, 3.0)
