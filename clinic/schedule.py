"""When reviews fall due, from the date of operation alone. Status is never stored."""

import calendar
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from clinic.vocabulary.sources import COMMON_PRACTICE
from clinic.vocabulary.terms import Source


@dataclass(frozen=True)
class ReviewPoint:
    """One row of the review schedule. Days count from the operation, which is day 0.

    target_months: calendar months, clipped to the end of the month; otherwise target_day is used.
    opens_day, closes_day: both belong to the window.
    """

    code: str
    name: str
    target_day: int
    opens_day: int
    closes_day: int
    target_months: int | None = None
    source: Source = COMMON_PRACTICE

    def target_on(self, performed_on: date) -> date:
        if self.target_months is None:
            return performed_on + timedelta(days=self.target_day)
        return add_months(performed_on, self.target_months)

    def opens_on(self, performed_on: date) -> date:
        return performed_on + timedelta(days=self.opens_day)

    def closes_on(self, performed_on: date) -> date:
        return performed_on + timedelta(days=self.closes_day)

    def contains(self, day: int) -> bool:
        return self.opens_day <= day <= self.closes_day


FIRST_REDRESS = ReviewPoint("first_redress", "First redress", 4, 1, 10)
SIX_WEEKS = ReviewPoint("six_weeks", "6-week review", 42, 35, 56)
SIX_MONTHS = ReviewPoint("six_months", "6-month review", 182, 150, 240, target_months=6)
TWELVE_MONTHS = ReviewPoint("twelve_months", "12-month review", 365, 335, 425, target_months=12)

SCHEDULE = (FIRST_REDRESS, SIX_WEEKS, SIX_MONTHS, TWELVE_MONTHS)


class Due(StrEnum):
    """Where a review point stands on a given day."""

    LATER = "later"
    DUE = "due"
    OVERDUE = "overdue"
    DONE = "done"
    MISSED = "missed"


def add_months(start: date, months: int) -> date:
    """`start` plus calendar months, clipped to the month's last day (31 Aug + 6 months = 28 or 29 Feb)."""
    index = start.year * 12 + start.month - 1 + months
    year, month = divmod(index, 12)
    return date(year, month + 1, min(start.day, calendar.monthrange(year, month + 1)[1]))


def point_of(day: int) -> ReviewPoint | None:
    """The scheduled point whose window contains `day`; None for an extra review."""
    inside = [point for point in SCHEDULE if point.contains(day)]
    return min(inside, key=lambda point: abs(point.target_day - day), default=None)


def state_of(point: ReviewPoint, *, performed_on: date, seen_days: list[int], today: date) -> Due:
    """Derived from dates: done, later, due (window open), overdue (past target and open), missed (window closed)."""
    if any(point.contains(day) for day in seen_days):
        return Due.DONE
    day = (today - performed_on).days
    if day < point.opens_day:
        return Due.LATER
    if day > point.closes_day:
        return Due.MISSED
    return Due.OVERDUE if today > point.target_on(performed_on) else Due.DUE


def next_point(
    *, performed_on: date, seen_days: list[int], today: date, clinic_ended: bool = False
) -> ReviewPoint | None:
    """The first point neither done nor past its window; with clinic reviews ended, only the 12-month contact."""
    open_states = {Due.LATER, Due.DUE, Due.OVERDUE}
    for point in (TWELVE_MONTHS,) if clinic_ended else SCHEDULE:
        if state_of(point, performed_on=performed_on, seen_days=seen_days, today=today) in open_states:
            return point
    return None
