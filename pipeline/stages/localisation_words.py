"""The sentences of the localisation report: findings with their numbers, made from the tables."""

from __future__ import annotations

import pandas as pd

from pipeline.fate import Ladder
from pipeline.location import PLACED
from pipeline.search import WeakTags, stated_probability
from pipeline.wording import counted, listed, rounded_up, two_figures

# What "cautious" means, in half a sentence; search_paragraphs says it in full.
CAUTIOUS = "reckoned as if some tags were weak and each pass a single look"
NO_PROOF_OF_ABSENCE = "This does not show that an animal has left or died."
STATUS_WORDS = {
    "located": "located: enough records, from enough sides, to state a position",
    "several places": "several places: the records fit more than one place",
    "area only": "area only: heard, but too little for a position; the region stands",
    "heard once": "heard once: one record, which may be a false hit; if not, it was within hearing, and no more can be said",
    "suspect": "suspect: what was heard is probably not this tag",
    "not heard": "not heard: records listened to it, and none heard it",
    "not searched": "not searched: no usable record listened; this is not an absence",
}


def animals_of(fixes: pd.DataFrame, tags: pd.DataFrame) -> pd.DataFrame:
    """The fixes of animals: neither beacons nor decoys. Without a register, of every tag that is no beacon."""
    others = set(tags.loc[tags["role"].isin(["beacon", "decoy"]), "tag_id"])
    return fixes[~fixes["tag_id"].isin(others)]


def best_per_animal(animals: pd.DataFrame, walk: pd.DataFrame | None = None) -> pd.DataFrame:
    """The fix with the smallest 95 % radius of every animal that has a position in some flight; of a tag on the retrieval list, the one to walk to where that is a position."""
    placed = animals[animals["status"].isin(PLACED)]
    if walk is not None and len(walk):
        to_walk_to = placed["flight_id"] == placed["tag_id"].map(dict(zip(walk["tag_id"], walk["flight_id"])))
        placed = placed[to_walk_to | ~placed["tag_id"].isin(placed.loc[to_walk_to, "tag_id"])]
    return placed.sort_values(["tag_id", "error_radius_95_m"], kind="stable").groupby("tag_id", sort=True).head(1)


def answer(animals: pd.DataFrame, tests: pd.DataFrame, not_found: pd.DataFrame, walk: pd.DataFrame, triage: pd.DataFrame, doubts: tuple[str, ...] = ()) -> list[str]:
    """Where are the animals, how well is that known, which are missing, which are to be looked for on foot? doubts : what is to be said of silences and lone hits."""
    total, best = animals["tag_id"].nunique(), best_per_animal(animals)
    if total == 0:
        return ["No tag of an animal was listened to, so there is nothing to locate."]
    first = f"{len(best)} of {counted(total, 'animal')} {'has' if len(best) == 1 else 'have'} a position in at least one flight."
    if len(best):
        first += (f" Taken in its best flight, the typical animal lies within {two_figures(best['error_radius_50_m'].median())} m of its position with probability 0.50 and within "
                  f"{two_figures(best['error_radius_95_m'].median())} m with probability 0.95. {_all_positions(animals)}")
    return [words for words in (" ".join([first, tested_sentence(tests)]), " ".join([missing_sentence(not_found), *(words for words in doubts if words)]).strip(), fetch_sentence(walk, triage)) if words]


def _all_positions(animals: pd.DataFrame) -> str:
    """How wide the regions are when no flight is picked out."""
    radii = animals.loc[animals["status"].isin(PLACED), "error_radius_95_m"]
    return (f"Over all {len(radii)} positions half of the 95 % radii are {rounded_up(radii.median())} m or less, and the widest is {two_figures(radii.max())} m." if len(radii) > 1
            else "That is the only position.")


def tested_sentence(tests: pd.DataFrame) -> str:
    """What the beacons say of the regions."""
    if tests.empty:
        return "No beacon was heard: how often these regions hold the truth is tested by nothing."
    inside = int((tests["level_after"] <= 0.95).sum())
    return f"The 95 % regions held {inside} of the {counted(len(tests), 'beacon position')} that the model had not seen."


