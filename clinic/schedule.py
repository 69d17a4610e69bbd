"""When reviews fall due, from the date of operation and a schedule alone. Status is never stored."""

import calendar
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import Any

from clinic.vocabulary.schedule import Item, ReviewCode, ReviewMode
from clinic.vocabulary.sources import COMMON_PRACTICE
from clinic.vocabulary.terms import Source, term_of


@dataclass(frozen=True)
class ReviewPoint:
    """One row of the review schedule. Days count from the operation, which is day 0.

    target_months: calendar months, clipped to the end of the month; otherwise target_day is used.
    opens_day, closes_day: both belong to the window. minimum: codes of Item that a review must answer to count as done.
    """

    code: str
    name: str
    target_day: int
    opens_day: int
    closes_day: int
    target_months: int | None = None
    source: Source = COMMON_PRACTICE
    mode: ReviewMode = ReviewMode.ANY
    minimum: tuple[str, ...] = ()

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


Schedule = tuple[ReviewPoint, ...]
HEALS, GROWS = (Item.HEALING.value, Item.SIGNS.value), (Item.REGROWTH.value, Item.SYMPTOMS.value)
ANY, PREFERRED = ReviewMode.ANY, ReviewMode.PREFERRED
FIRST_REDRESS = ReviewPoint("first_redress", "First redress", 4, 1, 10, mode=ReviewMode.IN_PERSON, minimum=HEALS)
SIX_WEEKS = ReviewPoint("six_weeks", "6-week review", 42, 35, 56, mode=ANY, minimum=HEALS)
SIX_MONTHS = ReviewPoint("six_months", "6-month review", 182, 150, 240, 6, mode=PREFERRED, minimum=GROWS)
TWELVE_MONTHS = ReviewPoint("twelve_months", "12-month review", 365, 335, 425, 12, mode=PREFERRED, minimum=GROWS)

# The shipped schedule, for every technique that the practice has made none for.
SCHEDULE: Schedule = (FIRST_REDRESS, SIX_WEEKS, SIX_MONTHS, TWELVE_MONTHS)
COMMON = "common"


class Due(StrEnum):
    """Where a review point stands on a given day."""

    LATER = "later"
    DUE = "due"
    OVERDUE = "overdue"
    DONE = "done"
    MISSED = "missed"

    @property
    def is_open(self) -> bool:
        """Still to come, or to be caught up with."""
        return self in {Due.LATER, Due.DUE, Due.OVERDUE}


@dataclass(frozen=True)
class Seen:
    """One review that counts, as the schedule reads it. lacks: codes of Item that it left unanswered."""

    day: int
    lacks: frozenset[str] = frozenset()

    def answers(self, point: ReviewPoint) -> bool:
        """Whether it lies in the window and brings what the point asks for."""
        return point.contains(self.day) and not self.lacks & set(point.minimum)


def add_months(start: date, months: int) -> date:
    """`start` plus calendar months, clipped to the month's last day (31 Aug + 6 months = 28 or 29 Feb)."""
    index = start.year * 12 + start.month - 1 + months
    year, month = divmod(index, 12)
    return date(year, month + 1, min(start.day, calendar.monthrange(year, month + 1)[1]))


def point_of(day: int, schedule: Schedule = SCHEDULE) -> ReviewPoint | None:
    """The scheduled point whose window contains `day`; None for an extra review."""
    inside = [point for point in schedule if point.contains(day)]
    return min(inside, key=lambda point: abs(point.target_day - day), default=None)


def seen_on_days(days: Iterable[int]) -> list[Seen]:
    """Reviews of which nothing more is known than their day, taken as complete."""
    return [Seen(day) for day in days]


def state_of(point: ReviewPoint, *, performed_on: date, seen: Collection[Seen], today: date) -> Due:
    """Derived from dates: done, later, due (window open), overdue (past target and open), missed (window closed)."""
    if any(review.answers(point) for review in seen):
        return Due.DONE
    day = (today - performed_on).days
    if day < point.opens_day:
        return Due.LATER
    if day > point.closes_day:
        return Due.MISSED
    return Due.OVERDUE if today > point.target_on(performed_on) else Due.DUE


def next_point(
    *, performed_on: date, seen: Collection[Seen], today: date, clinic_ended: bool = False,
    schedule: Schedule = SCHEDULE,
) -> ReviewPoint | None:  # fmt: skip
    """The first point neither done nor past its window; with clinic reviews ended, only the 12-month contact."""
    for point in schedule:
        if clinic_ended and point.code != TWELVE_MONTHS.code:
            continue
        if state_of(point, performed_on=performed_on, seen=seen, today=today).is_open:
            return point
    return None


def twelve_months_of(schedule: Schedule) -> ReviewPoint:
    """The contact that the audit asks for; every schedule has one."""
    return next((point for point in schedule if point.code == TWELVE_MONTHS.code), TWELVE_MONTHS)


# --- schedules as they are stored: lists of plain rows, by technique


def as_rows(schedule: Schedule) -> list[dict[str, Any]]:
    return [
        {
            "code": point.code, "name": point.name, "target_day": point.target_day,
            "target_months": point.target_months, "opens_day": point.opens_day, "closes_day": point.closes_day,
            "mode": point.mode.value, "minimum": list(point.minimum),
        }
        for point in schedule
    ]  # fmt: skip


def from_rows(rows: Iterable[Mapping[str, Any]]) -> Schedule:
    """The schedule of stored rows. Raises KeyError or ValueError for what no form of ours wrote."""
    return tuple(
        ReviewPoint(
            code=term_of(ReviewCode, row["code"]).value, name=row["name"], target_day=row["target_day"],
            opens_day=row["opens_day"], closes_day=row["closes_day"], target_months=row["target_months"],
            mode=term_of(ReviewMode, row["mode"]), minimum=tuple(term_of(Item, code).value for code in row["minimum"]),
        )
        for row in rows
    )  # fmt: skip


def in_force(templates: Mapping[str, Any], technique: str) -> Schedule:
    """The practice's schedule for a technique: its own, else the practice's common one, else the shipped one."""
    rows = templates.get(technique) or templates.get(COMMON)
    return from_rows(rows) if rows else SCHEDULE


def for_techniques(templates: Mapping[str, Any], techniques: Iterable[str]) -> Schedule:
    """Of toes operated on in different ways, the schedule with the most reviews goes for all; of equals, the later."""
    found = [in_force(templates, technique) for technique in sorted(set(techniques))]
    return max(found, key=lambda each: (len(each), each[-1].closes_day), default=in_force(templates, COMMON))


def schedule_of(operation: Any, practice: Any) -> Schedule:
    """What was planned on signing; before that, what is in force for the techniques.

    operation: with `planned` and nail_procedures fetched. practice: with `follow_up` fetched.
    """
    plan = getattr(operation, "planned", None)
    if plan is not None:
        return from_rows(plan.rows)
    settings = getattr(practice, "follow_up", None)
    if settings is None or not settings.templates:
        return SCHEDULE
    return for_techniques(settings.templates, (nail.technique for nail in operation.nail_procedures.all()))
