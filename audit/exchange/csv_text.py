"""CSV as it leaves: UTF-8, line feeds, a header, nothing that a spreadsheet takes for a formula. Knows no Django."""

import csv
import io
from collections.abc import Iterable, Sequence

from clinic.spreadsheet import safe_cell


def to_csv(header: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """The rows as bytes; the same rows give the same bytes."""
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(header)
    for row in rows:
        writer.writerow([safe_cell(cell) if isinstance(cell, str) else cell for cell in row])
    return file.getvalue().encode()
