"""Anaesthetic recorded in the room: each row's range and sentence, and the sum beside the approved limits."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
import time_machine
from django.urls import reverse

from clinic.access.once import new_token
from clinic.procedures.models import AnaestheticDose, Operation, OperationEvent
from clinic.procedures.signing import sign
from tests.factories import create_limit, create_operation

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 10, 0, tzinfo=UTC)


@pytest.fixture
def operation(practice, practitioner):
    with time_machine.travel(NOW, tick=False):
        yield create_operation(practice, operator=practitioner, performed_on=date(2026, 11, 25))


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)


def text(response) -> str:
    return " ".join(response.content.decode().split())


def add(client, operation, **changes):
    data = {
        "once": new_token(), "agent": "lidocaine", "strength_percent": "2", "vasoconstrictor": "none", "volume_ml": "4",
        "toe": operation.nail_procedures.get().key, "route": "digital_block", "batch": "L-1",
        "expires_on": "2027-05-31", "given_at": "09:50",
    }  # fmt: skip
    return client.post(reverse("dose-add", args=[operation.key]), data | changes)


def room(client, operation) -> str:
    return text(client.get(reverse("room", args=[operation.key])))


def test_a_row_is_stored_with_everything(client, operation):
    response = add(client, operation, volume_ml="2,5")

    dose = AnaestheticDose.objects.get()
    assert response["Location"] == reverse("room", args=[operation.key])
    assert (dose.agent, dose.strength_percent, dose.volume_ml) == ("lidocaine", 2, Decimal("2.5"))
    assert (dose.batch, dose.expires_on) == ("L-1", date(2027, 5, 31))
    assert dose.given_at == datetime(2026, 11, 25, 9, 50, tzinfo=UTC)


def test_without_an_approved_limit_the_milligrams_are_recorded_and_the_screen_says_so(client, operation):
    """2 mL of a 3 % solution is 60 mg (identity of the label, 2.2 mL = 66 mg)."""
    add(client, operation, agent="mepivacaine", strength_percent="3", volume_ml="2")

    page = room(client, operation)
    assert "60 mg" in page
    assert "no approved limit" in page.lower()


def test_without_a_weight_the_limit_is_not_assessed(client, operation, practice, lead):
    create_limit(practice, by=lead)
    add(client, operation)

    page = room(client, operation)
    assert "80 mg" in page
    assert "limit not assessed" in page.lower()


@pytest.mark.parametrize(("weight", "share"), [(70, "40 %"), (48, "40 %")])
def test_the_sum_stands_beside_the_approved_limit(client, operation, practice, lead, weight, share):
    """Lidocaine 2 %, 4 mL: 80 mg against min(4.5 mg/kg, 200 mg); the weights leave the absolute limit in force."""
    create_limit(practice, by=lead)
    operation.weight_kg = weight
    operation.save()
    add(client, operation)

    page = room(client, operation)
    assert "200 mg" in page
    assert share in page


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"strength_percent": "20"}, "did you mean 2 %"),
        ({"strength_percent": ""}, "Strength is missing"),
        ({"volume_ml": "0"}, "Volume must be between 0.1 and 20 mL"),
        ({"volume_ml": "25"}, "Volume must be between 0.1 and 20 mL"),
        ({"agent": ""}, "Choose the anaesthetic"),
        ({"vasoconstrictor": ""}, "Choose the vasoconstrictor"),
        ({"toe": ""}, "Choose at which toe"),
        ({"toe": "nosuchtoe"}, "Select a valid choice"),
        ({"given_at": "25:00"}, "Enter the time like 09:20"),
        ({"given_at": "11:30"}, "The time of injection lies in the future"),
        ({"volume_ml": "6"}, "more than the usual 5 mL"),
        ({"expires_on": "2026-08-31"}, "This batch expired in August 2026"),
    ],
)
def test_what_cannot_be_or_is_unusual_is_said_at_the_field(client, operation, changes, sentence):
    response = add(client, operation, **changes)

    assert sentence in text(response)
    assert not AnaestheticDose.objects.exists()


def test_an_expired_batch_is_kept_as_an_event_with_its_reason(client, operation):
    add(client, operation, expires_on="2026-08-31", confirmed="on", reason="Noticed afterwards")

    event = OperationEvent.objects.get()
    assert (event.kind, event.note) == ("expired_batch", "Batch L-1: Noticed afterwards")


def test_the_same_form_sent_twice_is_one_row(client, operation):
    once = new_token()

    for _ in range(3):
        add(client, operation, once=once)

    assert AnaestheticDose.objects.count() == 1


def test_a_dose_remembered_after_signing_is_a_late_entry(client, operation, practitioner):
    stored = Operation.objects.get(pk=operation.pk)
    sign(by=practitioner, operation=stored, version=stored.version, now=NOW, obstacles=[])

    add(client, operation)

    assert AnaestheticDose.objects.count() == 1
    amendment = operation.amendments.get()
    assert (amendment.kind, amendment.happened_at.hour) == ("late_entry", 9)
