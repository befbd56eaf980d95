"""Files for other programs: tables as CSV, results as an OGC GeoPackage, positions made coarse before they leave the project."""

from pipeline.exchange.csv_table import csv_text, read_csv_table, write_csv_table
from pipeline.exchange.generalising import Generalised, OneSquare, generalise, one_square
from pipeline.exchange.geopackage import LAYERS, write_results

__all__ = ["LAYERS", "Generalised", "OneSquare", "csv_text", "generalise", "one_square", "read_csv_table", "write_csv_table", "write_results"]
