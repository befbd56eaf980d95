"""The sentences of the calibration report: findings with their numbers, made from the tables."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.calibration import accuracy_statement, what_beacons_can_prove
from pipeline.calibration.errors import BOTH_DRAWN, PLACES_FOR_AN_INTERVAL
from pipeline.stages.beacon_reach import ANY, ANY_CLOSEST, BETWEEN, CLOSEST, EVIDENCE, FLOWN, GROUND_HEIGHT, RECEIVER_HEIGHT, RECORDS, STYLE, TYPE, limit_m
from pipeline.stages.calibration_numbers import decibel, probability, span
from pipeline.stages.error_calibration import BY_STYLE, CLAIMED, STATUS
from pipeline.wording import counted, listed, number_word, two_figures

COUNTED_PLACES = "places"
# Independent errors from which on order statistics bound a 90th percentile from above with 95 % confidence, two-sided: 0.9 to this power is below 0.025.
P90_PLACES = 36


# The answer

def answer(tables) -> list[str]:
    """How large are the errors, are the regions honest, and where may that be believed?"""
    details = tables.beacon_error_details
    if details.empty:
        return no_test(tables)
    places, flights = details["place_id"].nunique(), details["flight_id"].nunique()
    whole = tables.error_summary.iloc[0]
    after, before = held(tables.coverage, "after"), held(tables.coverage, "before")
    return [
        f"On {counted(places, 'beacon')} in {counted(flights, 'flight')} the median error was {two_figures(whole['median_m'])} m ({_interval_words(whole)}){nine_in_ten(whole)}. The stated 95 % regions held the truth in {after} of {counted(len(details), 'fix', 'fixes')}; before widening they held it in {before}. "
        f"On the same fixes the place of the strongest record was {two_figures(whole['strongest_median_m'])} m off at the median, {_compared(whole)}. "
        f"Every beacon was located by a model that had not seen it, in the same flights as the others; what was chosen with it in view stands in the appendix. {counted_fixes(tables.error_summary)} {claimed_errors(tables.error_summary)}".strip(),
        f"{flights_sentence(tables.error_summary)} {by_place_sentence(tables.coverage)} {proof(places)} {accuracy_statement(details)}".strip(),
        " ".join([reach_sentence(tables.beacon_reach), doubt_in_short(details)]).strip(),
    ]


def counted_fixes(summary: pd.DataFrame) -> str:
    """Which fixes the figures of all beacon fixes count, and what they are without those that no report would give as a position; rows of error_summary."""
    whole, by_status = summary.iloc[0], summary[summary["grouping"] == STATUS]
    rest = by_status[by_status["group"] != "located"]
    if rest.empty:
        return f"All {whole['n']} fixes are located." if whole["n"] > 1 else ""
    kinds = listed(f"{row.n} {row.group}" for row in rest.itertuples())
    located = by_status[by_status["group"] == "located"]
    if located.empty:
        return f"These count fixes of every status ({kinds}), each at its best position; none is located."
    row = located.iloc[0]
    return (f"The figures of all errors count all {whole['n']} beacon fixes at their best position, whatever their status ({row['n']} located, {kinds}); the {row['n']} located ones alone have a median of {two_figures(row['median_m'])} m, "
            f"and {row['inside_95']} of {row['n']} inside their 95 % region.")


def nine_in_ten(row) -> str:
    """", the 90th percentile about 150 m (95 % interval ...)", with what beacons cannot bound; "" below ten fixes. row : of error_summary."""
    if pd.isna(row["p90_m"]):
        return ""
    low, high = row.get("p90_low_95_m"), row.get("p90_high_95_m")
    interval = f" ({two_figures(low)} to {two_figures(high)} m by {row['median_interval']}, too short at its upper end: {P90_PLACES} independent beacons would bound it)" if pd.notna(low) and row["places"] < P90_PLACES else (
        f" (95 % interval {two_figures(low)} to {two_figures(high)} m)" if pd.notna(low) else f" (without an interval: {number_word(PLACES_FOR_AN_INTERVAL)} beacons bound a median, {P90_PLACES} a 90th percentile)")
    return f", the 90th percentile about {two_figures(row['p90_m'])} m{interval}"


def claimed_errors(summary: pd.DataFrame) -> str:
    """The errors of the fixes within every limit of distance and records that is claimed; "" where none is, or where those are all fixes. summary : rows of error_summary."""
    rows = summary[summary["grouping"] == CLAIMED]
    if rows.empty or rows.iloc[0]["n"] == summary.iloc[0]["n"]:
        return ""
    row = rows.iloc[0]
    interval = f" (95 % interval {two_figures(row['median_low_95_m'])} to {two_figures(row['median_high_95_m'])} m)" if pd.notna(row["median_low_95_m"]) else ""
    by_place = f" (every beacon counted once: {row['share_by_place']:.2f}, 95 % interval {probability(row['share_by_place_low_95'])} to {probability(row['share_by_place_high_95'])})" if row["n"] > row["places"] else ""
    return (f"Within both limits of what is claimed ({row['group'].replace('within', 'closest approach within')}) lie {row['n']} of {summary.iloc[0]['n']} fixes at {counted(int(row['places']), 'beacon')}: median error "
            f"{two_figures(row['median_m'])} m{interval}, {row['inside_95']} of {row['n']} inside their 95 % region{by_place}.")


def flights_sentence(summary: pd.DataFrame) -> str:
    """How the median goes from flight to flight, and whether its interval lets flights vary too; "" with one flight. summary : rows of error_summary."""
    flights, whole = summary[summary["grouping"] == "flight"], summary.iloc[0]
    if len(flights) < 2:
        return ""
    said = f"The medians of the {number_word(len(flights))} flights run from {two_figures(flights['median_m'].min())} to {two_figures(flights['median_m'].max())} m"
    return said + ("; the interval of the median of all draws beacons and flights again, so that it holds both." if whole["median_interval"] == BOTH_DRAWN else ".")


def _compared(row) -> str:
    ratio = row["strongest_median_m"] / max(row["median_m"], 1e-9)
    return f"{ratio:.1f} times as much" if ratio >= 1.05 else "no worse than the positions"


def _interval_words(row) -> str:
    if pd.isna(row["median_low_95_m"]):
        return "too few beacons for an interval"
    return f"95 % interval {two_figures(row['median_low_95_m'])} to {two_figures(row['median_high_95_m'])} m"


def no_test(tables) -> list[str]:
    """Page one when no beacon was heard: no claim, and what that costs."""
    registered = tables.beacon_places["tag_id"].nunique()
    why = ("no beacon is registered" if not registered else
           "the one registered beacon was not heard" if registered == 1 else f"none of the {registered} registered beacons was heard")
    widening = tables.widening.iloc[0]["widening"]
    return [
        f"No error claim is tested: {why}.",
        f"What that costs: the signal model rests on its priors alone, so that positions are coarser than they need be; the regions are widened by {widening:.2f}, "
        "a figure found in simulations and not here; and nobody knows whether they hold the animals as often as they say. Give no error with these positions but the stated region, and say that it was not tested.",
        "Next time: four tags at surveyed places in every flight, eight or more over the campaign, at the height of the animals, near, between and far from the tracks.",
    ]


def held(coverage: pd.DataFrame, when: str, nominal: float = 0.95) -> int:
    """How many fixes lay inside their region."""
    row = coverage[(coverage["calibration"] == when) & (coverage["nominal"] == nominal) & (coverage["counted_by"] == "fixes")]
    return int(row["inside"].iloc[0])


def proof(places: int) -> str:
    """What so many beacons can prove at best."""
    low = what_beacons_can_prove(places)[0]
    subject = "One beacon" if places == 1 else f"{number_word(places).capitalize()} beacons"
    return (f"{subject} can prove only so much: had every fix been inside, the true share could still be as low as {low:.2f} (95 % interval), since flights repeated over one beacon "
            "are not new beacons.")


def reach_sentence(reach: pd.DataFrame) -> str:
    """What the beacons speak for, how many beacon fixes stand behind that, and how many fixes of animals it leaves out; reach : rows of beacon_reach."""
    rows = reach.set_index("condition")
    covered = dict(zip(reach["condition"], reach["beacons"]))
    styles = [style for style in covered[STYLE].split(", ") if style not in ("unclear", "not stated")]
    kinds = [kind for kind in covered[TYPE].split(", ") if kind != "not stated"]
    believe = f"Believe this for {listed(kinds) or 'tags like these'}, in flights {f'of style {listed(styles)}' if styles else 'like these'}, {_claimed_words(rows)}"
    whole = reach.iloc[-1]
    if not whole["fixes"]:
        return believe
    if not whole["fixes_outside"]:
        return f"{believe} Every fix of an animal lies within what the beacons tested."
    by = listed(_AGAINST[name] for name in reach.loc[reach["fixes_outside"] > 0, "condition"] if name in _AGAINST)
    return f"{believe} {whole['fixes_outside']} of {whole['fixes']} fixes of animals lie outside of what the beacons tested{f' (by {by})' if by else ''}."


# what a fix may lie outside of, in a word or two
_AGAINST = {CLOSEST: "distance", RECORDS: "records heard", TYPE: "tag type", STYLE: "flight style", BETWEEN: "ground between the beacons", FLOWN: "ground flown over", GROUND_HEIGHT: "ground height", RECEIVER_HEIGHT: "height of flight", EVIDENCE: "evidence other than strengths"}


def _claimed_words(rows: pd.DataFrame) -> str:
    """As far as beacons speak of distance and records, with the fixes that stand behind it; rows : of beacon_reach by condition."""
    farthest_m, fixes = limit_m(float(rows.at[ANY_CLOSEST, "beacons"].split()[-1])), int(rows.at[ANY_CLOSEST, "beacon_fixes"])
    if CLOSEST not in rows.index:
        return (f"where the receiver came about as near as to these beacons ({rows.at[ANY_CLOSEST, 'beacons']} m); at no distance do {number_word(PLACES_FOR_AN_INTERVAL)} beacons stand, so that "
                "no distance is claimed.")
    near, rest = rows.loc[CLOSEST], fixes - int(rows.at[CLOSEST, "beacon_fixes"])
    said = f"where the receiver came within {limit_m(float(near['beacons'].split()[-1]))} m of the tag ({near['beacon_fixes']} of {fixes} beacon fixes, {counted(int(near['beacon_places']), 'beacon')})"
    if RECORDS in rows.index:
        few = rows.loc[RECORDS]
        said += f" and heard it in {few['beacons'].split()[0]} records or more ({few['beacon_fixes']} of {fixes})"
    return f"{said}." + (f" {counted(rest, 'beacon fix lies', 'beacon fixes lie')} farther off, up to {farthest_m} m: too few to claim anything there." if rest else "")


OUTSIDE = {BETWEEN: "not on the ground between the beacons", FLOWN: "outside of the ground flown over", GROUND_HEIGHT: "on higher or lower ground than any beacon", TYPE: "of a tag type no beacon had",
           STYLE: "from a flight style without beacons", CLOSEST: "farther from the track than is claimed", ANY_CLOSEST: "farther from it than any beacon", RECORDS: "heard in fewer records than is claimed",
           RECEIVER_HEIGHT: "from a height of flight at which no beacon was heard", EVIDENCE: "resting on bearings or a sighting too"}


def reach_paragraph(reach: pd.DataFrame) -> str:
    """Which conditions leave fixes out, and where the next beacons should stand."""
    out = reach[(reach["fixes_outside"] > 0) & (reach["condition"] != ANY)]
    if out.empty:
        return "No register names the habitat, so nothing can be said of it."
    said = listed(f"{row.fixes_outside} {OUTSIDE[row.condition]}" for row in out.itertuples())
    return f"Not tested: {said}. Claimed is as far as {number_word(PLACES_FOR_AN_INTERVAL)} beacons stand, the fewest that bound a median. Some are counted twice. The next beacons belong there. {number_word(PLACES_FOR_AN_INTERVAL).capitalize()} bound neither a 90th percentile ({P90_PLACES} would) nor how often 95 % regions hold. No register names the habitat, so nothing can be said of it."


def doubt_sentence(details: pd.DataFrame) -> str:
    """Fixes far off their beacon and beyond their region: a beacon that moved where most of its flights say so, a flight to look at where one does."""
    doubtful = details[details["doubtful"]]
    if doubtful.empty:
        return ""
    flights, moved = details.groupby("place_id")["doubtful"].size(), moved_beacons(details)
    words = []
    if moved:
        named = listed(f"{rows['tag_id'].iloc[0]} ({len(rows)} of {flights[place]} fixes far off and beyond their region)"
                       for place, rows in doubtful.groupby("place_id", sort=True) if place in moved)
        words.append(f"Moved? Wrong position? {named}.")
    rest = doubtful[~doubtful["place_id"].isin(moved)]
    alone = rest["place_id"].map(flights).to_numpy(int) == 1
    for rows, meaning in ((rest[~alone], "other flights place {} where surveyed, so look at the flight first"), (rest[alone], "no other flight heard {}, so that fix and surveyed position are both in doubt")):
        if len(rows):
            named = listed(f"{row.tag_id} in flight {row.flight_id} ({two_figures(row.error_m)} m off)" for row in rows.itertuples())
            one = len(rows) == 1
            words.append(f"Far off {'its beacon and beyond its region lies' if one else 'their beacons and beyond their regions lie'} {named}; {meaning.format('this beacon' if one else 'these beacons')}.")
    return " ".join(words)


def doubt_in_short(details: pd.DataFrame) -> str:
    """The same for the opening: beacons to look at, or flights."""
    doubtful, moved = details[details["doubtful"]], moved_beacons(details)
    if doubtful.empty:
        return ""
    if moved:
        return f"Moved, or at a wrong position? Look at {listed(sorted(set(details.loc[details['place_id'].isin(moved), 'tag_id'])))}."
    return f"{counted(len(doubtful), 'fix lies', 'fixes lie')} far off and beyond {'its region' if len(doubtful) == 1 else 'their regions'}: look at flight {listed(sorted(set(doubtful['flight_id'])))}."


def moved_beacons(details: pd.DataFrame) -> set:
    """Places at which half of the fixes or more, and at least two, are doubtful."""
    doubtful = details.groupby("place_id")["doubtful"]
    return set(doubtful.sum().index[(doubtful.mean() >= 0.5) & (doubtful.sum() >= 2)])


# Headings and paragraphs of the parts

def beacons_heading(tables) -> str:
    heard = int((tables.beacon_places["flights_heard"] > 0).sum())
    if not len(tables.beacon_places):
        return "No tag stood at a known place"
    moved = tables.beacon_places.loc[tables.beacon_places["place_id"].isin(moved_beacons(tables.beacon_error_details)), "tag_id"] if heard else []
    rest = f"; {listed(moved)} may have moved or be wrongly surveyed" if len(moved) else "; none looks moved"
    return f"{heard} of {counted(len(tables.beacon_places), 'beacon')} {'was' if heard == 1 else 'were'} heard{rest if heard else ''}"


def errors_heading(tables) -> str:
    whole = tables.error_summary.iloc[0]
    return f"Half of the positions were right to {two_figures(whole['median_m'])} m, the strongest records to {two_figures(whole['strongest_median_m'])} m"


def errors_paragraph(tables) -> str:
    details, whole = tables.beacon_error_details, tables.error_summary.iloc[0]
    better = int((details["error_m"] < details["strongest_record_error_m"]).sum())
    return (f"The best position was nearer to the beacon than the place of the strongest record in {better} of {counted(len(details), 'fix', 'fixes')}. The largest error is {two_figures(details['error_m'].max())} m. "
            f"On the whole positions lie {abs(whole['bias_east_m']):.0f} m too far {'east' if whole['bias_east_m'] > 0 else 'west'} and {abs(whole['bias_north_m']):.0f} m too far "
            f"{'north' if whole['bias_north_m'] > 0 else 'south'}{_bias_error(details)}.")


def _bias_error(details: pd.DataFrame) -> str:
    """Standard errors of the bias, from the scatter of the beacons' means."""
    means = details.groupby("place_id")[["error_east_m", "error_north_m"]].mean()
    if len(means) < 3:
        return ""
    east, north = (f"{value:.0f}" for value in means.std(ddof=1) / np.sqrt(len(means)))
    return f", with standard errors of {east} and {north} m between beacons"


