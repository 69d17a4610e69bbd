"""Whom to call: after a warning answer, where a link takes nothing, and before a link is made at all."""

import pytest
from django.test import Client
from django.urls import reverse

from clinic.planning.models import FollowUp
from clinic.reports.models import ReportLink
from clinic.reviews.models import Contact
from tests.clinic.reports.conftest import NOW
from tests.factories import create_link

pytestmark = pytest.mark.django_db
CALM = {"pain0": "1", "fluid0": "none", "nail0": "no", "sore0": "no", "call": "no", "note": ""}


@pytest.fixture
def link(operated):
    row, token = create_link(operated(365), now=NOW)
    row.url = reverse("report", args=[token])
    return row


def send(link, **changed):
    return Client().post(link.url, CALM | changed)


@pytest.mark.parametrize("warning", [{"fluid0": "yellow"}, {"pain0": "7"}, {"signs": ["sign_dark"]}])
def test_who_sends_a_warning_is_told_to_call_now_above_the_thanks(link, warning):
    FollowUp.objects.create(practice=link.operation.practice, phone="01632 960100")
    send(link, **warning)

    page = Client().get(link.url).content.decode()

    assert page.index("Do not wait for us. Call us now:") < page.index("01632 960100") < page.index("Thank you")


def test_who_sends_none_is_not_alarmed_and_who_wrote_learns_that_it_may_wait(link):
    send(link, note="All is well")

    page = Client().get(link.url).content.decode()

    assert "Do not wait for us. Call" not in page
    assert "We may not read your note today. If it cannot wait, call us." in page


@pytest.mark.parametrize("tries", [1, 6])
def test_whoever_cannot_report_learns_to_call(db, tries):
    """After one guess the link is unknown; after five the address is slowed down."""
    client = Client(REMOTE_ADDR="192.0.2.9")
    for number in range(tries):
        page = client.get(reverse("report", args=[f"guess-{number}"]))

    assert page.status_code == (404 if tries == 1 else 429)
    assert "If your toe hurts, call the practice." in page.content.decode()


def test_without_a_number_to_call_no_link_is_made(operated, client_of, reception, lead):
    url, client = reverse("report-link", args=[operated(365).key]), client_of(reception)

    page = client.post(url, {"once": "0" * 32, "about": "twelve_months"}).content.decode()

    assert "and none is set. No link is made." in page
    assert "The practice lead sets it under Following up." in page
    assert reverse("follow-up") not in page  # it would refuse reception
    assert reverse("follow-up") in client_of(lead).get(url).content.decode()
    assert not ReportLink.objects.exists()


def test_a_slip_is_a_try_in_the_log(operated, client_of, reception, practice):
    FollowUp.objects.create(practice=practice, phone="01632 960100")
    operation, client = operated(365), client_of(reception)
    url = reverse("report-link", args=[operation.key])
    once = client.get(url).context["form"]["once"].value()

    for _ in range(2):  # the second time it was made before, and is no second try
        client.post(url, {"once": once, "about": "twelve_months"})

    row = Contact.objects.get()
    assert (row.operation, row.channel, row.result, row.recorded_by) == (operation, "letter", "sent", reception)
    assert row.note == "Slip with the patient's link"
