"""What the next flight is worth most for, and what to do next: sentences of the index page."""

from __future__ import annotations

import pandas as pd

from pipeline.location import PLACED
from pipeline.stages import localisation_words as located
from pipeline.stages.index_found import Found, PILOT_DECIDES
from pipeline.stages.next_flight_report import WORTH_FLYING
from pipeline.stages.silences import WHAT_TO_DO, battery_sentence
from pipeline.wording import counted, listed, two_figures


def never_placed(found: Found) -> list[str]:
    """Animals that were heard, and in no flight well enough for a position; those heard in single records only are told apart."""
    heard, placed = (set(found.animals.loc[rows, "tag_id"]) for rows in (found.animals["status"].isin(["several places", "area only", "heard once"]), found.animals["status"].isin(PLACED)))
    return sorted(heard - placed - set(found.single))


def next_flight(found: Found) -> str:
    """What another flight is worth most for."""
    silent = [*(found.not_found["tag_id"] if len(found.not_found) else []), *found.silent, *(f"{each.tag_id}, {each.state}" for each in found.single.values())]
    unplaced, best = never_placed(found), located.best_per_animal(found.animals)
    if not found.animals["records_heard"].gt(0).any():
        return f"Nothing was heard of any animal. Before another flight, test the receiver and its settings on a tag at a known place. {PILOT_DECIDES}"
    others = f" Not found or silent: {'; '.join(silent)}." if silent else ""
    if unplaced:
        return f"Pass closer, and on more than one side, to what was heard and never placed: {listed(unplaced)}.{others}{_block_sentence(found)} {PILOT_DECIDES}"
    if best.empty:
        return f"Nothing that was heard is believed enough to be flown to. {PILOT_DECIDES}"
    widest = best.loc[best["error_radius_95_m"].idxmax()]
    also = f"those not found or silent ({'; '.join(silent)}) and for " if silent else ""
    return (f"Every animal that was heard for certain has a position in some flight. Another flight is worth most for {also}animals whose best position is still wide, first {widest['tag_id']} "
            f"(95 % radius in its best flight {two_figures(widest['error_radius_95_m'])} m).{_block_sentence(found)} {PILOT_DECIDES}")


def _block_sentence(found: Found) -> str:
    """The block that would tell most, and of which tags, where one stands out."""
    if found.candidates.empty or not found.candidates.iloc[0]["score"] >= WORTH_FLYING:
        return ""
    best = found.candidates.iloc[0]
    whom = f" of {best['for_tags']}" if isinstance(best.get("for_tags"), str) and best["for_tags"] else ""
    return f" Of {counted(len(found.candidates), 'candidate flight')}, block {best['name']} would add most to what is known{whom}; the map is in the localisation report."


def next_steps(found: Found) -> list[str]:
    """At most five lines, the most urgent first."""
    never, unsought = (list(found.not_found.loc[found.not_found["class"] == name, "tag_id"]) if len(found.not_found) else [] for name in ("not heard", "not searched"))
    stops, looks = (int((found.messages["severity"] == severity).sum()) for severity in ("stop", "look"))
    steps = [
        _walk_step(found.walk),
        _messages_step(stops, looks) if stops else "",
        f"Search for {listed(f'{each.tag_id}, {each.since}' for each in found.silent.values())}: {WHAT_TO_DO}. {_batteries(found, found.silent)}".strip() if found.silent else "",
        f"Fly again for {listed(never_placed(found))}: heard, and in no flight well enough for a position." if never_placed(found) else "",
        f"Listen for {listed(unsought)}, which no usable record did." if unsought else "",
        f"Listen again for {listed(f'{each.tag_id} ({each.state})' for each in found.single.values())} before anything rests on that." if found.single else "",
        f"Decide on {listed(never)}: fly wider, or keep listening. {_batteries(found, never)}".strip() if never else "",
        _beacon_step(found),
        _messages_step(stops, looks) if looks and not stops else "",
    ]
    return [step for step in steps if step][:5]


def _batteries(found: Found, tags) -> str:
    return battery_sentence({tag_id: found.battery.get(tag_id, float("nan")) for tag_id in tags})


def _walk_step(walk: pd.DataFrame) -> str:
    if walk.empty:
        return ""
    circles = int(walk["easting_m"].notna().sum())
    if not circles:
        return f"Look for {listed(walk['tag_id'])} on foot, as the localisation report says; there is no position to draw a circle round."
    return f"Look for {listed(walk['tag_id'])} on foot, with the {'circle' if circles == 1 else 'circles'} and the cautions of the localisation report (tables/search_areas.gpx)."


def _messages_step(stop: int, look: int) -> str:
    said = listed([f"{verb} {'the one message' if count == 1 else f'the {count} messages'} marked {mark}" for verb, count, mark in (("settle", stop, "stop"), ("read", look, "look")) if count])
    return f"{said[0].upper()}{said[1:]}, in the quality report."


def _beacon_step(found: Found) -> str:
    heard = found.tests["place_id"].nunique() if len(found.tests) else 0
    if not heard and len(found.beacons):
        return "Find out why no beacon was heard: its tag, the frequency, the gain, the distance."
    if not heard:
        return "Put out beacons: four or more in every flight, eight or more over the campaign."
    return "Put out more beacons next time: eight places or more." if heard < 8 else ""
