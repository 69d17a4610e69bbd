"""What makes a schedule impossible, and which planned reviews a changed one would move. Knows no Django."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from itertools import pairwise

from clinic.schedule import TWELVE_MONTHS, Due, ReviewPoint, Schedule, Seen, add_months, state_of

LAST_DAY = 1200
FOUR_YEARS = 4 * 365 + 1


@cache
def days_of_months(months: int) -> tuple[int, int]:
    """The fewest and the most days that calendar months can take; counted over every start of four years."""
    starts = [date(2023, 1, 1) + timedelta(days=offset) for offset in range(FOUR_YEARS)]
    lengths = [(add_months(start, months) - start).days for start in starts]
    return min(lengths), max(lengths)


def targets_of(point: ReviewPoint) -> tuple[int, int]:
    """Earliest and latest day that the target can fall on."""
    return days_of_months(point.target_months) if point.target_months else (point.target_day, point.target_day)


def faults_of(point: ReviewPoint) -> Iterator[str]:
    """What is wrong with one row on its own, a sentence each."""
    first, last = targets_of(point)
    if not 1 <= point.opens_day <= LAST_DAY or not 1 <= point.closes_day <= LAST_DAY:
        yield f"{point.name}: the window must lie between day 1 and day {LAST_DAY}"
    elif point.closes_day < point.opens_day:
        yield f"{point.name}: the window closes (day {point.closes_day}) before it opens (day {point.opens_day})"
    elif not point.opens_day <= first <= last <= point.closes_day:
        target = f"day {first}" if first == last else f"day {first} to {last}, by the calendar"
        yield f"{point.name}: the target ({target}) lies outside its window ({point.opens_day} to {point.closes_day})"


def faults(schedule: Schedule) -> list[str]:
    """What is wrong with the schedule, in the order of its days; nothing where it can be used."""
    found = [fault for point in schedule for fault in faults_of(point)]
    for earlier, later in pairwise(sorted(schedule, key=lambda point: point.opens_day)):
        if later.opens_day <= earlier.closes_day:
            found.append(
                f"The window of the {later.name} ({later.opens_day} to {later.closes_day}) overlaps "
                f"the window of the {earlier.name} ({earlier.opens_day} to {earlier.closes_day})"
            )
    year = next((point for point in schedule if point.code == TWELVE_MONTHS.code), None)
    first, last = TWELVE_MONTHS.opens_day, TWELVE_MONTHS.closes_day
    if year is None:
        found.append(f"The {TWELVE_MONTHS.name} must stay: the audit counts what is seen then")
    elif year.opens_day < first or year.closes_day > last:
        found.append(f"{year.name}: the audit counts a look from day {first} to day {last}; keep the window inside")
    return found


@dataclass(frozen=True)
class Move:
    """One planned review before and after a change; a point or its dates are None where there is none."""

    name: str
    old: ReviewPoint | None
    new: ReviewPoint | None
    old_target: date | None
    new_target: date | None
    old_state: Due | None
    new_state: Due | None

    @property
    def words(self) -> str:
        """What happens to it: 'joins', 'is dropped', 'falls overdue'."""
        if self.old is None:
            return "joins the plan"
        if self.new is None:
            return "is dropped from the plan"
        if self.old_state == Due.DONE:
            return "was done, and would no longer count as done"
        if self.new_state == Due.DONE:
            return "counts as done by a review that was seen"
        if self.new_state == Due.MISSED:
            return "its window would be over"
        if self.new_state == Due.OVERDUE and self.old_state != Due.OVERDUE:
            return "falls overdue"
        return "moves" if self.old_target != self.new_target else "changes its window or what it asks for"


def moves_of(
    *, performed_on: date, seen: Collection[Seen], today: date, before: Schedule, after: Schedule
) -> list[Move]:
    """The reviews of one operation that a change would move. What is over before and after is left out."""
    old, new = ({point.code: point for point in each} for each in (before, after))
    found = []
    for code in sorted({*old, *new}, key=lambda code: (new.get(code) or old[code]).opens_day):
        move = _move(old.get(code), new.get(code), performed_on=performed_on, seen=seen, today=today)
        states = {state for state in (move.old_state, move.new_state) if state}
        stays_over = not any(state.is_open for state in states) and len(states) < 2
        if move.old != move.new and not stays_over:
            found.append(move)
    return found


def _move(
    old: ReviewPoint | None, new: ReviewPoint | None, *, performed_on: date, seen: Collection[Seen], today: date
) -> Move:
    def target(point: ReviewPoint | None) -> date | None:
        return point.target_on(performed_on) if point else None

    def state(point: ReviewPoint | None) -> Due | None:
        return state_of(point, performed_on=performed_on, seen=seen, today=today) if point else None

    either = new or old
    assert either is not None  # noqa: S101 - one of the two is given
    return Move(either.name, old, new, target(old), target(new), state(old), state(new))
