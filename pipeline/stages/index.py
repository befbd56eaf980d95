"""The last stage: the supervisor's page and the layers for a GIS, from what the four reports left."""

from __future__ import annotations

import pandas as pd

from pipeline.columns import BEACON_ERRORS, FIXES
from pipeline.figures import MapSheet
from pipeline.report import Book, render_index
from pipeline.stages import index_words as say
from pipeline.stages import localisation_words as located
from pipeline.stages.doubtful_hits import lone_hits
from pipeline.stages.ground_files import read_ground
from pipeline.stages.ground_fixes import GROUND_FIXES
from pipeline.stages.index_animals import every_animal
from pipeline.stages.index_found import Found
from pipeline.stages.index_next import next_steps
from pipeline.stages.index_signing import before_signing
from pipeline.stages.newest_places import newest_places, place_marks
from pipeline.stages.result_layers import write_layers
from pipeline.stages.search_circle import MAP_NOTE
from pipeline.stages.search_tables import batteries_used
from pipeline.stages.silences import fell_silent, silences
from pipeline.stages.workspace import Workspace
from pipeline.wording import as_printed_m, counted, listed, two_figures

REPORTS = {
    "1_quality_check": ("Quality check", "time_strips"),
    "2_localisation": ("Localisation", "localisation_map"),
    "3_error_calibration": ("Error calibration", "coverage"),
    "4_movement_summaries": ("Movement summaries", "net-distance"),
}
NEVER_HERE = "never in this campaign"
ANIMAL_COLUMNS = {
    "tag_id": ("Tag",), "state": ("State",), "error_radius_95_m": ("95 % radius", "m", two_figures), "position_utc": ("as of", "UTC", "date"), "moved": ("Moved",),
    "last_heard": ("Last heard", "UTC"), "heard": ("Heard in", "flights"), "animal_id": ("Animal",),
}


def build(workspace: Workspace) -> None:
    """Write index.html and results.gpkg."""
    found, survey = gather(workspace), workspace.survey
    write_layers(workspace)
    sentences, book = say.report_sentences(found), Book(workspace.tables, workspace.figures)
    page = render_index(
        title=survey.title, campaign=survey.campaign, subtitle=_dates(found.flights), status=survey.status, opening=say.opening(found), answers=say.answers(found),
        next_steps=next_steps(found), message_counts=found.messages["severity"].value_counts().to_dict(), messages_file="tables/messages.csv",
        reports=[(f"{stage}.html", title, sentences[stage], _picture(workspace, name)) for stage, (title, name) in REPORTS.items()],
        animals=_animals_table(book, workspace, found), signing=before_signing(found, survey.publication.sensitive_species),
        overview=_overview(book, workspace, found), permits=dict(survey.permits), sensitive=survey.sensitive, closing_html=workspace.closing_html,
        appendix=("appendix.html", say.appendix_sentence(survey.sensitive, survey.publication.sensitive_species, survey.publication.licence)),
    )
    workspace.path_to_write("index.html").write_text(page, encoding="utf-8", newline="\n")


def gather(workspace: Workspace) -> Found:
    """Every table that the answers are made from."""
    work, table, survey, tags = workspace.read_work, workspace.read_table, workspace.survey, workspace.read_work("tags")
    fixes = table("fixes", FIXES)
    animals = located.animals_of(fixes, tags)
    return Found(
        flights=work("flights"), tags_heard=work("tags_heard"), messages=work("messages"), changes=work("changes"),
        animals=animals, decoys=fixes[fixes["tag_id"].isin(tags.loc[tags["role"] == "decoy", "tag_id"])],
        tests=work("beacon_tests"), errors=table("beacon_errors", BEACON_ERRORS), beacons=table("beacon_places"), coverage=table("coverage"), reach=table("beacon_reach"), levels=table("flight_levels"),
        triage=work("fate_triage"), walk=work("retrieval_list"), not_found=work("not_found"), searched=work("searched_area"), well_searched=work("well_searched_beacons"), candidates=work("next_flight"),
        false=work("false_detections"), blind_share=float(table("terrain_seen")["share_without_terrain"].max()) if len(table("terrain_seen")) else None, canopy=(table("signal_model")["parameter"] == "canopy_db_per_m").any(),
        steps=table("movement_steps"), has_register=survey.tags is not None, permits=dict(survey.permits), status=survey.status, sensitive=survey.sensitive,
        silent=fell_silent(silences(animals, tags, work("searched_area"), work("fate_triage"))), single=lone_hits(animals, work("tags_heard")),
        battery=batteries_used(tags, fixes["time_end_utc"].max()), field_work_told=bool(survey.publication.field_record.field_work.strip()),
    )


