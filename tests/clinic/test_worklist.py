"""Today: booked, due, overdue, unexpected; and the acts that start from it."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clinic.recall.recording import OtherDeath, log_contact
from clinic.reviews.models import Booking, Contact
from clinic.reviews.timeline import window_words
from clinic.schedule import SIX_WEEKS
from tests.factories import create_operation, create_patient, create_review

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)
TODAY = date(2026, 11, 25)


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


def operated(practice, practitioner, days_ago, family_name="Example"):
    patient = create_patient(practice, family_name=family_name)
    return create_operation(patient=patient, operator=practitioner, performed_on=TODAY - timedelta(days=days_ago))


def book(operation, by, hour=9):
    starts_at = timezone.make_aware(datetime(2026, 11, 25, hour, 20))
    return Booking.objects.create(operation=operation, starts_at=starts_at, booked_by=by)


def lists_of(client):
    return client.get(reverse("today")).context["lists"]


def test_each_operation_stands_in_one_list(client_of, practice, practitioner):
    book(operated(practice, practitioner, 43, "Booked"), practitioner)
    operated(practice, practitioner, 50, "Overdue")
    operated(practice, practitioner, 36, "Due")
    operated(practice, practitioner, 100, "Between")
    operated(practice, practitioner, 500, "Old")
    seen = operated(practice, practitioner, 40, "Seen")
    create_review(seen, day=40)

    lists = lists_of(client_of(practitioner))

    names = {
        part: [row.identity.family_name for row in getattr(lists, part)]
        for part in ("booked", "overdue", "due", "done")
    }
    assert names == {"booked": ["Booked"], "overdue": ["Overdue"], "due": ["Due"], "done": ["Seen"]}
    assert lists.next_opens_on == TODAY + timedelta(days=50)


def test_a_booking_on_a_later_day_takes_the_row_off_the_overdue_list(client_of, practice, practitioner):
    late = operated(practice, practitioner, 50)
    client = client_of(practitioner)

    client.post(reverse("book", args=[late.key]), {"on": "2026-11-27", "at": "10:40"})

    assert lists_of(client).overdue == []
    assert Booking.objects.get().point == "six_weeks"


def test_booking_in_the_past_is_refused(client_of, practice, practitioner):
    late = operated(practice, practitioner, 50)

    response = client_of(practitioner).post(reverse("book", args=[late.key]), {"on": "2026-11-24", "at": "25:00"})

    assert "Enter the time like 09:20" in response.content.decode()
    response = client_of(practitioner).post(reverse("book", args=[late.key]), {"on": "2026-11-24", "at": "10:00"})
    assert "The appointment lies in the past" in response.content.decode()
    assert not Booking.objects.exists()


def test_booking_anew_cancels_the_earlier_booking_and_keeps_it(client_of, practice, practitioner):
    late = operated(practice, practitioner, 50)
    client = client_of(practitioner)

    for day in ("2026-11-27", "2026-11-30"):
        client.post(reverse("book", args=[late.key]), {"on": day, "at": "10:40"})

    assert Booking.objects.count() == 2
    assert Booking.objects.filter(cancelled_at__isnull=True).count() == 1


def test_a_problem_told_by_phone_is_unexpected_until_dealt_with(client_of, practice, practitioner):
    operation = operated(practice, practitioner, 20)
    client = client_of(practitioner)

    client.post(
        reverse("contact", args=[operation.key]), {"channel": "phone", "result": "problem", "reported": "nothing"}
    )
    assert [row.words for row in lists_of(client).unexpected] == ["Patient reports a problem"]

    client.post(reverse("contact-dealt-with", args=[Contact.objects.get().key]))
    assert lists_of(client).unexpected == []


def test_a_patients_report_is_unexpected_until_accepted(client_of, practice, practitioner):
    operation = operated(practice, practitioner, 20)
    report = create_review(
        operation, day=19, means="questionnaire", observer="patient", origin="patient", accepted=False
    )
    client = client_of(practitioner)

    assert [row.words for row in lists_of(client).unexpected] == ["Patient's report"]
    client.post(reverse("review-accept", args=[report.key]))
    assert lists_of(client).unexpected == []


def test_a_contact_needs_how_and_what(client_of, practice, practitioner):
    operation = operated(practice, practitioner, 50)
    client = client_of(practitioner)

    page = client.post(reverse("contact", args=[operation.key]), {"next_try_on": "2026-11-25"}).content.decode()
    assert page.count("Choose how you tried") == 2
    assert page.count("Choose what came of it") == 2

    answers = {"channel": "phone", "result": "no_answer", "next_try_on": "2026-11-25"}
    page = client.post(reverse("contact", args=[operation.key]), answers).content.decode()
    assert "Next try must be after today" in page
    assert not Contact.objects.exists()


def test_no_answer_proposes_three_working_days(client_of, practice, practitioner):
    operation = operated(practice, practitioner, 50)

    page = client_of(practitioner).get(reverse("contact", args=[operation.key])).content.decode()

    assert 'value="2026-11-30"' in page  # Wednesday, then Thursday, Friday, Monday


def test_the_dead_are_not_chased_and_the_unwilling_only_counted(client_of, practice, practitioner):
    dead = operated(practice, practitioner, 50)
    dead.patient.died_on = TODAY - timedelta(days=3)
    dead.patient.save()
    unwilling = operated(practice, practitioner, 50)
    unwilling.patient.no_contact_wished = True
    unwilling.patient.save()

    lists = lists_of(client_of(practitioner))

    assert lists.overdue == []
    assert lists.no_contact == 1


def test_another_practice_sees_nothing_of_it(client_of, practice, practitioner, colleague_elsewhere):
    operated(practice, practitioner, 50)

    assert list(lists_of(client_of(colleague_elsewhere)).rows()) == []


@pytest.mark.parametrize("name", ["today", "toe", "review-record"])
def test_statements_do_not_grow_with_rows(client_of, practice, practitioner, name):
    budget = {"today": 13, "toe": 15, "review-record": 8}[name]
    client = client_of(practitioner)

    def statements() -> int:
        args = {"today": [], "toe": [first.nail_procedures.get().key], "review-record": [first.key]}[name]
        with CaptureQueriesContext(connection) as captured:
            assert client.get(reverse(name, args=args)).status_code == 200
        return len(captured)

    first = operated(practice, practitioner, 50)
    create_review(first, day=4)
    few = statements()
    for each in range(12):
        create_review(operated(practice, practitioner, 36 + each), day=5)
        create_review(first, day=5 + each)
    many = statements()

    assert many == few
    assert many <= budget


def test_has_died_asks_for_the_day_and_ends_the_calls(client_of, practice, practitioner):
    operation = operated(practice, practitioner, 50)
    client = client_of(practitioner)
    told = {"channel": "phone", "result": "died"}

    page = client.post(reverse("contact", args=[operation.key]), told).content.decode()
    assert "When did the patient die? Give day, month and year" in page
    assert not Contact.objects.exists()

    client.post(reverse("contact", args=[operation.key]), told | {"died_on": "2026-11-20"})
    operation.patient.refresh_from_db()
    assert operation.patient.died_on == date(2026, 11, 20)
    assert operation.patient.history.first().history_change_reason == "Told at a contact"
    assert lists_of(client).overdue == []


def test_ending_clinic_reviews_leaves_only_the_twelve_month_contact(client_of, practice, practitioner):
    half_year = operated(practice, practitioner, 190)
    review = create_review(half_year, day=42)
    review.next_step = "end_clinic"
    review.save()

    lists = lists_of(client_of(practitioner))

    assert (lists.overdue, lists.due) == ([], [])
    assert lists.next_opens_on == half_year.performed_on + timedelta(days=335)


@pytest.mark.parametrize("result", ["declined", "moved"])
def test_who_declines_or_has_moved_is_not_called_again(client_of, practice, practitioner, result):
    operation = operated(practice, practitioner, 50)
    client = client_of(practitioner)

    client.post(reverse("contact", args=[operation.key]), {"channel": "phone", "result": result})

    assert lists_of(client).overdue == []
    assert lists_of(client).no_contact == 1


def test_a_booking_in_a_wrong_year_is_refused_and_one_beyond_the_window_does_not_hide_the_row(
    client_of, practice, practitioner
):
    late = operated(practice, practitioner, 50)
    client = client_of(practitioner)

    page = client.post(reverse("book", args=[late.key]), {"on": "2062-12-01", "at": "10:40"}).content.decode()
    assert "more than 14 months ahead; check the year" in page
    client.post(reverse("book", args=[late.key]), {"on": "2027-01-20", "at": "10:40"})

    assert [row.operation for row in lists_of(client).overdue] == [late]


def test_the_same_booking_sent_twice_is_one(client_of, practice, practitioner):
    late = operated(practice, practitioner, 50)
    client = client_of(practitioner)
    page = client.get(reverse("book", args=[late.key])).content.decode()
    once = page.split('name="once" value="')[1].split('"')[0]

    for _ in range(3):
        client.post(reverse("book", args=[late.key]), {"on": "2026-11-27", "at": "10:40", "once": once})

    assert Booking.objects.count() == 1


def test_the_booking_page_says_what_is_needed_on_the_phone(client_of, practice, practitioner):
    late = operated(practice, practitioner, 50)
    identity = late.patient.identity
    identity.phone = "01632 960004"
    identity.save()
    client = client_of(practitioner)
    client.post(reverse("book", args=[late.key]), {"on": "2026-11-27", "at": "10:40"})

    page = client.get(reverse("book", args=[late.key])).content.decode()

    assert "01632 960004" in page
    assert "6-week review" in page
    assert window_words(SIX_WEEKS, late.performed_on) in page
    assert "Friday 27 Nov 2026, 10:40" in page


def test_a_cancelled_booking_keeps_its_row_and_the_review_is_overdue_again(client_of, practice, practitioner):
    late = operated(practice, practitioner, 50)
    client = client_of(practitioner)
    client.post(reverse("book", args=[late.key]), {"on": "2026-11-27", "at": "10:40"})

    for _ in range(2):
        client.post(reverse("booking-cancel", args=[Booking.objects.get().key]))

    booking = Booking.objects.get()
    assert booking.cancelled_at is not None
    assert booking.history.latest("history_id").history_change_reason == "Cancelled"
    assert [row.operation for row in lists_of(client).overdue] == [late]
    assert "Booked for" not in client.get(reverse("book", args=[late.key])).content.decode()


def test_who_has_died_has_no_appointment_and_gets_none(client_of, practice, practitioner):
    dead = operated(practice, practitioner, 43)
    book(dead, practitioner)
    dead.patient.died_on = TODAY - timedelta(days=3)
    dead.patient.save()
    client = client_of(practitioner)

    assert lists_of(client).booked == []
    page = client.post(reverse("book", args=[dead.key]), {"on": "2026-11-27", "at": "10:40"}).content.decode()
    assert "The patient died on 22 Nov 2026; no review is booked" in page
    assert 'name="on"' not in client.get(reverse("book", args=[dead.key])).content.decode()
    assert Booking.objects.count() == 1


@pytest.mark.parametrize(("result", "label"), [("declined", "Declined"), ("moved", "Moved away")])
def test_whoever_books_learns_why_the_patient_is_not_tried(client_of, practice, practitioner, result, label):
    operation = operated(practice, practitioner, 50)
    client = client_of(practitioner)
    client.post(reverse("contact", args=[operation.key]), {"channel": "phone", "result": result})

    page = client.get(reverse("book", args=[operation.key])).content.decode()

    assert f"<h2>{label}</h2>" in page
    assert "Book only what the patient asks for." in page
    client.post(reverse("book", args=[operation.key]), {"on": "2026-11-27", "at": "10:40"})
    assert Booking.objects.count() == 1


def test_nobody_dies_before_the_operation_nor_twice(client_of, practice, practitioner):
    operation = operated(practice, practitioner, 50)
    client, told = client_of(practitioner), {"channel": "phone", "result": "died"}

    def log(died_on):
        return client.post(reverse("contact", args=[operation.key]), told | {"died_on": died_on}).content.decode()

    assert "The date of death lies before the operation of 6 Oct 2026; check both" in log("2026-10-05")
    log("2026-11-20")
    assert "20 Nov 2026 is on record. If that is wrong, correct it in the patient&#x27;s data" in log("2026-11-21")
    operation.patient.refresh_from_db()
    assert operation.patient.died_on == date(2026, 11, 20)
    assert Contact.objects.count() == 1


def test_a_contact_never_overwrites_a_date_of_death(practice, practitioner):
    operation = operated(practice, practitioner, 50)
    answers = {"channel": "phone", "result": "died", "died_on": date(2026, 11, 20)}
    log_contact(by=practitioner, operation=operation, answers=answers, now=NOW)

    with pytest.raises(OtherDeath), transaction.atomic():
        log_contact(by=practitioner, operation=operation, answers=answers | {"died_on": TODAY}, now=NOW)
