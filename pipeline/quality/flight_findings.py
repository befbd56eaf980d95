"""What was noticed about whole flights: gaps, lost positions, heights, azimuths, noise, beacons."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.messages import Message
from pipeline.quality.flights import HEIGHT_RANGE_M, beacon_rows, noise_step
from pipeline.quality.noise import like_surroundings
from pipeline.quality.pace import pace_table, runs, wrap_180
from pipeline.wording import printed

LEGAL_HEIGHT_M = 150.0
NOISE_STEP_DB = 3.0
COURSE_TOLERANCE_DEG = 10.0
COURSE_SHARE = 0.9
# Two minutes of records 6 s apart, and a corner of a track.
FROZEN_RECORDS, FROZEN_TURN_DEG = 20, 60.0


def flight_findings(records: pd.DataFrame, track: pd.DataFrame, flights: pd.DataFrame, beacons: pd.DataFrame) -> list[Message]:
    """Messages about flights, in order of flight and then of rule. Arguments are the RECORDS, TRACK, FLIGHTS and BEACONS tables."""
    pace = pace_table(track)
    standing = beacon_rows(records[["tag_id", "flight_id", "time_utc", "heard"]], beacons)
    of_flight = dict(list(records.groupby("flight_id", sort=False)))
    found: list[Message] = []
    for flight in flights.to_dict("records"):
        flight_id = flight["flight_id"]
        mine = track[track["flight_id"] == flight_id]
        rows, steps = of_flight[flight_id], pace.loc[mine.index]
        file = str(rows["source_file"].iloc[0]) if "source_file" in rows else ""
        found += _verdict(flight, file) + _gaps(flight, mine, steps, file) + _positions(flight, mine, file)
        found += _heights(flight, mine, rows, file) + _azimuths(flight, mine, steps, file) + _noise(flight, rows, file)
        found += _beacons(flight, standing[standing["flight_id"] == flight_id], file)
    return found + _never_heard(standing, beacons)


def _verdict(flight, file) -> list[Message]:
    if flight["verdict"] == "fit for location":
        return []
    rejected = flight["verdict"] == "rejected"
    return [Message("stop" if rejected else "look", "flight-rejected" if rejected else "flight-presence-only",
                    f"Flight {flight['flight_id']}: {flight['verdict_reason']}", file=file, value=flight["verdict"],
                    consequence="Its tags count as not searched" if rejected else "It says which tags were heard, not where they are")]


def _gaps(flight, track, pace, file) -> list[Message]:
    if flight["gaps"] == 0:
        return []
    missing_s = (pace["to_next_s"] - pace["interval_s"])[pace["gap"].astype(bool)].sum()
    after = track.loc[pace["to_next_s"].where(pace["gap"].astype(bool)).idxmax(), "time_utc"]
    return [Message("note", "time-gaps",
                    f"Flight {flight['flight_id']}: {_plural(flight['gaps'], 'gap')} longer than twice the record interval of "
                    f"{flight['record_interval_s']:g} s, {missing_s:,.0f} s in all; the longest, {flight['longest_gap_s']:,.0f} s, begins at {after:%H:%M:%S}Z",
                    file=file, value=f"{flight['longest_gap_s']:.0f} s", consequence="Nothing is known of any tag in a gap",
                    done="gaps are not counted as listening")]


def _positions(flight, track, file) -> list[Message]:
    found = []
    for first, last in runs(track["off_effort_reason"] == "no position"):
        begin, end = track["time_utc"].iloc[first], track["time_utc"].iloc[last]
        count = last - first + 1
        found.append(Message("look" if count >= 5 else "note", "position-lost",
                             f"Flight {flight['flight_id']} had no usable position in {_plural(count, 'record')}, {begin:%H:%M:%S}Z to {end:%H:%M:%S}Z",
                             file=file, value=str(count), consequence="What was heard then cannot help to place a tag",
                             done="these records are off effort and not used for positions"))
    return found


def _heights(flight, track, rows, file) -> list[Message]:
    height_m = track["height_above_ground_m"].to_numpy(float)
    wrong = (height_m < HEIGHT_RANGE_M[0]) | (height_m > HEIGHT_RANGE_M[1])
    found = []
    if wrong.any():
        worst = height_m[wrong][np.argmax(np.abs(height_m[wrong]))]
        found.append(Message("look", "height-impossible",
                             f"Flight {flight['flight_id']}: {_plural(int(wrong.sum()), 'record')} at a height above ground that cannot be, such as {printed(worst)} m",
                             file=file, value=f"{worst:.0f}", consequence="Distances near the track are wrong",
                             remedy="Check receiver_log.height_reference and the terrain file"))
    elif np.isfinite(flight["height_median_m"]) and flight["height_median_m"] > LEGAL_HEIGHT_M:
        found.append(Message("look", "height-unlikely",
                             f"Flight {flight['flight_id']}: the median height above ground is {flight['height_median_m']:,.0f} m, well above what drones are flown at",
                             file=file, value=f"{flight['height_median_m']:.0f}", consequence="Distances near the track may be wrong",
                             remedy="Heights in feet, or over sea level? Check receiver_log.height_reference"))
    return found


def _azimuths(flight, track, pace, file) -> list[Message]:
    azimuth = track["antenna_azimuth_deg"].to_numpy(float)
    if not np.isfinite(azimuth).any():
        return [Message("note", "azimuth-missing", f"Flight {flight['flight_id']} has no antenna azimuth", file=file,
                        consequence="No direction is used: regions are wider, and a straight track leaves both sides possible")]
    known = azimuth[np.isfinite(azimuth)]
    if len(known) >= 20 and np.ptp(wrap_180(known - known[0])) < 1.0:
        return [Message("look", "azimuth-constant", f"Flight {flight['flight_id']}: the antenna azimuth is {known[0]:.0f} degrees in all {len(known):,d} records",
                        file=file, value=f"{known[0]:.0f}", consequence="If the antenna did turn, every direction is wrong",
                        remedy="Leave the azimuth column blank if it was not measured")]
    course = pace["course_deg"].to_numpy(float)
    frozen = _frozen_azimuth(flight, track, azimuth, course, file)
    if frozen:
        return frozen
    off = np.abs(wrap_180(azimuth - course))
    off = off[np.isfinite(off)]
    if len(off) >= 20 and (off < COURSE_TOLERANCE_DEG).mean() >= COURSE_SHARE:
        return [Message("look", "azimuth-equals-course",
                        f"Flight {flight['flight_id']}: the antenna azimuth is within {COURSE_TOLERANCE_DEG:.0f} degrees of the course in {int((off < COURSE_TOLERANCE_DEG).sum()):,d} of {len(off):,d} records",
                        file=file, value=f"{(off < COURSE_TOLERANCE_DEG).mean():.2f}",
                        consequence="Along the track an antenna cannot tell left from right: mirror places are to be expected",
                        remedy="If the column holds the aircraft's course and not the antenna's direction, leave it blank")]
    return []


def _frozen_azimuth(flight, track, azimuth, course, file) -> list[Message]:
    """The longest stretch in which the azimuth keeps one value while the aircraft turns: a compass that hung."""
    same = np.append(np.diff(azimuth) == 0.0, False)
    stretches = [(first, last + 1) for first, last in runs(same) if last + 2 - first >= FROZEN_RECORDS and _widest_turn_deg(course[first:last + 1]) >= FROZEN_TURN_DEG]
    if not stretches:
        return []
    first, last = max(stretches, key=lambda ends: ends[1] - ends[0])
    begin, end = track["time_utc"].iloc[first], track["time_utc"].iloc[last]
    return [Message("look", "azimuth-frozen", f"Flight {flight['flight_id']}: the antenna azimuth stands at {azimuth[first]:g} degrees in {last - first + 1:,d} records, {begin:%H:%M:%S}Z to {end:%H:%M:%S}Z, "
                    f"while the course turned by {_widest_turn_deg(course[first:last]):.0f} degrees", file=file, value=f"{azimuth[first]:g}",
                    consequence="If the antenna turned with the aircraft, the directions of these records are wrong", remedy="Blank the azimuth of these records if the compass hung")]


def _widest_turn_deg(course_deg) -> float:
    """How far the course strays from where it began, at most. [degrees]"""
    known = course_deg[np.isfinite(course_deg)]
    return float(np.abs(wrap_180(known - known[0])).max()) if len(known) else 0.0


def _noise(flight, rows, file) -> list[Message]:
    step_db, record = noise_step(rows)
    if record is None or abs(step_db) < NOISE_STEP_DB:
        return []
    when = rows.loc[rows["record"] >= record, "time_utc"].min()
    factor = 10.0 ** (-abs(step_db) / 25.0)
    sense = f"rose by {step_db:.1f} dB" if step_db > 0 else f"fell by {-step_db:.1f} dB"
    ranges = f"Hearing range after it is about {factor:.2f} of that before" if step_db > 0 else f"Hearing range before it was about {factor:.2f} of that after"
    return [Message("look", "noise-step", f"Flight {flight['flight_id']}: the noise {sense} at about {when:%H:%M}Z", file=file, value=f"{step_db:.1f} dB",
                    consequence=f"{ranges} (at 25 dB per tenfold distance); {like_surroundings(step_db)}",
                    remedy="Motors, converters and a changed gain make such steps: listen on the ground with motors off and on")]


def _beacons(flight, standing, file) -> list[Message]:
    if standing.empty:
        return [Message("look", "flight-without-beacon", f"Flight {flight['flight_id']}: no beacon was listened to", file=file,
                        consequence="Its positions rest on the other flights' calibration; no accuracy was shown for this flight")]
    heard = standing.groupby("tag_id")["heard"].any()
    if not heard.any():
        return [Message("look", "no-beacon-heard", f"Flight {flight['flight_id']}: none of its {_plural(len(heard), 'beacon')} was heard", file=file,
                        consequence="Receiver, antenna or distance: the flight is not tested by any known position")]
    return []


def _never_heard(standing, beacons) -> list[Message]:
    if beacons.empty:
        return [Message("look", "no-beacons", "There are no beacons in this campaign",
                        consequence="No accuracy can be shown, and the signal model rests on prior knowledge alone",
                        remedy="Place beacons at surveyed positions in the next campaign")]
    found = []
    heard = standing.groupby("tag_id")["heard"].any()
    for tag_id in sorted(set(beacons["tag_id"])):
        if tag_id not in heard.index:
            found.append(Message("look", "beacon-not-listened", f"Beacon {tag_id} was not listened to while it stood at its place", value=tag_id,
                                 consequence="It tests nothing", remedy="Check its tag_id and its dates in the beacon file"))
        elif not heard[tag_id]:
            found.append(Message("look", "beacon-never-heard",
                                 f"Beacon {tag_id} was listened to in {_plural(int((standing['tag_id'] == tag_id).sum()), 'record')} and never heard", value=tag_id,
                                 consequence="Out of range, switched off or wrongly placed: it stays in the fit as a tag not heard",
                                 remedy="Check its battery and position; leave it out of the beacon file only if it was off"))
    return found


def _plural(count, noun: str) -> str:
    return f"{int(count):,d} {noun}{'' if count == 1 else 's'}"
