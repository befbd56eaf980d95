"""Fixes over several flights of a tag that did not move, where the survey file asks for them (localisation.joined_flights).

    tables/   joined_fixes, joined_agreement (do the flights agree?), joined_fix_tests (beacons joined over the same flights)
    work/     joined_regions (GeoParquet)
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import geopandas as gpd
import numpy as np
import pandas as pd

from pipeline.calibration import LEVELS, Heard, HeldOutModels, Widening, gather_heard, locate_all
from pipeline.calibration.joining import chance_of_silence, join_heard, joined_evidence
from pipeline.columns import FIXES, conform
from pipeline.location import FIX_STATUSES, ByHand, Gates, Located, best_position, position_columns, status_of
from pipeline.messages import SurveyError
from pipeline.movement.difference_of_places import difference
from pipeline.movement.displacement import holm
from pipeline.movement.tails import Tails, tails_of
from pipeline.stages.joined_check import joined_faults
from pipeline.stages.workspace import Workspace

DRAWS = 400
AGREE, DISAGREE = "agree", "disagree"
_IDENTITY = {"tag_id": "text", "animal_id": "text", "flight_ids": "text", "flights": "int", "flights_heard": "int"}
_RESTS_ON = {
    "widening": "float",
    "agreement": "text",       # agree | disagree | blank where no flight heard the tag
    "agreement_p": "float",    # smallest of joined_agreement, adjusted for their number
    "apart_m": "float",        # largest distance between the fixes of two single flights
}
JOINED_FIXES = _IDENTITY | {name: kind for name, kind in FIXES.items() if name not in (*_IDENTITY, "flight_id", "fate")} | _RESTS_ON
JOINED_AGREEMENT = {
    "tag_id": "text", "flight_ids": "text",
    "test": "text",            # distance: of two single fixes | silence: of a flight, where the flights that heard the tag put it
    "from_flight_id": "text", "to_flight_id": "text", "distance_m": "float",
    "detectable_m": "float",   # a move of this length would have been found in 8 of 10 cases
    "p": "float",
    "p_adjusted": "float",     # Holm, over the tests of one joined fix
}
JOINED_TESTS = {"tag_id": "text", "flight_ids": "text", "status": "text", "error_m": "float", "error_radius_95_m": "float", "level": "float", "inside_95": "flag",
                "single_radius_95_m": "float"}
REGIONS = ["tag_id", "flight_ids", "probability", "status", "geometry"]


@dataclass(frozen=True)
class Joined:
    """One tag over several flights: its parts in order of time, the whole, and its posterior (None where no flight heard it)."""

    parts: list[Heard]
    whole: Heard
    located: Located | None

    @property
    def heard(self) -> list[Heard]:
        """Flights that heard the tag, or during which it was found by hand."""
        return [part for part in self.parts if part.listening.heard.any() or part.by_hand is not None]


def write_joined_fixes(workspace: Workspace, fixed: list, records: pd.DataFrame, by_hand: dict, models: HeldOutModels, widening: Widening, doubts: dict, projection) -> None:
    """Locate every tag whose flights are to be joined, and beacons over the same flights, and leave the tables.

    fixed : fixes of single flights, items with .heard and .located. by_hand : as gather_by_hand leaves it. doubts : (tag_id, flight_id) -> why.
    The tables are written also where nothing is joined, with their headers. Raises SurveyError for ids that nobody knows.
    """
    tags, beacons, flights = (workspace.read_work(name) for name in ("tags", "beacons", "flights"))
    asked = workspace.survey.localisation.joined_flights
    faults = joined_faults(workspace.survey, records, tags, beacons)
    if faults:
        raise SurveyError(faults)

    # A flight that heard nothing tells where the tag is not: with an empty hand it is gathered as well.
    nothing = ByHand(*(np.zeros(0) for _ in ByHand.__dataclass_fields__))

    def gather(keys) -> list[Heard]:
        wanted = np.array([key in keys for key in zip(records["tag_id"], records["flight_id"])], bool)
        found = gather_heard(records[wanted], tags, beacons, {key: by_hand.get(key, nothing) for key in keys}, dict(zip(flights["flight_id"], flights["style"])), models.corrections_for)
        in_order = sorted(found, key=lambda item: (times[item.flight_id], item.flight_id))
        return [replace(item, by_hand=None) if item.by_hand is nothing else item for item in in_order]

    times, single = dict(zip(flights["flight_id"], flights["start_utc"])), {(item.heard.tag_id, item.heard.flight_id): item for item in fixed}
    margin_m, animals = workspace.survey.localisation.search_margin_m, dict(zip(tags["tag_id"], tags["animal_id"]))
    joined = _located([gather({(each.tag_id, flight) for flight in each.flights}) for each in asked], models, widening, margin_m)
    gates, significance = Gates(**workspace.survey.localisation.gates.model_dump()), workspace.survey.movement.significance
    # How far errors reach beyond the 95 % regions, as in the movement report.
    tails = tails_of([item.located.posterior.level_at(*item.heard.truth) for item in fixed if item.heard.truth is not None])
    agreements = [agreement_rows(item, single, models, workspace.survey.seed, significance, tails) for item in joined]
    rows, regions = [], []
    for item, agreement in zip(joined, agreements):
        row = _row(item, agreement, models, gates, significance, doubts) | {"animal_id": animals.get(item.whole.tag_id, "")}
        times_told = records[(records["tag_id"] == item.whole.tag_id) & records["flight_id"].isin([part.flight_id for part in item.parts]) & records["usable"]]
        rows.append(row | _span(times_told) | (position_columns(item.located.posterior, row["status"], projection) if item.located else {}))
        regions += [{"tag_id": row["tag_id"], "flight_ids": row["flight_ids"], "probability": level, "status": row["status"], "geometry": item.located.posterior.region_polygon(level)}
                    for level in LEVELS if item.located]
    workspace.write_table("joined_fixes", conform(pd.DataFrame(rows), JOINED_FIXES))
    workspace.write_table("joined_agreement", conform(pd.DataFrame([row for agreement in agreements for row in agreement]), JOINED_AGREEMENT))
    workspace.write_work("joined_regions", gpd.GeoDataFrame(regions, columns=REGIONS, geometry="geometry", crs=projection.crs))
    tests = _located(beacon_parts(asked, records, beacons, gather), models, widening, margin_m)
    workspace.write_table("joined_fix_tests", conform(pd.DataFrame([_test_row(item, single, models, gates) for item in tests]), JOINED_TESTS))


def beacon_parts(asked, records: pd.DataFrame, beacons: pd.DataFrame, gather) -> list[list[Heard]]:
    """Beacons over the same flights as the joined tags, each set of flights once: those at one place in two or more of the flights, and heard in one."""
    found = []
    for flights in dict.fromkeys(tuple(sorted(each.flights)) for each in asked):
        rows = records[records["usable"].to_numpy(bool) & records["flight_id"].isin(flights).to_numpy(bool) & records["tag_id"].isin(beacons["tag_id"]).to_numpy(bool)]
        parts = gather(set(zip(rows["tag_id"], rows["flight_id"])))
        for place in sorted({part.place_id for part in parts if part.place_id is not None}):
            own = [part for part in parts if part.place_id == place]
            if len(own) > 1 and any(part.listening.heard.any() for part in own):
                found.append(own)
    return found


def agreement_rows(item: Joined, single: dict, models: HeldOutModels, seed: int, significance: float, tails: Tails) -> list[dict]:
    """Do the flights agree on one place? A row for every two flights that heard the tag, and for every flight that did not; columns of JOINED_AGREEMENT.

    Two flights are compared as the movement report compares them: with "no displacement" in the distribution of the difference of both widened posteriors, and the tails
    that beacons show. A flight that heard nothing is judged by the probability of its silence where the flights that heard the tag put it; where several did, the likeliest
    of their answers counts.
    """
    names = {"tag_id": item.whole.tag_id, "flight_ids": item.whole.flight_id}
    posteriors = {part.flight_id: single[part.tag_id, part.flight_id].located.posterior for part in item.heard}
    draws = {flight: posterior.sample(DRAWS, np.random.default_rng([seed, number])) for number, (flight, posterior) in enumerate(posteriors.items())}
    pairs, rows = list(combinations(posteriors, 2)), []
    # What would have been found even where every test of this fix shares the level.
    level = tails.normal_level(significance / max(1, len(pairs) + len(item.parts) - len(item.heard)))
    for start, end in pairs:
        apart = difference(draws[start], draws[end])
        distance = float(np.hypot(*(best_position(posteriors[end]) - best_position(posteriors[start]))))
        rows.append(names | {"test": "distance", "from_flight_id": start, "to_flight_id": end, "distance_m": distance, "detectable_m": apart.minimum_detectable_m(level), "p": float(tails.p_value(apart.p_same_place()))})
    for part in item.parts:
        if part not in item.heard and posteriors:
            model = models.for_place(part.place_id).model
            rows.append(names | {"test": "silence", "to_flight_id": part.flight_id, "p": max(chance_of_silence(part, posterior, model) for posterior in posteriors.values())})
    return [row | {"p_adjusted": adjusted} for row, adjusted in zip(rows, holm([row["p"] for row in rows]))]


def _located(parts: list[list[Heard]], models: HeldOutModels, widening: Widening, margin_m: float | None) -> list[Joined]:
    """Posteriors of joined flights; none where no flight heard the tag."""
    joined = [Joined(own, join_heard(own), None) for own in parts]
    heard = [item for item in joined if item.heard]
    found = iter(locate_all([item.whole for item in heard], models, widening, margin_m))
    return [Joined(item.parts, item.whole, next(found)) if item.heard else item for item in joined]


def _row(item: Joined, agreement: list[dict], models: HeldOutModels, gates: Gates, significance: float, doubts: dict) -> dict:
    whole, listening = item.whole, item.whole.listening
    row = {"tag_id": whole.tag_id, "flight_ids": whole.flight_id, "flights": len(item.parts), "flights_heard": sum(bool(part.listening.heard.any()) for part in item.parts),
           "records_listened": len(listening), "records_heard": int(listening.heard.sum())}
    if item.located is None:
        return row | dict(zip(("status", "status_reason"), status_of(None, gates, records_listened=len(listening))))
    evidence = joined_evidence(item.parts, whole, item.located, models.for_place(whole.place_id).model)
    doubt = next((f"in {part.flight_id}, {doubts[part.tag_id, part.flight_id]}" for part in item.heard if (part.tag_id, part.flight_id) in doubts), "")
    p = min((each["p_adjusted"] for each in agreement), default=np.nan)
    verdict = "" if not agreement else DISAGREE if p < significance else AGREE
    methods = (("strength", len(listening)), ("bearing", evidence.bearings), ("sighting", evidence.sightings))
    return row | dict(zip(("status", "status_reason"), _status(status_of(evidence, gates, doubt), verdict, p))) | {
        "method": "+".join(name for name, count in methods if count), "widening": item.located.posterior.widening, "agreement": verdict, "agreement_p": p,
        "apart_m": max((each["distance_m"] for each in agreement if each["test"] == "distance"), default=np.nan)}


def _status(found: tuple[str, str], verdict: str, p: float) -> tuple[str, str]:
    """The status by the gates; no position is stated where the flights contradict what a joined fix presumes."""
    status, reason = found
    if verdict != DISAGREE or status not in FIX_STATUSES:
        return status, reason
    told = f"the flights do not agree on one place (p {'under 0.001' if p < 0.001 else f'{p:.3f}'}): the tag moved between them, or one of them is wrong"
    return "area only", f"{reason.rstrip('.')}; {told}." if status == "area only" else f"{reason.rstrip('.')}; no position because {told}."


def _span(rows: pd.DataFrame) -> dict:
    telling = rows[rows["heard"].to_numpy(bool)] if rows["heard"].any() else rows
    return {"time_start_utc": telling["time_utc"].min(), "time_end_utc": telling["time_utc"].max()}


def _test_row(item: Joined, single: dict, models: HeldOutModels, gates: Gates) -> dict:
    """A beacon joined over flights by a model that never saw it, against where it stands."""
    posterior, truth = item.located.posterior, item.whole.truth
    evidence = joined_evidence(item.parts, item.whole, item.located, models.for_place(item.whole.place_id).model)
    radii = [single[part.tag_id, part.flight_id].located.posterior.radius_m(0.95) for part in item.heard if (part.tag_id, part.flight_id) in single]
    level = posterior.level_at(*truth)
    return {"tag_id": item.whole.tag_id, "flight_ids": item.whole.flight_id, "status": status_of(evidence, gates)[0], "error_m": float(np.hypot(*(best_position(posterior) - np.array(truth)))),
            "error_radius_95_m": posterior.radius_m(0.95), "level": level, "inside_95": level <= 0.95, "single_radius_95_m": float(np.min(radii)) if radii else np.nan}