def unplaced_words(animals: pd.DataFrame, decoys=(), doubts: dict[str, str] | None = None) -> dict[str, str]:
    """What a reader who looks for a tag on the map is told when no flight placed it: tag -> the rest of a sentence. decoys : their names. doubts : tag -> what its hits rest on."""
    said = {str(tag_id): "a decoy, known to be switched off, which shows how often a hit is false." for tag_id in decoys}
    for tag_id, rows in animals.groupby("tag_id", sort=True):
        if rows["status"].isin(PLACED).any():
            continue
        heard = rows[rows["records_heard"].fillna(0) > 0]
        listened = rows[rows["status"] != "not searched"]
        what = (f"heard in {counted(len(heard), 'flight')}, and in none well enough for a position." if len(heard) else
                f"not heard in {'the one flight' if len(listened) == 1 else f'any of the {len(listened)} flights'} that listened. {NO_PROOF_OF_ABSENCE}" if len(listened) else "no flight listened to it; this is not an absence.")
        doubt = (doubts or {}).get(tag_id, "")
        said[str(tag_id)] = f"{what}{' ' + doubt if doubt else ''} See its section under Tag by tag."
    return said


def missing_sentence(not_found: pd.DataFrame) -> str:
    """Who was not found, with how well the ground was searched."""
    if not_found.empty:
        return "Every animal of the register was heard in some flight."
    silent = not_found[not_found["class"] == "not heard"]
    named = [f"{row.tag_id} ({stated_probability(row.adequacy_cautious)})" for row in silent.itertuples()]
    unsought = list(not_found.loc[not_found["class"] == "not searched", "tag_id"])
    parts = []
    if named:
        parts.append(f"Not heard in any flight: {listed(named)}. In brackets stands the probability of hearing it, had it been where it was looked for; the figure is cautious, {CAUTIOUS}. {NO_PROOF_OF_ABSENCE}")
    if unsought:
        parts.append(f"Not listened to at all: {listed(unsought)}. That is not an absence.")
    return " ".join(parts)


def fetch_sentence(walk: pd.DataFrame, triage: pd.DataFrame) -> str:
    """What calls for a walk."""
    found = triage[triage["class"].isin(["Confirmed dead", "Confirmed dropped tag"])]
    seen = "".join(f" {words}" for words in (_found_words(found, "Confirmed dead", "found dead on the ground"), _found_words(found, "Confirmed dropped tag", "found as a tag without its animal")) if words)
    if walk.empty:
        return f"No tag has to be looked for on foot by its pulse rate.{seen}"
    sending = walk["tag_id"].isin(triage.loc[triage["records_mortality"] > 0, "tag_id"])
    parts = [f"{counted(int(sending.sum()), 'tag')} sent the mortality rate (pulses of a tag that lies still, no proof of death) often enough to be looked for on foot: {listed(walk.loc[sending, 'tag_id'])}."] if sending.any() else []
    if not sending.all():
        parts.append(f"{counted(int((~sending).sum()), 'tag')} stayed in one place without a clear pulse rate and should be looked for on foot as well: {listed(walk.loc[~sending, 'tag_id'])}.")
    return " ".join(parts) + seen


FOUND = {"Confirmed dead": ("dead", "found dead on the ground"), "Confirmed dropped tag": ("tag only", "tag found on the ground without its animal")}


def found_by_eye(triage: pd.DataFrame, sightings: pd.DataFrame) -> pd.DataFrame:
    """Tags that the ground crew found dead or without their animal, with the last place where they were seen so: tag_id, what, time_utc, latitude, longitude, easting_m, northing_m."""
    rows = []
    for case in triage[triage["class"].isin(FOUND)].itertuples():
        state, what = FOUND[triage.at[case.Index, "class"]]
        seen = sightings[(sightings["tag_id"] == case.tag_id) & sightings["easting_m"].notna() & (sightings["state"] == state)].sort_values("time_utc", kind="stable")
        if len(seen):
            last = seen.iloc[-1]
            rows.append((case.tag_id, what, *last[["time_utc", "latitude", "longitude", "easting_m", "northing_m"]]))
    return pd.DataFrame(rows, columns=["tag_id", "what", "time_utc", "latitude", "longitude", "easting_m", "northing_m"])


def _found_words(found: pd.DataFrame, which: str, words: str) -> str:
    named = list(found.loc[found["class"] == which, "tag_id"])
    return f"{listed(named)} {'was' if len(named) == 1 else 'were'} {words}, by eye." if named else ""


def fixes_heading(animals: pd.DataFrame) -> str:
    placed = int(animals["status"].isin(PLACED).sum())
    return f"{placed} of {counted(len(animals), 'search', 'searches')} ended with a position" if len(animals) else "No search for an animal was made"