def summary_heading(summary: pd.DataFrame) -> str:
    """How the error goes with distance, between the classes in which enough beacons stand to bound a median."""
    bands = summary[(summary["grouping"] == "closest approach") & (summary["places"] >= PLACES_FOR_AN_INTERVAL)]
    if len(bands) < 2:
        return "There are too few beacons to compare distances"
    near, far = bands.iloc[0], bands.iloc[-1]
    return f"The median error is {two_figures(near['median_m'])} m where the receiver came {_within(near['group'])}, {two_figures(far['median_m'])} m where it stayed at {far['group']}"


def _within(band: str) -> str:
    return band.replace("under", "within") if band.startswith("under") else f"within {band.split(' to ')[-1]}"


def coverage_heading(tables) -> str:
    count = len(tables.beacon_error_details)
    return f"The 95 % regions held the truth in {held(tables.coverage, 'after')} of {counted(count, 'fix', 'fixes')}, the 50 % regions in {held(tables.coverage, 'after', 0.5)}"


def coverage_paragraphs(tables) -> list[str]:
    return [
        f"The density of every posterior is raised to a power that held-out beacons ask for: {widening_words(tables.widening, tables.beacon_error_details)}. One would leave the regions as computed; smaller is wider, larger narrower. All are called widened, those too that a power above one makes narrower.{style_note(tables.widening, tables.beacon_error_details)}",
        f"{by_place_sentence(tables.coverage)} {_before_and_after(tables.coverage)}",
    ]


