"""Who is not tried, and why. Every list, letter, message and link asks here."""

from collections.abc import Iterable
from datetime import date

from django.db.models import Exists, OuterRef, QuerySet

from clinic.patients.models import Patient
from clinic.procedures.models import Operation
from clinic.reviews.models import Contact, Review
from clinic.vocabulary.recall import Stop
from clinic.vocabulary.review import ContactChannel, ContactResult

STOPS = {ContactResult.MOVED.value: Stop.MOVED, ContactResult.DECLINED.value: Stop.DECLINED}
# The patient got in touch, or was met: what was said before no longer holds.
BACK = {ContactResult.BOOKED.value, ContactResult.PROBLEM.value}
CALLS = {ContactChannel.PHONE.value, ContactChannel.IN_PERSON.value}
UNANSWERED = {
    ContactResult.SENT.value, ContactResult.LEFT_MESSAGE.value, ContactResult.NO_ANSWER.value,
    ContactResult.WRONG_NUMBER.value, ContactResult.DID_NOT_ATTEND.value,
}  # fmt: skip


def stop_of(
    person: Patient, contacts: Iterable[Contact], *, performed_on: date, is_closed: bool = False
) -> Stop | None:
    """The strongest reason not to try this person about an operation of that day; None where there is none.

    contacts: all of the person with `with_returns`, oldest first. What was declined at one operation holds for those
    before it, not for a later one, which the patient came for afterwards; and no longer once the patient was seen.
    """
    if person.died_on is not None:
        return Stop.DIED
    if person.no_contact_wished:
        return Stop.NO_CONTACT
    told = None
    for contact in contacts:
        if contact.result in BACK:
            told = None
        elif contact.result in STOPS and contact.made_on >= performed_on and not contact.seen_since:
            told = STOPS[contact.result]
    return told or (Stop.CLOSED if is_closed else None)


def with_returns(contacts: QuerySet[Contact]) -> QuerySet[Contact]:
    """The contacts, each with a mark whether the patient was seen on a later day, at whichever operation."""
    later = Review.objects.counting().filter(
        operation__patient=OuterRef("operation__patient"), seen_on__gt=OuterRef("made_on")
    )
    return contacts.annotate(seen_since=Exists(later))


def stop_about(operation: Operation) -> Stop | None:
    """The same for one operation with its patient at hand, closed or not; one query."""
    own = Contact.objects.filter(
        operation__patient=operation.patient, struck_at__isnull=True, operation__struck_at__isnull=True
    )
    contacts = with_returns(own).order_by("made_on", "pk")
    return stop_of(operation.patient, contacts, performed_on=operation.performed_on)
