"""A patient is followed up from the list to the accepted report; then every address, log line, mail and calendar
entry on the way is searched for who that was.
"""

import json
import logging
import re
from datetime import timedelta
from urllib.parse import unquote

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse

from clinic.access.logs import JsonLines
from clinic.reminders.queueing import queue_due
from clinic.reminders.sending import send_queued
from clinic.reports.models import PatientReport
from tests.clinic.recall.test_acts import log
from tests.clinic.recall.test_lists import book, tried
from tests.clinic.recall.test_papers import address_of, make
from tests.clinic.reminders.conftest import NOW, TODAY
from tests.clinic.reports.conftest import CALM
from tests.factories import create_patient

pytestmark = pytest.mark.django_db
ADDRESS = re.compile(r"""(?:href|src|action|data-[a-z]+)=["']([^"']*)["']""")


class Walk:
    """Clients whose addresses, asked for, printed on a page or redirected to, are all kept."""

    def __init__(self) -> None:
        self.addresses: list[str] = []

    def get(self, client, url: str, **data):
        return self._kept(client.get(url, data, follow=True), url)

    def post(self, client, url: str, data):
        return self._kept(client.post(url, data, follow=True), url)

    def _kept(self, response, url: str):
        assert response.status_code in {200, 404, 410}, url
        self.addresses += [url, *(each for each, _ in getattr(response, "redirect_chain", []))]
        if response["Content-Type"].startswith("text/html"):
            self.addresses += ADDRESS.findall(response.content.decode())
        return response


def secrets_of(patient) -> list[str]:
    who = patient.identity
    return [who.family_name, who.given_name, who.record_number, who.born_on_text, who.phone[-6:], who.email]


@pytest.fixture
def marked(practice):
    """Somebody whose every detail can be told from whatever else stands on a page."""
    patient = create_patient(practice, family_name="Quartermaine", given_name="Zephyrine")
    who = patient.identity
    who.phone, who.email = "01632 960777", "zq@example.org"
    who.record_number = "QZ-77119"
    who.index()
    who.save()
    who.index_names()
    return patient


def lines_of(caplog) -> list[str]:
    """Every line of every package, as the server writes them."""
    return [JsonLines().format(record) for record in caplog.records]


def test_no_address_log_line_mail_or_calendar_entry_says_who_it_is(
    caplog, client_of, lead, marked, operated, practice, practitioner, reception, switched_on
):
    caplog.set_level(logging.DEBUG)
    operation = operated(380, patient=marked)
    for days in (20, 10, 5):
        tried(operation, days)
    book(operation, TODAY - timedelta(days=2))
    walk, desk, clinician, boss = Walk(), client_of(reception), client_of(practitioner), client_of(lead)

    # the lists, the contact log, the letters, the file
    for show in ("overdue", "soon", "outcome", "never", "close", "stopped"):
        walk.get(desk, reverse("recall"), show=show)
        walk.get(desk, reverse("recall-csv"), show=show)
    found = walk.post(desk, reverse("find-patient"), {"q": "Quartermaine"})
    assert "Quartermaine" in found.content.decode()
    for name in ("contact", "book", "close", "report-link"):
        walk.get(desk, reverse(name, args=[operation.key]))
    walk.get(desk, reverse("letters"), pick=operation.key)
    log(desk, operation)
    walk.addresses += re.findall(r"https?://\S+", make(desk, [operation]).content.decode())
    # the calendar
    booking = book(operation, TODAY + timedelta(days=4))
    feed = address_of(desk)
    calendar = walk.get(Client(), feed).content.decode()
    # the messages; the booking would keep them back
    booking.delete()
    other = operated(355, patient=marked)
    queue_due(practice, today=TODAY, now=NOW)
    send_queued(lambda: NOW)
    walk.get(desk, reverse("messages"))
    # the patient's own report, accepted, with links that do not work on the way
    once = walk.get(desk, reverse("report-link", args=[other.key])).context["form"]["once"].value()
    slip = desk.post(reverse("report-link", args=[other.key]), {"once": once, "about": "twelve_months"})
    (token,) = re.findall(r"/r/([\w-]+)/", slip.content.decode())[:1]
    walk.get(Client(), reverse("report", args=[token]))
    walk.get(Client(), reverse("report", args=["never-made-by-anybody"]))
    walk.post(Client(), reverse("report", args=[token]), CALM | {"fluid0": "yellow", "note": "Quartermaine here"})
    review = PatientReport.objects.get().review
    walk.get(clinician, reverse("today"))
    walk.get(clinician, reverse("review", args=[review.key]))
    walk.post(clinician, reverse("review-accept", args=[review.key]), {})
    walk.get(boss, reverse("audit-outlook"))
    walk.get(boss, reverse("patient", args=[marked.key]))

    assert len(mail.outbox) == 1
    lines = lines_of(caplog)
    assert len(walk.addresses) > 200
    assert len(lines) > 30
    assert "BEGIN:VEVENT" in calendar
    subjects = [f"{letter.subject} {letter.from_email} {letter.extra_headers}" for letter in mail.outbox]
    places = {
        "address": [unquote(each) for each in walk.addresses if not each.startswith(("tel:", "mailto:"))],
        "log": lines, "mail": [*subjects, *(letter.body for letter in mail.outbox)], "calendar": [calendar],
    }  # fmt: skip
    for place, texts in places.items():
        for secret in secrets_of(marked):
            hits = [text for text in texts if secret.lower() in text.lower()]
            assert not hits, f"{place}: {secret} in {hits[0][:200]}"
    assert not [line for line in lines if token in line or feed.split("/")[-1] in line], "a secret address in the log"
    assert all(json.loads(line)["time"] for line in lines)
