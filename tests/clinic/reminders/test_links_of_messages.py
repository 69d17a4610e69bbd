"""The link in a message takes the place of a printed one when the text leaves, and not before."""

import smtplib

import pytest
from django.core.mail.backends.locmem import EmailBackend
from django.test import Client
from django.urls import reverse

from clinic.reports.models import ReportLink
from tests.clinic.recall.test_lists import tried
from tests.clinic.reminders.conftest import NOW
from tests.clinic.reminders.test_queue import queue, run, states
from tests.factories import create_link

pytestmark = pytest.mark.django_db


@pytest.fixture
def printed(practice, switched_on, asked) -> str:
    """The address on a slip whose patient is due for a message with a link, which waits."""
    operation = asked(days=380)
    for days in (20, 10, 5):
        tried(operation, days)
    _, token = create_link(operation, now=NOW)
    queue(practice)
    return reverse("report", args=[token])


def answers(monkeypatch, fault: Exception) -> None:
    """A server that takes the text and then says this; to memory the text leaves before it is sent."""

    def refuse(self, messages):
        raise fault

    monkeypatch.setattr(EmailBackend, "send_messages", refuse)


@pytest.mark.parametrize(
    ("fault", "state"),
    [
        (smtplib.SMTPDataError(554, b"no"), "failed"), (smtplib.SMTPDataError(452, b"later"), "queued"),
        (ValueError("no such header"), "failed"),
    ],
)  # fmt: skip
def test_a_printed_link_works_on_where_the_message_did_not_leave(printed, monkeypatch, fault, state):
    answers(monkeypatch, fault)

    for _ in range(2):
        run()

    assert states() == [state]
    assert Client().get(printed).status_code == 200
    reasons = set(ReportLink.history.values_list("history_change_reason", flat=True))
    assert {"It never left", "The newer link never left"} <= reasons


def test_nothing_happens_to_it_where_the_server_is_not_reached(printed, monkeypatch):
    def refuse(self):
        raise ConnectionRefusedError

    monkeypatch.setattr(EmailBackend, "open", refuse, raising=False)

    run()

    assert Client().get(printed).status_code == 200
    assert ReportLink.objects.count() == 1


@pytest.mark.parametrize("sent", [True, False])
def test_it_ends_where_the_message_left_or_may_have_left(printed, monkeypatch, sent):
    if not sent:
        answers(monkeypatch, smtplib.SMTPServerDisconnected("gone"))

    run()

    assert states() == ["sent" if sent else "unclear"]
    assert Client().get(printed).status_code == 410
