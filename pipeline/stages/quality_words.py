"""The sentences of the quality report: findings with their numbers, made from the tables."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.wording import counted, number_word, printed, two_figures

# Which of the things to look at is told first.
WORST_FIRST = ("flight-rejected", "flight-presence-only", "no-beacons", "beacons-missing", "no-beacon-heard", "position-lost", "position-missing", "position-frozen", "position-jump", "clock-lag", "noise-step", "azimuth-lag", "clock-drift", "heard-everywhere",
               "tags-copy-one-another", "azimuth-constant", "declination-unlikely", "height-not-above-ground", "height-negative", "height-impossible", "height-constant", "terrain-holes", "saturated", "strength-saturated", "decoys-heard", "beacon-never-heard")


def decibels(value: float) -> str:
    """A level to the whole decibel, with a true minus."""
    return f"{printed(value)} dB"


def verdict_notes(flights: pd.DataFrame) -> str:
    """Why flights are not fit for location; the numbers behind every verdict are in the file."""
    doubtful = flights[flights["verdict"] != "fit for location"]
    reasons = " ".join(f"{flight}: {reason}" for flight, reason in zip(doubtful["flight_id"], doubtful["verdict_reason"]))
    return f"{reasons} Noise is the median of the flight; the numbers behind each verdict are in the file.".strip()


def trust_paragraphs(flights: pd.DataFrame, effort: pd.DataFrame, tags: pd.DataFrame, messages: pd.DataFrame, crude: pd.DataFrame) -> list[str]:
    """Can these logs be trusted? First what they are fit for, then what is wrong, then what to do."""
    return [" ".join([fitness_sentence(flights), effort_sentence(effort), heard_sentence(tags), crude_sentence(crude)]),
            f"{problem_sentence(messages)} {advice_sentence(flights, messages)}"]


def fitness_sentence(flights: pd.DataFrame) -> str:
    """How many flights are fit for what."""
    count = flights["verdict"].value_counts()
    fit, presence, rejected = (int(count.get(name, 0)) for name in ("fit for location", "presence only", "rejected"))
    total = len(flights)
    if fit == total:
        return f"Yes: the logs of {'the one flight' if total == 1 else f'all {total} flights'} are fit for location."
    rest = [f"{number} {'is' if number == 1 else 'are'} {what}" for number, what in ((presence, "good for presence only"), (rejected, "rejected")) if number]
    opening = "In part" if fit else "No, not for positions"
    return f"{opening}: {fit} of {total} flights {'is' if fit == 1 else 'are'} fit for location, {' and '.join(rest)}."


def effort_sentence(effort: pd.DataFrame) -> str:
    """Minutes and kilometres of the campaign, and what was off effort."""
    whole = effort.iloc[-1]
    off = f"{whole['off_effort_min']:.1f} min are off effort ({whole['off_effort_why']} min)" if whole["off_effort_min"] > 0 else "nothing is off effort"
    return f"The receiver listened for {whole['listening_min']:.0f} min over {whole['distance_km']:.0f} km; {off}."


def heard_sentence(tags: pd.DataFrame) -> str:
    """How many animals, beacons and decoys were heard."""
    parts = []
    for role, noun in (("animal", "tagged animal"), ("beacon", "beacon"), ("decoy", "decoy")):
        mine = tags[tags["role"] == role]
        listened = mine[mine["records_listened"] > 0]
        if len(mine):
            parts.append(f"{int((listened['records_heard'] > 0).sum())} of {counted(len(mine), noun)}")
    return f"Heard at least once: {', '.join(parts)}." if parts else "No tag is registered."


def crude_sentence(crude: pd.DataFrame) -> str:
    """What calling the receiver's place the tag's would cost."""
    whole = crude[crude["flight_id"] == "all flights"]
    if whole.empty or not np.isfinite(whole["median_m"].iloc[0]):
        return "No beacon was heard, so not even a crude error can be given."
    row = whole.iloc[0]
    return (f"A yardstick, and not the error of any position in these reports: a tag taken to lie where the receiver was when it heard it loudest would be misplaced by {two_figures(row['median_m'])} m at the median and by "
            f"{two_figures(row['p90_m'])} m or more in one case of ten ({row['heard']} beacon hearings).")


def main_problem(messages: pd.DataFrame) -> pd.Series | None:
    """The message to be told first, or None."""
    for severity in ("stop", "look"):
        found = messages[messages["severity"] == severity]
        if len(found):
            rank = found["code"].map({code: place for place, code in enumerate(WORST_FIRST)}).fillna(len(WORST_FIRST))
            return found.iloc[int(np.argmin(rank.to_numpy(float)))]
    return None


def problem_sentence(messages: pd.DataFrame) -> str:
    """The main problem in words."""
    problem = main_problem(messages)
    if problem is None:
        return "Nothing was found that needs a look."
    place = f"{problem['file']}: " if str(problem["file"]) and str(problem["file"]) not in str(problem["text"]) and "Flight" not in str(problem["text"]) else ""
    return f"The main thing to look at: {place}{str(problem['text']).rstrip('.')}."


def advice_sentence(flights: pd.DataFrame, messages: pd.DataFrame) -> str:
    """What to do next."""
    count = messages["severity"].value_counts()
    stop, look = int(count.get("stop", 0)), int(count.get("look", 0))
    if stop:
        return f"Do: settle the {counted(stop, 'message')} marked stop before using what they name; what they name is left out here."
    if look:
        return f"Do: read the {counted(look, 'message')} marked look before the positions; nothing stops the work."
    return "Do: go on to the positions."


def position_heading(flights: pd.DataFrame) -> str:
    """Which flights lost their position."""
    lost = int((flights["positions_lost"] > 0).sum())
    if not lost:
        return "Every flight kept its position throughout"
    return f"{number_word(lost).capitalize()} flight{'' if lost == 1 else 's'} lost {'its' if lost == 1 else 'their'} position for a while"


def flight_paragraph(flights: pd.DataFrame) -> str:
    """Styles, interval and gaps."""
    styles = flights["style"].value_counts()
    named = ", ".join(f"{number_word(int(styles[name]))} {name}" for name in ("loop", "lines", "mixed", "unclear") if name in styles.index)
    gaps = int(flights["gaps"].sum())
    interval = flights["record_interval_s"].median()
    gap_words = "no gap is longer than twice that" if gaps == 0 else f"{counted(gaps, 'gap')} are longer than twice that, the longest {flights['longest_gap_s'].max():.0f} s"
    return f"The styles, as found from the tracks: {named}. A record comes every {interval:g} s; {gap_words}. Shading in the strips marks records off effort."


def effort_heading(effort: pd.DataFrame) -> str:
    """Minutes and kilometres."""
    whole = effort.iloc[-1]
    total = whole["listening_min"] + whole["off_effort_min"]
    share = 100.0 * whole["listening_min"] / total if total > 0 else 0.0
    return f"{whole['listening_min']:.0f} minutes of listening over {whole['distance_km']:.0f} km, {share:.0f} % of the logged time"


def listening_heading(flights: pd.DataFrame) -> str:
    """How far round the antenna looked."""
    known = flights[flights["azimuth_coverage_deg"].notna()]
    if known.empty:
        return "The logs hold no antenna azimuth"
    round_about = int((known["azimuth_coverage_deg"] >= 350).sum())
    return f"The antenna pointed all round in {number_word(round_about)} of {counted(len(flights), 'flight')}"


def listening_paragraph(flights: pd.DataFrame) -> str:
    """What a narrow coverage costs."""
    known = flights[flights["azimuth_coverage_deg"].notna()]
    if known.empty:
        return "Without an azimuth the strength of a record says how far a tag is and nothing about its direction; a straight track leaves both of its sides possible."
    least = known.loc[known["azimuth_coverage_deg"].idxmin()]
    return (f"Coverage counts 10-degree sectors in which there was at least one record on effort. The narrowest is {least['azimuth_coverage_deg']:.0f} of 360 degrees in flight "
            f"{least['flight_id']}. Sectors that were never looked into leave mirror places; the fastest turning within a record interval was "
            f"{flights['turn_rate_max_deg_per_s'].max():.0f} degrees per second.")


def strength_heading(strengths: int, ceiling_db: float) -> str:
    """Whether the receiver's ceiling shows."""
    if np.isfinite(ceiling_db):
        return f"The receiver topped out at {decibels(ceiling_db)}"
    return f"No ceiling of the receiver shows in {strengths:,d} heard strengths"


