"""An invented report with every kind of part, made small: what the tests of the report open, read and measure."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import geopandas as gpd
import nbformat
import numpy as np
import pandas as pd
from shapely.affinity import rotate, scale
from shapely.geometry import Point, box

from pipeline.figures import MapSheet, in_style, new_figure
from pipeline.geodesy import choose_projection
from pipeline.messages import Message
from pipeline.report import Book, ReportLink, export_report, render_index, see

AWKWARD_NAMES = ("O'Brien", "back`tick", "${title}", "<b>bold</b>", "C:\\20190221", "</script><script>document.title='ran'</script>", "{{ name }}", "\u05d0\u05e8\u05e0\u05d1 \U0001f407")


@dataclass(frozen=True)
class Hills:
    """A terrain as maps take it."""

    height_m: np.ndarray
    west_m: float
    north_m: float
    cell_m: float


def hills(cells: int = 120, cell_m: float = 40.0) -> Hills:
    """Two ridges and a valley, with a hole in the model."""
    east, south = np.meshgrid(np.linspace(-3, 3, cells), np.linspace(-3, 3, cells))
    height = 420 + 130 * np.exp(-((east - 1.2 + 0.4 * south) ** 2)) + 90 * np.sin(1.4 * south + east) + 25 * np.sin(5 * east) * np.cos(4 * south)
    height[:8, :8] = np.nan
    return Hills(height, -cells * cell_m / 2, cells * cell_m / 2, cell_m)


def track(flights: int = 2, records: int = 120) -> pd.DataFrame:
    """Loops around the middle, the first with a stretch off effort."""
    rows = []
    for flight in range(flights):
        turn = np.linspace(0, 4 * np.pi, records)
        radius = 500 + 350 * np.sin(turn / 2 + flight)
        start = pd.Timestamp("2024-05-03T06:00", tz="UTC") + pd.Timedelta(hours=3 * flight)
        rows.append(pd.DataFrame({
            "flight_id": f"flight {flight + 1}",
            "record": np.arange(records),
            "time_utc": start + pd.to_timedelta(6 * np.arange(records), unit="s"),
            "easting_m": radius * np.cos(turn) + 450 * flight - 250,
            "northing_m": radius * np.sin(turn) * 0.8 + 150 * flight,
            "on_effort": ~((np.arange(records) > 40) & (np.arange(records) < 52) & (flight == 0)),
        }))
    return pd.concat(rows, ignore_index=True)


def records(names: list[str], places: np.ndarray) -> pd.DataFrame:
    """What a receiver on the track would note of each tag: strength falls with distance, faint ones are not heard."""
    flown = track()
    parts = []
    for name, place in zip(names, places):
        far = np.hypot(flown["easting_m"] - place[0], flown["northing_m"] - place[1])
        strength = -40 - 30 * np.log10(far + 30) + 4 * np.sin(np.arange(len(flown)))
        heard = strength > -123
        parts.append(flown.assign(tag_id=name, heard=heard, strength_db=np.where(heard, strength, np.nan), saturated=strength > -112))
    return pd.concat(parts, ignore_index=True)


def regions(names: list[str], places: np.ndarray, radii_m: np.ndarray) -> gpd.GeoDataFrame:
    """Ellipses for 0.5, 0.8 and 0.95."""
    rows = []
    for index, (name, place, radius) in enumerate(zip(names, places, radii_m)):
        for probability, factor in ((0.5, 0.48), (0.8, 0.73), (0.95, 1.0)):
            shape = rotate(scale(Point(place).buffer(radius * factor, quad_segs=12), 1.4, 0.75), 35 * index)
            rows.append({"tag_id": name, "flight_id": "flight 1", "probability": probability, "geometry": shape, "note": f"95 % radius {radius:.0f} m"})
    return gpd.GeoDataFrame(rows)


def full_sheet(names: list[str], *, terrain: bool = True, latitude: float = 57.2, longitude: float = -4.1) -> MapSheet:
    """A sheet with every layer."""
    turn = np.linspace(0, 2 * np.pi, len(names), endpoint=False)
    places = np.stack([720 * np.cos(turn + 0.4), 520 * np.sin(turn + 0.4)], axis=-1)
    radii = np.linspace(90, 230, len(names))
    fixes = pd.DataFrame({"easting_m": places[:, 0], "northing_m": places[:, 1], "tag_id": names, "label": names, "note": [f"95 % radius {radius:.0f} m" for radius in radii]})
    second = fixes.iloc[[0]].assign(easting_m=places[0, 0] - 420, northing_m=places[0, 1] - 120, second_place=True)
    beacons = pd.DataFrame({
        "tag_id": ["Beacon A", "Beacon B", "Beacon C"], "true_easting_m": [-700.0, 120.0, 560.0], "true_northing_m": [420.0, -610.0, 640.0],
        "easting_m": [-640.0, 60.0, np.nan], "northing_m": [380.0, -570.0, np.nan],
    })
    sheet = MapSheet(choose_projection([latitude], [longitude]), alt="Invented map: two loops flown over a valley; every tag has a place and a region around it.")
    sheet.backdrop(hills() if terrain else None).study_area(gpd.GeoDataFrame(geometry=[box(-1150, -900, 1150, 950)])).track(track())
    sheet.records(records(names, places)).regions(regions(names, places, radii)).fixes(pd.concat([fixes.assign(second_place=False), second], ignore_index=True))
    return sheet.beacons(beacons).fetch(fixes.iloc[[min(1, len(names) - 1)]].assign(search_radius_m=170.0))


def searched_sheet() -> MapSheet:
    """Ground searched around one loop, without terrain."""
    east, south = np.meshgrid(np.linspace(-1500, 1500, 100), np.linspace(-1200, 1200, 80))
    share = 1 / (1 + np.exp((np.hypot(east, south * 1.2) - 800) / 160))
    sheet = MapSheet(choose_projection([57.2], [-4.1]), alt="Invented map: the middle of the study area was searched well, its edges were not.")
    return sheet.backdrop(None).searched(share, -1500.0, 1200.0, 30.0).track(track(1)).study_area(gpd.GeoDataFrame(geometry=[box(-1150, -900, 1150, 950)]))


def sample_figure():
    """A figure with two panels."""
    with in_style():
        figure, (left, right) = new_figure(1, 2, height_in=2.8)
        distance = np.linspace(50, 1500, 60)
        left.plot(distance, -40 - 25 * np.log10(distance), label="fitted")
        left.scatter(distance[::3], -40 - 25 * np.log10(distance[::3]) + 4 * np.sin(distance[::3]), s=12, label="measured")
        left.set(xlabel="distance (m)", ylabel="strength (dB)", title="Strength falls with distance")
        left.legend()
        right.bar(["flight 1", "flight 2"], [12, 19])
        right.set(ylabel="tags heard", title="More tags in the second flight")
    return figure


MESSAGES = (
    Message("note", "decimal-comma", "numbers are written with a decimal comma", file="flight_01.csv", done="read as such"),
    Message("look", "ceiling", "37 strengths lie at the receiver's ceiling", file="flight_01.csv", line=1842, value="-20", consequence="they pull fixes toward the flight line", remedy="lower the gain of the next flight"),
    Message("stop", "no-position", "flight 3 has no position for 14 minutes", file="flight_03.csv", consequence="the flight is left out", remedy="look for the receiver's own track file"),
)


def sample_parts(folder: Path, names: list[str]) -> list:
    """Every kind of part, made by a Book in `folder`."""
    book = Book(folder / "tables", folder / "figures")
    fixes = pd.DataFrame({
        "tag_id": names, "species": "mountain hare", "time_start_utc": pd.Timestamp("2024-05-03T06:12:30", tz="UTC"), "error_radius_95_m": np.linspace(90, 230, len(names)),
        "region_95_ha": np.linspace(2.5, 16.7, len(names)), "records_heard": np.arange(len(names)) * 3 + 8, "fate": ["alive", ""] * (len(names) // 2) + ["unknown"] * (len(names) % 2), "calibrated": True,
    })
    columns = {
        "tag_id": ("Tag",), "species": ("Species",), "time_start_utc": ("First heard", "UTC", "time"), "error_radius_95_m": ("95 % radius", "m", ".0f"), "region_95_ha": ("95 % region", "ha", ".1f"),
        "records_heard": ("Records heard", "", "d"), "fate": ("Fate",), "calibrated": ("Calibrated",),
    }
    return [
        book.answer("6 of 8 animals have a position. Half of these positions are good to 60 m or better; the widest is good to 310 m.", f"The places are in {see('map', 'places')}, the numbers in {see('table', 'sample-fixes')}."),
        book.map("places", full_sheet(names), "Where the tags are. Crosses are the best places; the shaded ground holds each tag with probability 0.5."),
        book.words("Two flights lost their position for a while", "The first was off effort for a minute & a half.", "Its records of that time are < 1 % of all."),
        book.table("sample-fixes", fixes, "Positions and their errors, one row per tag.", columns, notes="The radius is that of a circle around the mean that holds the tag with probability 0.95.", tag_column="tag_id"),
        book.words("Strength falls with distance as the model says", f"See {see('figure', 'strength')}.", level=3),
        book.figure("strength", sample_figure(), "Strength against distance, and tags heard per flight.", "Strength falls by 25 dB for every tenfold distance; the second flight heard 19 tags, the first 12."),
        book.words("The middle of the area was searched well"),
        book.map("searched-ground", searched_sheet(), "Probability that a tag lying there would have been heard."),
        book.words("What was noticed"),
        book.messages(MESSAGES, file="tables/messages.csv"),
    ]


def sample_notebook(folder: Path, names: list[str]):
    """An executed notebook that shows every part."""
    cells = [nbformat.v4.new_markdown_cell("# Localisation\n\nThis notebook says where the tags are."), nbformat.v4.new_code_cell("config_path = 'survey.yml'", metadata={"tags": ["parameters"]})]
    for part in sample_parts(folder, names):
        output = nbformat.v4.new_output("display_data", data=part._repr_mimebundle_())
        cells.append(nbformat.v4.new_code_cell("show(part)", outputs=[output]))
    cells.append(nbformat.v4.new_markdown_cell("## How a place is found\n\nThe strength at distance $d$ is\n\n$$s(d) = P - 10\\,n \\log_{10} d + \\varepsilon$$\n\nwith $n$ found on beacons."))
    for index, cell in enumerate(cells):
        cell["id"] = f"cell-{index}"
    return nbformat.v4.new_notebook(cells=cells)


LINKS = (ReportLink("index.html", "Overview"), ReportLink("quality_check.html", "Quality check"), ReportLink("localisation.html", "Localisation", True), ReportLink("error_calibration.html", "Error calibration"))


def sample_report(folder: Path, names: list[str] = tuple(f"Hare {number:02d}" for number in range(1, 7))) -> str:
    """The exported report as text."""
    return export_report(
        sample_notebook(folder, list(names)), title="Where the tags are", campaign="Invented valley, spring 2024", subtitle="3 to 5 May 2024 (UTC), two flights", links=LINKS,
        closing_html='<section><h2>What this run used</h2><p>Nothing: it is invented.</p></section>', notebook_file="notebooks/2_localisation.ipynb",
    )


@cache
def sample_folder() -> Path:
    """A folder with localisation.html and index.html, made once for all tests of a session and removed at its end."""
    folder = Path(tempfile.mkdtemp(prefix="sample-report-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    (folder / "localisation.html").write_text(sample_report(folder), encoding="utf-8", newline="\n")
    (folder / "index.html").write_text(sample_index(folder), encoding="utf-8", newline="\n")
    return folder


def sample_index(folder: Path) -> str:
    """The exported index as text; the pictures of `sample_report` must be in the folder."""
    overview = Book(folder / "tables", folder / "figures").map("overview", full_sheet(["Hare 01", "Hare 02", "Hare 03"]), "The campaign on one map.")
    answers = [("Can I trust the positions, and where not?", ["The stated regions held 51 of the 54 beacon positions that the model had not seen."]), ("Which animals are missing?", ["Hare 07 was not heard. If it was on the fell, a flight like these would have heard it with probability 0.62."]),
               ("What must be fetched?", ["Two tags sent their mortality rate on two or more passes."]), ("What should the next flight do?", ["Fly the north-eastern corner, which was searched least."])]
    picture = folder / "figures" / "places.png"
    reports = [("quality_check.html", "Quality check", "Five of six flights are fit for location.", folder / "figures" / "strength.png"), ("localisation.html", "Localisation", "22 of 28 animals have a position.", picture),
               ("error_calibration.html", "Error calibration", "The median beacon error was 71 m (95 % interval 55 to 92 m).", folder / "figures" / "searched-ground.png"), ("movement_summaries.html", "Movement", "Three animals moved more than their errors allow.", picture)]
    return render_index(title="Spring survey of the invented valley", campaign="Invented valley, spring 2024", subtitle="3 to 5 May 2024 (UTC), six flights, 28 animals", opening=["22 of 28 animals have a position, good to 60 m or better for half of them. Two tags must be fetched."],
                        answers=answers, next_steps=["Fetch the tags of Hare 03 and Hare 11.", "Fly the north-eastern corner.", "Replace the battery of beacon C."], message_counts={"stop": 1, "look": 4, "note": 12}, messages_file="tables/messages.csv",
                        reports=reports, overview=overview, permits={"wildlife": "W-0000 (invented), to 31 December 2024"}, sensitive=True)
