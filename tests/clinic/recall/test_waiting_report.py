"""A patient who has answered, while no clinician has read it: nobody writes, and nothing is closed as "no reply"."""

from datetime import timedelta

import pytest
from django.core import mail
from django.urls import reverse

from clinic.planning.models import FollowUp
from clinic.recall.models import Closure
from clinic.reminders.models import TextApproval
from clinic.reminders.queueing import queue_due
from clinic.reminders.sending import send_queued
from clinic.reminders.texts import digest_of
from tests.clinic.recall.conftest import NOW, TODAY
from tests.clinic.recall.test_acts import close
from tests.clinic.recall.test_lists import tried
from tests.clinic.recall.test_papers import make
from tests.factories import create_report

pytestmark = pytest.mark.django_db
HINT = "Patient's report waits for a clinician"


def test_no_message_goes_to_who_has_answered(practice, lead, operated):
    settings = FollowUp.objects.create(practice=practice, phone="01632 960100", sender="X", sends_email=True)
    TextApproval.objects.create(practice=practice, digest=digest_of(settings), by=lead, at=NOW)
    before, after = (operated(355, name, email=f"{name}@example.org") for name in ("before", "after"))
    create_report(before, now=NOW)
    assert queue_due(practice, today=TODAY, now=NOW)[1] == 1

    create_report(after, now=NOW)
    send_queued(lambda: NOW)
    assert mail.outbox == []


def test_no_letter_goes_out_the_row_says_why_and_nothing_is_closed(client_of, operated, reception):
    operation = operated(380, "Answered")
    tried(operation, 9)
    report = create_report(operation, now=NOW - timedelta(days=1))
    client = client_of(reception)

    assert "The patient has answered" in make(client, [operation]).content.decode()
    (row,) = client.get(reverse("recall"), {"show": "outcome"}).context["rows"]
    assert row["next"] == HINT
    page = close(client, operation, early="on")
    assert "a clinician accepts or refuses that report first" in page.content.decode()
    assert not Closure.objects.exists()

    report.review.strike(by=reception, now=NOW, reason="Sent for somebody else's toe")
    close(client, operation, early="on")
    assert Closure.objects.get().reason == "no_reply"
