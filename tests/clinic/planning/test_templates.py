"""Schedules that cannot be used, calendar months, and what a change would move. Dates: worked by hand."""

from dataclasses import replace
from datetime import date

import pytest

from clinic.planning.templates import days_of_months, faults, moves_of
from clinic.schedule import (
    FIRST_REDRESS,
    SCHEDULE,
    SIX_MONTHS,
    SIX_WEEKS,
    TWELVE_MONTHS,
    Due,
    ReviewPoint,
    Seen,
    as_rows,
    for_techniques,
    from_rows,
    in_force,
    seen_on_days,
    state_of,
)

TWO_WEEKS = ReviewPoint("two_weeks", "2-week review", 14, 12, 20)


def with_point(*points: ReviewPoint) -> tuple[ReviewPoint, ...]:
    codes = {point.code for point in points}
    kept = [point for point in SCHEDULE if point.code not in codes]
    return tuple(sorted([*kept, *points], key=lambda point: point.opens_day))


def test_the_shipped_schedule_has_no_fault():
    assert faults(SCHEDULE) == []


@pytest.mark.parametrize(
    ("schedule", "sentence"),
    [
        (
            with_point(replace(TWO_WEEKS, opens_day=10, closes_day=18)),
            "The window of the 2-week review (10 to 18) overlaps the window of the First redress (1 to 10)",
        ),
        (
            with_point(replace(SIX_WEEKS, target_day=60)),
            "6-week review: the target (day 60) lies outside its window (35 to 56)",
        ),
        (
            with_point(replace(SIX_WEEKS, opens_day=56, closes_day=35)),
            "6-week review: the window closes (day 35) before it opens (day 56)",
        ),
        (
            with_point(replace(SIX_MONTHS, opens_day=182)),
            "6-month review: the target (day 181 to 184, by the calendar) lies outside its window (182 to 240)",
        ),
        (
            with_point(replace(TWELVE_MONTHS, opens_day=300)),
            "12-month review: the audit counts a look from day 335 to day 425; keep the window inside",
        ),
        ((FIRST_REDRESS, SIX_WEEKS), "The 12-month review must stay: the audit counts what is seen then"),
        (
            with_point(replace(FIRST_REDRESS, opens_day=0)),
            "First redress: the window must lie between day 1 and day 1200",
        ),
    ],
)
def test_each_impossible_schedule_has_a_sentence_of_its_own(schedule, sentence):
    assert sentence in faults(schedule)


def test_how_long_calendar_months_can_be():
    assert days_of_months(1) == (28, 31)
    assert days_of_months(6) == (181, 184)
    assert days_of_months(12) == (365, 366)


@pytest.mark.parametrize(
    ("operated", "six", "twelve"),
    [
        (date(2025, 8, 31), date(2026, 2, 28), date(2026, 8, 31)),
        (date(2023, 8, 31), date(2024, 2, 29), date(2024, 8, 31)),
        (date(2024, 2, 29), date(2024, 8, 29), date(2025, 2, 28)),
        (date(2025, 1, 31), date(2025, 7, 31), date(2026, 1, 31)),
    ],
)
def test_targets_of_months_end_at_the_end_of_the_month(operated, six, twelve):
    assert SIX_MONTHS.target_on(operated) == six
    assert TWELVE_MONTHS.target_on(operated) == twelve
    assert SIX_MONTHS.opens_on(operated) <= six <= SIX_MONTHS.closes_on(operated)


def test_an_operation_on_31_august_is_due_from_the_28th_of_february():
    operated = date(2025, 8, 31)

    def state(today):
        return state_of(SIX_MONTHS, performed_on=operated, seen=[], today=today)

    assert state(date(2026, 1, 27)) == Due.LATER
    assert state(date(2026, 1, 28)) == Due.DUE
    assert state(date(2026, 2, 28)) == Due.DUE
    assert state(date(2026, 3, 1)) == Due.OVERDUE
    assert state(date(2026, 4, 28)) == Due.OVERDUE
    assert state(date(2026, 4, 29)) == Due.MISSED


def test_a_review_that_leaves_the_minimum_open_does_not_count_as_done():
    operated, today = date(2026, 1, 10), date(2026, 2, 22)
    without = [Seen(40, frozenset({"healing"}))]

    assert state_of(SIX_WEEKS, performed_on=operated, seen=without, today=today) == Due.OVERDUE
    assert state_of(SIX_WEEKS, performed_on=operated, seen=[*without, Seen(41)], today=today) == Due.DONE
    asks_nothing = replace(SIX_WEEKS, minimum=())
    assert state_of(asks_nothing, performed_on=operated, seen=without, today=today) == Due.DONE


def test_stored_rows_come_back_as_they_were():
    assert from_rows(as_rows(SCHEDULE)) == SCHEDULE
    with pytest.raises(ValueError, match="no code of ReviewCode"):
        from_rows([as_rows(SCHEDULE)[0] | {"code": "never"}])


def test_a_technique_goes_before_the_common_schedule_and_that_before_the_shipped_one():
    short, own = (FIRST_REDRESS, TWELVE_MONTHS), (*with_point(TWO_WEEKS),)
    templates = {"common": as_rows(short), "tna_chemical": as_rows(own)}

    assert in_force({}, "pna_chemical") == SCHEDULE
    assert in_force(templates, "pna_chemical") == short
    assert in_force(templates, "tna_chemical") == own
    assert for_techniques(templates, ["pna_chemical", "tna_chemical"]) == own
    assert for_techniques(templates, []) == short


def moves(today, after, seen=()):
    return moves_of(
        performed_on=date(2026, 1, 10), seen=seen_on_days(seen), today=today, before=SCHEDULE, after=after
    )  # fmt: skip


def test_a_later_target_moves_a_review_that_is_still_open():
    after = with_point(replace(SIX_WEEKS, target_day=45))

    (move,) = moves(date(2026, 2, 1), after)

    assert (move.old_target, move.new_target) == (date(2026, 2, 21), date(2026, 2, 24))
    assert move.words == "moves"


def test_what_a_change_would_do_is_said_for_each_review():
    said = {}
    narrow = with_point(replace(SIX_WEEKS, target_day=37, opens_day=35, closes_day=40))
    said["overdue"] = moves(date(2026, 2, 19), narrow)  # day 40
    said["over"] = moves(date(2026, 2, 25), narrow)  # day 46
    said["done no more"] = moves(date(2026, 2, 25), narrow, seen=[44])
    said["joins"] = moves(date(2026, 1, 12), with_point(TWO_WEEKS))
    said["dropped"] = moves(date(2026, 2, 1), tuple(point for point in SCHEDULE if point != SIX_WEEKS))
    said["done by it"] = moves(date(2026, 3, 20), with_point(replace(SIX_WEEKS, closes_day=70)), seen=[60])  # day 69

    assert {name: [move.words for move in found] for name, found in said.items()} == {
        "overdue": ["falls overdue"],
        "over": ["its window would be over"],
        "done no more": ["was done, and would no longer count as done"],
        "joins": ["joins the plan"],
        "dropped": ["is dropped from the plan"],
        "done by it": ["counts as done by a review that was seen"],
    }


def test_what_is_over_before_and_after_does_not_move():
    assert moves(date(2026, 9, 30), with_point(replace(SIX_WEEKS, target_day=45))) == []
    assert moves(date(2026, 3, 1), with_point(replace(SIX_WEEKS, target_day=45)), seen=[42]) == []
