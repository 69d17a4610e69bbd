"""Acts of following up: log a try, take it back, close as lost, open again. Each is one transaction."""

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction

from clinic.access.models import Conflict, Member
from clinic.patients.models import Patient
from clinic.procedures.models import Operation
from clinic.recall.models import Closure
from clinic.redflags.models import RedFlag
from clinic.reviews.models import Contact
from clinic.vocabulary.redflag import AlertOrigin, Reported
from clinic.vocabulary.review import ContactResult

SAME_CALL_WITHIN = timedelta(minutes=10)
UNDO_FOR = timedelta(minutes=10)


class PerhapsTheSame(Exception):
    """Somebody else has just logged a try by the same way; `contact` is theirs."""

    def __init__(self, contact: Contact) -> None:
        super().__init__(contact.key)
        self.contact = contact


class OtherDeath(Exception):
    """Another date of death is on record; it is corrected with a reason, never overwritten by a contact."""

    def __init__(self, on_record: date) -> None:
        super().__init__(on_record.isoformat())
        self.on_record = on_record


class TooLate(Exception):
    """Undo is for the author, for ten minutes."""


@transaction.atomic
def log_contact(
    *, by: Member, operation: Operation, answers: Mapping[str, Any], now: datetime, another: bool = False
) -> Contact:
    """One try in the log. answers: channel, result, next_try_on, note, and died_on where the patient has died.

    another: says that it is another try than the one somebody else has just logged. Otherwise raises PerhapsTheSame,
    looked up with the operation locked, so that two who log one call at the same moment do not both get through.
    Raises OtherDeath if the patient died on another day by the record.
    """
    person = _held_owner(operation) if answers["result"] == ContactResult.DIED else None
    Operation.objects.select_for_update().get(pk=operation.pk)
    if not another and (same := _just_logged(operation, answers["channel"], by=by, now=now)):
        raise PerhapsTheSame(same)
    given = {name: answers.get(name) for name in ("channel", "result", "next_try_on")}
    given["reported"] = answers.get("reported") or Reported.NOT_ASKED.value
    row = Contact(operation=operation, made_on=now.date(), recorded_by=by, recorded_at=now, **given)
    row.note = answers.get("note") or ""
    row.keep(by=by)
    if person:
        if person.died_on and person.died_on != answers["died_on"]:
            raise OtherDeath(person.died_on)
        if person.died_on is None:
            person.died_on = answers["died_on"]
            person.save_version(by=by, reason="Told at a contact")
    return row


def _held_owner(operation: Operation) -> Patient:
    """Whose operation it is by now, locked before the operation as merging does: a merge may have moved it."""
    own = Operation.objects.filter(pk=operation.pk).values_list("patient_id", flat=True)
    owner = own.get()
    while True:
        person = Patient.objects.select_for_update().get(pk=owner)
        if (owner := own.get()) == person.pk:  # from now on no merge can move it
            return person


def _just_logged(operation: Operation, channel: str, *, by: Member, now: datetime) -> Contact | None:
    recent = Contact.objects.filter(operation=operation, channel=channel, struck_at__isnull=True)
    # Whoever got the lock first may have read a later clock than ours.
    recent = recent.filter(recorded_at__gt=now - SAME_CALL_WITHIN).exclude(recorded_by=by)
    return recent.select_related("recorded_by").order_by("-recorded_at").first()


def undo_contact(*, by: Member, contact: Contact, now: datetime) -> None:
    """Strike out a try just logged. Raises TooLate for others, after ten minutes, or once it was changed.

    A death that was told with it stays on the patient's page, where it is corrected with a reason; a red flag that it
    raised is answered, not made to disappear.
    """
    told_death = contact.result == ContactResult.DIED
    too_late = contact.recorded_by_id != by.pk or now - contact.recorded_at > UNDO_FOR or contact.version > 1
    flags = RedFlag.objects.filter(origin=AlertOrigin.CONTACT, source_key=contact.key)
    if too_late or told_death or flags.exists():
        raise TooLate
    contact.struck_at, contact.struck_reason = now, "Undone by the author"
    contact.save_version(by=by, reason="Undone by the author")


@transaction.atomic
def close_as_lost(*, by: Member, operation: Operation, reason: str, note: str, on: date, now: datetime) -> Closure:
    """End the chase with a coded reason. Raises Conflict if it is closed already.

    A closure after which the patient came back stands no longer, and makes room.
    """
    open_ones = Closure.objects.filter(operation=operation, reopened_on__isnull=True)
    for earlier in open_ones.exclude(pk__in=open_ones.standing().values("pk")):
        reopen(by=by, closure=earlier, on=on)
    row = Closure(operation=operation, reason=reason, note=note, closed_on=on, closed_by=by, closed_at=now)
    try:
        with transaction.atomic():
            row.keep(by=by, reason="Closed as lost")
    except IntegrityError as taken:
        raise Conflict(f"Operation {operation.key} is closed already") from taken
    return row


def reopen(*, by: Member, closure: Closure, on: date) -> None:
    """Try again after all. Raises Conflict if somebody did so at the same moment."""
    closure.reopened_on, closure.reopened_by = on, by
    closure.save_version(by=by, reason="Opened again")
