"""Who is not tried, and why. Every list, letter, message and link asks here."""

from collections.abc import Iterable
from datetime import date

from clinic.patients.models import Patient
from clinic.reviews.models import Contact
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

    contacts: all of the person, oldest first. What was declined at one operation holds for those before it, not for a
    later one, which the patient came for afterwards.
    """
    if person.died_on is not None:
        return Stop.DIED
    if person.no_contact_wished:
        return Stop.NO_CONTACT
    told = None
    for contact in contacts:
        if contact.result in BACK:
            told = None
        elif contact.result in STOPS and contact.made_on >= performed_on:
            told = STOPS[contact.result]
    return told or (Stop.CLOSED if is_closed else None)
