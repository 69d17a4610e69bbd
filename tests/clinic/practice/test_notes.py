"""From where a note is asked for: a limit itself is inside, one more is beyond; on the form and in the room."""

from datetime import timedelta

import pytest
import time_machine
from django.urls import reverse

from clinic.access.models import Practice
from clinic.practice.notes import exposure_note, tourniquet_time
from clinic.procedures.models import NailProcedure, Operation
from clinic.theatre.models import Mark
from tests.clinic.operation_posts import send
from tests.clinic.practice.browsing import text
from tests.clinic.theatre.test_pages import close
from tests.factories import NOON, create_operation, create_patient

ABOVE_180 = "is above 180 s, from where this practice asks for a note"


@pytest.mark.parametrize(("seconds", "noted"), [(29, True), (30, False), (180, False), (181, True)])
def test_the_limits_belong_to_the_range(seconds, noted):
    practice = Practice(exposure_note_seconds=180, exposure_note_below_seconds=30)

    assert bool(exposure_note(practice, seconds)) is noted


@pytest.mark.parametrize(
    ("minutes", "level", "said"),
    [
        (20, "", "20 minutes"),
        (20 + 1 / 60, "note", "more than 20 minutes"),
        (21, "note", "21 minutes"),
        (30, "note", "30 minutes"),
        (30.5, "alarm", "more than 30 minutes"),
        (71, "alarm", "71 minutes"),
    ],
)
def test_a_tourniquet_is_noted_after_its_minutes(minutes, level, said):
    time = tourniquet_time(Practice(), timedelta(minutes=minutes))

    assert (time.level, time.said) == (level, said)


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.mark.django_db
@pytest.mark.parametrize(("seconds", "status"), [("180", 302), ("181", 200)])
def test_the_operation_form_asks_above_180_seconds_and_not_at_180(client, practice, practitioner, seconds, status):
    response = send(
        client, create_patient(practice), practitioner, toe1_exposure="total", toe1_total_seconds=seconds,
        toe1_seconds_1="", toe1_seconds_2="",
    )  # fmt: skip

    assert response.status_code == status
    assert (ABOVE_180 in text(response)) is (status == 200)


@pytest.mark.django_db
def test_the_operation_form_follows_the_settings_and_notes_what_is_too_short(client, practice, practitioner):
    practice.exposure_note_seconds, practice.exposure_note_below_seconds = 100, 40
    practice.save()

    long = send(client, create_patient(practice), practitioner)
    short = send(client, create_patient(practice), practitioner, toe1_seconds_1="20", toe1_seconds_2="19")
    right = send(client, create_patient(practice), practitioner, toe1_seconds_1="20", toe1_seconds_2="20")

    assert "the total of 120 s is above 100 s" in text(long)
    assert "the total of 39 s is below 40 s, under which this practice asks for a note" in text(short)
    assert right.status_code == 302
    assert "A total above 100 s is saved with a reason. So is one below 40 s." in text(long)


def running(practice, practitioner, seconds: int) -> Operation:
    """An operation whose applications were tapped in the room."""
    operation = create_operation(practice, operator=practitioner, performed_on=NOON.date(), seconds=(seconds - 60, 60))
    nail = operation.nail_procedures.get()
    side = nail.treated_sides.get()
    for number, kind in enumerate(("application_start", "application_stop")):
        Mark.objects.create(
            operation=operation, nail_procedure=nail, treated_side=side, kind=kind, number=1, at=NOON, received_at=NOON,
            by=practitioner, tap=f"{operation.key}{number}",
        )  # fmt: skip
    return operation


@pytest.mark.django_db
@pytest.mark.parametrize(("seconds", "noted"), [(180, False), (181, True)])
def test_the_room_and_its_end_note_what_was_timed(client, practice, practitioner, seconds, noted):
    operation = running(practice, practitioner, seconds)

    room = text(client.get(reverse("room", args=[operation.key])))
    end = close(client, operation)

    assert (ABOVE_180 in room) is noted
    assert end.status_code == (200 if noted else 302)
    assert not noted or ABOVE_180 in text(end)
    if noted:
        assert close(client, operation, confirmed="on", confirm_reason="Slow to dry").status_code == 302


@pytest.mark.django_db
def test_typed_exposures_were_confirmed_where_they_were_typed(client, practice, practitioner):
    operation = create_operation(practice, operator=practitioner, performed_on=NOON.date(), seconds=(100, 100))

    assert ABOVE_180 in text(client.get(reverse("room", args=[operation.key])))
    assert close(client, operation).status_code == 302


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("minutes", "said"), [(20, ""), (20.5, "more than 20 minutes"), (21, "21 minutes"), (31, "31 minutes")]
)
def test_the_room_notes_a_long_tourniquet(client, practice, practitioner, minutes, said):
    operation = create_operation(practice, operator=practitioner, performed_on=NOON.date())
    NailProcedure.objects.update(
        tourniquet="ring", tourniquet_on_at=NOON - timedelta(minutes=minutes), tourniquet_off_at=NOON
    )

    room = text(client.get(reverse("room", args=[operation.key])))

    assert (f"Tourniquet time {said}: this practice notes it after" in room) is bool(said)
    assert ("too little blood flow to the toe. See local protocol." in room) is (minutes > 30)


@pytest.mark.django_db
@pytest.mark.parametrize(("off_at", "status"), [("10:25", 302), ("10:26", 200)])
def test_the_end_asks_for_a_reason_after_the_alarm_of_the_practice(client, practice, practitioner, off_at, status):
    practice.tourniquet_note_minutes, practice.tourniquet_alarm_minutes = 10, 25
    practice.save()
    operation = create_operation(practice, operator=practitioner, performed_on=NOON.date())

    response = close(client, operation, on_at="10:00", off_at=off_at)

    assert response.status_code == status
    assert ("the tourniquet was on for 26 minutes" in text(response)) is (status == 200)