def tag_heading(tags: pd.DataFrame) -> str:
    """How many tags were heard, and how many are suspect."""
    listened = tags[tags["records_listened"] > 0]
    suspect = int((tags["suspicion"].astype(str) != "").sum())
    doubt = "none of them is suspect" if not suspect else f"{number_word(suspect)} {'is' if suspect == 1 else 'are'} suspect"
    return f"{int((listened['records_heard'] > 0).sum())} of {counted(len(listened), 'tag')} listened to were heard; {doubt}"


def column_heading(columns: pd.DataFrame) -> str:
    """Impossible values by column."""
    wrong = columns[columns["suspicious"] > 0]["column"].nunique()
    return "No column holds an impossible value" if not wrong else f"{number_word(wrong).capitalize()} column{'' if wrong == 1 else 's'} hold{'s' if wrong == 1 else ''} impossible values"


def change_heading(changes: pd.DataFrame) -> str:
    """What was mended or set aside."""
    if changes.empty:
        return "Nothing in the logs was changed on reading"
    rules = changes["rule"].nunique()
    return f"{int(changes['rows'].sum()):,d} rows were mended, removed or set aside, by {number_word(rules)} rule{'' if rules == 1 else 's'}"


def message_heading(messages: pd.DataFrame) -> str:
    """Counts of stop, look and note."""
    count = messages["severity"].value_counts()
    stop, look, note = (int(count.get(name, 0)) for name in ("stop", "look", "note"))
    opening = "Nothing stops the work" if not stop else f"{number_word(stop).capitalize()} message{'' if stop == 1 else 's'} stop{'s' if stop == 1 else ''} something"
    return f"{opening}; {number_word(look)} to look at, {number_word(note)} for the record"


def crude_heading(crude: pd.DataFrame) -> str:
    """The crude error."""
    whole = crude[crude["flight_id"] == "all flights"]
    if whole.empty or not np.isfinite(whole["median_m"].iloc[0]):
        return "No beacon gives a crude error"
    return f"The yardstick: the loudest record of a tag was made {two_figures(whole['median_m'].iloc[0])} m from it, at the median"
