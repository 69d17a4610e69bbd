"""The practice's own figures beside the same figures from the file: which are intact, and what the others lost.

Knows no Django.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import pandas as pd

from audit.charts.words import limits, percent
from audit.exchange.protect import Protected
from audit.exchange.units import toes_of, units_of
from audit.measures.definitions import Outcome, Unit
from audit.measures.infection import Flag
from audit.measures.outcomes import unit_frame
from audit.measures.strata import (
    Count,
    by_exposure,
    by_lavage,
    by_side,
    by_technique,
    count,
    headline_units,
    without_matricectomy,
)
from audit.report.yearly import Yearly

DAYS_ARE_LIMITS = "days since operation are told as limits, so the estimated risk is a little wider"


@dataclass(frozen=True)
class Figure:
    """One figure twice. own, file: events, known, eligible and the interval, in words. lost: why they differ."""

    table: str
    label: str
    own: str
    file: str
    lost: str = ""

    @property
    def intact(self) -> bool:
        return self.own == self.file


@dataclass(frozen=True)
class RoundTrip:
    """figures: every one of the report that can be counted from rows. width, width_file: of the headline's interval,
    0 to 1; None where none is shown. estimated: what became of the estimated risk."""

    figures: tuple[Figure, ...]
    width: float | None
    width_file: float | None
    estimated: str = DAYS_ARE_LIMITS

    @property
    def intact(self) -> tuple[Figure, ...]:
        return tuple(figure for figure in self.figures if figure.intact)

    @property
    def changed(self) -> tuple[Figure, ...]:
        return tuple(figure for figure in self.figures if not figure.intact)


def round_trip(yearly: Yearly, protected: Protected, rows: pd.DataFrame) -> RoundTrip:
    """Counts the rows of a file as their receiver does, and lays them beside the report.

    yearly: of the same audit. rows: as they leave.
    """
    mine = units_of(rows, yearly.outcome, yearly.unit)
    own = count(headline_units(unit_frame(yearly.cohort, yearly.outcome, yearly.unit)), code="headline",
                label="All matricectomies")  # fmt: skip
    theirs = count(headline_units(mine), code="headline", label="All matricectomies")
    figures = [
        _figure(table, label, first, second, _lost(table, protected, yearly.unit))
        for table, label, first, second in _pairs(yearly, mine, own, theirs)
    ]
    figures += [
        _flag(flag.flag, flag.events, flag.total, rows, _lost("infection", protected, Unit.TOE))
        for flag in yearly.infection.flags
    ]
    return RoundTrip(tuple(figures), _width(own), _width(theirs))


def _pairs(yearly: Yearly, mine: pd.DataFrame, own: Count, theirs: Count) -> Iterator[tuple[str, str, Count, Count]]:
    yield "headline", own.label, own, theirs
    plain = without_matricectomy(mine, yearly.outcome)
    if yearly.outcome is not Outcome.ANY_REGROWTH:
        yield "headline", plain.label, yearly.no_matricectomy, plain
    again = {
        "technique": by_technique(mine, yearly.outcome),
        "exposure": by_exposure(mine, yearly.cohort.bands),
        "side": by_side(mine),
        "lavage": by_lavage(mine),
    }
    for table in (yearly.technique, yearly.exposure, yearly.side, yearly.lavage):
        found = {row.code: row for row in again[table.code]}
        for row in table.rows:
            if row.eligible or row.code in found:
                empty = count(mine.iloc[0:0], code=row.code, label=row.label)
                yield table.code, row.label, row, found.get(row.code, empty)


def _figure(table: str, label: str, own: Count, file: Count, lost: str) -> Figure:
    first, second = _words(own), _words(file)
    return Figure(table, label, first, second, "" if first == second else lost)


def _words(found: Count) -> str:
    text = f"{found.events} of {found.ascertained} known, {found.eligible} eligible"
    interval = found.interval
    if interval is None or interval.rate is None or interval.low is None or interval.high is None:
        return text
    return f"{text}, {percent(interval.rate)} ({limits(interval.low, interval.high)} %)"


def _flag(flag: Flag, events: int, total: int, rows: pd.DataFrame, lost: str) -> Figure:
    toes = toes_of(rows)
    own, file = f"{events} of {total}", f"{int(toes[flag.value].sum())} of {len(toes)}"
    return Figure("infection", flag.label, own, file, "" if own == file else lost)


def _lost(table: str, protected: Protected, unit: Unit) -> str:
    """What protection did that can change the figures of a table."""
    found = []
    if protected.left_out_rows:
        found.append("rows left out")
    if protected.cut_patients:
        found.append("patients under several codes" if unit is Unit.PATIENT else
                     "patients under several codes, so the interval is counted on more patients")  # fmt: skip
    edges = sum(step.rows for step in protected.widened if step.column == "pattern")
    if table == "side" and edges:
        found.append("sides widened to an edge")
    if table in {"technique", "exposure", "lavage"} and (protected.agents.merged or protected.told.agent_rows):
        found.append("agents not named")
    if table == "exposure" and protected.told.exposure_rows:
        found.append("time of exposure withheld")
    return "; ".join(found) or "protection"


def _width(found: Count) -> float | None:
    interval = found.interval
    return None if interval is None or interval.low is None or interval.high is None else interval.high - interval.low
