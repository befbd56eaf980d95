"""Reports: what a stage shows, as numbered parts, and the pages made of them.

Book            makes words, tables, figures, maps and message lists, and saves their files
see             a reference to a table, figure or map inside a text
export_report   an executed notebook as one self-contained page
render_index    the index of a campaign
cautions_html   the box of cautions that closes every page
"""

from pipeline.report.appendix_page import render_appendix
from pipeline.report.book import Book
from pipeline.report.cautions import cautions_html
from pipeline.report.display import Column, see
from pipeline.report.export import ReportError, export_report
from pipeline.report.index_page import render_index
from pipeline.report.page import ReportLink

__all__ = ["Book", "Column", "ReportError", "ReportLink", "cautions_html", "export_report", "render_appendix", "render_index", "see"]
