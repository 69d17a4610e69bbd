"""The audit's pages take a fixed number of statements, however many records they count."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from tests.factories import create_operation, create_patient, create_review

pytestmark = pytest.mark.django_db
BUDGET = 10


def test_the_results_page_stays_within_its_budget(client_of, practice, lead):
    client = client_of(lead)
    question = {"from": "2024-04-01", "to": "2025-03-31", "as_of": "2026-11-25"}

    def statements() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert client.get(reverse("audit"), question).status_code == 200
        return len(captured)

    def add(count: int) -> None:
        for _ in range(count):
            create_review(create_operation(patient=create_patient(practice), operator=lead), day=370)

    add(10)
    few = statements()
    add(190)

    assert statements() == few <= BUDGET