def widening_words(widening: pd.DataFrame, details: pd.DataFrame) -> str:
    """The powers in use: for tags that are no beacon, by flight style where styles have their own, and for the beacon fixes. widening : rows of widening. details : of beacon_error_details."""
    styles = widening[widening["used_for"].str.startswith(BY_STYLE)]
    own = listed(f"{row.widening:.2f} in flights of style {row.used_for.removeprefix(BY_STYLE)}" for row in styles.itertuples())
    whole = f"{widening.iloc[0]['widening']:.2f} {'in all others' if len(styles) else 'for tags that are no beacon'}"
    # "all others" are none where every style that was flown over a beacon has its own
    covered = len(styles) and len(details) and set(details["flight_style"]) <= {name.removeprefix(BY_STYLE) for name in styles["used_for"]}
    return (f"for tags that are no beacon {own}" if covered else f"for tags that are no beacon {own}, {whole}" if len(styles) else whole) + (
        f"; for the beacon fixes themselves {span(details['widening'].min(), details['widening'].max(), '{:.2f}'.format)}, each found without the beacon it serves" if len(details) else "")


def style_note(widening: pd.DataFrame, details: pd.DataFrame) -> str:
    """Which styles have a power of their own from one flight alone; "" where none. widening : rows of widening. details : of beacon_error_details."""
    own = [name.removeprefix(BY_STYLE) for name in widening["used_for"] if name.startswith(BY_STYLE)]
    flights = details.groupby("flight_style")["flight_id"].nunique() if len(details) and own else {}
    alone = [style for style in own if flights.get(style, 0) == 1]
    return f" {'That' if len(alone) == 1 else 'Those'} of style {listed(alone)} {'rests' if len(alone) == 1 else 'rest'} on one flight." if alone else ""


