"""Flights that the survey file asks to be joined, checked against the data: every fault at once, with the line it stands in."""

from __future__ import annotations

import pandas as pd

from pipeline.calibration import stands_in
from pipeline.intake.findings import nearest
from pipeline.messages import Message
from pipeline.survey.load import setting_line
from pipeline.wording import listed


def joined_faults(survey, records: pd.DataFrame, tags: pd.DataFrame, beacons: pd.DataFrame) -> list[Message]:
    """Every fault of localisation.joined_flights that the data show: unknown tags and flights, tags that a flight did not listen for, beacons moved between flights, and joins asked for twice."""
    usable = records[records["usable"].to_numpy(bool)]
    listened = usable.groupby(["tag_id", "flight_id"])["time_utc"].min().to_dict()
    known_tags, known_flights = sorted(tags["tag_id"]), sorted(records["flight_id"].unique())
    faults, seen = [], set()

    def fault(number: int, *place, text: str, value: str, remedy: str) -> None:
        path = ("localisation", "joined_flights", number, *place)
        faults.append(Message("stop", "joined-flights", f"{'.'.join(map(str, path))}: {text}", file=survey.file.name, line=setting_line(survey.file, path), value=value, remedy=remedy))

    for number, each in enumerate(survey.localisation.joined_flights):
        guess = nearest(each.tag_id, known_tags)
        if each.tag_id not in known_tags:
            fault(number, "tag_id", text=f"no tag {each.tag_id!r} in the registers or the logs", value=each.tag_id, remedy=f"Did you mean {guess!r}?" if guess else "Write the id as it stands in tags.csv or in the log")
        for place, flight in enumerate(each.flights):
            if flight not in known_flights:
                fault(number, "flights", place, text=f"no flight {flight!r}", value=flight, remedy=f"Known flights: {listed(known_flights, most=20)}")
            elif each.tag_id in known_tags and (each.tag_id, flight) not in listened:
                fault(number, "flights", place, text=f"flight {flight!r} has no usable record of tag {each.tag_id!r}", value=flight, remedy="Leave the flight out: it tells nothing of this tag")
        stood = beacons[beacons["tag_id"] == each.tag_id]
        places = {_place(stood, listened[each.tag_id, flight]) for flight in each.flights if (each.tag_id, flight) in listened}
        if len(places) > 1:
            fault(number, "flights", text=f"beacon {each.tag_id!r} did not stand at one place in these flights", value=each.tag_id, remedy="Join flights in which it did")
        same = (each.tag_id, frozenset(each.flights))
        if same in seen:
            fault(number, text=f"the same flights of {each.tag_id!r} are joined twice", value=each.tag_id, remedy="Keep one of the two")
        seen.add(same)
    return faults


def _place(stood: pd.DataFrame, time_utc: pd.Timestamp) -> str:
    """Where a beacon stood at a time by its rows of the register; "" for nowhere."""
    return next((beacon.place_id for beacon in stood.itertuples() if stands_in(beacon, time_utc)), "")
