"""Acts on schedules: plan the reviews of a signed operation, change a template. Each is one transaction."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Prefetch

from clinic.access.models import Member, Practice
from clinic.access.numbers import say_day
from clinic.planning.models import FollowUp, PlannedSchedule
from clinic.planning.templates import LAST_DAY, Move, moves_of
from clinic.procedures.models import Operation
from clinic.procedures.signing import sign
from clinic.reviews.models import Review
from clinic.reviews.seen import seen_of, with_gaps
from clinic.schedule import Schedule, as_rows, for_techniques, from_rows, schedule_of


@dataclass(frozen=True)
class Moved:
    """One operation whose planned reviews a change would move."""

    operation: Operation
    before: Schedule
    after: Schedule
    moves: tuple[Move, ...]


@transaction.atomic
def sign_and_plan(
    *, by: Member, operation: Operation, version: int, now: datetime, obstacles: list[str],
    still_as_read: Callable[[], bool],
) -> PlannedSchedule:  # fmt: skip
    """Sign, and plan the reviews by the schedule in force. Raises what `sign` raises; then nothing is planned."""
    sign(
        by=by, operation=operation, version=version, now=now, obstacles=obstacles, still_as_read=still_as_read
    )  # fmt: skip
    return plan_reviews(by=by, operation=operation, now=now)


def planned_words(plan: PlannedSchedule) -> str:
    """'4 reviews are planned; the first one for 29 Nov 2026.'"""
    schedule = from_rows(plan.rows)
    first = say_day(schedule[0].target_on(plan.operation.performed_on))
    many = "One review is" if len(schedule) == 1 else f"{len(schedule)} reviews are"
    return f"{many} planned; the first one for {first}."


def plan_reviews(*, by: Member, operation: Operation, now: datetime) -> PlannedSchedule:
    """Copy the schedule in force to the operation, once; a second call finds the first plan."""
    if found := PlannedSchedule.objects.filter(operation=operation).first():
        return found
    schedule = schedule_of(operation, operation.practice)
    plan = PlannedSchedule(operation=operation, rows=as_rows(schedule), planned_at=now)
    plan.keep(by=by, reason="Planned on signing")
    return plan


def changed(templates: dict[str, Any], technique: str, schedule: Schedule | None) -> dict[str, Any]:
    """The practice's templates with this one changed, or taken away so that the common one goes."""
    rest = {code: rows for code, rows in templates.items() if code != technique}
    return rest | ({technique: as_rows(schedule)} if schedule else {})


def moved_by(practice: Practice, settings: FollowUp, templates: dict[str, Any], *, today: date) -> list[Moved]:
    """The operations whose reviews would move if `templates` took the place of the stored ones, oldest first."""
    return [found for found in _compared(practice, settings, templates, today) if found.moves]


def _compared(practice: Practice, settings: FollowUp, templates: dict[str, Any], today: date) -> Iterator[Moved]:
    """Operations that the change touches at all: those for which another schedule would be in force."""
    for operation in _followed(practice, today):
        techniques = [nail.technique for nail in operation.nail_procedures.all()]
        after = for_techniques(templates, techniques)
        if after == for_techniques(settings.templates, techniques):
            continue
        plan = getattr(operation, "planned", None)
        before = from_rows(plan.rows) if plan else for_techniques(settings.templates, techniques)
        found = moves_of(
            performed_on=operation.performed_on, seen=seen_of(operation.reviews.all()), today=today,
            before=before, after=after,
        )  # fmt: skip
        yield Moved(operation, before, after, tuple(found))


def _followed(practice: Practice, today: date) -> Sequence[Operation]:
    """Standing operations that a schedule may still ask for, with plan, toes and counting reviews."""
    since = today - timedelta(days=LAST_DAY)
    recent = Operation.objects.filter(practice=practice, performed_on__gte=since, patient__died_on__isnull=True)
    reviews = Prefetch("reviews", with_gaps(Review.objects.counting()))
    parts = recent.standing().select_related("planned").prefetch_related("nail_procedures__treated_sides", reviews)
    return list(parts.order_by("performed_on", "pk"))


@transaction.atomic
def change_template(
    *, by: Member, version: int, technique: str, schedule: Schedule | None, moving: bool, reason: str, now: datetime,
    today: date,
) -> int:  # fmt: skip
    """Write the template for later operations; gives how many planned schedules were changed with it.

    schedule: None takes the technique's own template away. moving: also for operations that are planned already.
    Otherwise those signed before anybody planned them keep what they followed until now, as a plan of their own.
    Raises Conflict if somebody changed the settings since `version` was shown.
    """
    settings, _ = FollowUp.objects.select_for_update().get_or_create(practice=by.practice)
    templates = changed(settings.templates, technique, schedule)
    touched = list(_compared(by.practice, settings, templates, today))
    settings.version, settings.templates = version, templates
    settings.longest_days = max([settings.longest_days, *(point.closes_day for point in schedule or ())])
    settings.save_version(by=by, reason=reason)
    return sum(_write(found, by=by, moving=moving, reason=reason, now=now) for found in touched)


def _write(found: Moved, *, by: Member, moving: bool, reason: str, now: datetime) -> bool:
    """Whether the plan of this operation changed."""
    plan = getattr(found.operation, "planned", None)
    wanted = found.after if moving else found.before
    if plan is None and found.operation.signed_at:
        PlannedSchedule(operation=found.operation, rows=as_rows(wanted), planned_at=now).keep(by=by, reason=reason)
    elif plan is not None and moving:
        plan.rows = as_rows(wanted)
        plan.save_version(by=by, reason=reason)
    return bool(moving and found.moves)
