"""The methods of the appendix that say how large the errors are, where that holds, and what the testing beacons had a part in."""

from __future__ import annotations

import pandas as pd

from pipeline.calibration import accuracy_statement, what_beacons_can_prove
from pipeline.calibration.errors import BOTH_DRAWN, PLACES_DRAWN, PLACES_FOR_AN_INTERVAL, RESAMPLES
from pipeline.calibration.widening import PRIOR_CENTRE, PRIOR_FACTOR
from pipeline.radio.parameters import USUAL_FAULT_SD_DB
from pipeline.stages.appendix_field_words import stated
from pipeline.stages.appendix_words import Material
from pipeline.stages.beacon_reach import ANY, ANY_CLOSEST, BETWEEN, CLOSEST, EVIDENCE, FLOWN, GROUND_HEIGHT, RECEIVER_HEIGHT, RECORDS, STYLE, TYPE, limit_m
from pipeline.stages.calibration_numbers import percent
from pipeline.stages.calibration_words import OUTSIDE, P90_PLACES, by_place_sentence, claimed_errors, counted_fixes, flights_sentence, held, nine_in_ten, style_note, widening_words
from pipeline.wording import counted, listed, number_word, rounded_up, two_figures

_METHODS = {BOTH_DRAWN: f"percentiles of {RESAMPLES:,d} medians, beacons and flights both drawn again as wholes and independently", PLACES_DRAWN: f"percentiles of {RESAMPLES:,d} medians of beacons drawn again as wholes; Davison & Hinkley 1997"}
UNTESTED = "No beacon was heard. The errors and regions of this survey are those of the model and were tested by nothing."


def errors(found: Material) -> list[str]:
    """How errors were measured, how large they are, and how often regions held."""
    summary, details, widening, coverage = (found.table(name) for name in ("error_summary", "beacon_error_details", "widening", "coverage"))
    if not len(summary):
        return [UNTESTED]
    row = summary.iloc[0]
    by = _METHODS.get(row["median_interval"], row["median_interval"])
    interval = f" (95 % interval {two_figures(row['median_low_95_m'])} to {two_figures(row['median_high_95_m'])} m, {by})" if pd.notna(row["median_low_95_m"]) else f" (no interval: fewer than {number_word(PLACES_FOR_AN_INTERVAL)} beacons)"
    return [
        f"Errors were measured on {counted(int(row['places']), 'beacon')}{found.cite('beacons')}: tags at surveyed places, treated as if unknown. Each flight that heard a beacon gives one fix, {counted(int(row['n']), 'fix', 'fixes')} in all. Each beacon was located by a model "
        "fitted without it, and its regions were widened by what the others showed; the error is the distance from the surveyed place to the best position, the mean of the posterior before widening. Flights over one beacon are repeats and not new beacons.",
        f"The median error was {two_figures(row['median_m'])} m{interval}, the mean {two_figures(row['mean_m'])} m{nine_in_ten(row)}{found.cite('errors', 'figure:beacon_error_distribution')}. "
        f"{claimed_errors(summary)} {counted_fixes(summary)}".strip(),
        f"{_between_flights(summary)} {_standard(details)}".strip(),
        f"The density of every posterior was raised to the power that gives held-out beacons the highest logarithmic score (Gneiting & Raftery 2007): {widening_words(widening, details)}. Below one is wider than computed, above one narrower; all are called widened here.{style_note(widening, details)} "
        f"The 95 % regions so widened held the truth in {held(coverage, 'after')} of {counted(int(row['n']), 'fix', 'fixes')}{found.cite('coverage', 'figure:coverage')}. {by_place_sentence(coverage)} "
        "The limits are those of Clopper & Pearson (1934) at a mean count that need not be whole, and so approximate.",
    ]


def _between_flights(summary: pd.DataFrame) -> str:
    """How flights differ, with the source of the interval in which they vary too; "" with one flight."""
    said = flights_sentence(summary)
    return f"{said.removesuffix('.')}, since weather, path and clocks of a flight are common to its fixes; from so few beacons and flights it is approximate." if said and summary.iloc[0]["median_interval"] == BOTH_DRAWN else said


