"""What the panel of a tag says: headings, captions, and what is known of the tag, from the tables of the stage."""

from __future__ import annotations

import math

import pandas as pd

from pipeline.figures.sheet_retrace import EDGE_SHARE
from pipeline.location import PLACED
from pipeline.search import stated_probability
from pipeline.stages.place_words import coordinates, dated_place, side, since_then
from pipeline.stages.silences import Silence, WHAT_TO_DO, battery_sentence
from pipeline.wording import counted, listed, number_word, two_figures

HOW_TO_READ = ("Each picture is one tag in one flight. Left is a map with grid north at the top; it holds the whole of the regions, and what was heard far from them can lie outside it. Right is strength against time: where the records heard, and those not heard, follow the line, "
               "the place explains what the receiver did. Below it stands how the 95 % radius came down as the flight went on, which the control under the map plays moment by moment; "
               "thin lines are its other flights with a position, and a line is dotted where the region reached the edge of the ground looked at, so that the radius was larger than drawn.")
KEY_CAPTION = "The marks of the pictures below."
KEY_ALT = ("Key. Thin line: track. Filled triangle: heard. Small open square: not heard. Cross: fix, thin where it is a best place only. Thin numbered cross: second place. Upright cross: the fix before. "
           "Filled, hatched and dashed outlines: regions of 50, 80 and 95 %. Circle of dashes and dots: to be searched on foot. Line and band: strength expected at the fix.")


def heading(tag_id: str, row, flights: int, fate: dict | None = None, silent_since: str = "", latest=None) -> str:
    """The finding on a tag. row : of FIXES, the flight that tells most. flights : that listened to it. fate : row of fate_triage. silent_since : the day, where it fell silent. latest : of FIXES, its newest position, or None."""
    found = f"{fate['why'].split('. ')[0].rstrip('.')}; " if fate and str(fate["class"]).startswith("Confirmed") else ""
    if row.status == "located":
        begin = f"{tag_id}: {found[:1].lower()}{found[1:]}"
        later = latest is not None and latest.time_end_utc.date() > row.time_end_utc.date()
        since = _silent(silent_since, f"{(latest if later else row).time_end_utc:%Y-%m-%d}")
        if later:
            newest = "several places" if latest.status == "several places" else f"within {two_figures(latest.error_radius_95_m)} m"
            return f"{begin}best fix {row.time_end_utc:%Y-%m-%d}, within {two_figures(row.error_radius_95_m)} m; newest {latest.time_end_utc:%Y-%m-%d}, {newest}; with probability 0.95{since}"
        day = f"{row.time_end_utc:%Y-%m-%d}"
        return f"{begin}within {two_figures(row.error_radius_95_m)} m of its fix of {'that day' if day in found else day}, with probability 0.95{since}"
    if row.status == "several places":
        return f"{tag_id}: fits more than one place"
    if row.status == "area only":
        return f"{tag_id}: an area of {two_figures(row.region_95_ha)} ha, no position"
    return {"heard once": f"{tag_id}: one hit in one record, which may be false; no position", "suspect": f"{tag_id}: heard, but what was heard is doubted", "not searched": f"{tag_id}: not listened to, which is no absence"}.get(
        row.status, f"{tag_id}: not heard in {'the one flight' if flights == 1 else f'any of {number_word(flights)} flights'} that listened")


def _silent(since: str, said: str) -> str:
    """Since when it is silent, after a sentence that ended with the date `said`; nothing where it is not."""
    return "" if not since else "; silent since then" if since == said else f"; silent since {since}"


def what_to_do(silence: Silence | None, battery: dict[str, float]) -> str:
    """What to do about an animal that fell silent, as on the index; nothing for others. battery : tag -> share of its expected life that has passed."""
    if silence is None or not silence.fell_silent:
        return ""
    return f"Search for it: {WHAT_TO_DO}. {battery_sentence({silence.tag_id: battery.get(silence.tag_id, math.nan)})}".strip()


def caption(row, circle=None) -> str:
    """What the picture of one flight shows. circle : a SearchCircle that is drawn, or None."""
    said = {"located": f"located, 95\u00a0% radius {_radius(row)}", "several places": f"several places, 95\u00a0% radius {_radius(row)}", "area only": f"{_area(row)}, no position", "heard once": f"heard once, {_area(row)}, no position",
            "not heard": "not heard, so no region and no position", "not searched": "not listened to, so nothing can be said", "suspect": "heard, but doubted, so no region is drawn"}.get(row.status, row.status)
    return f"{row.tag_id} in flight {row.flight_id}: {said}. {_heard(row)}.{_drawn_circle(circle)}{_to_walk_to(row, circle)}"


