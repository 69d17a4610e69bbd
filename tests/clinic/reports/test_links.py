"""Links that take nothing, and what slows down whoever guesses or sends again and again."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.reports.models import ReportLink
from clinic.reviews.models import Review, ToeFinding
from tests.clinic.reports.conftest import NOW, TODAY, send
from tests.factories import create_link

pytestmark = pytest.mark.django_db


def test_a_link_is_spent_by_sending_and_says_so_afterwards(link):
    send(link)

    again = Client().get(link.url)
    replay = send(link, pain0="9", fluid0="yellow")

    assert "These answers were sent on 25 November 2026" in again.content.decode()
    assert "These answers were sent on 25 November 2026" in replay.content.decode()
    assert Review.objects.count() == 1
    assert ToeFinding.objects.get().pain == 1


def test_an_expired_link_says_when_it_ended(link, clock):
    clock.move_to(datetime(2026, 12, 9, 23, 59, 0, tzinfo=UTC))
    assert Client().get(link.url).status_code == 200
    clock.move_to(datetime(2026, 12, 10, 0, 0, 0, tzinfo=UTC))

    page = send(link)

    assert page.status_code == 410
    assert "This link ended on 9 December 2026" in page.content.decode()
    assert not Review.objects.exists()


def test_a_newer_link_ends_the_earlier_one(link, operated):
    _, token = create_link(link.operation, now=NOW)

    assert Client().get(link.url).status_code == 410
    assert send(link).status_code == 410
    assert Client().get(reverse("report", args=[token])).status_code == 200
    assert ReportLink.objects.filter(ended_at__isnull=True).count() == 1


@pytest.mark.parametrize("what", ["no contact", "died", "struck out"])
def test_a_withdrawn_patient_is_asked_nothing_and_told_nothing(link, what):
    operation = link.operation
    if what == "no contact":
        operation.patient.no_contact_wished = True
    elif what == "died":
        operation.patient.died_on = TODAY
    operation.patient.save()
    if what == "struck out":
        type(operation).objects.filter(pk=operation.pk).update(struck_at=NOW)

    pages = [Client().get(link.url), send(link)]

    for page in pages:
        assert page.status_code == 410
        assert "This link does not work any more" in page.content.decode()
        assert "contact" not in page.content.decode().lower().replace("contact-", "")
        assert "toe</strong>" not in page.content.decode()
    assert not Review.objects.exists()


@pytest.mark.parametrize("token", ["x", "never-made-by-anybody", "A" * 32, "a" * 500])
def test_a_guessed_link_does_not_exist(db, token):
    page = Client().get(reverse("report", args=[token]))

    assert page.status_code == 404
    assert "We do not know this link" in page.content.decode()


def test_guessing_is_slowed_down_for_right_links_as_well(link, settings, clock):
    guesser = Client(REMOTE_ADDR="192.0.2.7")
    statuses = [guesser.get(reverse("report", args=[f"guess-{number}"])).status_code for number in range(6)]

    assert statuses == [404] * 5 + [429]
    assert guesser.get(link.url).status_code == 429
    assert guesser.get(reverse("calendar-feed", args=["guess"])).status_code == 404, "counted apart"
    assert Client(REMOTE_ADDR="192.0.2.8").get(link.url).status_code == 200

    clock.move_to(NOW + timedelta(seconds=16))
    assert guesser.get(link.url).status_code == 200
    assert guesser.get(reverse("report", args=["guess-7"])).status_code == 404
    assert guesser.get(link.url).status_code == 429


def test_guessing_links_keeps_nobody_from_signing_in(practitioner):
    guesser = Client(REMOTE_ADDR="192.0.2.7")
    for number in range(10):
        guesser.get(reverse("report", args=[f"guess-{number}"]))

    response = guesser.post(
        reverse("sign-in"), {"username": "practitioner", "password": "a long enough word"}, REMOTE_ADDR="192.0.2.7"
    )  # fmt: skip

    assert response.status_code == 302


def test_sending_again_and_again_through_one_link_is_slowed_down(link, clock):
    statuses = [send(link, pain0="").status_code for _ in range(11)]

    assert statuses == [200] * 10 + [429]
    clock.move_to(NOW + timedelta(minutes=11))
    assert send(link).status_code == 302


def test_a_scanner_that_only_asks_for_the_head_uses_up_nothing(link):
    scanner = Client()
    assert {scanner.head(link.url).status_code for _ in range(12)} == {200}

    assert send(link).status_code == 302


def test_a_calendar_with_an_ended_address_keeps_no_patient_out(link):
    program = Client(REMOTE_ADDR="192.0.2.7")
    statuses = [program.get(reverse("calendar-feed", args=[f"ended-{number}"])).status_code for number in range(6)]

    assert statuses == [404] * 5 + [429]
    assert program.get(link.url).status_code == 200


def test_only_a_digest_of_the_token_is_stored(link):
    token = link.url.strip("/").split("/")[-1]
    with connection.cursor() as cursor:
        cursor.execute("SELECT digest FROM clinic_reportlink")
        stored = [row[0] for row in cursor.fetchall()]
        cursor.execute("SELECT digest FROM clinic_historicalreportlink")
        stored += [row[0] for row in cursor.fetchall()]

    assert len(token) == 32  # 24 random bytes: 192 bits
    assert all(token not in each and len(each) == 64 for each in stored)


RACE = """
from django.test import Client
from django.utils import timezone
from clinic.reviews.models import Review
from tests.factories import create_link, create_operation
practice = create_practice()
member = create_member(practice)
operation = create_operation(practice, operator=member, performed_on=timezone.localdate())
link, token = create_link(operation, now=timezone.now())
answers = {"pain0": "1", "fluid0": "none", "nail0": "no", "sore0": "no", "call": "no"}
def attempt():
    return Client().post(f"/r/{token}/", answers).status_code
after = lambda: Review.objects.count()
"""


def test_six_devices_that_send_at_the_same_moment_make_one_report(race):
    results, count = race(RACE)

    assert count == 1
    assert set(results) <= {200, 302}


def test_the_database_itself_keeps_one_open_link(operated, practitioner):
    row, _ = create_link(operated(365), now=NOW)
    copy = {"operation": row.operation, "about": "problem", "made_by": practitioner, "made_at": NOW}

    with pytest.raises(IntegrityError), transaction.atomic():
        ReportLink.objects.create(**copy, digest="a" * 64, expires_at=NOW + timedelta(days=1))
    with pytest.raises(IntegrityError), transaction.atomic():
        ReportLink.objects.create(**copy, digest="b" * 64, expires_at=NOW, used_at=NOW)


def test_the_page_asks_the_database_four_times(link):
    with CaptureQueriesContext(connection) as captured:
        Client().get(link.url)

    assert len(captured) <= 4