def status_paragraphs(animals: pd.DataFrame) -> list[str]:
    """How many tags and flights came to which status, with what the status means."""
    counts = animals["status"].value_counts()
    said = [f"{status.capitalize()} ({counts[status]}): {words.split(': ', 1)[1]}." for status, words in STATUS_WORDS.items() if counts.get(status, 0)]
    return [f"A search is one animal in one flight. {' '.join(said)}"] if said else []


SEARCH_RESULTS_NOTE = ("After \"not heard\" stands the probability, cautious and averaged over the ground, that the flight would have heard a tag of that type: how well it searched. "
                       "What all flights together make of an animal heard in none stands under animals not found.")


def search_results(animals: pd.DataFrame, tags: pd.DataFrame, area: pd.DataFrame) -> list[str]:
    """The status of each search; after "not heard" how well the flight searched for a tag of that type, where that is known. area : rows of searched_area."""
    kinds = dict(zip(tags["tag_id"], tags["tag_type"].fillna("")))
    searched = {(row.flight_id, row.tag_type): row.mean_cautious for row in area.itertuples()} if len(area) else {}
    adequacy = [searched.get((row.flight_id, kinds.get(row.tag_id, ""))) if row.status == "not heard" else None for row in animals.itertuples()]
    return [status if share is None or pd.isna(share) else f"{status} ({stated_probability(share)})" for status, share in zip(animals["status"], adequacy)]


def failed_gate_sentence(animals: pd.DataFrame) -> str:
    """Which gates most often stood in the way of a position."""
    reasons = animals.loc[animals["status"] == "area only", "status_reason"]
    if reasons.empty:
        return ""
    gates = {"too few records heard": "heard in ", "too few independent records": "independent records", "a 95 % radius too large": "95 % radius", "too few passes and bearings": "passes or", "an answer at the edge of the searched area": "edge of"}
    counts = {words: int(reasons.str.contains(mark, regex=False).sum() if mark != "heard in " else reasons.str.contains(r"because heard in|; heard in", regex=True).sum()) for words, mark in gates.items()}
    said = [f"{words} ({count})" for words, count in sorted(counts.items(), key=lambda each: -each[1]) if count]
    return f"Where only an area could be stated, what was heard fell short of what the survey file requires for a position (localisation.gates): {listed(said)}. The file of the table gives the reason for each."


def by_hand_heading(taken: pd.DataFrame) -> str:
    used = taken[taken["used"]]
    counts = [counted(int((used["kind"] == kind).sum()), kind) for kind in ("bearing", "sighting") if (used["kind"] == kind).any()]
    return f"{listed(counts)} entered the fixes" if counts else "Nothing taken by hand entered a fix"


def radii_heading(placed: pd.DataFrame) -> str:
    if placed.empty:
        return "No position, so no radius to state"
    return f"The 95 % radii run from {two_figures(placed['error_radius_95_m'].min())} to {two_figures(placed['error_radius_95_m'].max())} m"


def errors_heading(tests: pd.DataFrame, summary: dict) -> str:
    if tests.empty:
        return "No beacon was heard: no error was measured"
    return f"On beacons the median error was {two_figures(summary['median_m'])} m"


def fate_heading(triage: pd.DataFrame, walk: pd.DataFrame) -> str:
    if triage.empty:
        return "No register of animals, so nothing is said of their fate"
    if walk.empty:
        return "No tag calls for a walk"
    return f"{counted(len(walk), 'tag')} to look for on foot"


def rungs_words(ladder: Ladder) -> str:
    """What the classes ask for, as the survey file has it."""
    return (f"Two classes are to be looked for on foot. Retrieve, the more urgent: the mortality rate in {counted(ladder.records, 'record')} or more on {counted(ladder.passes, 'pass', 'passes')}, and one place over two flights or more, between which a movement of {ladder.same_place_m:g} m would have shown; "
            f"or the rate kept up over {counted(round(ladder.kept_up_days), 'day') if ladder.kept_up_days == round(ladder.kept_up_days) else f'{ladder.kept_up_days:g} days'} or more with no movement shown, where one of {ladder.unmoved_m:g} m would have. "
            "Check soon, the less urgent: the first without the rest. These limits are assumptions of this project, and settings of the survey file (fate).")


