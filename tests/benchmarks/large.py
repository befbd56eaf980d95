"""What the reports of a large campaign cost: `python -m tests.benchmarks.large [folder]`.

An invented campaign of 40 tagged animals and 8 beacons beside them, 12 flights of 23 minutes, a record every 6 s of every tag, over an
invented valley whose ground heights the analysis is given. All stages run as `python3 -m pipeline run` does it. Measured, report by report:

    working out   seconds until the tables are there: reading, the signal model, positions, tests; the start of Python is counted here
    writing       seconds after that: figures, maps, the tables of the page, the page; index and appendix are nothing else
    processor     seconds of processor time within writing: what it takes on a machine that does nothing else
    size          of the HTML file
    first map     seconds from navigation to the first map with marks on the screen, in Chromium, the middle of five visits

The table goes to tests/benchmarks/large.csv. With a folder the campaign and its reports are kept there, and a second call writes the reports
again from the tables of the first, which is enough after a change of a figure (about ten minutes on two free cores, the second time two).
"""

from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import nbformat
import numpy as np
import pandas as pd
import psutil

from pipeline.geodesy import choose_projection
from pipeline.run.execute import run_stages, run_survey
from pipeline.run.plan import STAGES, Stage, forced_stages
from pipeline.run.progress import Silent
from pipeline.run.records import record_file
from pipeline.simulate.animals import Stay, Tag
from pipeline.simulate.campaign import (LOG_HEADER, FlightPlan, flight_stream, heard_by, log_rows, noise_floor_db, write_lines, write_registers, write_study_area,
                                        write_terrain)
from pipeline.simulate.cast import GROUSE, HARE, PULSES_PER_MIN, SPECIES
from pipeline.simulate.draws import normals, stream, uniforms
from pipeline.simulate.flights import Path as FlightPath
from pipeline.simulate.flights import antenna_along_track, antenna_rotating, antenna_sideways, fly, line_waypoints, loop_waypoints
from pipeline.simulate.physics import rich_physics
from pipeline.simulate.terrain import invented_valley
from pipeline.survey import load_survey
from tests.browser import browser

RESULT = Path(__file__).with_name("large.csv")
SEED = 40
ANIMALS, BEACONS, FLIGHTS, FLIGHT_S = 40, 8, 12, 23 * 60
PLANE = choose_projection([57.2], [-4.1])
HALF_SIDE_M = 1600.0
FIRST_FLIGHT = datetime(2026, 4, 6, 5, 40)
# Metres walked at most between two days.
STEP_M = {HARE: 350.0, GROUSE: 550.0}
# Animals that die, leave or fall silent, so that every part of the reports has something to say; from which flight on.
DIES, LEAVES, SILENT = {"A07": 3, "A21": 7, "A33": 0}, {"A12": 4, "A30": 8}, {"A18": 0, "A36": 5}
BEACON_PLACES_M = ((-1200, -900), (-350, 640), (480, -330), (1180, -1120), (900, 820), (-920, 1180), (120, 1240), (-520, -260))
SURVEY = """
campaign: large
title: "Invented campaign of 40 tags and 12 flights"
seed: 1
receiver_log:
  files: flights/*.csv
  not_heard: blank
  time_zone: UTC
  height_reference: ground
  azimuth_reference: true
  heard_above_noise_db: 6
tags: tags.csv
beacons: beacons.csv
terrain: terrain.tif
study_area: study_area.geojson
"""
# Module and class of the report of a stage that takes long to work out.
REPORT_OF = {"1_quality_check": ("quality_report", "QualityReport"), "2_localisation": ("localisation_report", "LocalisationReport")}
VISITS = 5
# After the parameter, the parameter as set, and the call that works everything out.
FIRST_CELL_THAT_SHOWS = 4
# Runs in the page before anything else: when the first map of the page has marks or a picture, and the browser has come to paint them.
WATCH = """window.firstMap = new Promise(done => { const look = () => {
    const drawn = Array.from(document.querySelectorAll('.sheet .leaflet-overlay-pane path')).some(mark => (mark.getAttribute('d') || '').length > 10);
    requestAnimationFrame(drawn ? () => done(performance.now()) : look); };
    requestAnimationFrame(look); })"""


# The campaign

