"""How the fix of a tag came about, for paper and for browsers without scripts: the radius of its 95 % region as the flights went on."""

from __future__ import annotations

import pandas as pd

from pipeline.figures.radius_so_far import RadiusSoFar, radius_so_far
from pipeline.figures.sheet_retrace import EDGE_SHARE
from pipeline.location import PLACED
from pipeline.stages.evidence_frames import MOST_FIXES
from pipeline.wording import counted, two_figures

# A radius that stays within this multiple of its last value is as good as the last one.
_AS_GOOD = 1.5


def coming_about_figure(book, name: str, row, frames: pd.DataFrame):
    """The figure of one tag, or None where no moment of the flight of `row` is kept.

    name : of the figure. row : of FIXES, the flight that tells most. frames : rows of region_frames of this tag, all its flights.
    """
    flights = dict(list(frames.groupby("flight_id", sort=True))) if len(frames) else {}
    own = flights.pop(row.flight_id, None)
    if own is None:
        return None
    drawn = radius_so_far([_so_far(row.flight_id, own), *(_so_far(flight_id, rows) for flight_id, rows in flights.items())])
    return book.drawing(name, drawn, caption(row, own), alternative_text(row, own))


def _so_far(flight_id: str, rows: pd.DataFrame) -> RadiusSoFar:
    rows = rows.sort_values("frame", kind="stable")
    return RadiusSoFar(flight_id, rows["minutes_flown"].to_numpy(float), rows["error_radius_95_m"].to_numpy(float), (rows["edge_probability"] > EDGE_SHARE).to_numpy(bool))


def caption(row, frames: pd.DataFrame) -> str:
    """What the radius did. row : of FIXES. frames : moments of its flight in order."""
    first, last = frames.iloc[0], frames.iloc[-1]
    said = [f"How the 95\u00a0% radius of {row.tag_id} came about in flight {row.flight_id}: {_at(first)} when it was first heard"]
    said[0] += f", {_at(last)} with all {counted(int(last['records_listened']), 'record')}." if len(frames) > 1 else ", which is all that was heard."
    rough = frames.index[frames["error_radius_95_m"] > _AS_GOOD * last["error_radius_95_m"]]
    settled = frames.loc[frames.index > rough[-1]] if len(rough) else frames
    if len(rough) and 1 < len(settled) and len(frames) > 2:
        said.append(f"From minute {settled.iloc[0]['minutes_flown']:.1f} on it stayed within {_AS_GOOD:g} times its last value.")
    elif len(frames) > 2 and len(rough) and len(settled) == 1:
        said.append("It was still coming down when the last records came.")
    if "+" in str(row.method):
        said.append("The last step also has what was taken by hand.")
    return " ".join(said)


def alternative_text(row, frames: pd.DataFrame) -> str:
    """The numbers of the line, for a reader who cannot see it."""
    return f"95\u00a0% radius of {row.tag_id} against minutes of flight {row.flight_id}: {'; '.join(_at(moment) for _, moment in frames.iterrows())}."


def _at(moment) -> str:
    return f"{two_figures(moment['error_radius_95_m'])} m at minute {moment['minutes_flown']:.1f}"


def why_none(row, walk_m: float) -> str:
    """Why the coming about of a fix is not shown; nothing where it is no fix. row : of FIXES."""
    if row.records_heard == 0 or row.status in ("suspect", "not heard", "not searched"):
        return ""
    if row.status not in PLACED:
        return "Not shown: there is no position, and moments of a flight are worked out for positions only."
    if walk_m > 0:
        return f"Not shown: animals may walk up to {walk_m:g} m in a flight (localisation.walk_m), and a moment takes them to stay."
    return f"Not shown: moments are worked out for {MOST_FIXES} fixes of a campaign at most, the best of every animal first."