CAUTION_WALK = ("A mortality rate is a signal of the tag, not of the animal: a resting or incubating animal, a dropped tag or an over-sensitive sensor can send it, and nothing here is called dead without ground "
                "proof. The circle is a search area, not a point. Two people, a check-in time, and the permit's rules on handling; approach so that a live animal is not flushed.")


def missing_heading(not_found: pd.DataFrame, single: int = 0, silent: int = 0) -> str:
    """How many animals are missing, and in what way. single : animals heard in single records only, by the rule of doubtful_hits. silent : those that fell silent, by the rule of silences."""
    unheard, unsought = (int((not_found["class"] == name).sum()) for name in ("not heard", "not searched"))
    ways = [(unheard, "heard in no flight"), (unsought, "listened to by no flight"), (single, "heard only in single records that may be false" if single > 1 else "heard in a single record that may be false"), (silent, "heard earlier and silent since")]
    said = [(count, words) for count, words in ways if count]
    if not said:
        return "Every animal was heard at least once"
    (first, words), *others = said
    return listed([f"{counted(first, 'animal')} {'was' if first == 1 else 'were'} {words}", *(f"{count} {words}" for count, words in others)])


def missing_paragraph(not_found: pd.DataFrame) -> str:
    return ("" if not_found.empty else "The silence of a tag has three explanations, and which is likeliest leans on what was believed before. The beliefs of the survey file (search.priors) are therefore shown side by side; none of them is a finding of these flights.")


RANGES_NOTE = ("Half of records, nine in ten: slant distance at which single records hear a tag. Sweep width: of one straight pass, looks sharing the tag and the shadowing. The logistic curve (single records, by slant distance) and the half-normal (one pass, by "
               "distance to the side) are summaries for readers who expect them; the model is neither. Intervals come from the models drawn from what the fit on beacons leaves open; how tags of a type differ is in the figures themselves. Level ground without canopy.")


def with_interval(rows: pd.DataFrame, name: str) -> list[str]:
    """Lengths with their 95 % intervals in words, "600 (500 to 740)"; a dash where there is none. rows : with NAME_m, NAME_low_m and NAME_high_m. [m]"""
    return ["–" if pd.isna(value) else two_figures(value) + ("" if pd.isna(low) else f" ({two_figures(low)} to {two_figures(high)})")
            for value, low, high in zip(rows[f"{name}_m"], rows[f"{name}_low_m"], rows[f"{name}_high_m"])]


def search_heading(area: pd.DataFrame) -> str:
    whole = area[area["flight_id"] == "all flights"]
    if whole.empty:
        return "No ground can be called searched"
    least = whole.sort_values("area_90_cautious_ha", kind="stable").iloc[0]
    which = f", for the type heard least far: {least['tag_type']}" if len(whole) > 1 and least["tag_type"] else ""
    return f"{two_figures(least['area_90_cautious_ha'])} of {two_figures(least['area_ha'])} ha were searched to 0.9 or more (cautious{which})"


def search_paragraphs(area: pd.DataFrame, effort: pd.DataFrame, well: pd.DataFrame, weak: WeakTags = WeakTags()) -> list[str]:
    """Survey effort, what it covered, and the honest test of that on beacons. weak : what the cautious figures reckon with."""
    total = effort[effort["flight_id"] == "all flights"]
    paragraphs = []
    if len(total):
        row = total.iloc[0]
        flights = len(effort) - 1
        paragraphs.append(f"{counted(flights, 'flight')} listened for {row['listening_min']:.0f} minutes over {row['distance_km']:.0f} km on effort.")
    paragraphs.append("Ground counts as searched by the probability that a tag of the type, lying there, would have been heard at least once. Were every record a look of its own (independent), the figures would be too high. "
                      "Expected figures let looks share the tag's power and the shadowing, and average over what the fit on beacons leaves open. Cautious figures, which decisions should rest on, count each pass as one look, and take "
                      f"{100 * weak.share:g} % of tags to be {weak.db:g} dB weaker than the beacons of their type: failing battery, broken antenna, body in the way (an assumption of this project, no source; search.weak_share and search.weak_db in the survey file). Hills count where a terrain model was given. "
                      "A tag underground or in water, or one much weaker than its type even by that measure, can be missed however often the ground is flown over.")
    paragraphs.append(str(well.iloc[0]["text"]) if len(well) else "")
    return [words for words in paragraphs if words]
