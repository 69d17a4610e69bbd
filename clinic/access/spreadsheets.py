"""CSV for people who open it in a spreadsheet: text that would run as a formula is shown as text."""

import csv
from collections.abc import Iterable
from io import StringIO

# What spreadsheets take as the beginning of a formula; the wide forms are read as the plain ones.
BEGINS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def harmless(value: object) -> str:
    """The text of a cell; an apostrophe in front keeps a spreadsheet from calculating it."""
    text = "" if value is None else str(value)
    return f"'{text}" if text.lstrip(" ").startswith(BEGINS_A_FORMULA) else text


def csv_bytes(head: Iterable[str], rows: Iterable[Iterable[object]]) -> bytes:
    """UTF-8 with the mark by which spreadsheets know it; lines end as RFC 4180 says."""
    target = StringIO()
    writer = csv.writer(target)
    writer.writerow(head)
    writer.writerows([harmless(value) for value in row] for row in rows)
    return target.getvalue().encode("utf-8-sig")
