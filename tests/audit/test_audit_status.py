"""What the toe's page says about the audit is what the audit counts."""

from datetime import date, timedelta

import pytest
from django.template import Context, Template

from tests.factories import create_operation, create_patient, create_practice, create_review

pytestmark = pytest.mark.django_db
DONE_ON = date(2024, 6, 3)


def status_of(operation, day):
    template = Template("{% load audit_status %}{% audit_status nail as status %}")
    context = Context({"nail": operation.nail_procedures.get(), "today": DONE_ON + timedelta(days=day)})
    template.render(context)
    return context["status"]


def sentences(status, side=0):
    return {each.outcome: each.sentence for each in status.sides[side].standings}


@pytest.fixture
def operation():
    return create_operation(create_practice())


def test_pending_names_the_day_its_window_closes(operation):
    said = sentences(status_of(operation, 424))
    assert said["Any regrowth"] == "At 12 months: pending: its window closes on 2 Aug 2025"


def test_clear_names_the_day_it_was_seen(operation):
    create_review(operation, day=372)
    said = sentences(status_of(operation, 425))
    assert said["Any regrowth"] == "At 12 months this side counts as: clear (seen without regrowth on day 372)"


def test_event_names_the_first_day(operation):
    create_review(operation, day=200, extent="spicule", retreatment="clipped")
    create_review(operation, day=372)
    said = sentences(status_of(operation, 500))
    assert said["Any regrowth"] == "At 12 months this side counts as: regrown (first on record on day 200)"
    assert "clear (seen without symptomatic recurrence on day 372)" in said["Symptomatic recurrence"]


def test_lost_names_the_contact_log(operation):
    create_review(operation, day=300)
    said = sentences(status_of(operation, 425))
    assert "lost so far (no finding on this from day 335 on; contact log: never contacted)" in said["Any regrowth"]


def test_death_is_counted_apart():
    patient = create_patient(create_practice(), died_on=DONE_ON + timedelta(days=150))
    said = sentences(status_of(create_operation(patient=patient), 425))
    assert "counted apart (the patient died on day 150)" in said["Any regrowth"]


def test_without_matricectomy_regrowth_is_not_counted():
    operation = create_operation(create_practice(), technique="pna_only", agent="none")
    create_review(operation, day=365, extent="full")
    said = sentences(status_of(operation, 425))
    assert "not counted (no matrix was destroyed" in said["Any regrowth"]


def test_one_line_per_side_and_outcome_at_a_constant_cost(django_assert_max_num_queries):
    operation = create_operation(create_practice(), sides=("tibial", "fibular"))
    create_review(operation, day=365)
    with django_assert_max_num_queries(8):
        status = status_of(operation, 425)
    assert [side.side for side in status.sides] == ["Tibial (medial) side", "Fibular (lateral) side"]
    assert all(len(side.standings) == 3 for side in status.sides)
    assert status.version == "1"