def by_place_sentence(coverage: pd.DataFrame) -> str:
    """How often the 95 % regions held, every beacon counted once; rows of coverage."""
    row = coverage[(coverage["calibration"] == "after") & (coverage["nominal"] == 0.95) & (coverage["counted_by"] == COUNTED_PLACES)].iloc[0]
    return (f"Every beacon counted once, the 95 % regions held {row['share']:.2f} of the truths at {counted(int(row['tests']), 'place')}, with a 95 % interval of "
            f"{probability(row['low_95'])} to {probability(row['high_95'])}.")


def _before_and_after(coverage: pd.DataFrame) -> str:
    """What widening did to the shares held, at all levels."""
    by_place = coverage[coverage["counted_by"] == COUNTED_PLACES].sort_values("nominal")
    shares = {when: listed(f"{row.share:.2f}" for row in rows.itertuples()) for when, rows in by_place.groupby("calibration")}
    return f"The regions of {listed(f'{100 * level:.0f}' for level in sorted(set(by_place['nominal'])))} % held {shares['before']} as computed and {shares['after']} after widening."


def radius_heading(details: pd.DataFrame) -> str:
    beyond = int((details["error_m"] > details["error_radius_95_m"]).sum())
    return f"The stated 95 % radius was too short in {beyond} of {counted(len(details), 'fix', 'fixes')}"


