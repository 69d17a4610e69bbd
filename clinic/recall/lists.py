"""The lists of the recall page: which rows, in which order, in which words."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from clinic.recall.queries import Followed
from clinic.schedule import TWELVE_MONTHS, Due
from clinic.vocabulary.recall import Stop

SOON = timedelta(days=14)


@dataclass(frozen=True)
class List:
    """One filter of the page. code: as in its address. holds: whether a row belongs to it on a day."""

    code: str
    label: str
    empty: str
    holds: Callable[[Followed, date], bool]


def is_overdue(row: Followed, today: date) -> bool:
    return row.state == Due.OVERDUE and row.stop is None and not row.is_booked


def is_due_soon(row: Followed, today: date) -> bool:
    """Due now, or its window opens within 14 days."""
    if row.point is None or row.stop is not None or row.is_booked:
        return False
    return row.state == Due.DUE or (
        row.state == Due.LATER and row.point.opens_on(row.operation.performed_on) <= today + SOON
    )  # fmt: skip


def is_outcome_missing(row: Followed, today: date) -> bool:
    """The 12-month window is open and nobody knows the outcome; booked and stopped rows too, as they may be lost."""
    return row.in_twelve_months and bool(row.outcome_missing) and row.stop != Stop.DIED


def is_lost_by_death(row: Followed, today: date) -> bool:
    """Died unseen with the window open: lost to the audit, and nobody is tried. An earlier death is counted apart."""
    if row.stop != Stop.DIED or not row.in_twelve_months or not row.outcome_missing:
        return False
    died_on = row.operation.patient.died_on
    return died_on is not None and (died_on - row.operation.performed_on).days >= TWELVE_MONTHS.opens_day


def is_never_reached(row: Followed, today: date) -> bool:
    open_now = row.state in {Due.DUE, Due.OVERDUE} and row.stop is None and not row.is_booked
    return open_now and bool(row.tries) and not row.was_reached


def is_to_close(row: Followed, today: date) -> bool:
    return row.asks_to_close and row.stop != Stop.DIED


def is_stopped(row: Followed, today: date) -> bool:
    """Reviews that nobody is tried for."""
    return row.stop is not None and (
        row.state in {Due.DUE, Due.OVERDUE} or (row.in_twelve_months and row.outcome_missing)
    )


LISTS = (
    List("overdue", "Overdue", "Nobody is overdue.", is_overdue),
    List("soon", "Due in 14 days", "Nothing is due within 14 days.", is_due_soon),
    List("outcome", "12-month outcome missing", "Every outcome is known whose window is open.", is_outcome_missing),
    List("never", "Never reached", "Everybody who was tried has answered.", is_never_reached),
    List("close", "To close", "Each outcome missed in the last 365 days has its reason.", is_to_close),
    List("stopped", "Not tried", "Nobody is left out.", is_stopped),
)
BY_CODE = {each.code: each for each in LISTS}


def sorted_into(rows: Sequence[Followed], today: date) -> dict[str, list[Followed]]:
    """The rows of each list, the window that closes first on top."""
    return {each.code: in_order(row for row in rows if each.holds(row, today)) for each in LISTS}


def in_order(rows: Iterable[Followed]) -> list[Followed]:
    far = date.max
    return sorted(rows, key=lambda row: (row.closes_on or far, row.operation.performed_on, row.operation.pk))


def words_of(row: Followed, today: date) -> str:
    """Where the row stands: '14 days past target, day 378'."""
    if row.point is None:
        over = row.day > TWELVE_MONTHS.closes_day
        return f"Window over, day {row.day}" if over else f"No review planned, day {row.day}"
    assert row.target_on is not None  # noqa: S101 - a point has a target
    late = (today - row.target_on).days
    if row.state == Due.LATER:
        return f"Opens in {(row.point.opens_on(row.operation.performed_on) - today).days} days, day {row.day}"
    if late > 0:
        return f"{late} {'day' if late == 1 else 'days'} past target, day {row.day}"
    return f"Due, day {row.day}"


def next_words(row: Followed, today: date) -> str:
    """What comes next: 'Call 2 today, at another hour than 10:40'; empty where nothing does."""
    if row.report_waits:
        return "Patient's report waits for a clinician"
    if row.stop or row.is_booked or row.next is None:
        return ""
    if row.next.step is None:
        return "All tries made" if row.tries else ""
    step = row.next.step
    what = {"phone": "Call", "letter": "Letter"}.get(step.way, "E-mail, else letter")
    what = f"{what} with link" if step.with_link else what
    when = "today" if row.next.is_due(today) else f"from {row.next.on.day} {row.next.on:%b}"  # type: ignore[union-attr]
    hours = sorted({f"{at:%H:%M}" for at in row.next.not_like})
    other = f", at another hour than {' and '.join(hours)}" if hours and step.way == "phone" else ""
    return f"Try {row.next.number}: {what} {when}{other}"
