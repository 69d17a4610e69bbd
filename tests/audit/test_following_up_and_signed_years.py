"""What following up does to the audit: figures kept ready are counted anew, and what was signed stays as it was."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone

from audit import log_cohort, signing
from audit.models import SignedAudit
from audit.report.annual import recounted
from audit.stored import records_version
from clinic.merging.recording import merge
from clinic.recall.recording import close_as_lost, log_contact, undo_contact
from clinic.reports.links import make_link
from tests.audit.test_yearly_signing import YEAR, words
from tests.factories import (
    create_action,
    create_audit_year,
    create_operation,
    create_patient,
    create_report,
    create_review,
)

pytestmark = pytest.mark.django_db
NOW = datetime(2025, 5, 1, 12, 0, tzinfo=UTC)  # before the data date of the year
FIRST_DAY = date(2024, 3, 1)  # its 12-month window is open on NOW, and over on the data date


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def year(practice, lead):
    """Twelve operations, of which the last two have no outcome yet."""
    for place in range(12):
        performed_on = FIRST_DAY + timedelta(days=place)
        operation = create_operation(patient=create_patient(practice), operator=lead, performed_on=performed_on)
        if place < 10:
            create_review(operation, day=365)
    found = create_audit_year(practice, by=lead)
    create_action(found, by=lead, criterion="O8")
    return found


def results(browser) -> str:
    return words(browser.get(reverse("audit-year-results", args=[YEAR])))


def test_every_act_that_changes_a_figure_is_seen_at_once_and_a_signed_year_keeps_its_own(client_of, lead, year):
    browser = client_of(lead)
    *_, reporting, lost = year.practice.operations.order_by("performed_on")
    report = create_report(reporting, now=NOW)
    assert "none seen, 0 of 10 treated sides" in results(browser)
    signed = signing.sign_year(by=lead, year=year, version=year.version, now=NOW)

    browser.post(reverse("review-accept", args=[report.review.key]))
    assert "none seen, 0 of 11 treated sides" in results(browser)

    before = results(browser)
    close_as_lost(by=lead, operation=lost, reason="moved", note="", on=timezone.localdate(), now=NOW)
    assert results(browser) != before

    kept, other = (each.patient for each in year.practice.operations.order_by("performed_on")[:2])
    before = results(browser)
    merge(by=lead, kept=kept, other=other, versions=(1, 1), reason="One card", now=NOW)
    after = results(browser)
    assert ("12 patients" in before, "11 patients" in after, "12 patients" in after) == (True, True, False)

    stored = SignedAudit.objects.get()
    assert (stored.html, bytes(stored.pdf), stored.snapshot.body) == (
        signed.html, bytes(signed.pdf), signed.snapshot.body,
    )  # fmt: skip
    assert recounted(stored.snapshot.body).same
    changes = words(browser.get(reverse("audit-changes", args=[YEAR])))
    assert "Finding at a side added" in changes
    assert "moved" in changes


def test_a_contact_taken_back_is_in_no_frame(lead, year):
    operation = year.practice.operations.first()
    row = log_contact(by=lead, operation=operation, answers={"channel": "phone", "result": "problem"}, now=NOW)
    span = {"performed_from": FIRST_DAY, "performed_to": FIRST_DAY + timedelta(days=20), "as_of": NOW.date()}
    assert list(log_cohort.contacts(year.practice, **span)["result"]) == ["problem"]

    undo_contact(by=lead, contact=row, now=NOW)

    assert log_cohort.contacts(year.practice, **span).empty


def test_what_changes_no_figure_has_nothing_counted_again(lead, year):
    operation = year.practice.operations.last()
    before = records_version()
    make_link(by=lead, operation=operation, about="twelve_months", now=NOW, days=14)
    assert records_version() == before
    create_review(operation, day=400)
    assert records_version() != before