def _standard(details: pd.DataFrame) -> str:
    """The statement of the mapping standard, or why there is none."""
    said, standard = accuracy_statement(details) if len(details) else "", "National Standard for Spatial Data Accuracy (FGDC 1998)"
    return said.replace("NSSDA", standard) if "NSSDA" in said or not said else f"{said.removesuffix('.')}, after the {standard}."


def reach(found: Material) -> list[str]:
    """Where the errors may be believed, with the beacon fixes that stand behind it, and where not."""
    rows, details = found.table("beacon_reach"), found.table("beacon_error_details")
    if not len(rows) or not len(details):
        return ["Nowhere: without a heard beacon no tag type, flight style, distance, height or ground is tested."]
    by = rows.set_index("condition")
    return [f"{_claim(by, details)} {_bands(found)}".strip(), f"{_outside(rows)}{found.cite('reach') or ' (beacon_reach.csv)'}. A position outside is not wrong; its error is untested. Habitat is in no register{', so that nothing can be said of it' if not stated(found, 'habitats') else ', so that no fix is counted by it'}."]


def _claim(by: pd.DataFrame, details: pd.DataFrame) -> str:
    covered, fixes = by["beacons"], int(by.at[ANY_CLOSEST, "beacon_fixes"])
    kinds, styles = ([name for name in covered[condition].split(", ") if name not in ("not stated", "unclear")] for condition in (TYPE, STYLE))
    begin = f"Errors are claimed for {f'tags of type {listed(kinds)}' if kinds else 'tags whose type is not stated'} in flights {f'of style {listed(styles)}' if styles else 'of no clear style'}"
    rule = f"A distance is claimed as far as the farthest class in which {number_word(PLACES_FOR_AN_INTERVAL)} beacons or more have a fix, the fewest that bound a median with 95 % confidence, and a number of records likewise. They bound no 90th percentile, for which {P90_PLACES} would be needed, and no coverage of 95 %: had all fixes at six beacons been inside, the true share could still be as low as {what_beacons_can_prove(PLACES_FOR_AN_INTERVAL)[0]:.2f}."
    if CLOSEST not in by.index:
        return f"{begin}. {rule} No class has so many, so that no distance is claimed; the receiver came within {covered[ANY_CLOSEST].split()[-1]} m of the beacons that were heard."
    farthest_m = float(covered[CLOSEST].split()[-1])
    said = f"{begin}, where the receiver came within {limit_m(farthest_m)} m of the tag (slant; {by.at[CLOSEST, 'beacon_fixes']} of {fixes} beacon fixes, {counted(int(by.at[CLOSEST, 'beacon_places']), 'beacon')})"
    if RECORDS in by.index:
        said += f" and heard it in {covered[RECORDS].split()[0]} records or more ({by.at[RECORDS, 'beacon_fixes']} of {fixes})"
    # the limit stands in the table as whole metres
    beyond = details[details["closest_approach_m"].round() > farthest_m]
    if len(beyond):
        said += (f". Farther off lie {counted(len(beyond), 'beacon fix', 'beacon fixes')} of {counted(beyond['place_id'].nunique(), 'beacon')}, up to {limit_m(beyond['closest_approach_m'].max())} m, with a median error of "
                 f"{two_figures(beyond['error_m'].median())} m, {int((beyond['status'] == 'located').sum())} of them located: too few to claim anything there")
    return f"{said}. {rule}"


def _bands(found: Material) -> str:
    rows = found.table("error_summary")
    bands = rows[rows["grouping"] == "closest approach"]
    said = [f"{row.group} {counted(int(row.n), 'fix', 'fixes')} at {counted(int(row.places), 'beacon')}, median error {two_figures(row.median_m)} m" for row in bands.itertuples()]
    return f"By closest approach: {'; '.join(said)}." if said else ""


