"""The tables of the publication appendix, from what other stages have saved, so that each number stands in one file only."""

from __future__ import annotations

import pandas as pd

from pipeline.calibration.errors import RESAMPLES
from pipeline.quality.effort import CAMPAIGN
from pipeline.report import Book
from pipeline.report.display import Table
from pipeline.stages import calibration_numbers as number
from pipeline.stages.appendix_cells import as_words, span_of_days
from pipeline.stages.appendix_fate_tables import fates, fates_that_matter, ranges, survival
from pipeline.stages.appendix_input_tables import changes, hand_evidence
from pipeline.stages.appendix_missing import false_record_words
from pipeline.stages.appendix_positions import EXACT, precision_sentences, square_words
from pipeline.stages.appendix_words import Material
from pipeline.stages.calibration_report import SHORT
from pipeline.stages.localisation_words import STATUS_WORDS
from pipeline.wording import as_given, counted, listed, two_figures


def animals(book: Book, found: Material) -> Table | None:
    """What there is to go on of each animal."""
    rows = found.table("movement_animals")
    if rows.empty:
        return None
    fate = fates_that_matter(found)
    frame = rows.assign(heard=[f"{heard} of {searched}" for heard, searched in zip(rows["flights_heard"], rows["flights_searched"])], span=[span_of_days(first, last) for first, last in zip(rows["first_utc"], rows["last_utc"])],
                        gate=[f"{gate}{fate.get(tag, '')}" for gate, tag in zip(rows["gate"], rows["tag_id"])],
                        radius=[None if pd.isna(value) else two_figures(value) for value in rows["median_error_radius_95_m"]])
    return book.table("animals", frame, "Animals: what there is to go on, and what may be said of each.", {
        "tag_id": ("Tag", "", "text"), "animal_id": ("Animal", "", "text"), "species": ("Species", "", "text"), "fixes_usable": ("Usable fixes", "", "d"), "span": ("First to last fix", "UTC", "text"),
        "heard": ("Heard", "flights", as_given), "radius": ("95 % radius", "median, m", as_given), "gate": ("May be said", "", "text")}, saved_as="movement_animals.csv", beside=("movement_steps.csv",),
        notes="A fix is usable when it is located, or has several places that are all weighed. May be said: the class that the number of usable fixes falls in, see the methods. Distances and tests of every step are in movement_steps.csv."
              + (" Of an animal found dead, of a dropped tag and of a tag at the mortality rate the fixes may tell no more than where the tag lies." if any(tag in fate for tag in rows["tag_id"]) else ""))


def effort(book: Book, found: Material) -> Table | None:
    """Survey effort by flight."""
    rows, area = found.table("effort"), found.table("searched_area")
    if rows.empty:
        return None
    least = area.sort_values("area_90_cautious_ha", kind="stable").groupby("flight_id").head(1).set_index("flight_id") if len(area) else area
    searched = [f"{_whole_ha(least.at[flight, 'area_50_cautious_ha'])} / {_whole_ha(least.at[flight, 'area_90_cautious_ha'])}" if len(area) and flight in least.index else None for flight in rows["flight_id"]]
    frame = rows.assign(searched=searched, flight=rows["flight_id"].where(rows["flight_id"] != CAMPAIGN, "all"))
    return book.table("effort", frame, "Survey effort.", {
        "flight": ("Flight", "", "text"), "start_utc": ("Start", "UTC", "time"), "style": ("Style", "as found", "text"), "listening_min": ("Listening", "min", ".1f"), "distance_km": ("Flown", "km", ".1f"),
        "speed_median_m_per_s": ("Speed", "median, m/s", ".1f"), "height_median_m": ("Height", "median, m", ".0f"), "searched": ("Searched", "ha at 0.5 / 0.9", as_given)}, saved_as="effort.csv", beside=("flights.csv", *(("searched_area.csv",) if len(area) else ())),
        notes="On effort only; height above ground. Each record stands for one interval, so that a flight listens for one interval more than from its first record to its last. Searched: cautious, ground searched to a probability of 0.5 and of 0.9, for the tag type heard least far in that flight. Time off effort with reasons, and tags listened to, are in effort.csv, background noise in flights.csv, ground searched by tag type in searched_area.csv. Wind, rain and temperature are in no log.")


