"""Tag by tag: a picture of every tag and flight, and what is known of it, in one section a tag."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from itertools import count

import numpy as np
import pandas as pd

from pipeline.figures.sheet import natural_order, size_classes
from pipeline.figures.tag_panel import LARGE, SMALL, PanelMap, PanelStrengths, panel_key, tag_panel
from pipeline.location import FIX_STATUSES, PLACED
from pipeline.radio import Listening, SignalModel
from pipeline.report.sections import Facts, Files, Folded, Jumps, Section
from pipeline.stages import doubtful_hits, silences, tag_panel_words as say
from pipeline.stages.coming_about import coming_about_figure, why_none
from pipeline.stages.evidence_frames import REGION_FRAMES
from pipeline.stages.doubtful_hits import FalseHits, LoneHits
from pipeline.stages.instruments import read_corrections
from pipeline.stages.localisation_words import animals_of, found_by_eye
from pipeline.stages.place_words import found_at, latest_places
from pipeline.stages.search_circle import SearchCircle, how_they_relate, search_circles
from pipeline.stages.search_tables import batteries_used
from pipeline.stages.several_places import does_it_matter
from pipeline.stages.silences import Silence
from pipeline.stages.strength_panels import panel
from pipeline.wording import counted

# With more tags and flights than this, the page holds the flight that tells most of each tag; the others are files beside it.
MOST_IN_PAGE = 200
# What tells most of a tag: a position before an area, an area before a single hit.
_RANK = {"located": 0, "several places": 1, "area only": 2, "heard once": 3, "suspect": 4, "not heard": 5, "not searched": 6}
_NO_REGION = ("suspect", "not heard", "not searched")
_NO_FRAMES = pd.DataFrame(columns=list(REGION_FRAMES))


@dataclass(frozen=True)
class PanelTables:
    """What the panels are drawn and worded from; rows of a tag and flight are found by their pair.

    fixes : rows of FIXES with easting_m and northing_m of the best place where one is stated, beacons and decoys left out.
    """

    fixes: pd.DataFrame
    before: dict
    usable: dict
    tracks: dict
    regions: dict
    evidence: dict
    places: pd.DataFrame
    kinds: dict
    fates: dict
    doubts: dict
    missing: dict
    beliefs: pd.DataFrame
    model: SignalModel
    corrections: object
    tag_address: dict
    flight_address: dict
    frames: dict = field(default_factory=dict)
    walk_m: float = 0.0
    circles: dict[str, SearchCircle] = field(default_factory=dict)
    cards: dict[str, str] = field(default_factory=dict)
    lone: dict[str, LoneHits] = field(default_factory=dict)
    false: FalseHits = FalseHits()
    silent: dict[str, Silence] = field(default_factory=dict)
    found: dict[str, str] = field(default_factory=dict)
    battery: dict[str, float] = field(default_factory=dict)

    def circle(self, row) -> SearchCircle | None:
        """The circle to search, if this tag is to be looked for where this flight placed it."""
        found = self.circles.get(row.tag_id)
        return found if found and found.flight_id == row.flight_id else None

    @classmethod
    def read(cls, workspace, positions: pd.DataFrame, fixes: pd.DataFrame, tags: pd.DataFrame) -> "PanelTables":
        """From the files of the stage. positions : the fixes with the best place of every heard tag in metres."""
        shown = animals_of(fixes, tags).copy()
        for name in ("easting_m", "northing_m"):
            shown[name] = positions[name].reindex(shown.index)
        records, track, regions = (workspace.read_work(name) for name in ("records", "track", "regions"))
        pairs = ["tag_id", "flight_id"]
        doubtful = workspace.read_work("suspicion")
        walk = workspace.read_work("retrieval_list")
        usable = records[records["usable"].to_numpy(bool)].sort_values(["time_utc", "record"], kind="stable")
        return cls(
            fixes=shown, before=earlier_fixes(shown), usable=dict(list(usable.groupby(pairs))),
            tracks={flight_id: _parts(rows) for flight_id, rows in track.groupby("flight_id")}, regions=_by_pair(regions),
            evidence={(row["tag_id"], row["flight_id"]): row for row in workspace.read_table("fix_evidence").to_dict("records")}, places=workspace.read_table("several_places"),
            kinds=dict(zip(tags["tag_id"], tags["tag_type"].fillna(""))), fates=_by_tag(workspace.read_work("fate_triage")),
            doubts={(row.tag_id, row.flight_id): row.reason for row in doubtful[doubtful["suspect"].to_numpy(bool)].itertuples()},
            missing=_by_tag(workspace.read_work("not_found")), beliefs=workspace.read_work("silence_explained"),
            model=SignalModel.from_dict(workspace.read_json("signal_models")["whole"]), corrections=read_corrections(workspace)(),
            tag_address=addresses(shown["tag_id"]), flight_address=addresses(shown["flight_id"]),
            frames=dict(list(workspace.read_table("region_frames", REGION_FRAMES).groupby("tag_id"))), walk_m=workspace.survey.localisation.walk_m,
            circles=search_circles(walk, regions), cards=dict(zip(walk["tag_id"], walk["note"])), lone=doubtful_hits.lone_hits(shown, workspace.read_work("tags_heard")), false=FalseHits.from_table(workspace.read_work("false_detections")),
            battery=batteries_used(tags, fixes["time_end_utc"].max()),
            found={row.tag_id: found_at(row) for row in found_by_eye(workspace.read_work("fate_triage"), workspace.read_work("sightings")).itertuples()},
            silent=silences.silences(shown, tags, workspace.read_work("searched_area"), workspace.read_work("fate_triage")))


def _by_tag(table: pd.DataFrame) -> dict:
    return {row["tag_id"]: row for row in table.to_dict("records")}


def _by_pair(regions) -> dict:
    found: dict = {}
    for tag_id, flight_id, probability, geometry in zip(regions["tag_id"], regions["flight_id"], regions["probability"], regions.geometry):
        if geometry is not None and not geometry.is_empty:
            found.setdefault((tag_id, flight_id), {})[float(probability)] = geometry
    return found


def _parts(rows: pd.DataFrame) -> tuple[np.ndarray, ...]:
    """The path in parts, open where the receiver was not on effort or had no position."""
    points = rows[["easting_m", "northing_m"]].to_numpy(float)
    good = np.isfinite(points).all(axis=1) & rows["on_effort"].to_numpy(bool)
    number = np.cumsum(~good)
    return tuple(points[good & (number == part)] for part in np.unique(number[good]))


def addresses(names) -> dict[str, str]:
    """An address for every name, none twice: its letters and digits in lower case; where two would be the same, the later one gets a number."""
    given: dict[str, str] = {}
    for name in sorted({str(name) for name in names}, key=natural_order):
        stem = "-".join(re.findall("[a-z0-9]+", name.lower()))[:40].strip("-") or "unnamed"
        tried = (stem if number == 1 else f"{stem}-{number}" for number in count(1))
        given[name] = next(each for each in tried if each not in given.values())
    return given


def tag_links(tag_ids, fixes: pd.DataFrame, tags: pd.DataFrame) -> list[str]:
    """The section of each of these tags; fixes and tags are those that the sections are made from."""
    address = addresses(animals_of(fixes, tags)["tag_id"])
    return [f"tag-{address[tag_id]}" for tag_id in tag_ids]


def flight_to_show(rows: pd.DataFrame, walk: pd.DataFrame) -> int:
    """Position, among the rows of one tag, of the flight that tells most: the one to walk by, else the best status with the smallest region, else the longest listening."""
    there = list(walk.loc[walk["tag_id"] == rows["tag_id"].iloc[0], "flight_id"]) if len(walk) else []
    order = rows.assign(walk=~rows["flight_id"].isin(there), rank=rows["status"].map(_RANK), radius=rows["error_radius_95_m"].fillna(np.inf), listened=-rows["records_listened"].fillna(0).astype(float))
    return rows.index.get_loc(order.sort_values(["walk", "rank", "radius", "listened"], kind="stable").index[0])


def earlier_fixes(fixes: pd.DataFrame) -> dict:
    """(tag_id, flight_id) -> row of the last position of the tag before this flight; none for flights without one before."""
    found = {}
    for _, own in fixes.groupby("tag_id", sort=False):
        placed = list(own[own["status"].isin(PLACED)].sort_values("time_end_utc", kind="stable").itertuples())
        for row in own.itertuples():
            earlier = [each for each in placed if each.time_end_utc < row.time_start_utc]
            if earlier:
                found[row.tag_id, row.flight_id] = earlier[-1]
    return found


def drawn_panel(row, tables: PanelTables, layout=LARGE):
    """The picture of one row of the fixes. A best place is marked where an area or a position is stated, a region also for a single hit."""
    pair = (row.tag_id, row.flight_id)
    rows, before = tables.usable.get(pair), tables.before.get(pair)
    heard = np.zeros(0, bool) if rows is None else rows["heard"].to_numpy(bool)
    spots = np.zeros((0, 2)) if rows is None else rows[["easting_m", "northing_m"]].to_numpy(float)
    sizes = np.zeros(0, int) if not heard.any() else size_classes(rows.loc[heard, "strength_db"])
    region = {} if row.status in _NO_REGION else tables.regions.get(pair, {})
    best = (row.easting_m, row.northing_m) if row.status in FIX_STATUSES and np.isfinite(row.easting_m) else None
    circle = tables.circle(row)
    where = PanelMap(tables.tracks.get(row.flight_id, ()), spots[heard], sizes, spots[~heard], region, best, row.status in PLACED, _later_places(tables.places, *pair) if best else (),
                     (before.easting_m, before.northing_m) if before else None, (circle.easting_m, circle.northing_m, circle.radius_m) if circle else None)
    return tag_panel(f"{row.tag_id}, flight {row.flight_id}: {row.status}", where, _strengths(row, rows, tables, best), layout)


def _later_places(places: pd.DataFrame, tag_id: str, flight_id: str) -> tuple:
    """(number, easting, northing) of the second and later places."""
    names = ("tag_id", "flight_id", "place", "easting_m", "northing_m")
    return tuple((int(place), easting_m, northing_m) for tag, flight, place, easting_m, northing_m in zip(*(places[name].to_numpy() for name in names))
                 if tag == tag_id and flight == flight_id and place > 1)


def _strengths(row, rows: pd.DataFrame | None, tables: PanelTables, best) -> PanelStrengths:
    """What was heard and not heard over time, with what is expected at the best place where there is one."""
    if rows is None:
        return PanelStrengths(np.zeros(0), np.zeros(0), np.zeros(0))
    found, strength = tables.evidence.get((row.tag_id, row.flight_id)), rows["strength_db"].to_numpy(float)
    if best is not None and found is not None and np.isfinite(strength).any():
        drawn = panel(row, rows, tables.model, tables.kinds.get(row.tag_id, ""), *best, float(found["effective_records"]), tables.corrections)
        return PanelStrengths(drawn["minute"], drawn["strength_db"], drawn["threshold_db"], drawn["expected_db"], drawn["spread_db"])
    minute = (rows["time_utc"] - rows["time_utc"].iloc[0]).dt.total_seconds().to_numpy(float) / 60.0
    return PanelStrengths(minute, strength, tables.model.thresholds_db(Listening.from_records(rows)))


def tag_by_tag(workspace, book, positions: pd.DataFrame, fixes: pd.DataFrame, tags: pd.DataFrame, walk: pd.DataFrame):
    """The whole part of the report, from the files of the stage; see `sections`."""
    return sections(book, PanelTables.read(workspace, positions, fixes, tags), walk)


def sections(book, tables: PanelTables, walk: pd.DataFrame):
    """What the pictures mean, links, and one section a tag. walk : the retrieval list."""
    if tables.fixes.empty:
        return book.words(None)
    names = sorted(tables.fixes["tag_id"].unique(), key=natural_order)
    all_in_page = len(tables.fixes) <= MOST_IN_PAGE
    key, made, links = book.drawing("tag_panel_key", panel_key(), say.KEY_CAPTION, say.KEY_ALT), [], []
    for tag_id in names:
        rows = tables.fixes[tables.fixes["tag_id"] == tag_id].reset_index(drop=True)
        place, name = flight_to_show(rows, walk), f"tag-{tables.tag_address[tag_id]}"
        best = list(rows.itertuples())[place]
        made.append(_section(book, name, best, rows.drop(index=place), tables, all_in_page))
        links.append((name, tag_id, "" if best.status == "located" else f"({best.status})"))
    more = ("The flight that tells most of a tag comes first, its other flights are folded below it." if all_in_page else
            f"The page shows the flight that tells most of each tag; the pictures of the other flights, {counted(len(tables.fixes) - len(names), 'picture')}, are files beside it, to be found by the links below each.")
    return book.together(book.words("Tag by tag", f"One section for each of {counted(len(names), 'tag')}. {more} Beacons are in the report on error calibration, tags known to be switched off under false detections.", say.HOW_TO_READ), key, Jumps("Tags", links), *made)


def _section(book, name: str, best, others: pd.DataFrame, tables: PanelTables, all_in_page: bool) -> Section:
    pair = (best.tag_id, best.flight_id)
    found, fate, missing = tables.evidence.get(pair), tables.fates.get(best.tag_id), tables.missing.get(best.tag_id)
    places = tables.places[(tables.places["tag_id"] == best.tag_id) & (tables.places["flight_id"] == best.flight_id)]
    own, circle, silent = pd.concat([others, pd.DataFrame([best._asdict()])[others.columns]]), tables.circle(best), tables.silent.get(best.tag_id)
    latest = latest_places(own).get(best.tag_id)
    listened = int((pd.concat([others["records_listened"], pd.Series([best.records_listened])]) > 0).sum())
    course = coming_about_figure(book, f"{name}_radius", best, tables.frames.get(best.tag_id, _NO_FRAMES))
    facts = Facts([("To carry on the walk", tables.cards.get(best.tag_id, "")), ("Where", say.where(best, latest, tables.found.get(best.tag_id, ""))), ("Status", say.status(best, listened)), ("Error", f"{say.error(best)} {say.edge(best, found)}".strip()),
                   ("Circle and region", how_they_relate(circle)), ("Evidence", say.evidence(best, found)), ("One hit", doubtful_hits.in_full(tables.lone.get(best.tag_id), tables.false)), ("Silence", silences.in_full(silent)), ("What to do", say.what_to_do(silent, tables.battery)), ("Fate", "" if missing else f"{say.fate_words(fate)} {doubtful_hits.in_brief([best.tag_id], tables.lone)}".strip()),
                   ("How it came about", "" if course else why_none(best, tables.walk_m)), ("What else it could be", say.other_explanations(best, found, places, fate, tables.doubts.get(pair, ""))),
                   ("Several places", does_it_matter(tables.places[tables.places["tag_id"] == best.tag_id], own)),
                   ("Before this flight", say.earlier(best, tables.before.get(pair)) if best.status in FIX_STATUSES else ""), ("What was searched", say.searched(best, missing)),
                   ("What silence may mean", say.silence(missing, tables.beliefs[tables.beliefs["tag_id"] == best.tag_id])),
                   ("Other flights", "" if others.empty or all_in_page else say.elsewhere(others))])
    by_hand = [Files("Circle and region for a hand-held receiver of satellite positions:", [f"tables/search_areas.{ending}" for ending in ("gpx", "geojson")])] if best.tag_id in tables.cards else []
    parts, rows = [facts, *by_hand, _figure(book, name, best, tables, LARGE), *([course] if course else [])], list(others.itertuples())
    if rows and all_in_page:
        parts.append(Folded(say.folded_words(len(rows)), [_figure(book, name, row, tables, SMALL) for row in rows]))
    elif rows:
        parts.append(Files("Pictures of the other flights:", [book.picture_file(_file_name(name, row, tables), drawn_panel(row, tables, SMALL)) for row in rows]))
    # a tag to look for on foot has one place, that of its card
    heading = say.heading(best.tag_id, best, listened, fate, f"{silent.last_utc:%Y-%m-%d}" if silent and silent.fell_silent else "", None if circle else latest)
    return Section(name, heading, parts, handed_out=best.tag_id in tables.cards)


def _figure(book, name: str, row, tables: PanelTables, layout):
    found = tables.evidence.get((row.tag_id, row.flight_id))
    alt = say.alternative_text(row, float(found["effective_records"]) if found else 0.0, int(found["places"]) if found else 0, tables.circle(row))
    edge = say.edge(row, found)
    return book.drawing(_file_name(name, row, tables), drawn_panel(row, tables, layout), f"{say.caption(row, tables.circle(row))} {edge}".strip(), f"{alt} {edge}".strip())


def _file_name(section: str, row, tables: PanelTables) -> str:
    return f"{section}_{tables.flight_address[row.flight_id]}"

