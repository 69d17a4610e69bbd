"""Any chart in words, as a table and as a file, whatever its kind."""

import csv
import io

from audit.charts import plot_words, words
from audit.charts.plots import Plot
from audit.charts.spec import Chart
from audit.charts.words import Table
from clinic.spreadsheet import safe_cell

AnyChart = Chart | Plot


def alt_text(chart: AnyChart) -> str:
    """The chart as one sentence."""
    return words.alt_text(chart) if isinstance(chart, Chart) else plot_words.alt_text(chart)


def table(chart: AnyChart) -> Table:
    """The numbers drawn, as header and rows of text."""
    return words.table(chart) if isinstance(chart, Chart) else plot_words.table(chart)


def csv_text(chart: AnyChart) -> str:
    """The numbers drawn, for another program; text that no spreadsheet runs."""
    if isinstance(chart, Chart):
        return words.csv_text(chart)
    header, rows = plot_words.csv_rows(chart)
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n", quoting=csv.QUOTE_NONNUMERIC)
    writer.writerow(header)
    for row in rows:
        writer.writerow([safe_cell(cell) if isinstance(cell, str) else cell for cell in row])
    return file.getvalue()