def _dates(flights) -> str:
    if flights.empty:
        return "no flights"
    first, last = (f"{moment:%Y-%m-%d}" for moment in (flights["start_utc"].min(), flights["end_utc"].max()))
    return f"{counted(len(flights), 'flight')}, {first if first == last else f'{first} to {last}'} (UTC)"


def _picture(workspace: Workspace, name: str):
    try:
        return workspace.path_to_read(f"figures/{name}.png")
    except FileNotFoundError:
        return None


def _animals_table(book: Book, workspace: Workspace, found: Found):
    """Every animal, those that ask for something to be done first."""
    animals = every_animal(found.animals, workspace.read_work("tags"), found.triage, walk=found.walk, silent=found.silent, single=found.single,
                           ground=workspace.read_table("ground_fixes", GROUND_FIXES), steps=found.steps)
    workspace.write_table("every_animal", animals)
    shown = animals.assign(heard=[f"{heard} of {listened}" for heard, listened in zip(animals["flights_heard"], animals["flights_listened"])],
                           last_heard=[NEVER_HERE if pd.isna(moment) else f"{moment:%Y-%m-%d}" for moment in animals["last_heard_utc"]])
    return book.table(
        "every_animal", shown, f"Every animal: {counted(len(animals), 'animal')}, those that ask for something to be done first.", ANIMAL_COLUMNS, saved_as="every_animal.csv",
        notes="Heard: flights that heard it, of those that listened. The radius is that of the newest position, from the air or from the ground, of the date beside it. Moved: a movement larger than the errors of the positions was shown between two of them; "
              "not shown is no proof of staying, and of an animal that fell silent nothing is known since. A rate heard tells of the tag, not of the animal.")


def _overview(book: Book, workspace: Workspace, found: Found):
    """Where the animals are, with as little else as possible."""
    ground = read_ground(workspace)
    walk = found.walk[found.walk["easting_m"].notna()]  # a tag may call for a walk although no flight gave a place
    seen = located.found_by_eye(found.triage, workspace.read_work("sightings"))
    newest = newest_places(found.animals, workspace.read_table("ground_fixes", GROUND_FIXES))
    marks, last_day = place_marks(newest[~newest["tag_id"].isin([*walk["tag_id"], *seen["tag_id"]])], found.flights)
    alt = f"Map of the campaign: {counted(len(marks), 'animal')} at the newest position, {counted(len(walk), 'tag')} to look for and {counted(len(seen), 'tag')} found on the ground."
    sheet = MapSheet(ground.projection, alt=alt).backdrop(ground.terrain).study_area(ground.study_area).track(workspace.read_work("track"))
    if len(marks):
        sheet = sheet.fixes(marks, newest=True)
    if len(walk):
        sheet = sheet.fetch(walk[["tag_id", "easting_m", "northing_m", "note"]].assign(search_radius_m=walk["error_radius_95_m"].map(as_printed_m)))
    if len(seen):
        sheet = sheet.found(seen.assign(note=[f"{row.what}, on {row.time_utc:%Y-%m-%d}" for row in seen.itertuples()]))
    return book.map("overview", sheet, " ".join(words for words in (
        "Each animal at its newest position, and the tags to look for on foot.", f"Found on the ground: {listed(seen['tag_id'])}." if len(seen) else "", f"A date beside a name says that the position is older than the last day of flights, {last_day}." if marks["old"].any() else "",
        MAP_NOTE if len(walk) else "", "Names without room are left out, more of them on a narrow screen; type a tag to find it." if len(marks) + len(walk) + len(seen) else "") if words))
