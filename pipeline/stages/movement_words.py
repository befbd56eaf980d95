"""The sentences of the movement report, and its tables as they are read; all made from the results, none typed."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.fate.triage import FLIGHTS_OF_SILENCE
from pipeline.movement import gate
from pipeline.report.display import see
from pipeline.stages.movement_numbers import day_range, p_values, time_apart, with_interval
from pipeline.wording import counted, listed, two_figures

RANGE_FIXES = 30
MOST_STEPS = 200            # rows of steps that a page bears
PANELS = 9
SILENT_NOTE = " Silent since: movement is not shown up to this day, and nothing is known of the animal after it."


# What the tables say

def tested_steps(tables) -> pd.DataFrame:
    """Steps that were tested, without the rows of animals that have none."""
    return tables.steps[tables.steps["kind"] != ""]


def movers(tables) -> pd.DataFrame:
    """One row per animal that moved: its clearest step, the longest certain distance first."""
    moved = tables.steps[tables.steps["verdict"] == "moved"]
    return moved.sort_values(["distance_low_m", "tag_id"], ascending=[False, True], kind="stable").drop_duplicates("tag_id")


def testable(tables) -> int:
    """Animals with two usable fixes or more."""
    return int((tables.summary["fixes_usable"] >= 2).sum())


def answer(tables) -> list[str]:
    """The opening paragraphs."""
    everyone, able, moved = len(tables.summary), testable(tables), movers(tables)
    if not able:
        return [f"None of the {counted(everyone, 'animal')} has two usable positions, so this campaign cannot say what moved.", _range_sentence(tables)]
    steps = tested_steps(tables)
    first = (f"{able} of {counted(everyone, 'animal')} {'has' if able == 1 else 'have'} two usable positions or more, enough to test movement. "
             f"{_moved_sentence(moved, tables.significance)}")
    seen = steps["minimum_detectable_m"]
    found = (f"In half of the {counted(len(steps), 'comparison')} a movement had to reach {two_figures(seen.median())} m to show in 8 of 10 cases, in the best {two_figures(seen.min())} m; "
             "shorter ones are often missed.")
    return [first, f"{_rest_sentence(tables, moved)}{found}", _range_sentence(tables)]


def _rest_sentence(tables, moved) -> str:
    """Those not shown to have moved, with what else is known of them, and those without a test."""
    summary = tables.summary
    still = list(summary.loc[(summary["fixes_usable"] >= 2) & ~summary["tag_id"].isin(moved["tag_id"]), "tag_id"])
    untested = list(summary.loc[summary["fixes_usable"] < 2, "tag_id"])
    known = {tag: {"dead": "was found dead", "mortality rate, not confirmed": "sends the mortality rate"}.get(ends) for tag, ends in zip(tables.lives["tag_id"], tables.lives["ends"])}
    known |= {row.tag_id: f"was not heard in the last {row.flights_silent_since} flights that listened to it" for row in tables.lives.itertuples()
              if row.flights_silent_since >= FLIGHTS_OF_SILENCE and row.tag_id not in tables.silent}
    beside = [f"{tag} {known[tag]}" for tag in still if known.get(tag)]
    shown = f"Movement is not shown for {listed(still, len(still))}, which does not mean that {'it' if len(still) == 1 else 'they'} stayed{f'; {listed(beside)}' if beside else ''}. " if still else ""
    silent = " ".join(_silent_sentence(tables.silent[row.tag_id], row.span_days) for row in summary[summary["fixes_usable"] >= 2].itertuples() if row.tag_id in tables.silent)
    return shown + (f"{silent} " if silent else "") + (f"{listed(untested, len(untested))} cannot be tested, for want of two usable positions. " if untested else "")


def _silent_sentence(silence, span_days) -> str:
    """What a test of an animal that fell silent does not reach."""
    short = f", and its positions before are {time_apart(span_days)} apart" if span_days < 1 else ""
    return f"Nothing is known of {silence.tag_id} since {silence.last_utc:%Y-%m-%d}: {counted(silence.later, 'later flight')} did not hear it{short}."


def _moved_sentence(moved, significance):
    chance = f"Were none of the animals moving, chance alone would name a mover in at most one of {1 / significance:.0f} such campaigns."
    if not len(moved):
        return f"None of them is shown to have moved more than the error of its positions allows. {chance}"
    named = ", ".join(f"{row.tag_id} at least {two_figures(row.distance_low_m)} m" for row in moved.head(5).itertuples())
    more = f"; and less far {listed(moved['tag_id'].iloc[5:], len(moved))}" if len(moved) > 5 else ""
    return f"{len(moved)} moved more than the error of {'its' if len(moved) == 1 else 'their'} positions allows: {named}{more}. {chance}"


def _range_sentence(tables):
    given = tables.ranges[tables.ranges["verdict"] == "given"]["tag_id"].nunique()
    if given:
        return f"A range is given for {counted(given, 'animal')}; the others have too few positions, or errors too large."
    most = int(tables.summary["fixes_usable"].max()) if len(tables.summary) else 0
    if most < RANGE_FIXES:
        return f"No range is given: that needs {RANGE_FIXES} positions of an animal, and none has more than {most}."
    return "No range is given: errors are too large, or the extents still grow."


def map_caption(tables) -> str:
    tested = "as tested on the beacons" if tables.errors["of"].notna().any() else "as the model itself states it: there were no beacons to test it on"
    return (f"Positions of every animal, numbered in order of time, with their regions. Where crosses crowd, names are left out; type a tag to see its own. "
            f"The regions hold the animal with the probability stated, {tested}.")


def moved_heading(tables) -> str:
    number = len(movers(tables))
    if not testable(tables):
        return "Movement cannot be tested: no animal has two usable positions"
    return f"{counted(number, 'animal')} moved more than location error allows" if number else "No animal is shown to have moved"


def moved_paragraphs(tables) -> list[str]:
    steps = tested_steps(tables)
    if not len(steps):
        return [gate(1).sentence]
    verdicts = steps["verdict"].value_counts()
    seen = steps["minimum_detectable_m"]
    hidden = verdicts.get("cannot tell", 0)
    blind = f", {hidden} cannot tell because even a kilometre could have stayed hidden" if hidden else ""
    shaped = int((steps["test"] == "shape").sum())
    odd = f" In {shaped} of {len(steps)} steps the regions are odd in shape and were tested as they are." if shaped else ""
    return [
        f"{counted(len(steps), 'step')} {'was' if len(steps) == 1 else 'were'} tested, from each position to the next and from the first to the last: "
        f"{verdicts.get('moved', 0)} moved, {verdicts.get('not shown', 0)} not shown{blind}. "
        f"Moved means p < {tables.significance:g} by Holm's adjustment, which allows for the number of tests. No other part of this report gives a verdict on movement.",
        f"What could have been seen differs: the best pair of positions would have shown {two_figures(seen.min())} m, the middle one {two_figures(seen.median())} m, "
        f"the worst {two_figures(seen.max())} m.{odd}",
    ]


def net_frame(tables) -> pd.DataFrame:
    """First to last of every animal that has two positions or more, the longest first."""
    steps = tested_steps(tables)
    net = pd.concat([steps[steps["kind"] == "first to last"], steps[steps["kind"] == "consecutive"]]).drop_duplicates("tag_id")
    net = net.sort_values(["distance_m", "tag_id"], ascending=[False, True], kind="stable")
    between = net["tag_id"].isin(movers(tables)["tag_id"])
    return pd.DataFrame({"label": net["tag_id"], "distance_m": net["distance_m"], "low_m": net["distance_low_m"], "high_m": net["distance_high_m"],
                         "minimum_detectable_m": net["minimum_detectable_m"], "moved": np.select([net["verdict"] == "moved", between], ["apart", "in between"], "not shown")}).reset_index(drop=True)


def net_caption(tables) -> str:
    net, everyone = net_frame(tables), movers(tables)
    back = sorted(set(everyone["tag_id"]) - set(net.loc[net["moved"] == "apart", "label"]))
    between = f" {listed(back)} moved in between, and {'is' if len(back) == 1 else 'are'} not shown to have ended away from where {'it' if len(back) == 1 else 'they'} began." if back else ""
    silent = "".join(f" Nothing is known of {tag} since {tables.silent[tag].last_utc:%Y-%m-%d}." for tag in net["label"] if tag in tables.silent)
    return (f"From first to last position: distance, 95 % interval, and the shortest movement that would have shown.{between}{silent} A thin bar that keeps clear of 0 is still no proof: "
            f"with {counted(len(tested_steps(tables)), 'test')} some do so by chance.")


def net_alt(net) -> str:
    apart, between = (int((net["moved"] == name).sum()) for name in ("apart", "in between"))
    return (f"{len(net)} bars, one per animal, of the distance from first to last position; {apart} of them are shown to be away from their first position, and {between} to have moved in between. "
            f"The longest is {two_figures(net['distance_m'].max())} m.")


def path_frame(tables) -> pd.DataFrame:
    """Positions of the animals that moved, the clearest first."""
    order = {tag: place for place, tag in enumerate(movers(tables)["tag_id"])}
    places = tables.places[tables.places["tag_id"].isin(order)]
    places = places.assign(rank=places["tag_id"].map(order)).sort_values(["rank", "number"], kind="stable")
    return places.assign(label=places["tag_id"])


def path_caption(tables) -> str:
    """Which of the animals that moved are drawn."""
    moved = len(movers(tables))
    which = f"The {PANELS} of {moved} animals that moved for which it is clearest" if moved > PANELS else "Animals that moved"
    return f"{which}, all at one scale. Positions that cover each other share their numbers; without room a number is left out. The dotted line joins positions in order of time; it is no path walked."


def path_alt(paths) -> str:
    return f"Numbered positions with 95 % circles of {', '.join(list(dict.fromkeys(paths['label']))[:9])}, one panel each."


def shown_steps(steps) -> pd.DataFrame:
    """The steps that a page shows: all that moved, of every other animal the clearest one, and the row of each animal without a step; where these are too many, the clearest of every animal."""
    clearest = steps.sort_values(["p", "from_utc"], kind="stable").drop_duplicates("tag_id")
    rows = steps.index.isin(clearest.index)
    moved = (steps["verdict"] == "moved").to_numpy(bool)
    whole = rows & ~steps["tag_id"].isin(steps.loc[moved, "tag_id"]).to_numpy(bool) | moved
    return steps[whole if whole.sum() <= MOST_STEPS else rows]


def steps_caption(steps, shown) -> str:
    """Which steps are shown."""
    every = (steps["verdict"] == "moved").sum() == (shown["verdict"] == "moved").sum()
    return f"Did it move? {'All steps that moved, and the clearest one of every other animal' if every else 'The clearest step of every animal'}."


def steps_left_out(steps, shown) -> str:
    """How many steps are in the file alone."""
    left = len(steps) - len(shown)
    return f" Every animal is here; {counted(left, 'further step')} {'is' if left == 1 else 'are'} in the file." if left else " Every animal is here."


def other_detectable(net) -> str:
    """Why the shortest movement that would have shown has another figure elsewhere."""
    first = f"{see('figure', 'net-distance')} has that of first and last flight, " if len(net) else ""
    return f"{first}{see('table', 'site-fidelity')} that of the middle pair by itself, and the localisation report (fate) the largest between the last flights, errors taken as normal."


def step_frame(steps, silent=()) -> pd.DataFrame:
    """Steps as read: moved first, then animals without a step with their reason, cannot tell, and not shown. silent : tag -> its silence, of those that fell silent."""
    rank = steps["verdict"].map({"moved": 0, "cannot tell": 2, "not shown": 3}).where(steps["kind"] != "", 1)
    ordered = steps.assign(rank=rank).sort_values(["rank", "tag_id", "from_utc"], kind="stable")
    whole = ordered["kind"] == "first to last"
    times = [*ordered["from_utc"].dropna(), *ordered["to_utc"].dropna()]
    day = "%m-%d" if len({time.year for time in times}) <= 1 else "%Y-%m-%d"      # a whole date makes the table wider than a sheet of paper
    return ordered.assign(
        between=["first – last" if net else f"{start} – {end}" if start else reason.split(":")[0].rstrip(".")
                 for start, end, net, reason in zip(ordered["from_flight_id"], ordered["to_flight_id"], whole, ordered["reason"])],
        distance=[with_interval(*row) for row in zip(ordered["distance_m"], ordered["distance_low_m"], ordered["distance_high_m"])],
        chance=[p_values(*row) if kind else None for *row, kind in zip(ordered["p"], ordered["p_adjusted"], ordered["kind"])],
        said=[f"silent since {silent[tag].last_utc:{day}}" if tag in silent and kind and verdict != "moved" else verdict for tag, verdict, kind in zip(ordered["tag_id"], ordered["verdict"], ordered["kind"])],
    )


def animals_heading(tables) -> str:
    none = int((tables.summary["fixes_usable"] == 0).sum())
    rest = f"; {counted(none, 'animal')} {'has' if none == 1 else 'have'} no usable position" if none else ""
    return f"{testable(tables)} of {counted(len(tables.summary), 'animal')} can be tested for movement{rest}"


def animals_paragraphs(tables) -> list[str]:
    classes = tables.summary["gate"].value_counts()
    order = [name for name in dict.fromkeys(gate(number).name for number in range(31)) if name in classes]
    said = ", ".join(f"{classes[name]} {name}" for name in order)
    return [f"What may be said depends on the number of usable positions: {said}."] if said else []


def animal_frame(summary, silent=()) -> pd.DataFrame:
    """Animals as read. silent : tag -> its silence, of those that fell silent."""
    return summary.assign(
        allowed=[f"{name}; {silent[tag].since}" if tag in silent else name for tag, name in zip(summary["tag_id"], summary["gate"])],
        heard_of_searched=[f"{heard} of {searched}" for heard, searched in zip(summary["flights_heard"], summary["flights_searched"])],
        radius=[None if pd.isna(value) else two_figures(value) for value in summary["median_error_radius_95_m"]],
        usable_of_total=[f"{usable}" if pd.isna(total) else f"{usable} of {total}" for usable, total in zip(summary["fixes_usable"], summary["fixes_total"])],
        first_to_last=[day_range(*row) for row in zip(summary["first_utc"], summary["last_utc"])],
    )


def extent_frame(tables) -> pd.DataFrame:
    extents = tables.extents
    given = extents["verdict"] == "given"
    short = np.select([given & (extents["extent_low_ha"] == 0), given, extents["fixes"] < 5], ["near a line", "given", "5 fixes needed"], "mostly error")
    return extents.assign(
        extent=[with_interval(*row) for row in zip(extents["extent_ha"], extents["extent_low_ha"], extents["extent_high_ha"])],
        short=short,
        largest=[with_interval(*row) for row in zip(extents["largest_distance_m"], extents["largest_distance_low_m"], extents["largest_distance_high_m"])],
    )


def space_heading(tables) -> str:
    given = int((tables.extents["verdict"] == "given").sum())
    extents = f"For {counted(given, 'animal')} the area that the positions span is given" if given else "For no animal the area that the positions span is given"
    ranges = tables.ranges[tables.ranges["verdict"] == "given"]["tag_id"].nunique()
    return f"{extents}; {f'for {ranges} a range' if ranges else 'no animal has positions enough, and good enough, for a range'}"


def space_paragraphs(tables) -> list[str]:
    few = int((tables.extents["fixes"] < 5).sum())
    noisy = int(((tables.extents["fixes"] >= 5) & (tables.extents["verdict"] == "refused")).sum())
    thin = list(tables.extents.loc[(tables.extents["verdict"] == "given") & (tables.extents["extent_low_ha"] == 0), "tag_id"])
    said = ([f"{counted(few, 'animal')} {'has' if few == 1 else 'have'} fewer than 5 usable positions."] if few else []) + ([
        f"{counted(noisy, 'animal')} {'has' if noisy == 1 else 'have'} enough, but location error is more than half the scatter of the places, so that the extent would be mostly error."] if noisy else []) + ([
        f"Positions of {listed(thin)} may lie on a line: across it they scatter no more than their errors, and the area may be next to nothing."] if thin else [])
    return [
        *([" ".join(said)] if said else []),
        f"{_range_sentence(tables)} The extent of fixes is no home range, and grows with every position added.",
    ]


def pair_frame(proximity) -> pd.DataFrame:
    """Pairs as read, the nearest first over all flights."""
    pairs = proximity[proximity["other_tag_id"] != ""].sort_values(["probability_100_m", "distance_m", "tag_id"], ascending=[False, True, True], kind="stable")
    return pairs.assign(
        pair=[f"{one} – {other}" for one, other in zip(pairs["tag_id"], pairs["other_tag_id"])],
        label=[f"{one} – {other}, {flight}" for one, other, flight in zip(pairs["tag_id"], pairs["other_tag_id"], pairs["flight_id"])],
        distance=[with_interval(*row) for row in zip(pairs["distance_m"], pairs["distance_low_m"], pairs["distance_high_m"])],
    ).rename(columns={"distance_low_m": "low_m", "distance_high_m": "high_m"}).reset_index(drop=True)


def pair_heading(proximity) -> str:
    pairs = pair_frame(proximity)
    if not len(pairs):
        return "No two animals have a position in the same flight"
    near = pairs[pairs["probability_100_m"] >= 0.5]
    if not len(near):
        return "No two animals were probably within 100 m of each other in a flight"
    return f"{counted(len(near), 'time')} two animals were probably within 100 m of each other in a flight"


def shared_sentence(shared) -> str:
    """What was done about errors that push all positions of a flight the same way."""
    if not shared.pairs or pd.isna(shared.low):
        return f"{shared.reason} What they share would cancel, so the intervals are rather too wide."
    if shared.correlation < 0.005:
        return f"{shared.reason} So next to nothing is taken as shared."
    done = "What all positions of a flight get wrong alike does not change how far two animals are apart, and is left out of the distance."
    return f"{shared.reason} {done}"


def pair_paragraphs(tables) -> list[str]:
    pairs, alone = pair_frame(tables.proximity), _without_pair(tables.proximity)
    if not len(pairs):
        return [alone] if alone else []
    sure = int((pairs["probability_100_m"] >= 0.95).sum())
    return [f"{counted(len(pairs), 'pair')} of positions in one flight were compared. Within 100 m with a probability of 0.95 or more: {sure}. "
            f"Overlapping regions alone never say that two animals were together.{' ' * bool(alone)}{alone}", shared_sentence(tables.shared)]


def _without_pair(proximity) -> str:
    """Animals that were never compared, with the reason of each."""
    alone = proximity[proximity["other_tag_id"] == ""]
    said = [f"{listed(own['tag_id'])} ({reason[0].lower()}{reason[1:].rstrip('.')})" for reason, own in alone.groupby("reason", sort=True)]
    return f"Without a pair: {', '.join(said)}." if said else ""


def pair_alt(pairs) -> str:
    return f"Distances of the {len(pairs)} nearest pairs with intervals, against lines at 50 and 100 m; the nearest is {two_figures(pairs['distance_m'].min())} m."


def _several_days(fidelity, summary) -> pd.DataFrame:
    """Animals whose positions could show that they stayed: two or more, a day or more apart."""
    span = summary.set_index("tag_id")["span_days"]
    return fidelity[(fidelity["pairs"] > 0) & (pd.to_numeric(fidelity["tag_id"].map(span)).astype(float) >= 1)]


def fidelity_heading(fidelity, moved, summary) -> str:
    judged = _several_days(fidelity, summary)
    if not len(judged):
        return "Whether animals stayed cannot be said"
    still, stayed = int((~judged["tag_id"].isin(list(moved))).sum()), len(_stayed(judged, moved))
    alike = f"; all positions of {stayed if stayed < still else 'it' if still == 1 else 'these'} could be one place" if stayed else ""
    return f"{still} of {counted(len(judged), 'animal')} with positions a day or more apart {'is' if still == 1 else 'are'} not shown to have moved{alike}"


def _stayed(judged, moved) -> list[str]:
    """Animals all of whose pairs of positions could be one place, and that no test has shown to move."""
    return list(judged.loc[(judged["pairs_same_place"] == judged["pairs"]) & ~judged["tag_id"].isin(list(moved)), "tag_id"])


def fidelity_paragraphs(fidelity, moved, summary) -> list[str]:
    """moved : ids of the animals shown to have moved, which are not counted here."""
    judged = _several_days(fidelity, summary)
    short = list(fidelity.loc[(fidelity["pairs"] > 0) & ~fidelity["tag_id"].isin(judged["tag_id"]), "tag_id"])
    one_day = f"Positions of {listed(short)} are of one day and say nothing of staying." if short else ""
    if not len(judged):
        return ["No animal has two usable positions a day or more apart.", *([one_day] if short else [])]
    stayed = _stayed(judged, moved)
    between = [tag for tag in judged["tag_id"] if tag not in stayed and tag not in set(moved)]
    named = f"No two positions of {listed(stayed)} look like different places. " if stayed else ""
    unlike = (judged["pairs"] - judged["pairs_same_place"])[judged["tag_id"].isin(between)]
    apart = (f"Of {listed(between, len(between))} {_least_to_most(unlike)} do. One pair in twenty of an animal that stayed does so by chance, and one position that errs much makes several such pairs: "
             f"{'this animal' if len(between) == 1 else 'these animals'} may have moved, but it is not shown. ") if between else ""
    return [f"Whether an animal moved is said by {see('table', 'steps')} alone. Here pairs of positions are looked at one by one, for how far they agree with one place.",
            f"{named}{apart}{one_day}{' ' * bool(one_day)}This says no more than the errors let it: of the middle one of {counted(len(judged), 'animal')} a pair of flights, by itself, "
            f"would have shown a movement of {two_figures(judged['minimum_detectable_m'].median())} m in 8 of 10 cases, and would often have missed a shorter one."]


def _least_to_most(pairs) -> str:
    """"3 to 8 pairs", "1 pair"."""
    least, most = int(pairs.min()), int(pairs.max())
    return counted(most, "pair") if least == most else f"{least} to {most} pairs"


def effort_heading(tables) -> str:
    """In how many of the flights that searched for them animals were heard; those that rest on single records stand apart."""
    summary = tables.summary[~tables.summary["tag_id"].isin(tables.single)]
    always = int(((summary["flights_searched"] > 0) & (summary["flights_heard"] == summary["flights_searched"])).sum())
    never = int(((summary["flights_searched"] > 0) & (summary["flights_heard"] == 0)).sum())
    sometimes = list(summary.loc[(summary["flights_heard"] > 0) & (summary["flights_heard"] < summary["flights_searched"]), "tag_id"])
    return f"{counted(always, 'animal')} {'was' if always == 1 else 'were'} heard in every flight that searched for {'it' if always == 1 else 'them'}, {never} in none{f', {listed(sometimes)} in some' if sometimes else ''}{_single(tables.single)}"


def _single(tag_ids: tuple[str, ...]) -> str:
    return f", {listed(tag_ids)} only in {'a single record' if len(tag_ids) == 1 else 'single records'} that may be false" if tag_ids else ""


def effort_paragraphs(tables) -> list[str]:
    flights, unsearched = tables.flights, int((tables.summary["flights_searched"] == 0).sum())
    minutes = pd.to_numeric(flights["listening_min"]).astype(float).sum()
    empty = int((tables.timeline["state"] == "not searched").sum())
    whole = (f"In {empty} of {len(tables.timeline)} cases a flight did not listen to an animal's tag: that is no absence, and is never counted as one." if empty
             else "Every flight listened to every animal's tag.")
    said = [f"{counted(len(flights), 'flight')} listened for {minutes:.0f} minutes. {whole}"]
    return said + ([f"{counted(unsearched, 'animal')} {'was' if unsearched == 1 else 'were'} searched for by no flight."] if unsearched else [])


def timeline_caption(tables) -> str:
    quiet = tables.timeline[tables.timeline["state"] == "not heard"]
    if not len(quiet):
        shaded = ""
    elif quiet["adequacy"].notna().any():
        shaded = (" The fuller the square of a silent flight, the better this flight alone searched the ground: the mean probability, over all of the ground, that a tag of this type "
                  "would have been heard (cautious). An empty square is ground hardly searched, or a probability that is not known.")
    else:
        shaded = " How well the silent flights searched the ground is not known, so their squares are empty."
    return f"Every animal in every flight. An empty place means that the flight did not search for it.{shaded}"


def timeline_alt(tables) -> str:
    states = tables.timeline["state"].value_counts()
    return f"Animals by flights: {', '.join(f'{states[name]} {name}' for name in ('fix', 'heard', 'not heard', 'not searched') if name in states)}."
