"""Who stopped, or was closed as lost, and came or booked all the same: followed again like anybody else."""

from datetime import timedelta

import pytest
from django.urls import reverse

from clinic.recall.models import Closure
from clinic.recall.recording import close_as_lost
from clinic.reviews.models import Contact
from tests.clinic.recall.conftest import NOW, TODAY
from tests.clinic.recall.test_lists import names, tried
from tests.factories import create_review

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("result", ["declined", "moved"])
def test_who_stopped_and_was_seen_since_is_followed_again(client_of, operated, reception, result):
    """Declined on day 60, seen on day 182 all the same: the review at twelve months is due like any other."""
    operation = operated(380, "Came back")
    tried(operation, 380 - 60, result)
    create_review(operation, day=182)
    client = client_of(reception)
    assert names(client, "overdue") == ["Came back"]

    tried(operation, 100, result)  # and said so once more
    assert names(client, "overdue") == []


def test_a_closure_ends_when_the_patient_is_seen_and_can_be_closed_anew(client_of, operated, reception):
    operation = operated(380, "Came back")
    Closure.objects.create(
        operation=operation, reason="never_tried", closed_on=TODAY - timedelta(days=200), closed_by=reception,
        closed_at=NOW - timedelta(days=200),
    )  # fmt: skip
    client = client_of(reception)
    assert names(client, "overdue") == []

    create_review(operation, day=200)
    assert names(client, "overdue") == ["Came back"]

    close_as_lost(by=reception, operation=operation, reason="no_reply", note="", on=TODAY, now=NOW)
    assert names(client, "overdue") == []


def test_a_booking_stands_in_the_log_as_a_contact_by_the_channel_that_was_tapped(client_of, operated, reception):
    operation = operated(380, "Rang back")
    tried(operation, 20)
    tried(operation, 9, "declined")
    client = client_of(reception)

    page = client.post(reverse("contact", args=[operation.key]), {"channel": "email", "do": "book"}, follow=True)
    channel = page.context["form"]["channel"].value()
    answers = {"on": "2027-01-20", "at": "10:40", "channel": channel}  # after the window, so it saves no review
    client.post(reverse("book", args=[operation.key]), answers)

    row = Contact.objects.latest("pk")
    assert (row.channel, row.result, row.recorded_by) == ("email", "booked", reception)
    assert names(client, "overdue") == ["Rang back"]
    assert names(client, "never") == []


def test_a_booking_opens_a_closed_one_again_and_takes_no_step_of_the_ladder(client_of, operated, reception):
    operation = operated(380, "Closed")
    tried(operation, 9)
    Closure.objects.create(
        operation=operation, reason="no_reply", closed_on=TODAY, closed_by=reception, closed_at=NOW - timedelta(hours=1)
    )
    client = client_of(reception)

    client.post(reverse("book", args=[operation.key]), {"on": "2027-01-20", "at": "10:40"})

    (row,) = client.get(reverse("recall")).context["rows"]
    assert row["next"].startswith("Try 2: ")
    assert Contact.objects.latest("pk").channel == "phone"
