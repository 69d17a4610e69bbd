"""Which operations an audit looks at, and when their 12-month outcome is due for all of them."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from audit.measures.definitions import TWELVE_MONTHS
from clinic.access.models import Practice

EARLIEST = date(1900, 1, 1)


@dataclass(frozen=True)
class Period:
    """Operations performed from the first to the last day, both included."""

    performed_from: date
    performed_to: date


def audit_year(practice: Practice, starting_year: int) -> Period:
    """The practice's audit year that begins in `starting_year`."""
    month = practice.audit_year_starts_month
    return Period(date(starting_year, month, 1), date(starting_year + 1, month, 1) - timedelta(days=1))


def matured(period: Period, as_of: date) -> bool:
    """Whether even the last operation of the period has reached the closing day of the outcome window."""
    return period.performed_to <= as_of - timedelta(days=TWELVE_MONTHS.closes_day)


def last_matured_year(practice: Practice, today: date) -> Period:
    """The latest audit year whose outcomes are all due; an open year would flatter or frighten by chance."""
    year = today.year
    while not matured(audit_year(practice, year), today):
        year -= 1
    return audit_year(practice, year)


def problems(period: Period, *, as_of: date, today: date) -> Iterator[tuple[str, str]]:
    """What is wrong with the dates of a question: the field, and a sentence about it."""
    if period.performed_from < EARLIEST:
        yield "performed_from", f"The first day of surgery, {said(period.performed_from)}, is before 1900."
    if period.performed_to < period.performed_from:
        yield (
            "performed_to",
            f"The last day of surgery, {said(period.performed_to)}, is before the first, "
            f"{said(period.performed_from)}.",
        )
    if as_of > today:
        yield "as_of", f"The data date, {said(as_of)}, is in the future; the latest is today, {said(today)}."
    if as_of < period.performed_from:
        yield (
            "as_of",
            f"The data date, {said(as_of)}, is before the first day of surgery, {said(period.performed_from)}.",
        )


def said(day: date) -> str:
    """A date as people read it, the same on the page and in the command."""
    return f"{day.day} {day:%b %Y}"


def matures_on(period: Period) -> date:
    """The first day on which even the last operation has reached the end of its outcome window."""
    return period.performed_to + timedelta(days=TWELVE_MONTHS.closes_day)
