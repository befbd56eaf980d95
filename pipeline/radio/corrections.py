"""What is known of a campaign's clocks and ground by the time its records become evidence."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import pandas as pd

from pipeline.radio.clock_lag import delayed
from pipeline.radio.listening import Listening
from pipeline.radio.terrain_loss import FlightTerrainLoss


@dataclass(frozen=True)
class Corrections:
    """lags_s : flight_id -> seconds by which strengths were stamped after positions. terrain : flight_id -> loss behind hills."""

    lags_s: dict[str, float] = field(default_factory=dict)
    terrain: dict[str, FlightTerrainLoss] = field(default_factory=dict)

    def listening(self, records: pd.DataFrame) -> Listening:
        """The usable records of one tag and flight (columns of RECORDS) as evidence, corrected.

        The loss behind hills is that of the positions as logged: a lag of seconds moves a record by less than hills change.
        """
        heard = Listening.from_records(records)
        ground = self.terrain.get(heard.flight_id)
        if ground is not None and len(heard):
            rows = records[records["usable"].to_numpy(bool)].sort_values(["time_utc", "record"], kind="stable")
            heard = replace(heard, terrain=ground.of_records(rows["record"].to_numpy()))
        return delayed(heard, self.lags_s.get(heard.flight_id, 0.0))
