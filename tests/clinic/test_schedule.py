"""Dates of the review schedule. Month arithmetic: worked cases, common practice, no source."""

from datetime import date
from itertools import pairwise

import pytest

from clinic.schedule import (
    SCHEDULE,
    SIX_MONTHS,
    SIX_WEEKS,
    TWELVE_MONTHS,
    Due,
    add_months,
    next_point,
    point_of,
    seen_on_days,
    state_of,
)


@pytest.mark.parametrize(
    ("start", "months", "expected"),
    [
        (date(2025, 1, 31), 12, date(2026, 1, 31)),
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2025, 8, 31), 6, date(2026, 2, 28)),
        (date(2023, 8, 31), 6, date(2024, 2, 29)),
        (date(2025, 12, 15), 1, date(2026, 1, 15)),
    ],
)
def test_months_are_clipped_to_the_end_of_the_month(start, months, expected):
    assert add_months(start, months) == expected


WINDOW_EDGES = {
    0: None,
    1: "first_redress",
    34: None,
    35: "six_weeks",
    56: "six_weeks",
    57: None,
    150: "six_months",
    334: None,
    335: "twelve_months",
    425: "twelve_months",
    426: None,
}


@pytest.mark.parametrize(("day", "code"), WINDOW_EDGES.items())
def test_a_day_belongs_to_the_window_that_contains_it(day, code):
    point = point_of(day)

    assert (point.code if point else None) == code


def test_windows_never_overlap():
    for earlier, later in pairwise(SCHEDULE):
        assert earlier.closes_day < later.opens_day


def test_state_follows_from_dates_alone():
    operated = date(2026, 1, 10)

    def state(today, seen=()):
        return state_of(SIX_WEEKS, performed_on=operated, seen=seen_on_days(seen), today=today)

    assert state(date(2026, 2, 13)) == Due.LATER
    assert state(date(2026, 2, 14)) == Due.DUE
    assert state(date(2026, 2, 21)) == Due.DUE
    assert state(date(2026, 2, 22)) == Due.OVERDUE
    assert state(date(2026, 3, 8)) == Due.MISSED
    assert state(date(2026, 3, 8), seen=[40]) == Due.DONE


def test_the_next_point_skips_what_is_done_or_missed():
    operated = date(2026, 1, 10)

    assert next_point(performed_on=operated, seen=seen_on_days([3]), today=date(2026, 1, 14)) == SIX_WEEKS
    assert next_point(performed_on=operated, seen=seen_on_days([3]), today=date(2026, 4, 1)) == SIX_MONTHS
    assert next_point(performed_on=operated, seen=[], today=date(2027, 1, 12)) == TWELVE_MONTHS
    assert next_point(performed_on=operated, seen=[], today=date(2028, 1, 12)) is None