def _outside(rows: pd.DataFrame) -> str:
    whole, parts = rows[rows["condition"] == ANY].iloc[0], rows[(rows["condition"] != ANY) & (rows["fixes_outside"] > 0)]
    counted_by = [name for name in rows["condition"] if name not in (ANY, ANY_CLOSEST)]
    if not whole["fixes"]:
        return "No animal was heard, so that there is nothing to carry the test over to"
    if parts.empty:
        return f"All {whole['fixes']} fixes of animals lie within what the beacons tested"
    return f"{whole['fixes_outside']} of {whole['fixes']} fixes of animals lie outside of what the beacons tested: {listed((f'{row.fixes_outside} {OUTSIDE[row.condition]}' for row in parts.itertuples()), len(rows))}, some counted twice. Counted against are {listed((_NAMES.get(name, name) for name in counted_by), len(rows))}"


_NAMES = {CLOSEST: "closest approach", RECORDS: "records heard", TYPE: "tag type", STYLE: "flight style", FLOWN: "the convex outline of the tracks", BETWEEN: "the convex outline of the beacons", GROUND_HEIGHT: "the ground heights at the beacons",
          RECEIVER_HEIGHT: "the heights flown", EVIDENCE: "evidence other than strengths"}


def chosen(found: Material) -> list[str]:
    """What was settled with the testing beacons in view."""
    details, tried = found.table("beacon_error_details"), found.table("record_faults")
    if not len(details):
        return []
    kept = found.table("beacon_places")
    only = int((kept["use"] == "test").sum()) if len(kept) else 0
    said = ["Parameters of the signal model, clock lags and the widening that serve a beacon were found without it. The following was settled with the testing beacons in view, so that the errors above are, if anything, too small.", _faults(tried)]
    said += [f"In which flights a lag is looked for at all was asked of all beacons{', and the strength at which the receiver saturates is read from all records' if (found.models.get('whole') or {}).get('ceiling_db') is not None else ''}. "
             "The widening of the animals rests on all beacons; what was tested is the same procedure with one beacon less."]
    said += [f"Form and priors of the model, the gates of a position and the prior of the widening (centre {PRIOR_CENTRE:g}, a factor of {PRIOR_FACTOR:g} either way) were settled before this survey: on simulated campaigns and, for that centre, with one open set of measurements in view (FRS data set 2024); "
             "accuracies of the method on those measurements are no independent test of it."]
    said += [f"{counted(only, 'beacon')} marked for testing only had no part in any of this." if only else "No beacon was kept for testing only, which would be free of all this."]
    return [" ".join(part for part in said if part)]


def _faults(tried: pd.DataFrame) -> str:
    """Where the error of a faulty record comes from; tried : rows of record_faults."""
    if not len(tried):
        return ""
    usual = f"{USUAL_FAULT_SD_DB:.0f} dB is the usual choice"
    if len(tried) < 2:
        return f"The error of a faulty record ({usual}) was not compared with others, since too few beacons were heard."
    best = tried["log_score"].max()
    names = {row.Index: "no faulty record" if pd.isna(row.fault_sd_db) else f"{row.fault_sd_db:.0f} dB" for row in tried.itertuples()}
    won = tried.index[tried["chosen"].astype(bool)][0]
    others = listed(f"{best - row.log_score:.0f} {'without faulty records' if pd.isna(row.fault_sd_db) else f'with {names[row.Index]}'}" for row in tried.itertuples() if row.Index != won)
    return (f"The standard deviation of a faulty record, {names[won]}, is the one of {len(tried)} under which records of beacons left out in turn were likeliest (log-likelihood lower by {others}; {usual}); a beacon's own score had no part in the choice that serves it, "
            "but the models that judged the others had seen it.")


def coverage_alt(found: Material) -> str:
    """The finding of the figure of coverage."""
    coverage = found.table("coverage")
    rows = coverage[(coverage["calibration"] == "after") & (coverage["counted_by"] == "fixes")]
    return "Stated probability against the share of truths held: " + listed(f"{percent(row.nominal)} regions held {row.inside:.0f} of {row.tests}" for row in rows.itertuples()) + "."


def error_alt(found: Material) -> str:
    """The finding of the figure of errors."""
    row = found.table("error_summary").iloc[0]
    most = f", nine in ten are below {rounded_up(row['p90_m'])} m" if pd.notna(row["p90_m"]) else ""
    return f"Rising curve of {number_word(int(row['n']))} errors of beacon fixes: the median is {two_figures(row['median_m'])} m{most}."