def model_heading(model: dict, parameters: pd.DataFrame) -> str:
    weak = int((parameters["prior_share"] > 0.2).sum())
    said = "none of its numbers leans on its prior" if not weak else f"{number_word(weak)} of its {len(parameters)} numbers lean{'s' if weak == 1 else ''} on the prior"
    return "The signal model is its priors: no beacon taught it" if not model["beacons"] else f"{counted(model['beacons'], 'beacon')} taught the signal model; {said}"


def model_paragraph(model: dict, parameters: pd.DataFrame) -> str:
    if not model["beacons"]:
        return "The standard errors are those of the priors."
    weak = parameters.loc[parameters["prior_share"] > 0.2, "meaning"]
    leaning = f" More than a fifth comes from the prior for: {'; '.join(weak)}." if len(weak) else ""
    return (f"It was fitted to {model['records']:,d} records of beacons, {model['records_heard']:,d} of them heard; those not heard are used as strengths that stayed below the threshold.{leaning} "
            "The uncertainty of these numbers is part of every region.")


def strengths_heading(residuals: pd.DataFrame) -> str:
    return f"Half of the strengths lie within {decibel(residuals['residual_db'].abs().median())} dB of what the model expects"


def strengths_paragraph(residuals: pd.DataFrame) -> str:
    by_beacon = residuals.groupby("tag_id")["residual_db"].mean()
    low, high = by_beacon.idxmin(), by_beacon.idxmax()
    return (f"Expected is what a model without the beacon says for its true place, with the usual power of its type, and given that the record was heard: far away only strong records are. The residuals have a mean of "
            f"{decibel(residuals['residual_db'].mean())} dB and a standard deviation of {decibel(residuals['residual_db'].std())} dB. The weakest beacon is {low} ({decibel(by_beacon[low])} dB), the strongest {high} "
            f"({decibel(by_beacon[high])} dB). A trend along one of the axes would be a fault of the model.")


