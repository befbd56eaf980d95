"""The sentences on tracks, net displacement, ranges, overlap and survival, and their tables as they are read."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.report.display import see
from pipeline.stages.movement_numbers import probability, with_interval
from pipeline.wording import counted, listed, rounded_up, two_figures

PANELS = 9


def track_heading(tables) -> str:
    given = int((tables.walks["verdict"] == "given").sum())
    return f"{counted(given, 'animal')} {'has' if given == 1 else 'have'} positions enough for a track, and no track is a path walked" if given else "No animal has positions enough for a track"


def track_paragraphs(tables) -> list[str]:
    walks = tables.walks[tables.walks["verdict"] == "given"]
    if not len(walks):
        return ["A track needs 5 usable positions: with fewer, how fast the animal moves cannot be found, and the band would be made up."]
    still = walks.loc[walks["walk_low_m_per_root_day"] == 0, "tag_id"]
    return [
        "The track weighs each position by its error and by how fast this animal moves, which is found from its own positions. Where the animal was between two flights is known only "
        f"as well as the band says: up to {rounded_up(walks['radius_95_between_m'].median())} m from the line for the middle animal, against "
        f"{two_figures(walks['radius_95_at_fixes_m'].median())} m at its positions.",
        (f"For {listed(still)} standing still explains all positions. " if len(still) else "")
        + "The length of a track is not given: from positions days apart it would be far too short.",
    ]


def track_frame(tables) -> pd.DataFrame:
    """Tracks of the animals that moved most first."""
    walks = tables.walks[tables.walks["verdict"] == "given"].sort_values(["walk_m_per_root_day", "tag_id"], ascending=[False, True], kind="stable")
    order = {tag: place for place, tag in enumerate(walks["tag_id"])}
    tracks = tables.tracks.assign(label=tables.tracks["tag_id"], rank=tables.tracks["tag_id"].map(order))
    return tracks.sort_values(["rank", "time_utc"], kind="stable")


TRACK_CAPTION = ("Tracks of the animals that move fastest, each at its own scale. The shade is the ground that holds the animal with probability 0.95 at each moment if it walks at random between "
                 "flights; the dashed circles are the same during the flights. Positions that cover each other share their numbers; without room a number is left out.")


def track_alt(tracks) -> str:
    return f"Tracks with 95 % bands of {listed(dict.fromkeys(tracks['label']), PANELS)}; the bands swell between positions and narrow at them."


def walk_frame(tables) -> pd.DataFrame:
    walks = tables.walks
    return walks.assign(
        rate=[with_interval(*row) for row in zip(walks["walk_m_per_root_day"], walks["walk_low_m_per_root_day"], walks["walk_high_m_per_root_day"])],
        said=["5 fixes needed" if verdict == "refused" else "yes" if low == 0 else "hardly"
              for verdict, low in zip(walks["verdict"], walks["walk_low_m_per_root_day"])])


def walk_notes(tables, moved) -> str:
    """What the columns of the walks mean. moved : ids of the animals shown to have moved."""
    hardly = tables.walks.loc[(tables.walks["walk_low_m_per_root_day"] > 0) & ~tables.walks["tag_id"].isin(list(moved)), "tag_id"]
    both = (f" For {listed(hardly, len(hardly))} they hardly do, though movement is not shown. Both can hold: this looks at all fixes of one animal, takes errors as normal and does not "
            "allow for the number of animals; the test of steps takes two fixes at a time and allows for all tests and for rare large errors.") if len(hardly) else ""
    return ("Spread: after a day the animal is within so far east or west of where it was in about two cases of three, and likewise north or south; after four days within twice that. It is no daily distance. "
            "95 % radius: of the circle that holds the animal in 95 of 100 cases; median of the fixes by themselves, median with what the other fixes say of them, largest between two flights. "
            f"Errors alone: explain all fixes where the interval of the spread begins at 0; no verdict on movement, which is that of {see('table', 'steps')}.{both}")


def net_displacement_frame(tables) -> pd.DataFrame:
    """Distance from the first position, of animals with 3 usable positions or more, the farthest last position first."""
    net = tables.net[tables.net["number"].notna()]
    net = net[net.groupby("tag_id")["number"].transform("size") >= 2]
    last = net.groupby("tag_id")["net_squared_high_m2"].last().sort_values(ascending=False, kind="stable")
    order = {tag: place for place, tag in enumerate(last.index)}
    shown = pd.DataFrame({"label": net["tag_id"], "days": net["days"], "low_m": np.sqrt(net["net_squared_low_m2"]), "high_m": np.sqrt(net["net_squared_high_m2"]),
                          "distance_m": np.sqrt(net["net_squared_m2"].clip(lower=0)), "minimum_detectable_m": net["minimum_detectable_m"], "rank": net["tag_id"].map(order)})
    return shown.sort_values(["rank", "days"], kind="stable").reset_index(drop=True)


def net_displacement_alt(net) -> str:
    away = int((net.groupby("label")["low_m"].last() > 0).sum())
    return f"Distance from the first position over time, {net['label'].nunique()} animals; at their last position {away} of them were away from their first by more than the error of this pair."


NET_CAPTION = ("Distance from the first position, location error taken off, with its 95 % interval; bars of one day stand side by side. Each bar and each mark of what would show stands alone: of the bars of animals that stayed, "
               "one in twenty keeps clear of 0 by chance. The squares of these distances are in net_displacement.csv.")


def range_frame(tables) -> pd.DataFrame:
    ranges = tables.ranges
    return ranges.assign(
        area_50=[with_interval(*row) for row in zip(ranges["area_50_ha"], ranges["area_50_low_ha"], ranges["area_50_high_ha"])],
        area_95=[with_interval(*row) for row in zip(ranges["area_95_ha"], ranges["area_95_low_ha"], ranges["area_95_high_ha"])],
        fixes_in_days=[f"{fixes} in {days:.0f}" for fixes, days in zip(ranges["fixes"], ranges["span_days"])],
        method_width=[method if pd.isna(width) else f"{method}: {two_figures(width)} m" for method, width in zip(ranges["method"], ranges["bandwidth_m"])],
        slope=[None if pd.isna(value) else f"{value:.1f}" for value in ranges["asymptote_slope_percent"]])


def range_paragraphs(tables) -> list[str]:
    shown = tables.ranges[tables.ranges["verdict"] != "refused"]
    if not len(shown):
        return []
    animals = shown["tag_id"].nunique()
    return [f"Areas that hold half and 95 % of an animal's places are given for {counted(animals, 'animal')}. The bivariate normal range is the plain yardstick: an ellipse. The kernel follows the "
            "places. Location error has been taken out of all of them, and of the kernel what it adds to a normal range by itself. The intervals hold location error and the number of positions, "
            "not that positions close in time are alike.",
            "The ellipse and the kernel of reference width suit places that thin out from one middle. For simulated animals that use a disc with a sharp edge, or two clumps, both came out half as large "
            "again, and their intervals mostly missed the true area; the kernel of cross-validated width held it in about 8 of 10 cases or more (tests/benchmarks/movement.csv). Where methods differ, believe none to the hectare."]


def outline_frame(tables) -> pd.DataFrame:
    """Outlines of the animals with most positions first."""
    counts = tables.ranges.drop_duplicates("tag_id").set_index("tag_id")["fixes"]
    outlines = tables.outlines.assign(label=tables.outlines["tag_id"], rank=-tables.outlines["tag_id"].map(counts).astype(float))
    return outlines.sort_values(["rank", "tag_id", "percent", "ring"], kind="stable").reset_index(drop=True)


def outline_caption(outlines) -> str:
    widths = "the width found by leaving positions out one by one" if outlines["method"].str.contains("cross").all() else "the width named for each animal in range_outlines.csv"
    return (f"Ground used, of the {PANELS} animals with most positions at most: kernel with {widths}. The lines enclose the areas of the table above, in which location error is taken out; "
            "they are no borders, and may lie as wrong as the intervals of these areas are wide. A position outside the lines may be an error of its own.")


def outline_alt(outlines) -> str:
    return f"Maps of the ground used by {listed(dict.fromkeys(outlines['label']), PANELS)}: an inner line about half of the places, an outer one about 95 %, and the positions."


def overlap_frame(tables) -> pd.DataFrame:
    pairs = tables.overlaps[tables.overlaps["other_tag_id"] != ""]
    return pairs.assign(
        pair=[f"{one} – {other}" for one, other in zip(pairs["tag_id"], pairs["other_tag_id"])],
        shared=[f"{probability(value)} ({probability(low)} to {probability(high)})" for value, low, high in zip(pairs["affinity"], pairs["affinity_low"], pairs["affinity_high"])])


def growth_alt(growth) -> str:
    return f"Extent against number of positions, {growth['label'].nunique()} animals; a curve that still rises at its end has not found its range."


def survival_heading(tables) -> str:
    if tables.no_survival:
        return "Survival cannot be given"
    last = tables.survival.iloc[-1]
    deaths = int(last["deaths"])
    return f"{counted(deaths, 'death')} {'is' if deaths == 1 else 'are'} confirmed; the share alive depends on the lost tags and lies between {last['if_lost_dead']:.2f} and {last['if_lost_alive']:.2f}, sampling error not counted"


def survival_paragraphs(tables) -> list[str]:
    if tables.no_survival:
        return [tables.no_survival]
    ends, last = tables.lives["ends"].value_counts(), tables.survival.iloc[-1]
    unknown = int(ends.get("lost", 0) + ends.get("mortality rate, not confirmed", 0))
    interval = f" (95 % interval {last['survival_low']:.2f} to {last['survival_high']:.2f})" if pd.notna(last["survival_low"]) and last["survival"] < 1 else ""
    return [
        f"{last['days']:.0f} days after the first tag was deployed the share alive is {last['survival']:.2f}{interval} if only confirmed deaths count and the fate of lost tags has nothing to do with death. "
        f"{counted(unknown, 'tag')} {'is' if unknown == 1 else 'are'} lost or sent{'s' if unknown == 1 else ''} an unconfirmed mortality rate: were all of these animals alive, it would be {last['if_lost_alive']:.2f}; "
        f"were all dead, {last['if_lost_dead']:.2f}. Silence is no fate.",
        "Animals enter when they are tagged. A death is put in the middle between the last certain sign of life and the first mortality rate. If the tag register leaves out animals that died before "
        "this campaign, survival is overstated.",
    ]


def survival_alt(curve) -> str:
    last = curve.iloc[-1]
    return f"Three stepped curves that end at {last['if_lost_alive']:.2f} (lost tags alive), {last['survival']:.2f} (confirmed deaths) and {last['if_lost_dead']:.2f} (lost tags dead)."


def lives_frame(tables) -> pd.DataFrame:
    """Animals whose fate is not plain life, the dead first."""
    rank = {"dead": 0, "mortality rate, not confirmed": 1, "lost": 2, "tag dropped": 3, "not entered": 4, "alive": 5}
    lives = tables.lives.assign(rank=tables.lives["ends"].map(rank), tagged=[None if pd.isna(time) else f"{time:%Y-%m-%d}" for time in tables.lives["entry_utc"]],
                                why=tables.lives["reason"].str.replace("Mortality rate heard, death not confirmed; last", "Last", regex=False))      # the column before says the rest
    return lives.sort_values(["rank", "tag_id"], kind="stable")
