"""What is known of a campaign's clocks and ground by the time its records become evidence."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import pandas as pd

from pipeline.radio.canopy import FlightCanopy
from pipeline.radio.clock_lag import delayed
from pipeline.radio.listening import Listening
from pipeline.radio.terrain_loss import FlightTerrainLoss


@dataclass(frozen=True)
class Corrections:
    """lags_s : flight_id -> seconds by which strengths were stamped after positions. terrain : flight_id -> loss behind hills.
    canopy : flight_id -> ways through vegetation."""

    lags_s: dict[str, float] = field(default_factory=dict)
    terrain: dict[str, FlightTerrainLoss] = field(default_factory=dict)
    canopy: dict[str, FlightCanopy] = field(default_factory=dict)

    def listening(self, records: pd.DataFrame) -> Listening:
        """The usable records of one tag and flight (columns of RECORDS) as evidence, corrected.

        Loss behind hills and ways through canopy are those of the positions as logged: a lag of seconds moves a record by less than they change.
        """
        heard = Listening.from_records(records)
        known = {name: flights.get(heard.flight_id) for name, flights in (("terrain", self.terrain), ("canopy", self.canopy))}
        if any(each is not None for each in known.values()) and len(heard):
            numbers = records[records["usable"].to_numpy(bool)].sort_values(["time_utc", "record"], kind="stable")["record"].to_numpy()
            heard = replace(heard, **{name: each.of_records(numbers) for name, each in known.items() if each is not None})
        return delayed(heard, self.lags_s.get(heard.flight_id, 0.0))