def antenna_heading(parameters: pd.DataFrame) -> str:
    ahead = parameters[parameters["parameter"] == "ahead_db"]
    if ahead.empty:
        return "The logs hold no azimuth, so no antenna pattern could be fitted"
    return f"The antenna hears {decibel(abs(2 * ahead['value'].iloc[0]))} dB better {'ahead' if ahead['value'].iloc[0] > 0 else 'behind'} than {'behind' if ahead['value'].iloc[0] > 0 else 'ahead'}"


def correlation_heading(correlation: pd.DataFrame) -> str:
    near = correlation.iloc[0]
    inside = int(((correlation["correlation"] >= correlation["model_low_95"]) & (correlation["correlation"] <= correlation["model_high_95"])).sum())
    return f"Neighbouring records are alike ({near['correlation']:.2f}), as the model says at {inside} of {len(correlation)} distances".replace("-", "−")


def correlation_paragraph(details: pd.DataFrame) -> str:
    return (f"Records that share their shadowing count for less than their number: the median fix of a beacon was heard in {details['records_heard'].median():.0f} records, worth {details['effective_records'].median():.0f} "
            "independent ones. Taken as independent, the regions would be far too small.")


def effort_heading(effort: pd.DataFrame) -> str:
    listened, heard = int(effort["beacon_records_listened"].sum()), int(effort["beacon_records_heard"].sum())
    if not listened:
        return "No flight listened to a beacon"
    return f"{effort['beacon_min'].sum():.0f} minutes of listening gave {listened:,d} records of beacons, {heard:,d} of them heard"


def effort_paragraph(effort: pd.DataFrame) -> str:
    few = effort.loc[effort["beacons_heard"] < 4, "flight_id"]
    advice = "Every flight heard four beacons or more." if few.empty else f"Fewer than four beacons were heard in {listed(few)}; four in every flight is a usual minimum."
    return f"{advice} Minutes are shared with the animals' tags, which were listened to at the same time."


def reach_heading(reach: pd.DataFrame) -> str:
    whole = reach.iloc[-1]
    if not whole["fixes"]:
        return "No animal was heard, so there is nothing to carry the test over to"
    if not whole["fixes_outside"]:
        return f"All {whole['fixes']} fixes of animals lie within what the beacons tested"
    return f"{whole['fixes_outside']} of {whole['fixes']} fixes of animals lie outside of what the beacons tested"
