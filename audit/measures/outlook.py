"""What will be lost if nothing more is seen, and what seeing it would be worth. Knows no Django.

Everything is counted as it will stand on the day when the last of the open windows has closed, with only what is on
record today: whoever is not known by then is lost.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import pandas as pd

from audit.measures.columns import Cohort
from audit.measures.definitions import TWELVE_MONTHS, Outcome, Status, Unit
from audit.measures.outcomes import unit_frame
from audit.measures.strata import Count, count, headline_units
from audit.stats.proportion import score_limits

YEAR = timedelta(days=365)
KNOWN = [Status.EVENT.value, Status.CLEAR.value]


@dataclass(frozen=True)
class Missing:
    """One side that will be lost. closes_on: the last day of its window."""

    side_key: str
    toe_key: str
    performed_on: date
    closes_on: date


@dataclass(frozen=True)
class Width:
    """An interval on the proportion scale, 0 to 1."""

    low: float
    high: float

    @property
    def points(self) -> float:
        """How wide it is, 0 to 1."""
        return self.high - self.low


@dataclass(frozen=True)
class Outlook:
    """Per treated side with a window that is open today.

    open_sides: how many; counted apart (death, re-operation, amputation) are in none of the numbers. known: of these.
    missing: the others, the window that closes first on top; this_month: those of them whose window closes by the end
    of the month. open_now: the same sides as a count with bounds. year: together with those whose window closed within
    the last 365 days, matricectomy only, if nothing more is seen. bounds, bounds_if_seen: from the best to the worst
    case of that year as it would stand, and if every missing side were seen; None where nobody is eligible.
    interval, interval_if_seen: the 95 % interval, and that with every missing side seen and the share of events as it
    is; None where too few are known for a rate.
    """

    today: date
    month_ends_on: date
    open_sides: int
    known: int
    missing: tuple[Missing, ...]
    this_month: tuple[Missing, ...]
    open_now: Count
    year: Count
    bounds: Width | None
    bounds_if_seen: Width | None
    interval: Width | None
    interval_if_seen: Width | None

    @property
    def completeness(self) -> float | None:
        """Share known of the sides whose window is open, 0 to 1; None where none is."""
        return self.known / self.open_sides if self.open_sides else None


def first_day(today: date) -> date:
    """The earliest operation that is looked at: its window closed 365 days ago."""
    return today - timedelta(days=TWELVE_MONTHS.closes_day) - YEAR


def last_day(today: date) -> date:
    """The latest: its window opens today."""
    return today - timedelta(days=TWELVE_MONTHS.opens_day)


def horizon(today: date) -> date:
    """When the last of the windows that are open today has closed."""
    return last_day(today) + timedelta(days=TWELVE_MONTHS.closes_day)


def outlook(cohort: Cohort, outcome: Outcome, today: date) -> Outlook:
    """How follow-up at 12 months stands today and will stand if nothing more is seen.

    cohort: operations from `first_day` to `last_day`, as of `horizon`; frames as declared in `columns`.
    ValueError if the cohort is of another day, since then a side that can still be seen would be called lost.
    """
    if cohort.as_of != horizon(today):
        raise ValueError(f"cohort must be as of {horizon(today)}, not {cohort.as_of}")
    units = unit_frame(cohort, outcome, Unit.SIDE).merge(
        cohort.sides[["side_key", "toe_key", "performed_on"]], left_on="unit_key", right_on="side_key"
    )
    opened = pd.Timestamp(today - timedelta(days=TWELVE_MONTHS.closes_day))
    counted = units[units["status"].isin([*KNOWN, Status.LOST.value])]
    open_units = counted[counted["performed_on"] >= opened]
    missing = tuple(_missing(open_units[open_units["status"] == Status.LOST.value]))
    ends_on = month_end(today)
    year = count(headline_units(units), code="year", label="All matricectomies")
    treated = open_units[open_units["matricectomy"]]
    seen = int((treated["status"] == Status.LOST.value).sum())
    return Outlook(
        today=today, month_ends_on=ends_on, open_sides=len(open_units),
        known=int(open_units["status"].isin(KNOWN).sum()), missing=missing,
        this_month=tuple(side for side in missing if side.closes_on <= ends_on),
        open_now=count(treated, code="open", label="Windows open now"), year=year,
        bounds=_bounds(year, 0), bounds_if_seen=_bounds(year, seen),
        interval=_interval(year, 0), interval_if_seen=_interval(year, seen),
    )  # fmt: skip


def month_end(today: date) -> date:
    """The last day of the month that `today` lies in."""
    following = today.replace(day=28) + timedelta(days=4)
    return following - timedelta(days=following.day)


def _missing(units: pd.DataFrame) -> list[Missing]:
    rows = units.sort_values(["performed_on", "unit_key"]).to_dict("records")
    days = timedelta(days=TWELVE_MONTHS.closes_day)
    return [
        Missing(row["side_key"], row["toe_key"], row["performed_on"].date(), row["performed_on"].date() + days)
        for row in rows
    ]


def _bounds(found: Count, seen: int) -> Width | None:
    """From the best case to the worst, `seen` of the lost being known and without an event.

    What they would turn out to be moves both ends alike; the width is (lost - seen) / eligible whatever it is.
    """
    if not found.eligible:
        return None
    return Width(found.events / found.eligible, (found.events + found.lost - seen) / found.eligible)


def _interval(found: Count, seen: int) -> Width | None:
    """Wilson on the effective size, with `seen` more known at the same share of events."""
    if found.interval is None or found.interval.rate is None:
        return None
    size = (found.ascertained + seen) / max(1.0, found.interval.design_effect or 1.0)
    return Width(*score_limits(found.interval.rate * size, size))
