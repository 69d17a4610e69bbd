"""What must not slip through in the room: a tourniquet left on, typed values, another operation's rows, old pages."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from clinic.access.models import random_key
from clinic.procedures import guard
from clinic.procedures.models import Amendment, AnaestheticDose, NailProcedure, Operation
from clinic.procedures.signing import NotReady, amending, sign
from clinic.redflags.raising import keep_flags
from clinic.redflags.rules import Raised
from clinic.theatre import marks, note_views
from clinic.theatre.forms import MarkForm
from clinic.theatre.models import Mark
from clinic.vocabulary.redflag import Alert
from tests.clinic.theatre.test_pages import NOW, close, end_data, sign_page, tap, text
from tests.factories import create_operation

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(minutes=20)


@pytest.fixture
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def operation(practice, practitioner, clock):
    return create_operation(practice, operator=practitioner, performed_on=date(2026, 11, 25), seconds=())


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)


@pytest.fixture
def nail(operation):
    return operation.nail_procedures.get()


def stored(operation) -> Operation:
    return Operation.objects.get(pk=operation.pk)


# --- the tourniquet


def test_a_tapped_tourniquet_blocks_the_signature_even_if_its_kind_was_never_chosen(client, operation, nail):
    tap(client, operation, "tourniquet_on", nail=nail)

    page = text(sign_page(client, operation))

    assert "the tourniquet has no time off" in page
    assert stored(operation).signed_at is None


def test_no_signature_without_the_colour_of_the_toe(operation, practitioner):
    NailProcedure.objects.filter(operation=operation).update(
        tourniquet="ring", tourniquet_on_at=NOW, tourniquet_off_at=LATER, tourniquet_removal_witnessed="yes"
    )

    with pytest.raises(NotReady, match="blood flow after the tourniquet is not recorded"):
        sign(by=practitioner, operation=operation, version=operation.version, now=LATER, obstacles=[])


def test_a_tourniquet_tapped_by_mistake_leaves_no_time_behind(client, operation, nail, practitioner):
    tap(client, operation, "tourniquet_on", nail=nail)
    marks.take_back(by=practitioner, mark=Mark.objects.get(), version=1, now=LATER, reason="Wrong button")

    nail.refresh_from_db()
    assert nail.tourniquet_on_at is None
    assert "A tourniquet is on" not in text(client.get(reverse("room", args=[operation.key])))
    assert not any(row.kind == "late" for row in client.get(reverse("today")).context["lists"].unfinished)


def test_an_application_tapped_by_mistake_leaves_no_seconds_behind(client, operation, nail, practitioner):
    side = nail.treated_sides.get()
    tap(client, operation, "application_start", side=side)
    tap(client, operation, "application_stop", side=side)
    for mark in Mark.objects.order_by("-pk"):
        marks.take_back(by=practitioner, mark=mark, version=1, now=LATER, reason="Wrong button")

    assert not side.applications.exists()


def test_after_signing_no_correction_leaves_a_tourniquet_without_its_end(client, operation, nail, practitioner, clock):
    tap(client, operation, "tourniquet_on", nail=nail)
    clock.shift(timedelta(minutes=9))
    tap(client, operation, "tourniquet_off", nail=nail)
    close(client, operation)
    sign_page(client, operation)
    assert stored(operation).signed_at

    off = Mark.objects.get(kind="tourniquet_off")
    with pytest.raises(marks.Refused, match="signed"):
        marks.take_back(by=practitioner, mark=off, version=1, now=LATER, reason="x")


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"tourniquet": "not_recorded"}, "Times of a tourniquet are on record"),
        ({"tourniquet": "none", "on_at": "", "off_at": ""}, "no tourniquet was used"),
    ],
)
def test_typed_answers_about_a_tourniquet_are_never_dropped(client, operation, changes, sentence):
    assert sentence in text(close(client, operation, **changes))


# --- what was typed before


def test_typed_seconds_are_not_overwritten_by_a_tap(practice, practitioner, client, clock):
    operation = create_operation(practice, operator=practitioner, performed_on=date(2026, 11, 25), seconds=(60, 60))
    side = operation.nail_procedures.get().treated_sides.get()

    response = tap(client, operation, "application_start", side=side)

    assert response.status_code == 409
    assert "typed" in response.json()["said"]
    assert [row.seconds for row in side.applications.all()] == [60, 60]


def test_a_late_tap_never_makes_another_one_meaningless(client, operation, nail, clock):
    side = nail.treated_sides.get()
    tap(client, operation, "application_start", side=side)
    clock.shift(timedelta(seconds=60))
    tap(client, operation, "application_stop", side=side)

    response = tap(client, operation, "application_start", side=side, ago_ms=90_000)

    assert response.status_code == 409
    assert [row.seconds for row in side.applications.all()] == [60]


@pytest.mark.parametrize("days", [-1, 30])
def test_no_tap_on_another_day_than_the_operation(client, operation, clock, days, client_of, practitioner):
    clock.shift(timedelta(days=days))

    response = tap(client_of(practitioner), operation, "injected")

    assert response.status_code == 409
    assert "25 Nov 2026" in response.json()["said"]


def test_a_time_is_not_corrected_to_another_week(client, operation, practitioner):
    tap(client, operation, "injected")

    with pytest.raises(marks.Refused, match="another day"):
        marks.correct(
            by=practitioner, mark=Mark.objects.get(), version=1, at=NOW - timedelta(days=7), now=LATER, reason="x"
        )


def test_the_name_of_a_tap_of_another_operation_is_refused(client, operation, practice, practitioner):
    other = create_operation(practice, operator=practitioner, performed_on=date(2026, 11, 25), seconds=())
    name = random_key() * 2
    tap(client, operation, "injected", tap=name)

    assert tap(client, other, "injected", tap=name).status_code == 409
    assert Mark.objects.count() == 1


def test_a_time_that_the_clock_skips_is_refused():
    """On 29 March 2026 there is no 01:30 in London: the clock goes from 01:00 to 02:00."""
    form = MarkForm({"on": "2026-03-29", "at": "01:30", "reason": "x"}, today=date(2026, 3, 30), was=NOW)

    assert not form.is_valid()
    assert "does not exist" in str(form.errors["at"])


def test_a_time_that_comes_twice_stays_the_one_it_was():
    """On 25 October 2026 01:30 comes twice in London; correcting the seconds keeps the hour."""
    second = datetime(2026, 10, 25, 1, 30, fold=1, tzinfo=ZoneInfo("Europe/London"))
    form = MarkForm({"on": "2026-10-25", "at": "01:30:20", "reason": "x"}, today=date(2026, 10, 26), was=second)

    assert form.is_valid()
    assert form.moment() == second + timedelta(seconds=20)


# --- who


def test_only_those_who_may_amend_correct_a_signed_time(client, client_of, assistant, operation):
    tap(client, operation, "injected")
    close(client, operation)
    sign_page(client, operation)
    mark = Mark.objects.get()

    response = client_of(assistant).post(
        reverse("mark", args=[mark.key]), {"version": 1, "on": "2026-11-25", "at": "09:59:00", "reason": "x"}
    )

    mark.refresh_from_db()
    assert response.status_code == 302
    assert mark.at == NOW
    assert not operation.amendments.exists()


def test_the_operator_signs_what_was_read(client, operation):
    close(client, operation)
    page = client.get(reverse("sign", args=[operation.key])).content.decode()
    stamp = page.split('name="stamp" value="')[1].split('"')[0]
    AnaestheticDose.objects.create(operation=operation, agent="lidocaine", strength_percent=2, volume_ml=9)

    response = sign_page(client, operation, stamp=stamp)

    assert "changed" in text(response)
    assert stored(operation).signed_at is None


def test_a_red_flag_raised_while_the_operator_signs_stands_in_the_way(client, operation, practitioner, monkeypatch):
    close(client, operation)
    sign_before = note_views.sign_and_plan

    def sign_after_a_flag(**given):
        keep_flags(operation, [Raised(Alert.SEPSIS, "Very unwell")], origin="operation", by=practitioner, now=LATER)
        return sign_before(**given)

    monkeypatch.setattr(note_views, "sign_and_plan", sign_after_a_flag)

    assert "Red flag without an answer: Very unwell" in text(sign_page(client, operation))
    assert stored(operation).signed_at is None


def test_a_conflict_at_the_end_shows_what_the_other_one_stored(client, client_of, assistant, operation):
    close(client, operation, lavage_ml="40")

    data = end_data(stored(operation), lavage_ml="15") | {"version": 1}
    response = client_of(assistant).post(reverse("closing", args=[operation.key]), data)

    assert response.status_code == 409
    page = text(response)
    assert "40" in page
    assert "15" in page
    assert NailProcedure.objects.get(operation=operation).lavage_ml == 40


# --- the database


@pytest.fixture
def signed(operation, practitioner):
    sign(by=practitioner, operation=operation, version=operation.version, now=NOW, obstacles=[])
    return stored(operation)


def test_no_row_is_moved_into_a_signed_record(signed, practice):
    dose = AnaestheticDose.objects.create(operation=create_operation(practice), agent="lidocaine", strength_percent=1)

    with pytest.raises(IntegrityError, match=guard.REFUSED), transaction.atomic():
        AnaestheticDose.objects.filter(pk=dose.pk).update(operation=signed)


@pytest.mark.parametrize(
    "changes", ["closed_at = NULL", "kind = 'late_entry'", "site_changed = NOT site_changed", "number = 9"]
)
def test_reading_an_amendment_opens_the_way_to_nothing_else(signed, lead, changes):
    with transaction.atomic(), amending(signed, by=lead, now=LATER, reason="x"):
        pass
    row = Amendment.objects.get()
    statement = f"UPDATE clinic_amendment SET seen_by_lead_id = %s, seen_by_lead_at = %s, {changes} WHERE id = %s"  # noqa: S608

    with pytest.raises(IntegrityError, match=guard.CLOSED), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, [lead.pk, LATER, row.pk])


def test_today_is_cut_when_many_operations_are_unsigned(client, practice, practitioner, clock):
    for _ in range(30):
        create_operation(practice, operator=practitioner, performed_on=date(2026, 11, 20))

    assert text(client.get(reverse("today"))).count("Not signed") == 25
    assert text(client.get(reverse("today") + "?all=1")).count("Not signed") == 30


def test_a_clock_of_the_tablet_does_not_matter(client, operation):
    assert tap(client, operation, "injected", ago_ms=1).json()["said"].startswith("Injected 09:59:59")
