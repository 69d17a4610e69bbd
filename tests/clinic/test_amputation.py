"""A toe amputated later: recorded with its date, counted apart, no longer due."""

from datetime import UTC, date, datetime

import pytest
import time_machine
from django.urls import reverse

from clinic.worklist.queries import day_list
from tests.factories import NOON, create_operation

pytestmark = pytest.mark.django_db
DONE_ON = date(2026, 5, 4)
TODAY = date(2026, 11, 25)


@pytest.fixture
def nail(practice):
    return create_operation(practice, performed_on=DONE_ON).nail_procedures.get()


@pytest.fixture
def note(client_of, practitioner, nail):
    client = client_of(practitioner)

    def post(day: str, reason: str = "Letter of the hospital", version: int | None = None):
        data = {"amputated_on": day, "reason": reason, "version": version or nail.version}
        with time_machine.travel(datetime(2026, 11, 25, 12, tzinfo=UTC), tick=False):
            return client.post(reverse("toe-amputated", args=[nail.key]), data, follow=True)

    return post


def test_is_kept_as_a_version_with_the_reason(note, nail, practitioner):
    page = note("2026-09-01").content.decode()

    nail.refresh_from_db()
    newest = nail.history.latest("history_id")
    assert nail.amputated_on == date(2026, 9, 1)
    assert (newest.history_user, newest.history_change_reason) == (practitioner, "Letter of the hospital")
    assert "Toe amputated 1 Sep 2026" in page
    assert "is next" not in page


def test_can_be_taken_back(note, nail):
    note("2026-09-01")
    nail.refresh_from_db()

    note("", reason="Wrong patient")

    nail.refresh_from_db()
    assert nail.amputated_on is None
    assert nail.history.latest("history_id").history_change_reason == "Wrong patient"


@pytest.mark.parametrize(
    ("day", "reason", "sentence"),
    [
        ("2026-05-03", "x", "before the nail operation on 4 May 2026"),
        ("2026-11-26", "x", "lies in the future"),
        ("", "x", "When was the toe amputated?"),
        ("2026-09-01", "", "Say how you know"),
    ],
)
def test_what_cannot_be_is_refused(note, nail, day, reason, sentence):
    page = note(day, reason=reason).content.decode()

    nail.refresh_from_db()
    assert sentence in page
    assert nail.amputated_on is None


def test_not_after_death(note, nail):
    patient = nail.operation.patient
    patient.died_on = date(2026, 8, 1)
    patient.save()

    assert "after the date of death" in note("2026-09-01").content.decode()


def test_two_people_at_once_lose_nothing(note, nail):
    shown = nail.version
    note("2026-09-01")

    late = note("2026-09-02", version=shown)

    nail.refresh_from_db()
    assert late.status_code == 409
    assert "Somebody changed this toe" in late.content.decode()
    assert nail.amputated_on == date(2026, 9, 1)


def rows(member) -> list:
    lists = day_list(member, today=TODAY, day_starts_at=NOON)
    return [*lists.overdue, *lists.due, *lists.booked]


def test_nothing_is_due_any_more(note, nail, practitioner):
    assert rows(practitioner)

    note("2026-09-01")

    assert rows(practitioner) == []
