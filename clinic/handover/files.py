"""The tables as files: a zip of CSV, or one workbook. Text that a spreadsheet would run is made harmless."""

import csv
import io
import zipfile
from collections.abc import Iterable
from typing import Any

from clinic.handover.tables import Sheet
from clinic.spreadsheet import safe_cell

README = (
    "All records of one practice, with names: for its own lawful use. Not anonymised; not for peer review.\n"
    "Columns that end in a name of another table hold the key of a row there. Days and instants are ISO 8601, "
    "instants in UTC; numbers have a decimal point; an empty cell means that nothing was recorded.\n"
    "A text that begins like a formula carries an apostrophe before it.\n"
)


def csv_zip(sheets: Iterable[Sheet]) -> tuple[bytes, int]:
    """One CSV a table; gives the bytes and how many rows they hold."""
    target, total = io.BytesIO(), 0
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("README.txt", README)
        for sheet in sheets:
            text = io.StringIO()
            writer = csv.writer(text, lineterminator="\n", quoting=csv.QUOTE_NONNUMERIC)
            writer.writerow(sheet.columns)
            writer.writerows(map(cells, sheet.rows))
            archive.writestr(f"{sheet.name}.csv", text.getvalue())
            total += len(sheet.rows)
    return target.getvalue(), total


def workbook(sheets: Iterable[Sheet]) -> tuple[bytes, int]:
    """One sheet a table; gives the bytes and how many rows they hold."""
    from openpyxl import Workbook
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    book, total = Workbook(write_only=True), 0
    book.properties.creator = ""
    for sheet in sheets:
        page = book.create_sheet(sheet.name)
        page.append(list(sheet.columns))
        for row in sheet.rows:
            page.append([
                ILLEGAL_CHARACTERS_RE.sub("", cell) if isinstance(cell, str) else cell for cell in cells(row)
            ])  # fmt: skip
        total += len(sheet.rows)
    target = io.BytesIO()
    book.save(target)
    return target.getvalue(), total


def cells(row: tuple[Any, ...]) -> list[Any]:
    return [safe_cell(value) if isinstance(value, str) else value for value in row]
