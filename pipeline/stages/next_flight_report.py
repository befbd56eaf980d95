"""The part of the localisation report that says where a next flight would tell most."""

from __future__ import annotations

import numpy as np

from pipeline.figures.next_flight import next_flight_map
from pipeline.search import stated_probability
from pipeline.search.ground_ahead import SPACING_M
from pipeline.stages.calibration_numbers import percent
from pipeline.stages.doubtful_hits import in_brief
from pipeline.stages.ground_files import read_ground
from pipeline.stages.next_flight import MOST_UNPLACED, badly_placed, distinct_blocks, take_offs_m
from pipeline.wording import counted, listed

# A gain below this is within what the figures can tell apart; the report then says that no flight stands out.
WORTH_FLYING = 0.05
# A tag that gains less than this from a flight is no reason to fly it. Our choice.
LEAST_GAIN = 0.1
ADVICE = ("This is advice to a licensed pilot on where information lies, and no flight plan: weather, airspace, people, ground, animals and law are not in it. "
          "The pilot decides where, how high and whether to fly.")
STYLES = {"lines": "lines to and fro, the drone turning slowly on its axis", "loop": "laps with the antenna along the track"}


def next_flight_part(workspace, book, lone=None):
    """Words, the blocks on a map and the table; words alone when nothing asks for a flight. lone : tags whose hearing rests on lone hits, see doubtful_hits."""
    table = workspace.read_work("next_flight")
    asked, ground = workspace.read_json("next_flight_asked"), read_ground(workspace)
    in_the_way = [name for name, known in (("hills", ground.terrain), ("canopy", ground.canopy)) if known is not None]
    words = book.words(heading(table, asked), purpose(table, lone or {}), *paragraphs(table, asked, in_the_way, workspace.survey.next_flight.tags))
    if table.empty:
        return words
    shown = book.table("next_flight", numbered_blocks(table).head(8), "What the best flight over each block is expected to add, the most telling first; the others are in the file.", {
        "number": ("Order", "", "d"), "name": ("Block", "", "text"), "minutes": ("Minutes", "in the air", ".0f"), "adequacy_before": ("Searched now", "cautious, mean", stated_probability),
        "adequacy_after": ("Searched after", "cautious, mean", stated_probability), "shrinkage": ("Region smaller by", "share, mean", stated_probability), "for_tags": ("For", "tags", "text")},
        saved_as="next_flight.csv", notes=f"Searched: mean over the tags not found of how much of the ground where each may be is searched. Region smaller by: mean over {_whose_regions(workspace.survey.next_flight.tags)}, as told by the spread of what a simulated flight would leave; a rough figure for comparing flights. Blank where no tag asks for it.")
    return book.together(words, _map(workspace, book, table), shown)


def heading(table, asked: dict) -> str:
    """Where, or that it hardly matters where. asked : how many tags were not found, and how many regions should be narrowed down."""
    if table.empty:
        return "No flight from the take-off points reaches this ground" if any(asked.values()) else "No tag asks for a next flight"
    best = table.iloc[0]
    return f"A next flight would add most over block {best['name']}" if best["score"] >= WORTH_FLYING else "No next flight over this ground would add much"


def numbered_blocks(table):
    """The best way to fly each block, numbered as in the figure."""
    blocks = distinct_blocks(table)
    return blocks.assign(number=np.arange(1, len(blocks) + 1))


def purpose(table, lone: dict) -> str:
    """What to fly for whom, and which of it rests on hits that may be false; nothing without a candidate. lone : see doubtful_hits."""
    if table.empty:
        return ""
    gains = [{tag: float(gain) for tag, gain in (each.rsplit(" ", 1) for each in str(row.gains).split("; ") if " " in each)} for row in table.itertuples()]
    said, hardly = [], []
    for tag in sorted({tag for each in gains for tag in each}):
        own = np.array([each.get(tag, 0.0) for each in gains])
        if own.max() >= LEAST_GAIN:
            said.append(f"To narrow down where {tag} is, fly block {table.iloc[int(own.argmax())]['name']}, which is expected to make the area where it may be smaller by about {percent(own.max())}. {in_brief([tag], lone)}".strip())
        else:
            hardly.append(tag)
    return " ".join([*said, *([f"No candidate would add a tenth or more for {listed(hardly)}."] if hardly else [])])


