"""A chart in words, as a table and as a file. The only place that turns a proportion into a percentage."""

import csv
import io
from collections.abc import Callable
from typing import NamedTuple

from audit.charts.spec import Chart, IntervalRow, Kind
from clinic.spreadsheet import safe_cell

NO_CASES = "no cases"
NO_RATE = "no rate shown"
FEW = "few cases"


class Table(NamedTuple):
    """The numbers of a chart as text, one tuple per row."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def percent(rate: float) -> str:
    """A proportion, 0 to 1, as a percentage with its sign: 0.05 gives "5.0 %", 0.0066 "0.66 %", none at all "0 %"."""
    return f"{_printed(rate)} %"


def standard_text(rate: float) -> str:
    """A standard is set, not measured, so it shows no decimal it was not given: "5 %", "7.5 %"."""
    return f"{_number(rate, 1).removesuffix('.0')} %"


def limits(low: float, high: float) -> str:
    """Both ends of an interval of proportions, without a sign: "2.0 to 12.2"."""
    return f"{_printed(low)} to {_printed(high)}"


def counted(row: IntervalRow) -> str:
    """The numerator and denominator of one group: "4 of 80"."""
    return f"{row.events} of {row.total}"


def missing(row: IntervalRow) -> str:
    """Why a group has no rate."""
    return NO_RATE if row.total else NO_CASES


def remark(row: IntervalRow) -> str:
    """What a reader must know about a group: its note, or that a hollow dot stands for few cases."""
    return row.note or (FEW if row.hollow else "")


def alt_text(chart: Chart) -> str:
    """The whole chart as one sentence for somebody who cannot see it; same numbers, same order."""
    return WORDS[chart.kind](chart)


def table(chart: Chart) -> Table:
    """The numbers drawn, as header and rows of text."""
    header = ("Group", "Events", "Total", "Rate", "Interval", "Note")
    return Table(header, tuple(_table_row(row) for row in chart.rows))


def csv_text(chart: Chart) -> str:
    """The numbers drawn, for another program: proportions from 0 to 1 unrounded, decimal points, line feeds.

    Text is neutralised: a cell that a spreadsheet would take for a formula begins with an apostrophe.
    """
    file = io.StringIO()
    # All text in quotes: otherwise a bare carriage return within a cell would begin a new row.
    writer = csv.writer(file, lineterminator="\n", quoting=csv.QUOTE_NONNUMERIC)
    writer.writerow(("group", "events", "total", "rate", "low", "high", "few", "note", "standard"))
    for row in chart.rows:
        numbers = (_plain(value) for value in (row.rate, row.low, row.high))
        few = "yes" if row.hollow else "no"
        group, note = safe_cell(row.label), safe_cell(row.note)
        writer.writerow((group, row.events, row.total, *numbers, few, note, _plain(chart.standard)))
    return file.getvalue()


def _intervals(chart: Chart) -> str:
    parts = [_row_words(row) for row in chart.rows] or [NO_CASES]
    if chart.standard is not None:
        parts.append(f"standard {standard_text(chart.standard)}")
    return f"Interval chart of {chart.title}; {'; '.join(parts)}."


def _row_words(row: IntervalRow) -> str:
    note = f", {remark(row)}" if remark(row) else ""
    return f"{row.label}: {_row_numbers(row)}{note}"


def _row_numbers(row: IntervalRow) -> str:
    if row.rate is None or row.low is None or row.high is None:
        return f"{counted(row)}, {NO_RATE}" if row.total else NO_CASES
    return f"{counted(row)}, {percent(row.rate)} ({limits(row.low, row.high)} %)"


def _table_row(row: IntervalRow) -> tuple[str, ...]:
    group = (row.label, str(row.events), str(row.total))
    if row.rate is None or row.low is None or row.high is None:
        return (*group, missing(row), "", remark(row))
    return (*group, percent(row.rate), f"{limits(row.low, row.high)} %", remark(row))


def _printed(rate: float) -> str:
    """One decimal, two below 1 %: a rate of 0.4 % must not look like one of 0.36 or 0.44 %."""
    if abs(rate) < 1e-9:  # the arithmetic of a limit may leave a trace of zero
        return "0"
    return _number(rate, 2 if rate < 0.01 else 1)


def _number(rate: float, digits: int) -> str:
    """Adding zero after rounding turns a minus zero into zero."""
    return f"{round(rate * 100, digits) + 0.0:.{digits}f}"


def _plain(value: float | None) -> float | None:
    """An array's own number type would print its name; a plain float prints its value in full."""
    return None if value is None else float(value)


WORDS: dict[Kind, Callable[[Chart], str]] = {Kind.INTERVALS: _intervals}
