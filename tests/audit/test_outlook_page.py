"""The live page: the same sides as on the recall list, and figures that close when somebody is seen."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.reviews.models import Contact
from tests.factories import create_operation, create_patient, create_review

pytestmark = pytest.mark.django_db
TODAY = date(2026, 11, 25)


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(datetime(2026, 11, 25, 8, tzinfo=UTC), tick=False):
        yield


@pytest.fixture
def operated(practice, lead):
    def made(days_ago: int):
        day = TODAY - timedelta(days=days_ago)
        return create_operation(patient=create_patient(practice), operator=lead, performed_on=day)

    return made


def test_recording_a_review_makes_it_known_at_once(client_of, lead, operated):
    open_now = [operated(days) for days in (340, 380, 424)]
    client = client_of(lead)
    before = client.get(reverse("audit-outlook"))
    assert (before.context["found"].known, len(before.context["found"].missing)) == (0, 3)
    assert "3 will be lost if nothing more is seen; 1 of them by 30 Nov 2026" in before.content.decode()

    for operation in open_now:
        create_review(operation, day=(TODAY - operation.performed_on).days)
    after = client.get(reverse("audit-outlook"))

    assert after.context["found"].completeness == 1
    assert "None will be lost" in after.content.decode()


def test_the_same_sides_stand_on_the_recall_list(client_of, lead, operated):
    for days in (334, 335, 360, 400, 425, 426):
        operated(days)
    create_review(operated(390), day=380)
    create_review(operated(391), day=380, extent="cannot_tell")
    client = client_of(lead)

    found = client.get(reverse("audit-outlook")).context["found"]
    rows = client.get(reverse("recall"), {"show": "outcome"}).context["rows"]

    # A look that could not tell of regrowth tells of symptoms: known for this outcome, still worth another look.
    assert {side.performed_on for side in found.missing} == {TODAY - timedelta(days=d) for d in (335, 360, 400, 425)}
    assert {row["row"].operation.performed_on for row in rows} == {
        TODAY - timedelta(days=d) for d in (335, 360, 391, 400, 425)
    }


def test_who_is_not_to_be_tried_is_said_there_and_on_the_recall_list(client_of, lead, operated):
    """The audit counts a death after the window opened as lost; the recall list tries nobody who has died."""
    died, before, unwilling, declined, open_still = (operated(days) for days in (400, 401, 390, 385, 380))
    Contact.objects.create(
        operation=declined, made_on=TODAY, channel="phone", result="declined", recorded_by=lead,
        recorded_at=datetime(2026, 11, 25, 8, tzinfo=UTC),
    )  # fmt: skip
    for operation, day in ((died, 340), (before, 334)):
        operation.patient.died_on = operation.performed_on + timedelta(days=day)
        operation.patient.save()
    unwilling.patient.no_contact_wished = True
    unwilling.patient.save()
    client = client_of(lead)

    page, recall = client.get(reverse("audit-outlook")), client.get(reverse("recall"), {"show": "outcome"})

    stops = [stop and stop.value for _, stop in page.context["missing"]]
    assert stops == ["died", "no_contact", "declined", None]  # the death before the window is counted apart
    assert "1 of them belongs to patients who died after the window had opened" in page.content.decode()
    assert "Of all sides not known yet, 3 are not to be tried" in page.content.decode()
    assert {row["row"].operation for row in recall.context["rows"]} == {unwilling, declined, open_still}
    assert "One more patient died after the window had opened." in recall.content.decode()


def test_statements_do_not_grow(client_of, lead, operated):
    client = client_of(lead)

    def statements() -> int:
        with CaptureQueriesContext(connection) as captured:
            client.get(reverse("audit-outlook"))
        return len(captured)

    operated(400)
    few = statements()
    for days in range(340, 360):
        create_review(operated(days), day=100)

    assert statements() == few <= 14
