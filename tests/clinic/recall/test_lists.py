"""The recall page: who stands on which list, in which order, and for how many statements."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clinic.planning.recording import change_template
from clinic.recall.models import Closure
from clinic.reviews.models import Booking, Contact
from clinic.schedule import SCHEDULE
from tests.clinic.recall.conftest import NOW, TODAY
from tests.clinic.recall.many import many_operations
from tests.factories import create_review

pytestmark = pytest.mark.django_db
CODES = ("overdue", "soon", "outcome", "never", "close", "stopped")


def names(client, show: str = "overdue", **more) -> list[str]:
    page = client.get(reverse("recall"), {"show": show, **more})
    assert page.status_code == 200
    return [each["row"].identity.family_name for each in page.context["rows"]]


def tried(operation, days_ago: int, result: str = "no_answer", channel: str = "phone"):
    return Contact.objects.create(
        operation=operation, made_on=TODAY - timedelta(days=days_ago), channel=channel, result=result,
        recorded_by=operation.operator, recorded_at=NOW - timedelta(days=days_ago),
    )  # fmt: skip


def book(operation, day: date):
    starts_at = timezone.make_aware(datetime(day.year, day.month, day.day, 9, 20))
    return Booking.objects.create(operation=operation, starts_at=starts_at, booked_by=operation.operator)


def test_each_operation_stands_on_the_lists_it_belongs_to(client_of, operated, reception):
    operated(50, "Overdue")
    operated(36, "Due")
    operated(25, "Opens")  # its 6-week window opens in ten days
    operated(20, "Later")
    operated(340, "Year due")
    operated(380, "Year overdue")
    operated(430, "Over")
    create_review(operated(380, "Known"), day=340)
    never = operated(48, "Never")
    tried(never, 3)
    client = client_of(reception)

    assert {code: names(client, code) for code in CODES} == {
        "overdue": ["Overdue", "Never", "Year overdue"],
        "soon": ["Due", "Opens", "Year due"],
        "outcome": ["Year overdue", "Year due"],
        "never": ["Never"],
        "close": ["Over"],
        "stopped": [],
    }


def test_a_booking_within_the_window_takes_somebody_off_but_keeps_the_outcome_missing(client_of, operated, reception):
    operation = operated(380, "Booked")
    book(operation, TODAY + timedelta(days=10))
    client = client_of(reception)

    assert names(client, "overdue") == []
    assert names(client, "outcome") == ["Booked"]
    assert "Booked 5 Dec, 09:20" in client.get(reverse("recall"), {"show": "outcome"}).content.decode()


def test_a_booking_after_the_window_does_not_save_the_review(client_of, operated, reception):
    book(operated(380, "Too late"), TODAY + timedelta(days=60))

    assert names(client_of(reception), "overdue") == ["Too late"]


@pytest.mark.parametrize(
    ("result", "words"), [("declined", "Declined"), ("moved", "Moved away")]
)  # fmt: skip
def test_who_declined_or_moved_is_not_tried_and_the_row_says_why(client_of, operated, reception, result, words):
    tried(operated(380, "Stopped"), 2, result)
    client = client_of(reception)

    assert names(client, "overdue") == names(client, "soon") == names(client, "never") == []
    page = client.get(reverse("recall"), {"show": "stopped"}).content.decode()
    assert words in page
    assert "Log a contact" not in page
    assert 'name="pick"' not in page


def test_who_comes_back_is_tried_again(client_of, operated, reception):
    operation = operated(380, "Back")
    tried(operation, 20, "declined")
    tried(operation, 2, "problem")

    assert names(client_of(reception), "overdue") == ["Back"]


def test_what_was_declined_once_does_not_stop_a_later_operation(client_of, operated, reception):
    first = operated(900, "Twice")
    tried(first, 600, "declined")
    operated(380, "Twice", patient=first.patient)

    assert names(client_of(reception), "overdue") == ["Twice"]


def test_moved_told_at_one_operation_holds_for_the_other_one(client_of, operated, reception):
    first = operated(380, "Twice")
    operated(50, "Twice", patient=first.patient)
    tried(first, 2, "moved")

    assert names(client_of(reception), "overdue") == []
    assert names(client_of(reception), "stopped") == ["Twice", "Twice"]


def test_no_contact_wished_and_death_are_respected(client_of, operated, reception):
    unwilling, dead = operated(380, "Unwilling"), operated(380, "Dead")
    unwilling.patient.no_contact_wished = True
    unwilling.patient.save()
    dead.patient.died_on = TODAY - timedelta(days=5)
    dead.patient.save()
    client = client_of(reception)

    assert names(client, "overdue") == []
    assert names(client, "outcome") == ["Unwilling"]
    assert names(client, "stopped") == ["Unwilling", "Dead"]
    assert names(client, "close") == []


def test_a_closed_operation_is_not_tried_and_not_asked_about_again(client_of, operated, reception):
    operation = operated(430, "Closed")
    Closure.objects.create(
        operation=operation, reason="never_tried", closed_on=TODAY, closed_by=reception, closed_at=NOW
    )  # fmt: skip

    assert names(client_of(reception), "close") == []


def test_a_contact_that_was_taken_back_is_no_try(client_of, operated, reception):
    operation = operated(50, "Taken back")
    contact = tried(operation, 1)
    contact.struck_at, contact.struck_reason = NOW, "Undone by the author"
    contact.save()

    assert names(client_of(reception), "never") == []


def test_an_amputated_toe_is_nobodys_review(client_of, operated, reception):
    operation = operated(380)
    operation.nail_procedures.update(amputated_on=TODAY - timedelta(days=10))

    assert names(client_of(reception), "overdue") == names(client_of(reception), "outcome") == []


def test_a_report_that_nobody_has_accepted_leaves_the_outcome_missing(client_of, operated, reception):
    operation = operated(380, "Waiting")
    report = create_review(operation, day=370, means="questionnaire", observer="patient", accepted=False)
    client = client_of(reception)
    assert names(client, "outcome") == ["Waiting"]

    report.accepted_at = NOW
    report.save()
    assert names(client, "outcome") == []


def test_fifty_rows_a_page_and_all_of_them_to_print(client_of, operated, reception):
    many_operations(operated(380, "First"), 52)
    client = client_of(reception)

    first, second, beyond = (names(client, "outcome", page=each) for each in ("1", "2", "99"))

    assert (len(first), len(second)) == (50, 3)
    assert beyond == second
    assert names(client, "outcome", page="-1") == names(client, "outcome", page="x") == first
    assert sorted(first + second) == sorted(names(client, "outcome", all="1"))


def test_an_unknown_list_does_not_exist(client_of, reception):
    client = client_of(reception)

    assert client.get(reverse("recall"), {"show": "everybody"}).status_code == 404
    assert client.get(reverse("recall-csv"), {"show": "everybody"}).status_code == 404


def test_statements_are_bounded_at_10_and_at_500_rows(client_of, operated, reception):
    client = client_of(reception)

    def statements() -> dict[str, int]:
        found = {}
        for show in CODES:
            with CaptureQueriesContext(connection) as captured:
                assert client.get(reverse("recall"), {"show": show}).status_code == 200
            found[show] = len(captured)
        return found

    for number in range(10):
        tried(operated(380 - 5 * number, f"Row {number}"), 3, "declined" if number == 9 else "no_answer")
    tried(operated(430, "Over"), 100)
    few = statements()
    many_operations(operated(390, "First"), 490)
    many = statements()

    assert many == few
    assert max(many.values()) <= 8


def test_today_and_recall_agree_on_who_is_overdue(client_of, operated, practitioner):
    for days in (36, 43, 50, 160, 200, 340, 370, 400, 424, 426):
        tried(operated(days, f"Day {days}"), 2)
    tried(operated(385, "Declined"), 2, "declined")
    client = client_of(practitioner)

    today = [row.identity.family_name for row in client.get(reverse("today")).context["lists"].overdue]

    assert today == names(client, "overdue")
    assert len(today) == 6


def test_the_row_says_what_comes_next(client_of, operated, reception):
    tried(operated(372, "Next"), 4)

    page = client_of(reception).get(reverse("recall")).content.decode()

    assert "Try 2: Call today, at another hour than 08:00" in page
    assert "tried once, 21 Nov: no answer" in page


def test_past_the_window_all_tries_of_the_operation_are_shown(client_of, operated, reception):
    operation = operated(430, "Over")
    tried(operation, 80)
    tried(operation, 70, "left_message")

    row = client_of(reception).get(reverse("recall"), {"show": "close"}).context["rows"][0]

    assert len(row["row"].tries) == 2
    assert row["last"].result == "left_message"


def test_inside_the_audits_window_no_window_is_called_over(client_of, operated, practice, lead, reception):
    """A schedule of the practice's own may close earlier than the audit does."""
    early = tuple(replace(p, closes_day=390) if p.code == "twelve_months" else p for p in SCHEDULE)
    change_template(
        by=lead, version=1, technique="common", schedule=early, moving=False, reason="Ours", now=NOW, today=TODAY
    )
    operation, client = operated(391), client_of(reception)

    (row,) = client.get(reverse("recall"), {"show": "outcome"}).context["rows"]
    letter = client.get(reverse("letters"), {"pick": operation.key}).content.decode()

    assert row["words"] == "No review planned, day 391"
    assert "No review is planned. The audit counts a look until day 425: book one by phone." in letter