def alternative_text(row, effective_records: float, places: int, circle=None) -> str:
    """The finding of the picture for a reader who cannot see it."""
    if row.status == "not searched":
        return f"Flight {row.flight_id} did not listen to {row.tag_id}: no mark on the map and no strength."
    if row.status == "not heard":
        return f"Map and strengths of {row.tag_id} in flight {row.flight_id}: {counted(int(row.records_listened), 'record')} along the track, all without the tag. No region is drawn."
    if row.status == "suspect":
        return f"Map and strengths of {row.tag_id} in flight {row.flight_id}: heard in {int(row.records_heard):,d} of {int(row.records_listened):,d} records, which is doubted. No region is drawn."
    where = {"located": f"one region round the fix, 95\u00a0% radius {_radius(row)}", "several places": f"a region of {number_word(places)} parts"}.get(
        row.status, f"a 95 % region of {two_figures(row.region_95_ha)} ha and no stated position")
    return f"Map and strengths of {row.tag_id} in flight {row.flight_id}: {where}. {_heard(row)}, worth about {effective_records:.0f} independent ones.{_drawn_circle(circle)}"


def _drawn_circle(circle) -> str:
    if circle is None:
        return ""
    reach = f", {two_figures(circle.beyond_m)} m short of the farthest point of the 95\u00a0% region" if circle.sides else ""
    return f" The line of dashes and dots is the circle to search on foot, {two_figures(circle.radius_m)} m{reach}."


def _to_walk_to(row, circle) -> str:
    """The place of a picture with a circle, for those who take the picture along; nothing for others."""
    latitude, longitude = (row.latitude, row.longitude) if pd.notna(row.latitude) else (row.best_latitude, row.best_longitude)
    place = coordinates(latitude, longitude, row.easting_m, row.northing_m) if circle is not None else ""
    return f" Middle of the circle: {place}." if place else ""


def edge(row, found: dict | None) -> str:
    """That a region ends where nobody looked farther; nothing where it does not. found : row of fix_evidence."""
    share = found.get("edge_probability", 0.0) if found else 0.0
    if row.status in ("suspect", "not heard", "not searched") or not share > EDGE_SHARE:
        return ""
    return (f"The region ends at the edge of the ground looked at, where its sides are straight: {share:.2f} of the probability lies along that edge. What lies beyond was not looked at; the region is larger than said.")


def where(row, latest, found: str = "") -> str:
    """Where it was found, the place of this flight with its date, and the latest place where that is another. row, latest : of FIXES; latest may be None."""
    return " ".join(f"{words[0].upper()}{words[1:]}." for words in (found, dated_place(row), since_then(row, latest)) if words)


def status(row, flights: int = 1) -> str:
    """Status and its reason, as the table of fixes has them. flights : that listened; one that is heard in none is told with all of them."""
    if row.status == "not heard" and flights > 1:
        return f"Not heard in any of {number_word(flights)} flights. The picture shows flight {row.flight_id}. {row.status_reason}"
    return f"{row.status[0].upper()}{row.status[1:]}, in flight {row.flight_id}. {row.status_reason}"


def error(row) -> str:
    """How wrong the place may be; nothing where no place is stated."""
    if row.status in PLACED:
        return (f"Within {two_figures(row.error_radius_50_m)} m with probability 0.50, within {two_figures(row.error_radius_95_m)} m with probability 0.95. The 95 % region covers {two_figures(row.region_95_ha)} ha.")
    if row.status in ("area only", "heard once") and pd.notna(row.region_95_ha):
        return f"No position is stated. The 95 % region covers {two_figures(row.region_95_ha)} ha."
    return ""


def evidence(row, found: dict | None) -> str:
    """What the place rests on. found : row of fix_evidence."""
    if found is None:
        return ""
    by_hand = [counted(int(found[kind]), kind[:-1]) for kind in ("bearings", "sightings") if found[kind] > 0]
    hands = f", with {listed(by_hand)} taken by hand" if by_hand else ", and nothing taken by hand"
    heard = int(found["records_heard"])
    worth = f"Heard in {heard:,d} of {int(found['records_listened']):,d} records on {counted(int(found['passes']), 'pass', 'passes')}"
    if heard > 2:
        worth += f"; neighbours share their shadowing, so those heard are worth about {found['effective_records']:.0f} independent ones"
    return f"{worth}{hands}." + ("" if row.status == "suspect" else " Records without the tag count as evidence too.")


