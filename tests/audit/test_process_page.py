"""The page of process criteria: its numbers lead to what was missed."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.procedures.models import NailProcedure
from tests.factories import NOON, create_operation

pytestmark = pytest.mark.django_db
PERIOD = {"performed_from": "2024-04-01", "performed_to": "2025-03-31", "as_of": "2026-11-25", "unit": "side",
          "outcome": "any_regrowth", "bands": "60, 120"}  # fmt: skip


def page(client, **changes):
    return client.get(reverse("audit-process"), PERIOD | changes)


def test_a_miss_leads_to_its_toe(client_of, lead, practice):
    create_operation(practice, performed_on=date(2024, 6, 3))
    missed = create_operation(practice, performed_on=date(2024, 7, 3), seconds=()).nail_procedures.get()

    text = " ".join(page(client_of(lead)).content.decode().split())

    assert "1</a> of 2" in text
    behind = page(client_of(lead), criterion="P8", part="missed").content.decode()
    assert reverse("toe", args=[missed.key]) in behind
    assert behind.count('href="/toes/') == 1


@pytest.mark.parametrize(
    "wrong", [{"criterion": "P99", "part": "met"}, {"criterion": "P1", "part": "x"}, {"part": "met"}]
)
def test_a_number_that_is_not_on_the_page_has_no_records(client_of, lead, wrong):
    assert page(client_of(lead), **wrong).status_code == 404


def test_a_struck_out_operation_and_one_outside_the_period_do_not_count(client_of, lead, practice):
    struck = create_operation(practice, performed_on=date(2024, 6, 3))
    struck.struck_at = NOON
    struck.save()
    create_operation(practice, performed_on=date(2023, 6, 3))

    assert page(client_of(lead)).context["toes"] == 0


def test_a_wrong_question_says_what_is_wrong(client_of, lead):
    response = page(client_of(lead), performed_to="2020-01-01")

    assert response.status_code == 400


def test_statements_do_not_grow(client_of, lead, practice):
    client = client_of(lead)

    def statements() -> int:
        with CaptureQueriesContext(connection) as captured:
            page(client)
        return len(captured)

    create_operation(practice, performed_on=date(2024, 6, 3))
    few = statements()
    for _ in range(10):
        create_operation(practice, performed_on=date(2024, 6, 3))

    assert statements() == few <= 14
    assert NailProcedure.objects.count() == 11
