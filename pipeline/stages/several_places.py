"""Tags that fit more than one place: the places, and the flight that would decide between them; table of stage 2 and part of its report."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.location import deciding_pass, is_mirror_image
from pipeline.search import stated_probability
from pipeline.stages.place_words import side
from pipeline.wording import as_given, counted, number_word, two_figures

COLUMNS = ["tag_id", "flight_id", "place", "share", "easting_m", "northing_m", "apart_m", "mirror_image", "pass_easting_m", "pass_northing_m", "pass_azimuth_grid_deg", "pass_chance"]
MOST_PLACES = 4


def places_table(fixed, models) -> pd.DataFrame:
    """The places of every fix that has several, heaviest first; from the second on with what would decide between it and the first.

    fixed : items with .heard, .located and .status, see localisation. models : HeldOutModels.
    """
    rows = []
    for item in fixed:
        if item.status == "several places" and item.heard.truth is None:
            rows += _rows(item, models.for_place(None).model)
    return pd.DataFrame(rows, columns=COLUMNS)


def _rows(item, model) -> list[tuple]:
    posterior, listening = item.located.posterior, item.heard.listening
    key, rows, first = (item.heard.tag_id, item.heard.flight_id), [], None
    for number, (share, flags) in enumerate(posterior.places()[:MOST_PLACES], 1):
        weight = posterior.probability * flags
        centre = (float(weight @ posterior.easting_m / weight.sum()), float(weight @ posterior.northing_m / weight.sum()))
        if first is None:
            first = centre
            rows.append((*key, number, share, *centre, np.nan, False, np.nan, np.nan, np.nan, np.nan))
            continue
        steps = listening.step_m[np.isfinite(listening.step_m) & (listening.step_m > 1.0)]
        advised = deciding_pass(model, item.heard.tag_type, first, centre, height_above_ground_m=float(np.median(listening.height_above_ground_m)), step_m=float(np.median(steps)) if len(steps) else 60.0)
        rows.append((*key, number, share, *centre, float(np.hypot(centre[0] - first[0], centre[1] - first[1])), is_mirror_image(listening, first, centre),
                     advised.easting_m, advised.northing_m, advised.azimuth_grid_deg, advised.chance))
    return rows


def places_part(workspace, book):
    """Words and table; nothing where every fix has one place."""
    table = workspace.read_table("several_places")
    if table.empty:
        return book.words(None)
    later = table["place"] > 1
    frame = table.assign(
        at=[f"{east:.0f}, {north:.0f}".replace("-", "−") for east, north in zip(table["easting_m"], table["northing_m"])],
        flown=[f"{east:.0f}, {north:.0f}, towards {azimuth:.0f}°".replace("-", "−") if some else "–"
               for some, east, north, azimuth in zip(later, table["pass_easting_m"], table["pass_northing_m"], table["pass_azimuth_grid_deg"])],
        tells=[stated_probability(chance) if some else "–" for some, chance in zip(later, table["pass_chance"])],
        mirror=["mirror image of 1" if flag else "–" for flag in table["mirror_image"].astype(bool)])
    shown = book.table("several_places", frame, "Places of tags that fit more than one, and the pass that would decide.", {
        "tag_id": ("Tag", "", "text"), "flight_id": ("Flight", "", "text"), "place": ("Place", "", "d"), "share": ("Probability", "of the region", ".2f"), "at": ("East, north", "m, survey grid", as_given),
        "mirror": ("Kind", "", as_given), "flown": ("Pass", "m, degrees of grid north", as_given), "tells": ("Would tell", "probability", as_given)}, saved_as="several_places.csv", tag_column="tag_id", most_rows=60,
        notes="Pass: middle and course of a straight pass of 1.2 km at the height of the flight, antenna along it. Would tell: probability that its strengths name the right one of the first place and this one, were both equally likely. "
              "Advice for the next flight, not a flight plan: the licensed pilot and the permit decide.")
    fixes = workspace.read_table("fixes")
    settled = [f"{tag_id}: {does_it_matter(rows, fixes[fixes['tag_id'] == tag_id])}" for tag_id, rows in table.groupby("tag_id", sort=True)]
    return book.together(book.words(heading(table), paragraph(table), *settled), shown)


def does_it_matter(table: pd.DataFrame, fixes: pd.DataFrame) -> str:
    """Whether the pass that would decide is still needed to find one tag. table : its rows of several_places. fixes : its rows of FIXES, all flights."""
    said = []
    for flight_id, rows in table.groupby("flight_id", sort=True):
        doubtful = fixes[fixes["flight_id"] == flight_id]
        later = fixes[(fixes["status"] == "located") & (fixes["time_start_utc"] > doubtful["time_end_utc"].max())].sort_values("time_end_utc", kind="stable")
        fitted = f"In flight {flight_id} it fitted {number_word(len(rows))} places."
        if later.empty:
            said.append(f"{fitted} No flight since has it in one place, so the pass still matters.")
            continue
        now, first = later.iloc[-1], rows.sort_values("place").iloc[0]
        east, north = float(now["easting_m"] - first["easting_m"]), float(now["northing_m"] - first["northing_m"])
        said.append(f"{fitted} Since then flight {now['flight_id']} has it in one, {two_figures(float(np.hypot(east, north)))} m to the {side(east, north)} of the first of these: the pass is not needed to look for it now.")
    return " ".join(said)


def heading(table: pd.DataFrame) -> str:
    """How many fixes have several places."""
    return f"{counted(table.groupby(['tag_id', 'flight_id']).ngroups, 'fix', 'fixes')} {'fits' if table.groupby(['tag_id', 'flight_id']).ngroups == 1 else 'fit'} more than one place"


def paragraph(table: pd.DataFrame) -> str:
    """What the places are to each other and how well one pass would decide."""
    later = table[table["place"] > 1]
    mirrors = int(later["mirror_image"].astype(bool).sum())
    said = (f"{counted(mirrors, 'place')} {'is' if mirrors == 1 else 'are'} the mirror image of the first in a straight track with the antenna along it: both sides sound alike, whatever the tag. " if mirrors else "")
    return f"{said}The first place is the likeliest, not the true one. One more short pass over the ground named here would tell them apart with probability {_span(later['pass_chance'])}."


def _span(chances: pd.Series) -> str:
    least, most = stated_probability(chances.min()), stated_probability(chances.max())
    return least if least == most else f"{least} to {most}"
