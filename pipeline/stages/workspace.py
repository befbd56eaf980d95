"""Where a stage reads and writes: the folder of a campaign's results, and the building folder of a stage under way.

Under the runner a stage writes into a building folder, and its files move into place only when all of it has succeeded.
Opened by hand in JupyterLab, both folders are the same.
"""

from __future__ import annotations

import hashlib
import importlib
import json
import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pipeline.bootstrap import PROJECT
from pipeline.stages import NOTEBOOK_STAGES, module_of

# Set by the runner for the process in which a stage runs.
INTO_VARIABLE, BUILDING_VARIABLE = "FIXLEDGER_INTO", "FIXLEDGER_BUILDING"


@dataclass(frozen=True)
class Workspace:
    """The files of one campaign's results.

    survey : the loaded survey file.
    folder : results that are finished: tables/, figures/, work/, notebooks/, *.html.
    building : where the present stage writes; the same as `folder` when run by hand.
    closing_html : the section "What this run used" for a page that is not made from a notebook; set by the runner.
    software : the program and its versions in one sentence; set by the runner.
    """

    survey: Any
    folder: Path
    building: Path
    closing_html: str = field(default="", repr=False)
    software: str = ""

    @property
    def by_hand(self) -> bool:
        """True in JupyterLab or a script, false under the runner."""
        return self.building == self.folder

    # Paths

    def path_to_write(self, relative: str) -> Path:
        """Path of a file to be written by this stage; its folder is made."""
        path = self.building / relative
        path.parent.mkdir(parents=True, exist_ok=True)
        return path

    def path_to_read(self, relative: str) -> Path:
        """Path of a file made by this stage or an earlier one. FileNotFoundError says which file and what makes it."""
        for folder in (self.building, self.folder):
            if (folder / relative).exists():
                return folder / relative
        raise FileNotFoundError(f"{relative} is not in {self.folder}; run the stages before this one: "
                                f"python3 -m pipeline run {self.survey.file}")

    @property
    def tables(self) -> Path:
        """Folder for tables of the present stage, made when absent."""
        return self._folder_to_write("tables")

    @property
    def figures(self) -> Path:
        """Folder for figures of the present stage, made when absent."""
        return self._folder_to_write("figures")

    def _folder_to_write(self, name: str) -> Path:
        folder = self.building / name
        folder.mkdir(parents=True, exist_ok=True)
        return folder

    # Tables for readers (CSV), tables for the next stage (Parquet), values (JSON)

    def write_table(self, name: str, frame) -> Path:
        """Write tables/<name>.csv at full precision."""
        from pipeline.exchange.csv_table import write_csv_table

        return write_csv_table(self.path_to_write(f"tables/{name}.csv"), frame)

    def read_table(self, name: str, columns: dict[str, str] | None = None):
        """Read tables/<name>.csv; `columns` as in pipeline.columns gives the kinds."""
        from pipeline.exchange.csv_table import read_csv_table

        return read_csv_table(self.path_to_read(f"tables/{name}.csv"), columns)

    def write_work(self, name: str, frame) -> Path:
        """Write work/<name>.parquet: a DataFrame, or a GeoDataFrame with its CRS."""
        path = self.path_to_write(f"work/{name}.parquet")
        frame.to_parquet(path, index=False)
        return path

    def read_work(self, name: str):
        """Read work/<name>.parquet; a GeoDataFrame comes back as one."""
        import pandas as pd
        import pyarrow.parquet as parquet

        path = self.path_to_read(f"work/{name}.parquet")
        if b"geo" in (parquet.read_schema(path).metadata or {}):
            import geopandas as gpd

            return gpd.read_parquet(path)
        return pd.read_parquet(path)

    def write_json(self, name: str, value) -> Path:
        """Write work/<name>.json, keys in the order given."""
        path = self.path_to_write(f"work/{name}.json")
        path.write_text(json.dumps(value, indent=1, ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8", newline="\n")
        return path

    def read_json(self, name: str):
        """Read work/<name>.json."""
        return json.loads(self.path_to_read(f"work/{name}.json").read_text(encoding="utf-8"))

    # Stages before this one

    def ensure(self, stage: str) -> None:
        """Compute a stage, and those before it, unless its results are there for the inputs as they are now.

        Under the runner there is nothing to do. By hand, a stage counts as computed when its record, left by a run or
        by `mark_computed`, names the same contents of the survey file and of every input, and no stage before it has
        been computed later. Changed code is not noticed.
        """
        if not self.by_hand:
            return
        latest_ns = 0
        for name in NOTEBOOK_STAGES[: NOTEBOOK_STAGES.index(stage) + 1]:
            if self._computed_ns(name) <= latest_ns:
                importlib.import_module(module_of(name)).compute(self)
                self.mark_computed(name)
            latest_ns = self._computed_ns(name)

    def mark_computed(self, stage: str) -> None:
        """Leave word that a stage has been computed by hand from the inputs as they are; under the runner, nothing."""
        if self.by_hand:
            self.write_json(f"records/{stage}.by-hand", {"inputs": self._input_hashes()})

    def _computed_ns(self, stage: str) -> int:
        """When the stage was last computed from the inputs as they are; 0 for never."""
        records = [self.folder / "work" / "records" / f"{stage}{ending}" for ending in (".json", ".by-hand.json")]
        wanted = self._input_hashes()
        return max((path.stat().st_mtime_ns for path in records
                    if path.exists() and json.loads(path.read_text(encoding="utf-8")).get("inputs") == wanted), default=0)

    def _input_hashes(self) -> dict[str, str]:
        return {name: hashlib.sha256(path.read_bytes()).hexdigest() for name, path in self.survey.input_files().items()}


def default_folder(survey) -> Path:
    """Where a campaign's results go unless told otherwise: reports/<campaign> of the project."""
    return PROJECT / "reports" / survey.campaign


def open_workspace(config_path) -> Workspace:
    """The workspace of a survey file: what every notebook calls first.

    The runner names the folders in the environment; without it results go to reports/<campaign> of the project.
    Raises SurveyError with every fault of the survey file.
    """
    from pipeline.survey import load_survey

    survey = load_survey(config_path)
    folder = Path(os.environ.get(INTO_VARIABLE) or default_folder(survey)).resolve()
    building = Path(os.environ.get(BUILDING_VARIABLE) or folder).resolve()
    return Workspace(survey, folder, building)
