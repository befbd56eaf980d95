"""Files for other programs: tables as CSV, results as an OGC GeoPackage."""

from pipeline.exchange.csv_table import csv_text, read_csv_table, write_csv_table
from pipeline.exchange.geopackage import LAYERS, write_results

__all__ = ["LAYERS", "csv_text", "read_csv_table", "write_csv_table", "write_results"]
