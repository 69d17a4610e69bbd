"""What a run took out, and what a person took out: which of them comes back, and what counts as due."""

from datetime import timedelta

import pytest
from django.core import mail
from django.urls import reverse

from clinic.planning.models import FollowUp
from clinic.reminders.models import Message
from clinic.reminders.queueing import due_of
from clinic.reminders.sending import drop
from tests.clinic.recall.test_lists import book
from tests.clinic.reminders.conftest import NOW, TODAY
from tests.clinic.reminders.test_queue import queue, remind, run, states

pytestmark = pytest.mark.django_db


def due(practice) -> int:
    return len(due_of(practice, today=TODAY, now=NOW).rows)


def test_a_message_dropped_for_a_booking_is_queued_again_when_the_booking_is_cancelled(practice, switched_on, asked):
    booking = book(asked(), TODAY + timedelta(days=3))
    booking.delete()
    queue(practice)
    booking.save()
    run()
    assert (states(), due(practice)) == (["dropped"], 0)

    booking.delete()
    assert (due(practice), queue(practice), states()) == (1, 1, ["queued"])
    run()

    assert (states(), len(mail.outbox), due(practice)) == (["sent"], 1, 0)


def test_a_message_without_an_address_is_queued_again_when_there_is_one(practice, switched_on, asked):
    identity = asked().patient.identity
    queue(practice)
    identity.email = ""
    identity.save()
    run()
    assert states() == ["dropped"]
    assert queue(practice) == 0

    identity.email = "again@example.org"
    identity.save()
    queue(practice)
    run()

    assert [letter.to for letter in mail.outbox] == [["again@example.org"]]


@pytest.mark.parametrize("what", ["dropped by a person", "failed", "unclear"])
def test_what_a_person_took_out_or_must_look_at_is_not_due(practice, lead, switched_on, asked, client_of, what):
    asked()
    queue(practice)
    if what == "dropped by a person":
        drop(by=lead, message=Message.objects.get(), now=NOW - timedelta(days=2))
    else:
        Message.objects.update(state=what, fault="refused", settled_at=NOW - timedelta(days=2))

    assert client_of(lead).get(reverse("messages")).context["due"].rows == []
    assert "north: 0 queued" in remind("--dry-run")
    assert queue(practice) == 0
    run()
    assert mail.outbox == []


def test_switching_e_mail_off_stops_what_is_queued_and_on_again_sends_it(practice, switched_on, asked):
    asked()
    queue(practice)
    FollowUp.objects.update(sends_email=False)
    run()
    assert (mail.outbox, states()) == ([], ["dropped"])

    FollowUp.objects.update(sends_email=True)
    practice.refresh_from_db()
    queue(practice)
    run()
    assert len(mail.outbox) == 1
