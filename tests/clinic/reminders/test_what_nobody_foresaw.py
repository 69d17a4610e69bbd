"""A fault at one message stops that one, is told by its kind alone, and never loses the log of one that has left."""

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.db import connection

from clinic.reminders import sending
from clinic.reminders.models import Message
from clinic.reminders.sending import send_again
from clinic.reviews.models import Contact
from tests.clinic.reminders.conftest import NOW
from tests.clinic.reminders.test_queue import queue, remind, run, states

pytestmark = pytest.mark.django_db


@pytest.fixture
def two(practice, switched_on, asked):
    """Two who get a message, the first of them first."""
    found = asked("Broken", days=356), asked("Fine")
    queue(practice)
    return found


def spoil(operation) -> None:
    """An address sealed with a key that nobody holds."""
    with connection.cursor() as cursor:
        statement = "UPDATE clinic_identity SET email = 'sealed otherwise' WHERE patient_id = %s"
        cursor.execute(statement, [operation.patient_id])


def test_an_address_that_cannot_be_read_stops_its_own_message(two, caplog):
    spoil(two[0])

    run()
    run()

    assert states() == ["failed", "sent"]
    assert Message.objects.first().fault == "broken"
    assert [letter.to for letter in mail.outbox] == [["fine@example.org"]]
    (line,) = [record for record in caplog.records if record.getMessage() == "message stopped"]
    assert (line.fields, line.exc_info) == ({"exception": "ValueError"}, None)


def test_it_keeps_nobody_else_out_of_the_queue(practice, switched_on, asked):
    spoil(asked("Broken", days=356))
    asked("Fine")

    assert "sent: 1" in remind()


@pytest.mark.parametrize(("broken", "state"), [("letter_of", "failed"), ("_sent", "unclear")])
def test_whatever_breaks_ends_no_run_and_what_may_have_left_asks_a_person(two, monkeypatch, broken, state):
    """Once only: the second message goes its way."""
    whole, calls = getattr(sending, broken), []

    def once(*args, **more):
        calls.append(args)
        if len(calls) == 1:
            raise RuntimeError("p0@example.org")
        return whole(*args, **more)

    monkeypatch.setattr(sending, broken, once)

    run()

    assert states() == [state, "sent"]
    assert {message.fault for message in Message.objects.all()} == {"broken", ""}


def test_one_that_left_is_logged_although_somebody_put_it_back_meanwhile(two, lead, monkeypatch):
    """Another run called it unclear, and a person wanted it sent again, before the server's answer came."""
    whole = EmailBackend.send_messages

    def slowly(self, letters):
        if letters[0].to == ["broken@example.org"]:
            Message.objects.filter(state="handing").update(state="unclear")
            assert send_again(by=lead, message=Message.objects.get(state="unclear"), now=NOW)
        return whole(self, letters)

    monkeypatch.setattr(EmailBackend, "send_messages", slowly)

    run()
    run()

    assert states() == ["sent", "sent"]
    assert len(mail.outbox) == Contact.objects.count() == 2
