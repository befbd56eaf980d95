"""Files that do not leave the project with the appendix, because they hold exact positions, and who may be asked for them."""

from __future__ import annotations

import re

from pipeline.wording import counted, listed

# Columns that place something; what names a distance or an error ends otherwise.
_PLACING = re.compile(r"(latitude|longitude|easting_m|northing_m)$")
# The ranges of the logged columns, those of latitude and longitude among them.
_RANGES_OF_LOGS = "columns"
# The files in which positions are given as they may be published.
PUBLISHED = ("appendix_positions", "appendix_beacons")
AUTHORS = "the authors"


def keeps_places(survey) -> bool:
    """Whether exact positions stay in the project: the campaign is marked sensitive, or one of its species."""
    return survey.sensitive or bool(survey.publication.sensitive_species)


def withheld_tables(tables: dict[str, list[str]], survey) -> tuple[str, ...]:
    """Names of the tables that hold exact positions, none where the survey file lets them go. tables : name -> columns."""
    if not keeps_places(survey):
        return ()
    return tuple(name for name, columns in tables.items() if name not in PUBLISHED and (name == _RANGES_OF_LOGS or any(_PLACING.search(column) for column in columns)))


def withheld_files(files: list[str], survey) -> tuple[str, ...]:
    """Names of the files beside the tables that are withheld: all of them, since each holds areas or points for a map. files : names in the folder tables that are no CSV."""
    return tuple(sorted(files)) if keeps_places(survey) else ()


def whom_to_ask(survey) -> str:
    """Who gives what is withheld, as the survey file says."""
    return survey.publication.contact.strip() or AUTHORS


def withheld_words(withheld: tuple[str, ...], files: tuple[str, ...], survey) -> str:
    """Which files do not come with the appendix, why, and whom to ask; "" where all do. withheld : names of tables. files : of files beside them."""
    if not withheld:
        return ""
    beside = f"{listed([*files, 'results.gpkg'], len(files) + 1)}" if files else "results.gpkg"
    ranges = "; columns.csv for the ranges of latitude and longitude in the logs" if _RANGES_OF_LOGS in withheld else ""
    return (f"Withheld, because they hold exact positions: {counted(len(withheld), 'table')} ({listed([f'{name}.csv' for name in withheld], len(withheld))}{ranges}), {beside}, every figure that does not stand here (maps, tracks and the panels of tags among them), "
            f"the logs and registers, the reports with their maps, the notebooks and intermediate results. They are to be had from {whom_to_ask(survey)}.")
