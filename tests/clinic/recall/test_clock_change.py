"""Around the changes of the clock: a due day is a local day, whatever the hour of the server says.

Europe/London: summer time ends on 25 October 2026 at 02:00 and begins on 28 March 2027 at 01:00.
"""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from clinic.reviews.models import Booking, Contact
from tests.factories import create_link, create_operation, create_patient

pytestmark = pytest.mark.django_db


def overdue(client, at: datetime) -> list[str]:
    with time_machine.travel(at, tick=False):
        page = client.get(reverse("recall"), {"show": "overdue"})
    return [each["row"].identity.family_name for each in page.context["rows"]]


@pytest.mark.parametrize(
    ("target", "last_minute", "first_minute"),
    [
        # The target day ends at midnight local time, which is 23:00 UTC in summer and 00:00 UTC in winter.
        (date(2026, 10, 24), datetime(2026, 10, 24, 22, 59, tzinfo=UTC), datetime(2026, 10, 24, 23, 0, tzinfo=UTC)),
        (date(2026, 10, 25), datetime(2026, 10, 25, 23, 59, tzinfo=UTC), datetime(2026, 10, 26, 0, 0, tzinfo=UTC)),
        (date(2027, 3, 27), datetime(2027, 3, 27, 23, 59, tzinfo=UTC), datetime(2027, 3, 28, 0, 0, tzinfo=UTC)),
        (date(2027, 3, 28), datetime(2027, 3, 28, 22, 59, tzinfo=UTC), datetime(2027, 3, 28, 23, 0, tzinfo=UTC)),
    ],
)
def test_a_review_falls_overdue_at_local_midnight(client_of, practice, reception, target, last_minute, first_minute):
    patient = create_patient(practice, family_name="Midnight")
    create_operation(patient=patient, operator=reception, performed_on=target - timedelta(days=42))
    with time_machine.travel(last_minute, tick=False):
        client = client_of(reception)

    assert overdue(client, last_minute) == []
    assert overdue(client, first_minute) == ["Midnight"]


def test_a_contact_at_half_past_eleven_at_night_in_summer_is_logged_on_the_local_day(client_of, practice, reception):
    operation = create_operation(patient=create_patient(practice), operator=reception, performed_on=date(2026, 8, 1))
    with time_machine.travel(datetime(2026, 9, 15, 23, 30, tzinfo=UTC), tick=False):
        client_of(reception).post(
            reverse("contact", args=[operation.key]), {"channel": "phone", "result": "left_message"}
        )  # fmt: skip

    assert Contact.objects.get().made_on == date(2026, 9, 16)


@pytest.mark.parametrize(
    ("made", "last", "after"),
    [
        (datetime(2026, 10, 12, 9, tzinfo=UTC), datetime(2026, 10, 26, 23, 59, 58, tzinfo=UTC), (2026, 10, 27, 0, 0)),
        (datetime(2027, 3, 16, 9, tzinfo=UTC), datetime(2027, 3, 30, 22, 59, 58, tzinfo=UTC), (2027, 3, 30, 23, 0)),
    ],
)
def test_a_link_works_until_the_end_of_its_last_local_day(practice, reception, made, last, after):
    operation = create_operation(patient=create_patient(practice), operator=reception, performed_on=date(2025, 10, 20))
    _, token = create_link(operation, by=reception, now=made, days=14)
    url = reverse("report", args=[token])

    with time_machine.travel(last, tick=False):
        assert Client().get(url).status_code == 200
    with time_machine.travel(datetime(*after, tzinfo=UTC), tick=False):
        assert Client().get(url).status_code == 410


def test_an_hour_that_the_clock_leaves_out_cannot_be_booked(client_of, practice, reception):
    operation = create_operation(patient=create_patient(practice), operator=reception, performed_on=date(2026, 9, 1))
    with time_machine.travel(datetime(2027, 3, 20, 9, tzinfo=UTC), tick=False):
        client = client_of(reception)
        page = client.post(reverse("book", args=[operation.key]), {"on": "2027-03-28", "at": "01:30"})
        assert "01:30 does not exist on that day: the clocks go forward" in page.content.decode()
        client.post(reverse("book", args=[operation.key]), {"on": "2027-03-28", "at": "02:30"})

    assert Booking.objects.get().starts_at == datetime(2027, 3, 28, 1, 30, tzinfo=UTC)


def test_half_past_midnight_after_the_window_is_beyond_it_on_today_as_well(client_of, practice, reception):
    """27 August, 00:30 summer time, is 26 August in UTC: the last day of the window."""
    operation = create_operation(patient=create_patient(practice), operator=reception, performed_on=date(2026, 7, 1))
    starts_at = datetime(2026, 8, 26, 23, 30, tzinfo=UTC)
    Booking.objects.create(operation=operation, starts_at=starts_at, booked_by=reception)

    with time_machine.travel(datetime(2026, 8, 20, 9, tzinfo=UTC), tick=False):
        lists = client_of(reception).get(reverse("today")).context["lists"]

    assert [row.operation for row in lists.overdue] == [operation]