def _whole_ha(area_ha: float) -> str:
    """An area in whole hectares, the cells of the search."""
    return f"{area_ha:,.0f}"


def errors(book: Book, found: Material) -> Table | None:
    """Errors on beacons by condition."""
    rows = found.table("error_summary")
    if rows.empty:
        return None
    frame = rows.assign(condition=[group if grouping == "all" else f"{SHORT.get(grouping, grouping)}: {group}" for grouping, group in zip(rows["grouping"], rows["group"])], median=[number.interval_m(row) for _, row in rows.iterrows()],
                        bias=[number.offset(east, north) for east, north in zip(rows["bias_east_m"], rows["bias_north_m"])],
                        held=[f"{row.inside_95} of {row.n} ({number.probability(row.inside_low_95)} to {number.probability(row.inside_high_95)})" for row in rows.itertuples()])
    return book.table("errors", frame, "Errors on beacons by condition; every beacon was located by a model that had not seen it.", {
        "condition": ("Condition", "", "text"), "n": ("Fixes", "", "d"), "places": ("Beacons", "", "d"), "mean_m": ("Mean", "m", two_figures), "median": ("Median", "m (95 %)", as_given), "p90_m": ("90th", "percentile, m", two_figures),
        "bias": ("Bias", "m E, N", as_given), "held": ("Held by 95 % region", "fixes (95 %)", as_given)}, saved_as="error_summary.csv", beside=("appendix_beacon_fixes.csv",),
        notes=f"All fixes count, at their best position; fix: their status. Intervals of the median: percentiles of {RESAMPLES:,d} medians, beacons and flights both drawn again as wholes and independently where there are three flights, else beacons (Davison & Hinkley 1997), in one flight order statistics; none below six beacons. Intervals of coverage are exact (Clopper & Pearson 1934) and take fixes as independent, so that they are too narrow where beacons repeat; those with every beacon counted once, RMSE and the interval of the 90th percentile, which stands from ten fixes on, are in error_summary.csv, the single errors in appendix_beacon_fixes.csv. Conditions overlap.")


def coverage(book: Book, found: Material) -> Table | None:
    """How often regions held the beacons."""
    rows = found.table("coverage")
    if rows.empty or found.table("error_summary").empty:
        return None
    frame = rows.assign(held=[f"{row.inside:.1f} of {row.tests}" if row.counted_by == "places" else f"{row.inside:.0f} of {row.tests}" for row in rows.itertuples()], when=rows["calibration"].map({"before": "as computed", "after": "widened"}),
                        counted=rows["counted_by"].map({"places": "beacons", "fixes": "fixes"}))
    return book.table("coverage", frame, "How often the stated regions held the beacons.", {
        "when": ("Regions", "", "text"), "counted": ("Counted by", "", "text"), "nominal": ("Stated", "", ".2f"), "held": ("Held", "", as_given), "share": ("Share", "", "share"), "low_95": ("From", "95 % interval", number.probability),
        "high_95": ("To", "95 % interval", number.probability)}, saved_as="coverage.csv", notes="By beacons: the mean over beacons of the share of each one's fixes. Limits of Clopper & Pearson (1934): exact by fixes, approximate by beacons, where the count need not be whole.")