def flight_plans(flights: int) -> list[FlightPlan]:
    """Two flights a day, a loop or lines in turn, with the faults that logs have: a late clock, a while without GNSS, records twice."""
    faults = {3: {"lag_s": 5}, 6: {"lost_s": (606, 648)}, 9: {"doubled": tuple(range(61, 69))}}
    gains_db = normals(stream(SEED, 6), flights)
    plans = []
    for number in range(flights):
        start = FIRST_FLIGHT + timedelta(days=4 * (number // 2), minutes=52 * (number % 2))
        plans.append(FlightPlan(f"{start:%m%d}-{'ab'[number % 2]}", start, _flown(number), gain_db=round(float(gains_db[number]), 2), azimuth_bias_deg=3.0, **faults.get(number, {})))
    return plans


def _flown(number: int) -> FlightPath:
    generator, bearing_deg = flight_stream(SEED, 1, number), 62.0 + 40.0 * (number // 2)
    if number % 2 == 0:
        sizes_m = [(1300 - 60 * (number % 3), 1250), (800, 900), (350, 520)]
        return antenna_along_track(fly(loop_waypoints(sizes_m, bearing_deg=bearing_deg), generator=generator, longest_s=FLIGHT_S), generator=generator)
    lines = fly(line_waypoints((-1450, -870, -290, 290, 870, 1450), 1250, bearing_deg=bearing_deg, bend_m=80), generator=generator, longest_s=FLIGHT_S)
    return antenna_sideways(lines) if number % 4 == 1 else antenna_rotating(lines, generator=generator)


def cast(physics) -> list[Tag]:
    """40 animals of two types and 8 beacons, each with a power of its own."""
    generator, tags = stream(SEED, 3), []
    for number in range(ANIMALS + BEACONS):
        animal, tag_type = number < ANIMALS, HARE if number % 5 < 3 else GROUSE
        name = f"A{number + 1:02d}" if animal else f"B{number + 1 - ANIMALS:02d}"
        live, mortality = PULSES_PER_MIN[tag_type]
        power_db = physics.power_mean_db[tag_type] + physics.power_sd_db * float(normals(generator))
        tags.append(Tag(name, tag_type, "animal" if animal else "beacon", round(150.010 + 0.020 * number, 3), round(power_db, 2), round(float(uniforms(generator, 0.1, 0.5)), 1),
                        animal_id=f"I26-{name}" if animal else "", species=SPECIES[tag_type] if animal else "", pulse_live_per_min=live, pulse_mortality_per_min=mortality,
                        deployed_utc="2026-03-12T07:30:00Z" if animal else "2026-04-05T09:00:00Z", expected_end_utc="2027-09-30T00:00:00Z" if animal else ""))
    return tags


def stays_of(tag: Tag, number: int, flights: int) -> list[Stay]:
    """Where a tag is in each flight: a walk from day to day, a few steps within a day, and little during a flight."""
    if tag.role == "beacon":
        place = tuple(map(float, BEACON_PLACES_M[number - ANIMALS]))
        return [Stay(place, place)] * flights
    generator = stream(SEED, 5, number)
    place, stays = tuple(uniforms(generator, -0.9 * HALF_SIDE_M, 0.9 * HALF_SIDE_M, 2)), []
    for flight in range(flights):
        if flight and flight < DIES.get(tag.tag_id, flights):
            place = _near(place, STEP_M[tag.tag_type] if flight % 2 == 0 else 80.0, generator)
        if flight >= LEAVES.get(tag.tag_id, flights):
            stays.append(Stay((900.0, 7300.0), (900.0, 7300.0), in_area=False))
        elif flight >= DIES.get(tag.tag_id, flights):
            stays.append(Stay(place, place, mode="mortality"))
        else:
            begin_s = float(uniforms(generator, 100, 600))
            stays.append(Stay(place, _near(place, 40.0, generator), (begin_s, begin_s + 500.0), mode="silent" if flight >= SILENT.get(tag.tag_id, flights) else "live"))
    return stays


def _near(place, most_m: float, generator) -> tuple[float, float]:
    reach_m, bearing = uniforms(generator, 0.2 * most_m, most_m), uniforms(generator, 0, 2 * np.pi)
    return tuple(float(np.clip(value, -HALF_SIDE_M, HALF_SIDE_M)) for value in (place[0] + reach_m * np.sin(bearing), place[1] + reach_m * np.cos(bearing)))


def write_campaign(folder: Path, flights: int = FLIGHTS) -> Path:
    """The files of a campaign; the path of its survey file comes back."""
    physics, terrain, plans = rich_physics(), invented_valley(SEED), flight_plans(flights)
    tags = cast(physics)
    stays = [stays_of(tag, number, flights) for number, tag in enumerate(tags)]
    for flight, plan in enumerate(plans):
        floor_db = noise_floor_db(plan, flight_stream(SEED, 2, flight))
        strengths = [heard_by(plan, tag, own[flight], physics=physics, terrain=terrain, floor_db=floor_db, generator=flight_stream(SEED, 3, flight, number))
                     for number, (tag, own) in enumerate(zip(tags, stays))]
        rows = log_rows(plan, tags, [own[flight] for own in stays], strengths, plane=PLANE, floor_db=floor_db, generator=flight_stream(SEED, 4, flight))
        write_lines(folder / "flights" / f"{plan.flight_id}.csv", [LOG_HEADER, *rows])
    places = {tag.tag_id: own[0].start for tag, own in zip(tags, stays) if tag.role == "beacon"}
    write_registers(folder, tags, places, PLANE, stream(SEED, 4))
    write_terrain(folder / "terrain.tif", terrain, PLANE, "EPSG:32630")
    corners_m = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * 1.05 * HALF_SIDE_M
    write_study_area(folder / "study_area.geojson", corners_m, PLANE, "an invented square")
    write_lines(folder / "survey.yml", SURVEY.strip("\n").split("\n"))
    return folder / "survey.yml"


# The measurement

class Clock(Silent):
    """Follows a run: of each stage the moments at which it started, had its tables, and was done; elapsed and processor seconds.

    In a notebook one code cell works everything out; what follows it writes the report.
    """

    def __init__(self):
        super().__init__()
        self.moments: dict[str, list[tuple[float, float]]] = {}

    def starts(self, label: str, why: str) -> None:
        self.moments[label] = [_now()]

    def cell(self, label: str, number: int, of: int, heading: str) -> None:
        if number == FIRST_CELL_THAT_SHOWS:
            self.moments[label].append(_now())
        print(f"{time.strftime('%H:%M:%S')} {label}: cell {number} of {of}, {heading}", file=sys.stderr)

    def ends(self, label: str) -> None:
        self.moments[label].append(_now())

    def seconds(self, label: str) -> dict[str, float]:
        """Columns of the table for one stage."""
        begin, *middle, end = self.moments[label]
        worked = middle[0] if middle else begin
        return {"working_out_s": worked[0] - begin[0], "writing_s": end[0] - worked[0], "writing_processor_s": end[1] - worked[1]}


def _now() -> tuple[float, float]:
    """Seconds on the wall, and of the processors in this process and the kernel, ended ones included; the pool that works positions out belongs to neither."""
    here = psutil.Process()
    return time.monotonic(), sum(sum(each.cpu_times()[:4]) for each in (here, *here.children()))


def first_map_s(running, page_file: Path) -> float:
    """Seconds from navigation to the first map on the screen, the middle of some visits; NaN for a page without a map."""
    if '<div class="sheet"' not in page_file.read_text(encoding="utf-8"):
        return float("nan")
    visits = []
    for _ in range(VISITS):
        context = running.new_context(viewport={"width": 1300, "height": 900}, offline=True)
        page = context.new_page()
        page.add_init_script(WATCH)
        page.goto(page_file.resolve().as_uri(), wait_until="commit")
        visits.append(page.evaluate("window.firstMap") / 1000.0)
        context.close()
    return float(np.median(visits))


def rewriting_stages(folder: Path) -> list[Stage]:
    """The stages of a run, but with notebooks (made in the folder) that take the tables of stages 1 and 2 as they lie there; what the other stages work out takes seconds."""
    changed = []
    for stage in STAGES:
        if stage.name in REPORT_OF:
            module, report = REPORT_OF[stage.name]
            notebook = nbformat.read(stage.notebook, as_version=4)
            for cell in notebook.cells:
                if cell.cell_type == "code" and "open_report" in cell.source:
                    cell.source = f"from pipeline.stages.workspace import open_workspace\nfrom pipeline.stages.{module} import {report}\nreport = {report}(open_workspace(config_path))"
            nbformat.write(notebook, folder / stage.notebook.name)
            stage = replace(stage, notebook=folder / stage.notebook.name)
        changed.append(stage)
    return changed


def run_again(survey_file: Path, into: Path, clock: Clock) -> None:
    """Write all reports anew over the tables of an earlier run."""
    for name in REPORT_OF:
        # without a record the run leaves alone what it does not make itself
        record_file(into, name).unlink(missing_ok=True)
    with tempfile.TemporaryDirectory() as passing:
        run_stages(load_survey(survey_file), into.resolve(), rewriting_stages(Path(passing)), forced=forced_stages([stage.name for stage in STAGES], force=True), progress=clock)


def measured(into: Path, clock: Clock) -> pd.DataFrame:
    """What a run that the clock has followed took and made, a row for each report."""
    rows = []
    with browser() as running:
        for stage in STAGES:
            page = into / f"{stage.name}.html"
            rows.append({"tags": ANIMALS, "beacons": BEACONS, "flights": FLIGHTS, "report": page.name, **clock.seconds(stage.label), "size_bytes": page.stat().st_size, "first_map_s": first_map_s(running, page)})
    return pd.DataFrame(rows).round({"working_out_s": 1, "writing_s": 1, "writing_processor_s": 1, "first_map_s": 2})


def measured_in(base: Path) -> pd.DataFrame:
    """The table, after a whole run or, where one lies in the folder, after writing again."""
    clock, whole_run, into = Clock(), base / "whole_run.csv", base / "reports"
    if whole_run.exists():
        run_again(base / "campaign" / "survey.yml", into, clock)
        return measured(into, clock).assign(working_out_s=pd.read_csv(whole_run)["working_out_s"])
    run_survey(write_campaign(base / "campaign"), into=into, force=True, progress=clock)
    table = measured(into, clock)
    table.to_csv(whole_run, index=False)
    return table


def main(folder: str = "") -> None:
    """Make the campaign, run it, print the table and write it."""
    with tempfile.TemporaryDirectory(prefix="fixledger-large-") as passing:
        table = measured_in(Path(folder or passing))
    table.to_csv(RESULT, index=False, lineterminator="\n")
    print(table.to_string(index=False, na_rep=""))
    print(f"all reports: {table['writing_s'].sum():.1f} s written, {table['writing_processor_s'].sum():.1f} s of processor time, {table['working_out_s'].sum():.0f} s worked out before")


if __name__ == "__main__":
    main(*sys.argv[1:])