def _whose_regions(chosen) -> str:
    return f"the tags of the survey file ({listed(chosen)})" if chosen else f"the tags heard but badly placed (at most the {MOST_UNPLACED} with the largest regions)"


def _reckoned(in_the_way: list[str]) -> str:
    if not in_the_way:
        return "The ground is taken as level and open, since no terrain and no canopy are given."
    return f"What {listed(in_the_way)} would take along these tracks is reckoned with, on a lattice of {SPACING_M:g} m."


def paragraphs(table, asked: dict, in_the_way: list[str], chosen=()) -> list[str]:
    """What the best block would add, for whom, how it would be flown; and what this is not. in_the_way : of hills and canopy, those known. chosen : tags that the survey names."""
    if table.empty:
        return ["No position of a flight is known, or all ground lies beyond half a battery from the take-off points (next_flight.take_offs and next_flight.minutes in the survey file)." if any(asked.values()) else
                "Every animal was heard and has a position in some flight."]
    best = table.iloc[0]
    gains = []
    if best["adequacy_gain"] < 0.005:
        gains.append(f"adds hardly anything to the ground searched for the tags not found, which stands at {stated_probability(best['adequacy_before'])} (cautious, mean),")
    elif np.isfinite(best["adequacy_gain"]):
        gains.append(f"raises the ground searched for the tags not found from {stated_probability(best['adequacy_before'])} to {stated_probability(best['adequacy_after'])} (cautious, mean)")
    if np.isfinite(best["shrinkage"]):
        gains.append(f"makes the regions smaller by about {percent(best['shrinkage'])} for {_whose_regions(chosen)}")
    tags = [tag for tag in str(best["for_tags"] or "").split("; ") if tag and tag != "nan"]
    own = dict(each.rsplit(" ", 1) for each in str(best["gains"]).split("; "))
    whom = f" It serves most {listed([f'{tag} ({own[tag]})' for tag in tags], most=6)}." if tags else " No single tag would gain a tenth or more."
    flown = f"{STYLES[best['style']]}, {best['height_m']:.0f} m above ground, {best['minutes']:.0f} minutes with the way there and back"
    median = table["score"].median()
    return [f"Of {counted(len(table), 'candidate')} that a battery can fly from the take-off points, block {best['name']} {' and '.join(gains)}.{whom} Flown as {flown}. "
            f"The median candidate would add {stated_probability(median)} per tag, this one {stated_probability(best['score'])}. {_reckoned(in_the_way)}", ADVICE]


def _map(workspace, book, table):
    cells, grids = workspace.read_work("searched"), workspace.read_json("searched_grid")
    grid = grids[0] if isinstance(grids, list) else grids
    whole = cells[cells["flight_id"] == "all flights"]
    weakest = whole.groupby("tag_type")["cautious"].mean().idxmin()
    own = whole[whole["tag_type"] == weakest]
    values = np.full((grid["rows"], grid["columns"]), np.nan)
    values[own["row"].to_numpy(int), own["column"].to_numpy(int)] = own["cautious"].to_numpy(float)
    blocks = workspace.read_work("next_flight_blocks").sort_values("rank", kind="stable")
    outlines = [(row.name, np.array(row.geometry.exterior.coords)) for row in blocks.itertuples(index=False)]
    tags = badly_placed(workspace.read_table("fixes"), workspace.read_work("tags"), workspace.path_to_read("work/draws.npz"), workspace.survey.next_flight.tags)
    figure = next_flight_map(values, grid["west_m"], grid["north_m"], grid["cell_m"], outlines, take_offs_m(workspace.survey.next_flight, workspace.read_work("records"), read_ground(workspace).projection), [(tag.tag_id, tag.places_m) for tag in tags])
    return book.figure("next_flight_map", figure, f"The first {counted(len(outlines), 'block')} over the ground searched so far for a {weakest or 'tag'}. An outline is where information lies; it is no track to be flown. The outlines are in tables/next_flight.geojson.",
                       f"Map of {counted(len(outlines), 'block')} for a next flight over the ground searched so far; the first is {table.iloc[0]['name']}.")
