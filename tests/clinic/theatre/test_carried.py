"""One tap for a phase that was read aloud, and at the end no question that the checklist has answered."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.urls import reverse

from clinic.theatre.models import CheckedItem, ChecklistPhase
from tests.factories import add_toe, create_consent, create_operation, create_patient

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 10, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def operation(practice, practitioner):
    return create_operation(practice, operator=practitioner, performed_on=date(2026, 11, 25), seconds=())


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)


def text(response) -> str:
    return " ".join(response.content.decode().split())


def post_phase(client, operation, code, **answers):
    data = {"version": 0, "second_initials": "TM", **answers}
    return client.post(reverse("checklist", args=[operation.key, code]), data)


def closing(client, operation):
    return client.get(reverse("closing", args=[operation.key])).context["end"]


def worn(operation):
    nail = operation.nail_procedures.get()
    nail.tourniquet_on_at, nail.tourniquet_off_at = NOW, NOW + timedelta(minutes=9)
    nail.save()
    return nail


def test_read_aloud_answers_every_line_with_yes(client, operation):
    post_phase(client, operation, "before_incision", all_yes="1")

    answers = CheckedItem.objects.filter(phase__operation=operation).values_list("answer", flat=True)
    assert (len(answers), set(answers)) == (6, {"yes"})


def test_a_line_answered_otherwise_keeps_its_answer_and_needs_its_note(client, operation):
    response = post_phase(client, operation, "before_incision", all_yes="1", sterile="no")
    assert "Say what was not so and what was done about it" in text(response)
    assert not ChecklistPhase.objects.exists()

    post_phase(client, operation, "before_incision", all_yes="1", sterile="no", note="New pack opened")
    assert CheckedItem.objects.get(code="sterile").answer == "no"


def test_without_initials_nothing_is_stored_and_the_lines_stay_answered(client, operation):
    response = post_phase(client, operation, "before_incision", all_yes="1", second_initials="")

    assert "Enter the initials of the second person" in text(response)
    assert response.content.decode().count(" checked") == 6
    assert not ChecklistPhase.objects.exists()


def test_without_that_tap_every_line_is_asked(client, operation):
    assert "Answer “The pack is sterile”" in text(post_phase(client, operation, "before_incision"))


def test_the_room_reads_out_the_phase_that_is_due(client, operation):
    room = reverse("room", args=[operation.key])
    assert "<h3>Before anaesthesia</h3>" in text(client.get(room))

    for code in ("before_anaesthesia", "before_incision", "before_leaving"):
        post_phase(client, operation, code, all_yes="1")

    assert "Read aloud: yes to every line" not in text(client.get(room))


def test_the_end_does_not_ask_again_what_the_checklist_answered(client, operation):
    nail = worn(operation)
    for code in ("before_incision", "before_leaving"):
        post_phase(client, operation, code, all_yes="1")

    end = closing(client, operation)

    toe = end.toes[0]
    assert toe["block_result"].value() == "effective"
    assert (toe["witnessed"].value(), toe["removal_seen_by"].value()) == ("yes", "TM")
    assert end.form["aftercare"].value() == "both"
    assert toe["witnessed"].help_text == toe["block_result"].help_text == "From the checklist."
    assert toe["toe_colour"].value() is None  # no line of the checklist says which
    nail.refresh_from_db()
    assert nail.block_result == "not_recorded"  # nothing is stored before somebody saves


@pytest.mark.parametrize("answers", [{"numb": "no", "note": "x"}, {"numb": "not_applicable"}, {}])
def test_only_a_plain_yes_is_carried_over(client, operation, answers):
    worn(operation)
    if answers:
        post_phase(client, operation, "before_incision", all_yes="1", **answers)

    assert closing(client, operation).toes[0]["block_result"].value() is None


def test_nobody_saw_a_tourniquet_off_that_was_never_on(client, operation):
    post_phase(client, operation, "before_leaving", all_yes="1")

    assert closing(client, operation).toes[0]["witnessed"].value() is None


def test_what_is_on_record_is_not_replaced(client, operation):
    nail = worn(operation)
    nail.block_result, nail.removal_seen_by = "partial", "patient"
    nail.save()
    for code in ("before_incision", "before_leaving"):
        post_phase(client, operation, code, all_yes="1")

    toe = closing(client, operation).toes[0]
    assert (toe["block_result"].value(), toe["removal_seen_by"].value()) == ("partial", "patient")


def test_with_one_toe_nobody_is_asked_at_which(client, operation):
    address = reverse("dose-add", args=[operation.key])
    assert "At which toe" not in text(client.get(address))

    add_toe(operation)
    assert "At which toe" in text(client.get(address))


def test_who_consented_is_known_from_the_consents(client, practice):
    patient = create_patient(practice)
    address = reverse("operation-new", args=[patient.key])
    assert client.get(address).context["entry"].visit["consent_given_by"].value() == ""

    create_consent(patient)
    assert client.get(address).context["entry"].visit["consent_given_by"].value() == "patient"
    assert "From the consent on record." in text(client.get(address))

    create_consent(patient, given_by="parent", foot="left")
    assert client.get(address).context["entry"].visit["consent_given_by"].value() == ""
