"""Invented flights and dates to go over: regions that shrink from moment to moment, positions three days apart."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry import Point, box

from pipeline.figures import MapSheet
from pipeline.geodesy import choose_projection
from tests.report_sample import full_sheet, records, regions, track

COUNTS = (30, 60, 90, 120)
RADII_M = (900.0, 400.0, 200.0, 100.0)
PLACES = np.array([[300.0, 200.0], [-400.0, -150.0]])


def moments_of(names: list[str], flights=("flight 1", "flight 2")) -> tuple[pd.DataFrame, gpd.GeoDataFrame]:
    """(table, outlines) of every tag and flight: discs of 900, 400, 200 and 100 m after 30, 60, 90 and 120 records; the first is cut by the edge."""
    rows, outlines = [], []
    for flight in flights:
        times = track().query("flight_id == @flight")["time_utc"].reset_index(drop=True)
        for name, place in zip(names, PLACES):
            for frame, (count, radius) in enumerate(zip(COUNTS, RADII_M), 1):
                rows.append({"tag_id": name, "flight_id": flight, "frame": frame, "time_utc": times[count - 1], "minutes_flown": count / 10, "records_listened": count,
                             "records_heard": count // 3, "region_50_ha": np.pi * (radius / 2) ** 2 / 1e4, "region_95_ha": np.pi * radius**2 / 1e4, "error_radius_95_m": radius,
                             "edge_probability": 0.3 if frame == 1 else 0.0})
                for level, share in ((0.5, 0.5), (0.95, 1.0)):
                    outlines.append({"tag_id": name, "flight_id": flight, "frame": frame, "probability": level, "geometry": Point(place).buffer(radius * share, quad_segs=4)})
    return pd.DataFrame(rows), gpd.GeoDataFrame(outlines)


def flight_sheet(names: list[str]) -> MapSheet:
    """A full sheet on which the flights of the first two tags can be gone over."""
    table, outlines = moments_of(names[:2])
    return full_sheet(names).retrace_flights(records(names[:2], PLACES), table, outlines)


def dated_sheet(names: list[str]) -> MapSheet:
    """Three positions of the first animal, one of the second."""
    places = pd.DataFrame({
        "tag_id": [names[0]] * 3 + [names[1]], "flight_id": ["f1", "f2", "f3", "f1"], "easting_m": [0.0, 300.0, 500.0, -400.0], "northing_m": [0.0, 100.0, -200.0, -150.0],
    })
    places["label"] = [f"{tag} {number}" for tag, number in zip(places["tag_id"], (1, 2, 3, 1))]
    places["words"] = [f"{number} May 2024, <b>{flight}</b>" for number, flight in zip((1, 4, 7, 1), places["flight_id"])]
    shapes = pd.concat([regions([row.tag_id], np.array([[row.easting_m, row.northing_m]]), np.array([120.0])).assign(flight_id=row.flight_id) for row in places.itertuples()], ignore_index=True)
    sheet = MapSheet(choose_projection([57.2], [-4.1]), alt="Invented map: three positions of one animal, one of another.").study_area(gpd.GeoDataFrame(geometry=[box(-1150, -900, 1150, 950)]))
    return sheet.regions(gpd.GeoDataFrame(shapes)).fixes(places).retrace_dates(places)