def beacons(book: Book, found: Material) -> Table | None:
    """The beacons: what each was, where, how it was used and heard."""
    rows = found.beacons
    if rows.empty:
        return None
    frame = rows.assign(heard=[f"{heard} of {listened}" for heard, listened in zip(rows["flights_heard"], rows["flights_listened"])], held=[f"{inside} of {heard}" for inside, heard in zip(rows["inside_95"], rows["flights_heard"])],
                        place=_places(rows), tag_type=as_words(rows["tag_type"]).replace("", "not stated"))
    coarse = sorted(set(rows["precision"]) - {"exact"})
    said = f"Place of all: the {square_words(rows)}; every fix was compared with the surveyed places. " if coarse else ""
    place = {} if coarse else {"place": ("Latitude, longitude", "deg, WGS 84", as_given)}
    return book.table("beacons", frame, "The beacons: tags at surveyed places.", {
        "tag_id": ("Beacon", "", "text"), "tag_type": ("Tag type", "", "text"), **place, "position_sd_m": ("Surveyed to", "m (sd)", ".1f"), "height_above_ground_m": ("Height", "m above ground", ".1f"),
        "use": ("Used to", "", "text"), "heard": ("Heard", "flights", as_given), "held": ("95 % region held", "fixes", as_given)}, saved_as="appendix_beacons.csv",
        notes=f"{said}Fit and test: each beacon teaches the model that locates the others, and is itself located by a model that never saw it. Heard: flights, of those that listened to it. Records heard and median error are in the file; orientation, habitat and slope are in no register.")


def _places(rows: pd.DataFrame) -> list[str]:
    return [f"{latitude}, {longitude}".replace("-", "\u2212") for latitude, longitude in zip(rows["latitude"], rows["longitude"])]


def reach(book: Book, found: Material) -> Table | None:
    """Where the beacons tested the method, and the fixes of animals outside of it."""
    rows = found.table("beacon_reach")
    if rows.empty:
        return None
    return book.table("reach", rows.assign(beacons=as_words(rows["beacons"]), rests_on=as_words(rows["rests_on"])), "Where the errors hold: what the beacons cover, and the fixes of animals outside of it.", {
        "condition": ("Condition", "", "text"), "beacons": ("Beacons cover", "", "text"), "rests_on": ("Behind it", "beacon fixes", "text"), "fixes_outside": ("Fixes outside", "", "d"), "fixes": ("of fixes", "", "d")}, saved_as="beacon_reach.csv",
        notes="Closest approach and records heard: as far as the class with the greatest distance, or the fewest records, that six beacons or more have a fix in. Ground flown over and ground between the beacons: the smallest convex outline of the tracks and of the beacons. "
              "Fixes of animals heard in more than one record, at their best position.")


def signal_model(book: Book, found: Material) -> Table | None:
    """Parameters with their priors."""
    rows = found.table("signal_model")
    if rows.empty:
        return None
    frame = rows.assign(prior=[f"{number.significant(low)} to {number.significant(high)}" for low, high in zip(rows["prior_low_95"], rows["prior_high_95"])], unit=as_words(rows["unit"]))
    return book.table("signal_model", frame, "The signal model.", {
        "meaning": ("Parameter", "", "text"), "value": ("Value", "", number.significant), "standard_error": ("SE", "", two_figures), "unit": ("Unit", "", "text"), "prior": ("Prior", "95 % range", as_given), "prior_share": ("From the prior", "share", number.percent)},
        saved_as="signal_model.csv", notes="From the prior: variance now over variance of the prior. Priors are our choice.")


def detection(book: Book, found: Material) -> Table | None:
    """How far a tag is heard."""
    rows = found.table("detection_ranges")
    if rows.empty:
        return None
    frame = rows.assign(**{name: [f"{two_figures(row[f'{name}_m'])} ({two_figures(row[f'{name}_low_m'])} to {two_figures(row[f'{name}_high_m'])})" if pd.notna(row[f"{name}_m"]) else None for row in rows.to_dict("records")]
                           for name in ("d50", "d90", "sweep_width")}, tag_type=as_words(rows["tag_type"]).replace("", "not stated"))
    return book.table("detection", frame, "How far a tag is heard, with 95 % intervals.", {
        "tag_type": ("Tag type", "", "text"), "height_m": ("Receiver", "m above ground", ".0f"), "d50": ("Half of records", "m, slant", as_given), "d90": ("Nine in ten", "m, slant", as_given), "sweep_width": ("Sweep width", "m, one pass", as_given)},
        saved_as="detection_ranges.csv", notes="From the fitted signal model, the antenna turned evenly to all sides, tag on level ground. Intervals cover what the fit leaves open, not how tags of a type differ, which is in the values themselves. Sweep width: of the strip that would hold as many tags, spread evenly, as one straight pass hears.")


