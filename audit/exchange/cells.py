"""The rows of a received set, cell by cell against the columns of the format. Knows no Django.

The format never needs a quotation mark, a blank or a letter beyond ASCII, so none is taken: look-alike letters,
formulas, line breaks within cells and tricks with encodings all end here.
"""

import re
from collections.abc import Iterator

import pandas as pd

from audit.exchange.columns import DAY_LIMITS, FIELDS, FILE, NAMES, Field, Holds
from audit.exchange.problems import MOST_LISTED, Problem, Refused, said

# Far more than a practice does in ten years; so many are read within a few seconds.
MOST_ROWS = 20_000
LONGEST_LINE = 4000
_FORMULA = ("=", "+", "-", "@", "\t")
_WHOLE = re.compile(r"0|[1-9][0-9]{0,5}")
_NUMBER = re.compile(r"(?:0|[1-9][0-9]{0,2})\.[0-9]")
_DAYS = {str(limit) for limit in DAY_LIMITS}


def read_rows(data: bytes) -> pd.DataFrame:
    """The rows as text; raises Refused with every wrong cell, the first MOST_LISTED of them in full."""
    lines = _lines(data)
    header = lines[0].split(",")
    _check_header(header)
    if len(lines) == 1:
        raise Refused([Problem(FILE, "has a header and no rows")])
    if len(lines) - 1 > MOST_ROWS:
        raise Refused([Problem(FILE, f"has {len(lines) - 1} rows; at most {MOST_ROWS} are taken")])
    cells = [line.split(",") for line in lines[1:]]
    uneven = [
        Problem(FILE, f"has {len(row)} cells; {len(NAMES)} are needed", place)
        for place, row in enumerate(cells, start=2) if len(row) != len(NAMES)
    ]  # fmt: skip
    if uneven:
        raise Refused(uneven, len(uneven))
    rows = pd.DataFrame(cells, columns=list(NAMES), dtype=object)
    _check_cells(rows)
    return rows


def _lines(data: bytes) -> list[str]:
    if data.startswith((b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")):
        raise Refused([Problem(FILE, "begins with a byte order mark; the format is UTF-8 without one")])
    if not data:
        raise Refused([Problem(FILE, "is empty")])
    for place, line in enumerate(data.split(b"\n"), start=1):
        if reason := _wrong_line(line):
            raise Refused([Problem(FILE, reason, place)])
    if not data.endswith(b"\n"):
        raise Refused([Problem(FILE, "ends in the middle of a row", data.count(b"\n") + 1)])
    return data.decode("ascii").removesuffix("\n").split("\n")


def _wrong_line(line: bytes) -> str:
    if len(line) > LONGEST_LINE:
        return f"is longer than {LONGEST_LINE} bytes"
    if b"\x00" in line:
        return "holds a NUL"
    if b"\r" in line:
        return "holds a carriage return; lines end with a line feed alone"
    if b'"' in line:
        return "holds a quotation mark; no value of this format needs one"
    if not line.isascii():
        return "holds a letter that no code of this format has; look-alike letters are not taken"
    return ""


def _check_header(header: list[str]) -> None:
    if header == list(NAMES):
        return
    unknown = [name for name in header if name not in NAMES]
    missing = [name for name in NAMES if name not in header]
    twice = sorted({name for name in header if header.count(name) > 1})
    problems = [Problem(FILE, f"{said(name)} is not a column of this format", 1) for name in unknown]
    problems += [Problem(FILE, "is missing", 1, name) for name in missing]
    problems += [Problem(FILE, "stands there twice", 1, name) for name in twice]
    raise Refused(problems or [Problem(FILE, "the columns stand in another order", 1)])


def _check_cells(rows: pd.DataFrame) -> None:
    """Each distinct value of a column is judged once; a set has few of them."""
    problems: list[Problem] = []
    total = 0
    for field in FIELDS:
        values = rows[field.name]
        reasons = {value: reason for value in values.unique() if (reason := wrong_cell(field, value))}
        if not reasons:
            continue
        wrong = values[values.isin(list(reasons))]
        total += len(wrong)
        problems += [
            Problem(FILE, reasons[value], int(place) + 2, field.name)
            for place, value in wrong.head(MOST_LISTED).items()
        ]
    if problems:
        problems.sort(key=lambda one: (one.row or 0, NAMES.index(one.column)))
        raise Refused(problems, total)


def wrong_cell(field: Field, value: str) -> str:
    """Why a cell cannot stand in this column; empty where it can."""
    if value == "":
        return "" if field.blank else "is empty"
    if value != value.strip():
        return f"{said(value)} has a blank before or after it"
    if value.startswith(_FORMULA):
        return f"{said(value)} begins like a formula"
    return next(_wrong_kind(field, value), "")


def _wrong_kind(field: Field, value: str) -> Iterator[str]:
    if field.holds is Holds.CODE and value not in field.codes:
        yield f"{said(value)} is not a code of this column"
    if field.holds is Holds.PATTERN and not re.fullmatch(field.pattern, value):
        yield f"{said(value)} does not look like a value of this column"
    if field.holds is Holds.DAY and value not in _DAYS:
        yield f"{said(value)} is not one of the limits of days"
    if field.holds in {Holds.WHOLE, Holds.NUMBER}:
        pattern, kind = (_WHOLE, "a whole number") if field.holds is Holds.WHOLE else (_NUMBER, "a number like 89.0")
        unit = {"s": " of seconds", "%": " of per cent"}.get(field.unit, "")
        if not pattern.fullmatch(value):
            yield f"{said(value)} is not {kind}{unit}"
        elif field.low is not None and field.high is not None and not field.low <= float(value) <= field.high:
            yield f"{value} is not from {field.low:g} to {field.high:g}"
