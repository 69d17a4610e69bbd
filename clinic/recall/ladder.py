"""The ladder of tries: what comes next for one review, from dates and the log alone. Knows no Django."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta
from typing import Any

SATURDAY = 5


@dataclass(frozen=True)
class Step:
    """One try. after_days: from the target day of the review; before it below zero. way: message, phone or letter."""

    after_days: int
    way: str
    with_link: bool = False

    def on(self, target_on: date) -> date:
        return working_day(target_on + timedelta(days=self.after_days))


@dataclass(frozen=True)
class Try:
    """One logged try. called: by phone or face to face. again_on: when the caller meant to try next."""

    on: date
    called: bool
    reached: bool
    again_on: date | None = None
    at: time | None = None


@dataclass(frozen=True)
class Ladder:
    """The practice's settings. calls: unanswered calls before the list asks about closing."""

    steps: tuple[Step, ...]
    calls: int
    close_after_days: int


@dataclass(frozen=True)
class Next:
    """What the ladder asks for. step: None when it is at its end. on: not before this day. is_last: no
    step follows.

    not_like: the times of day of earlier calls; another hour may find somebody.
    """

    step: Step | None
    number: int
    on: date | None
    asks_to_close: bool
    is_last: bool = False
    not_like: tuple[time, ...] = ()

    def is_due(self, today: date) -> bool:
        return self.on is not None and self.on <= today


def ladder_of(rows: Sequence[Mapping[str, Any]], *, calls: int, close_after_days: int) -> Ladder:
    """The ladder of stored settings."""
    steps = (Step(int(row["after_days"]), str(row["way"]), bool(row["with_link"])) for row in rows)
    return Ladder(tuple(sorted(steps, key=lambda step: step.after_days)), calls, close_after_days)


def begins_on(ladder: Ladder, *, performed_on: date, target_on: date) -> date:
    """From when a try belongs to this review: the first step, but never before the day after the operation."""
    first = ladder.steps[0].on(target_on) if ladder.steps else target_on
    return max(performed_on + timedelta(days=1), first)


def next_try(
    ladder: Ladder, *, performed_on: date, target_on: date, closes_on: date, tries: Sequence[Try], today: date
) -> Next:
    """The step that follows the tries made for this review, oldest first.

    Each logged try takes the place of one step, whichever way was used. Steps after the window are left out.
    A step is never before the day after the last try, nor before the day that the caller named.
    """
    begins = begins_on(ladder, performed_on=performed_on, target_on=target_on)
    steps = [step for step in ladder.steps if begins <= step.on(target_on) <= closes_on]
    calls = [each for each in tries if each.called and not each.reached]
    asks = len(calls) >= ladder.calls or today >= target_on + timedelta(days=ladder.close_after_days)
    hours = tuple(each.at for each in calls if each.at)
    if len(tries) >= len(steps):
        again = tries[-1].again_on if tries else None
        return Next(None, len(tries) + 1, again, asks, not_like=hours)
    step = steps[len(tries)]
    on = step.on(target_on)
    if tries:
        on = max(on, tries[-1].on + timedelta(days=1), tries[-1].again_on or on)
    return Next(step, len(tries) + 1, on, asks, len(tries) + 1 == len(steps), hours)


def working_day(day: date) -> date:
    """The day itself, or the Monday after a weekend."""
    return day + timedelta(days=max(0, 7 - day.weekday())) if day.weekday() >= SATURDAY else day
