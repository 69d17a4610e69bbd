"""The end of an operation that was started from a template, and the dressings that the practice uses."""

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.procedures.models import NailProcedure, Operation
from tests.clinic.practice.browsing import text
from tests.clinic.practice.test_starting_from_a_template import given
from tests.clinic.theatre.test_pages import end_data
from tests.factories import NOON, add_toe, create_operation, create_template


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def operation(practice, practitioner):
    made = create_operation(practice, operator=practitioner, performed_on=NOON.date(), seconds=())
    made.template = create_template(practice, name="Partial, phenol", dressing="alginate")
    made.save()
    return made


@pytest.fixture
def client(client_of, practitioner):
    return client_of(practitioner)


def page(operation) -> str:
    return reverse("closing", args=[operation.key])


def answers(operation, **changes) -> dict:
    stored = Operation.objects.get(pk=operation.pk)
    return {name: value for name, value in end_data(stored, **changes).items() if value is not None}


def test_it_fills_in_dressing_and_kind_of_tourniquet_and_no_finding(client, operation):
    response = client.get(page(operation))

    nail = operation.nail_procedures.get()
    found = {name.partition("-")[2]: value for name, value in given(response).items() if "-" in name and value}
    assert found == {
        "dressing": "alginate",
        "outer_dressing": "tubular",
        "aftercare": "both",
        "aftercare_sheet": "Sheet A, version 3",
        "tourniquet": "ring",
        "skin_protected": "yes",
        "haemostasis": "pressure",
    }
    assert f"toe{nail.key}-witnessed" not in given(response)
    assert "Started from the template “Partial, phenol”" in text(response)


def test_it_counts_only_after_the_tick(client, operation):
    refused = client.post(page(operation), answers(operation))

    assert "Tick that what came from the template holds, or change it: dressing, outer dressing" in text(refused)
    assert Operation.objects.get().dressing == "not_recorded"
    saved = client.post(
        page(operation), {**answers(operation), "end-aftercare_sheet": "Sheet B", "template-checked": "on"}
    )
    assert saved.status_code == 302
    stored = Operation.objects.get()
    assert (stored.dressing, stored.aftercare_sheet) == ("alginate", "Sheet B")


def test_what_was_answered_once_is_not_filled_in_again(client, operation):
    client.post(page(operation), {**answers(operation, skin_protected="not_recorded"), "template-checked": "on"})

    response = client.get(page(operation))

    nail = operation.nail_procedures.get()
    assert f"toe{nail.key}-skin_protected" not in given(response)
    assert "From the template." not in text(response)
    assert client.post(page(operation), answers(operation)).status_code == 302


def test_a_toe_of_another_technique_is_left_alone(client, operation):
    other = add_toe(operation, technique="wedge")

    found = given(client.get(page(operation)))

    assert f"toe{other.key}-tourniquet" not in found
    assert found[f"toe{operation.nail_procedures.first().key}-tourniquet"] == "ring"


def test_an_operation_without_a_template_starts_empty(client, operation):
    Operation.objects.filter(pk=operation.pk).update(template=None)

    response = client.get(page(operation))

    assert "checked-head" not in text(response)
    assert not [name for name in given(response) if name.endswith(("dressing", "tourniquet"))]


def test_a_dressing_the_practice_no_longer_offers_is_not_filled_in(client, operation, practice):
    practice.dressings_offered = ["foam"]
    practice.save()

    assert "end-dressing" not in given(client.get(page(operation)))


def test_only_the_offered_dressings_are_shown_and_the_one_on_record(client, operation, practice):
    practice.dressings_offered = ["foam"]
    practice.save()
    Operation.objects.filter(pk=operation.pk).update(template=None, dressing="honey")

    shown = text(client.get(page(operation)))

    codes = ("foam", "honey", "alginate", "other")
    offered = [code for code in codes if f'name="end-dressing" value="{code}"' in shown]
    assert offered == ["foam", "honey", "other"]


def test_a_dressing_that_is_not_offered_is_saved_after_a_tick_and_a_reason(client, operation, practice):
    practice.dressings_offered = ["foam"]
    practice.save()
    Operation.objects.filter(pk=operation.pk).update(template=None)

    refused = client.post(page(operation), answers(operation))

    assert "alginate is not among the dressings that this practice uses" in text(refused)
    confirmed = answers(operation, confirmed="on") | {
        "confirm-confirmed": "on",
        "confirm-confirm_reason": "From the car",
    }
    assert client.post(page(operation), confirmed).status_code == 302
    assert Operation.objects.get().dressing == "alginate"


def test_statements_of_the_page_are_the_same_with_a_template(client, operation):
    with_one = statements(client, operation)
    Operation.objects.filter(pk=operation.pk).update(template=None)

    assert statements(client, operation) == with_one


def statements(client, operation) -> int:
    with CaptureQueriesContext(connection) as asked:
        client.get(page(operation))
    return len(asked)


def test_the_sheet_stands_in_the_note(client, operation):
    client.post(
        page(operation), {**answers(operation), "end-aftercare_sheet": "Sheet A, version 3", "template-checked": "on"}
    )

    note = text(client.get(reverse("operation-note", args=[operation.key])))

    assert "aftercare spoken and written (Sheet A, version 3)" in note
    assert NailProcedure.objects.get().haemostasis == "pressure"