def statuses(book: Book, found: Material) -> Table | None:
    """What became of each search."""
    animals = found.animals
    if animals.empty:
        return None
    counts = animals["status"].value_counts()
    frame = pd.DataFrame([(status, words.split(": ", 1)[1], int(counts.get(status, 0))) for status, words in STATUS_WORDS.items()], columns=["status", "means", "searches"])
    return book.table("statuses", frame.assign(share=frame["searches"] / len(animals)), f"What became of {counted(len(animals), 'search', 'searches')}, each of one animal in one flight.", {
        "status": ("Status", "", "text"), "means": ("Meaning", "", "text"), "searches": ("Searches", "", "d"), "share": ("Share", "", "share")}, saved_as="appendix_searches.csv", beside=("fixes.csv",),
        notes=f"The file has a row for each search, with the reason in words and the size of its region.{false_record_words(animals, found.table('false_detections'))}")


def not_found(book: Book, found: Material) -> Table | None:
    """Animals heard in no flight, in single records only, or by none of the last flights."""
    rows = found.missing
    if rows.empty:
        return None
    return book.table("not_found", rows, f"Animals heard in no flight{', in single records only' if found.lone else ''}{', or by none of the last flights' if found.silent else ''}.", {
        "tag_id": ("Tag", "", "text"), "species": ("Species", "", "text"), "class": ("Class", "", "text"), "records_heard": ("Heard", "records", "d"), "records_listened": ("Listened", "records", ",d"), "adequacy_expected": ("Searched to", "expected", number.probability),
        "adequacy_cautious": ("Searched to", "cautious", number.probability), "battery_used": ("Battery used", "share", number.percent)}, saved_as="appendix_missing.csv",
        notes=f"Searched to: probability that the tag would have been heard, had it been on the ground asked about{_asked(found)} and working; reckoned for animals that no flight heard. It is no probability that the animal has left or died.")


def _asked(found: Material) -> str:
    """Where animals that no flight heard were taken to be."""
    kinds = found.table("not_found")["prior_used"].dropna().unique() if "prior_used" in found.table("not_found") else []
    return f" ({listed(kinds)})" if len(kinds) else ""


def positions(book: Book, found: Material) -> Table | None:
    """Positions as published."""
    rows = found.positions
    if rows.empty:
        return None
    coarse = bool((rows["precision"] != EXACT).all())
    decimals = max((len(f"{value:.5f}".rstrip("0").split(".")[1]) for value in rows["latitude"]), default=1)
    degrees = f".{max(decimals, 1)}f"
    # one square for all of them is said once, and not in every row
    place = {} if coarse else {"latitude": ("Latitude", "deg, WGS 84", degrees), "longitude": ("Longitude", "deg, WGS 84", degrees), "coordinate_uncertainty_m": ("Uncertainty", "m", ",d")}
    return book.table("positions", rows, "Positions of the animals, each from its best flight.", {
        "tag_id": ("Tag", "", "text"), "animal_id": ("Animal", "", "text"), "species": ("Species", "", "text"), "flight_id": ("Flight", "", "text"), "time_utc": ("Date", "UTC", "date"), "error_radius_95_m": ("95 % radius", "m", two_figures),
        "method": ("Evidence", "", "text"), **place}, saved_as="appendix_positions.csv", notes=f"Place of all: the {square_words(rows)}, see Positions published." if coarse else " ".join(precision_sentences(rows)))


# In the order in which the methods come to speak of them, so that numbers rise with the text.
MAKERS = {"animals": animals, "effort": effort, "signal_model": signal_model, "changes": changes, "hand_evidence": hand_evidence, "statuses": statuses, "beacons": beacons, "errors": errors, "coverage": coverage, "reach": reach,
          "detection": detection, "not_found": not_found, "fates": fates, "survival": survival, "ranges": ranges, "positions": positions}
