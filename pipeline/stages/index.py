"""The last stage: the supervisor's page and the layers for a GIS, from what the four reports left."""

from __future__ import annotations

import pandas as pd

from pipeline.columns import BEACON_ERRORS, FIXES
from pipeline.figures import MapSheet
from pipeline.report import Book, render_index
from pipeline.stages import index_words as say
from pipeline.stages import localisation_words as located
from pipeline.stages.ground_files import read_ground
from pipeline.stages.ground_fixes import GROUND_FIXES
from pipeline.stages.index_animals import every_animal, one_record_only, silent_since
from pipeline.stages.index_signing import before_signing
from pipeline.stages.result_layers import write_layers
from pipeline.stages.search_circle import MAP_NOTE, search_circles, with_reach
from pipeline.stages.workspace import Workspace
from pipeline.wording import counted, two_figures

REPORTS = {
    "1_quality_check": ("Quality check", "time_strips"),
    "2_localisation": ("Localisation", "localisation_map"),
    "3_error_calibration": ("Error calibration", "coverage"),
    "4_movement_summaries": ("Movement summaries", "net-distance"),
}
NEVER_HERE = "never in this campaign"
ANIMAL_COLUMNS = {
    "tag_id": ("Tag",), "animal_id": ("Animal",), "last_heard": ("Last heard", "UTC"), "heard": ("Heard in", "flights"), "state": ("State",),
    "error_radius_95_m": ("95 % radius", "m", two_figures), "position_utc": ("as of", "UTC", "date"), "moved": ("Moved",),
}


def build(workspace: Workspace) -> None:
    """Write index.html and results.gpkg."""
    found, survey = gather(workspace), workspace.survey
    write_layers(workspace)
    sentences, book = say.report_sentences(found), Book(workspace.tables, workspace.figures)
    page = render_index(
        title=survey.title, campaign=survey.campaign, subtitle=_dates(found.flights), status=survey.status, opening=say.opening(found), answers=say.answers(found),
        next_steps=say.next_steps(found), message_counts=found.messages["severity"].value_counts().to_dict(), messages_file="tables/messages.csv",
        reports=[(f"{stage}.html", title, sentences[stage], _picture(workspace, name)) for stage, (title, name) in REPORTS.items()],
        animals=_animals_table(book, workspace, found), signing=before_signing(found, survey.publication.sensitive_species),
        overview=_overview(book, workspace, found), permits=dict(survey.permits), sensitive=survey.sensitive, closing_html=workspace.closing_html,
        appendix=("appendix.html", say.appendix_sentence(survey.sensitive, survey.publication.sensitive_species)),
    )
    workspace.path_to_write("index.html").write_text(page, encoding="utf-8", newline="\n")


def gather(workspace: Workspace) -> say.Found:
    """Every table that the answers are made from."""
    work, table, survey, tags = workspace.read_work, workspace.read_table, workspace.survey, workspace.read_work("tags")
    fixes, walk = table("fixes", FIXES), work("retrieval_list")
    animals = located.animals_of(fixes, tags)
    return say.Found(
        flights=work("flights"), tags_heard=work("tags_heard"), messages=work("messages"), changes=work("changes"),
        animals=animals, decoys=fixes[fixes["tag_id"].isin(tags.loc[tags["role"] == "decoy", "tag_id"])],
        tests=work("beacon_tests"), errors=table("beacon_errors", BEACON_ERRORS), beacons=table("beacon_places"), coverage=table("coverage"), reach=table("beacon_reach"), levels=table("flight_levels"),
        triage=work("fate_triage"), walk=with_reach(walk, search_circles(walk, work("regions"))), not_found=work("not_found"), searched=work("searched_area"), well_searched=work("well_searched_beacons"), candidates=work("next_flight"),
        false=work("false_detections"), blind_share=float(table("terrain_seen")["share_without_terrain"].max()) if len(table("terrain_seen")) else None, canopy=(table("signal_model")["parameter"] == "canopy_db_per_m").any(),
        steps=table("movement_steps"), has_register=survey.tags is not None, permits=dict(survey.permits), status=survey.status, sensitive=survey.sensitive,
        silent=silent_since(animals, work("flights"), work("searched_area"), tags, work("fate_triage")), single=one_record_only(animals, work("tags_heard")),
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


def _animals_table(book: Book, workspace: Workspace, found: say.Found):
    """Every animal, those that ask for something to be done first."""
    animals = every_animal(found.animals, workspace.read_work("tags"), found.triage, walk=found.walk, silent=found.silent, single=found.single,
                           ground=workspace.read_table("ground_fixes", GROUND_FIXES), steps=found.steps)
    workspace.write_table("every_animal", animals)
    shown = animals.assign(heard=[f"{heard} of {listened}" for heard, listened in zip(animals["flights_heard"], animals["flights_listened"])],
                           last_heard=[NEVER_HERE if pd.isna(moment) else f"{moment:%Y-%m-%d}" for moment in animals["last_heard_utc"]])
    return book.table(
        "every_animal", shown, f"Every animal: {counted(len(animals), 'animal')}, those that ask for something to be done first.", ANIMAL_COLUMNS, saved_as="every_animal.csv",
        notes="Heard: flights that heard it, of those that listened. The radius is that of the newest position, from the air or from the ground, of the date beside it. Moved: a movement larger than the errors of the positions was shown between two of them; "
              "not shown is no proof of staying. A rate heard tells of the tag, not of the animal.")


def _overview(book: Book, workspace: Workspace, found: say.Found):
    """Where the animals are, with as little else as possible."""
    ground, best = read_ground(workspace), located.best_per_animal(found.animals, found.walk)
    alt = f"Map of the campaign: {counted(len(best), 'animal')} with a position and {counted(len(found.walk), 'tag')} to look for."
    sheet = MapSheet(ground.projection, alt=alt).backdrop(ground.terrain).study_area(ground.study_area).track(workspace.read_work("track"))
    if len(best):
        sheet = sheet.fixes(best[["tag_id", "easting_m", "northing_m"]])
    walk = found.walk[found.walk["easting_m"].notna()]  # a tag may call for a walk although no flight gave a place
    if len(walk):
        sheet = sheet.fetch(walk[["tag_id", "easting_m", "northing_m", "note"]].assign(search_radius_m=walk["error_radius_95_m"]))
    return book.map("overview", sheet, f"Each animal where the best of its flights placed it, and the tags to look for on foot.{' ' + MAP_NOTE if len(walk) else ''}")