def other_explanations(row, found: dict | None, places: pd.DataFrame, fate: dict | None, doubt: str) -> str:
    """What else it could be. places : of this tag and flight from several_places. fate : row of fate_triage. doubt : from suspicion."""
    said = ["It may not be this tag at all; the reason is given under status." if row.status == "suspect" else f"It may not be this tag: {doubt.rstrip('.')}." if doubt else ""]
    if len(places) > 1:
        shares = listed(f"{number} ({share:.2f})" for number, share in zip(places["place"], places["share"]))
        mirror = " The second is the mirror image of the first in the track." if places["mirror_image"].astype(bool).any() else ""
        said.append(f"The region has {number_word(len(places))} places that fit, with their probabilities: {shares}. The first is the likeliest, not the true one.{mirror}")
    elif found is not None and found["places"] > 1:
        said.append(f"The region has {number_word(int(found['places']))} parts; the heaviest holds {stated_probability(found['main_place_share'])} of it.")
    if fate and pd.notna(fate["other_explanations"]) and fate["other_explanations"].strip():
        said.append(f"Other reasons for the pulse rate: {fate['other_explanations']}.")
    if not any(said) and row.status == "located":
        return "Nothing else was found: no other place fits, and no check doubts what was heard."
    return " ".join(part for part in said if part)


def fate_words(fate: dict | None) -> str:
    """What the pulse rates and the ground crew say of the animal."""
    if fate is None:
        return ""
    return f"{'To be looked for on foot, class ' if fate['class'] in ('Retrieve', 'Check soon') else ''}{fate['class']}. {fate['why']}"


def earlier(row, before) -> str:
    """Where the tag was before this flight. row, before : with easting_m and northing_m; before may be None."""
    if before is None:
        return ""
    far = f"95\u00a0% radius {_radius(before)}"
    if not (math.isfinite(row.easting_m) and math.isfinite(before.easting_m)):
        return f"Placed in flight {before.flight_id}, {far}."
    east, north = before.easting_m - row.easting_m, before.northing_m - row.northing_m
    apart_m = math.hypot(east, north)
    if apart_m < max(row.error_radius_95_m, before.error_radius_95_m):
        return f"Flight {before.flight_id} placed it {two_figures(apart_m)} m from here, {far}: no farther than the radii allow without a move."
    return f"Flight {before.flight_id} placed it {two_figures(apart_m)} m to the {side(east, north)}, {far}. Whether it moved is asked in the report on movement."


def searched(row, missing: dict | None) -> str:
    """How many records listened to a tag that none heard. missing : row of not_found."""
    if missing is None:
        return ""
    if not missing["records_listened"]:
        return "No usable record listened to it, so nothing was searched for it."
    return (f"{counted(int(missing['records_listened']), 'record')} listened to it, and none heard it. Looked for {missing['prior_used']}, the flights would have heard it with probability {stated_probability(missing['adequacy_expected'])} (expected), "
            f"{stated_probability(missing['adequacy_cautious'])} (cautious).")


def silence(missing: dict | None, beliefs: pd.DataFrame) -> str:
    """What the silence may mean under each stated belief. beliefs : of this tag from silence_explained."""
    if missing is None:
        return ""
    if not missing["records_listened"]:
        return "Not listening is no absence."
    return " ".join(f"Who believed “{row.prior}” before takes it to be outside the ground with probability {stated_probability(row.outside)}, silent with {stated_probability(row.silent)}, "
                    f"and there but missed with {stated_probability(row.missed)} ({stated_probability(row.missed_cautious)} cautious)." for row in beliefs.itertuples())


def folded_words(count: int) -> str:
    """The line that opens the other flights of a tag."""
    return f"The other {'flight' if count == 1 else f'{number_word(count)} flights'}"


def elsewhere(rows: pd.DataFrame) -> str:
    """What the flights that are not in the page came to."""
    return listed((f"{row.flight_id} {row.status}" + (f" ({_radius(row)})" if row.status in PLACED else "") for row in rows.itertuples()), most=14)


def _area(row) -> str:
    return f"95\u00a0% region {two_figures(row.region_95_ha)} ha" if pd.notna(row.region_95_ha) else "no region"


def _radius(row) -> str:
    return f"{two_figures(row.error_radius_95_m)} m"


def _heard(row) -> str:
    return f"Heard in {int(row.records_heard):,d} of {int(row.records_listened):,d} records"
