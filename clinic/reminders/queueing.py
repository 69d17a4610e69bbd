"""Which messages are due: put into the queue once for each step of the ladder, however often it is asked."""

import logging
from collections.abc import Collection, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from clinic.access.models import Practice
from clinic.planning.models import FollowUp, follow_up_of
from clinic.recall.queries import Followed, followed, name_rows
from clinic.reminders.models import Message, TextApproval
from clinic.reminders.texts import digest_of
from clinic.reports.links import ABOUT
from clinic.vocabulary.recall import MessageFault, MessageKind, MessageState

logger = logging.getLogger("clinic.reminders")
# Taken out by a run: back into the queue once nothing speaks against it. What a person took out stays out.
COMES_BACK = Q(state=MessageState.DROPPED, fault__in=[MessageFault.NOT_WANTED, MessageFault.NO_ADDRESS])
Step = tuple[int, str, int]


@dataclass
class Due:
    """What one practice has to send. why_not: a sentence where it sends nothing at all. no_address: for a letter."""

    practice: Practice
    rows: list[Followed] = field(default_factory=list)
    no_address: int = 0
    why_not: str = ""
    approval: TextApproval | None = None


def approval_of(practice: Practice, settings: FollowUp) -> TextApproval | None:
    """The approval of the wording as it stands; None if it was never read, or has changed since."""
    return practice.text_approvals.filter(digest=digest_of(settings)).select_related("by").first()


def due_of(practice: Practice, *, today: date, now: datetime) -> Due:
    """Patients for whom a message is the step that has come, one message a person and day."""
    settings = follow_up_of(practice)
    found = Due(practice, approval=approval_of(practice, settings))
    if not settings.sends_email:
        found.why_not = "E-mail is switched off."
        return found
    if found.approval is None:
        found.why_not = "Nobody has approved the messages as they read now."
        return found
    rows = [row for row in followed(practice, today=today, now=now) if wants_message(row, today)]
    _name(rows)
    addressed = [row for row in rows if row.identity and row.identity.email]
    found.no_address = len(rows) - len(addressed)
    made = _made_before(addressed)
    wanted = [row for row in addressed if step_of(row) not in made]
    found.rows = list(_one_a_day(wanted, _written_to(practice, today)))
    return found


def _name(rows: list[Followed]) -> None:
    """Whose identity cannot be read is left without one, and keeps no other from being named."""
    try:
        name_rows(rows)
    except ValueError:
        logger.error("an identity cannot be read")
        for row in rows:
            with suppress(ValueError):
                name_rows([row])


def step_of(row: Followed) -> Step:
    """What a message is about, as the database keeps it single."""
    assert row.point and row.next and row.next.step  # noqa: S101, PT018 - wants_message asked for it
    return row.operation.pk, row.point.code, row.next.step.after_days


def _made_before(rows: Collection[Followed]) -> set[Step]:
    """Steps whose message waits for a person, was taken out by one, or has left; they are not due again."""
    own = Message.objects.filter(operation__in=[row.operation.pk for row in rows]).exclude(COMES_BACK)
    return set(own.values_list("operation_id", "point", "after_days"))


def wants_message(row: Followed, today: date) -> bool:
    """Whether the ladder asks for a message now."""
    step = row.next.step if row.next else None
    open_now = row.point is not None and row.state is not None and row.state.is_open
    return (
        step is not None and step.way == "message" and open_now and row.stop is None and not row.is_booked
        and not row.report_waits and row.next is not None and row.next.is_due(today)
    )  # fmt: skip


def _written_to(practice: Practice, today: date) -> set[int]:
    """People a message goes to, or went to, today."""
    midnight = timezone.make_aware(datetime.combine(today, datetime.min.time()))
    waiting = Q(state__in=[MessageState.QUEUED, MessageState.CLAIMED, MessageState.HANDING])
    busy = Message.objects.filter(waiting | Q(settled_at__gte=midnight), operation__practice=practice)
    busy = busy.exclude(state=MessageState.DROPPED).select_related("operation")
    return {message.operation.patient_id for message in busy}


def _one_a_day(rows: list[Followed], written_to: set[int]) -> Iterator[Followed]:
    for row in rows:
        person = row.operation.patient_id
        if person not in written_to:
            written_to.add(person)
            yield row


def kind_of(row: Followed) -> MessageKind:
    """With a link only where the patient's report is enough, and only while it would lie in the window."""
    point, step = row.point, row.next.step if row.next else None
    if (
        point
        and step
        and step.with_link
        and point.mode.takes_report
        and point.contains(row.day)
        and point.code in ABOUT
    ):
        return MessageKind.LINK
    return MessageKind.INVITATION


def queue_due(practice: Practice, *, today: date, now: datetime) -> tuple[Due, int]:
    """Put what is due into the queue; gives also how many came into it. The database keeps each step single."""
    found = due_of(practice, today=today, now=now)
    return found, _queue(found.rows, found.approval, now) if found.approval else 0


@transaction.atomic
def _queue(rows: list[Followed], approval: TextApproval, now: datetime) -> int:
    """A few statements, however many rows."""
    waiting = {"approved_by": approval.by, "queued_at": now, "not_before_at": now}
    back = _put_back({step_of(row): kind_of(row) for row in rows}, waiting)
    new = [_message(row, waiting) for row in rows if step_of(row) not in back]
    Message.objects.bulk_create(new, ignore_conflicts=True)  # another run may have been faster
    return len(back) + Message.objects.filter(key__in=[message.key for message in new]).count()


def _message(row: Followed, waiting: Mapping[str, Any]) -> Message:
    _, point, after_days = step_of(row)
    return Message(operation=row.operation, point=point, after_days=after_days, kind=kind_of(row), **waiting)


def _put_back(kinds: Mapping[Step, MessageKind], waiting: Mapping[str, Any]) -> set[Step]:
    """Messages of these steps that a run had taken out wait again; gives their steps."""
    out = Message.objects.filter(COMES_BACK, operation__in=[operation for operation, *_ in kinds])
    found = {message.pk: (message.operation_id, message.point, message.after_days) for message in out}
    for kind in MessageKind:
        own = Message.objects.filter(COMES_BACK, pk__in=[pk for pk, step in found.items() if kinds.get(step) == kind])
        own.update(
            state=MessageState.QUEUED, kind=kind, fault="", run="", attempts=0, settled_at=None, settled_by=None,
            **waiting,
        )  # fmt: skip
    return set(found.values()) & set(kinds)
