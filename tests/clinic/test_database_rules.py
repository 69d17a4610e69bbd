"""The database refuses by itself what must never be stored."""

from datetime import date

import pytest
from django.db import IntegrityError, transaction

from clinic.access.models import Conflict, Practice
from clinic.procedures.models import Application, NailProcedure, TreatedSide
from clinic.reviews.models import Review, SideFinding, ToeFinding
from tests.factories import NOON, create_operation, create_review

pytestmark = pytest.mark.django_db


def refused(row) -> bool:
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError:
        return True
    return False


def changed(row, **values):
    for name, value in values.items():
        setattr(row, name, value)
    return row


def test_a_review_before_the_operation():
    review = create_review(create_operation(), day=10)

    assert refused(changed(review, seen_on=date(2024, 6, 2)))


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("toe", 6),
        ("toe", 0),
        ("foot", "both"),
        ("technique", "unheard_of"),
        ("strength_percent", 101),
        ("agent", "none"),
    ],
)
def test_impossible_nail_procedures(field, value):
    nail = create_operation().nail_procedures.get()

    assert refused(changed(nail, **{field: value}))


@pytest.mark.parametrize("seconds", [0, 601])
def test_impossible_applications(seconds):
    treated = TreatedSide.objects.get(nail_procedure__operation=create_operation(seconds=()))

    assert refused(Application(treated_side=treated, number=1, seconds=seconds))


@pytest.mark.parametrize(
    ("field", "value"),
    [("pain", 11), ("erythema_mm", 101), ("healing", "fine"), ("swelling", "maybe"), ("pain_state", "not_asked")],
)
def test_impossible_toe_findings(field, value):
    create_review(create_operation())

    assert refused(changed(ToeFinding.objects.get(), **{field: value}))


def test_two_findings_for_one_side_at_one_review():
    create_review(create_operation())
    finding = SideFinding.objects.get()

    assert refused(
        SideFinding(
            review=finding.review, treated_side=finding.treated_side, extent="none", symptoms="none", retreatment="none"
        )
    )


def test_the_same_toe_twice_in_one_operation():
    nail = create_operation().nail_procedures.get()

    assert refused(NailProcedure(operation=nail.operation, foot=nail.foot, toe=nail.toe, technique="pna_only",
        matrix_destroyed=False, agent="none", strength_basis="not_applicable"))  # fmt: skip


def test_only_the_first_of_two_writers_wins_and_the_second_is_told():
    review = create_review(create_operation())
    mine, theirs = Review.objects.get(), Review.objects.get()
    by = review.recorded_by

    mine.note = "first"
    mine.save_version(by=by)
    theirs.note = "second"
    with pytest.raises(Conflict):
        theirs.save_version(by=by)

    stored = Review.objects.get()
    assert (stored.note, stored.version) == ("first", 2)


def test_the_history_keeps_who_when_why_and_every_value():
    review = create_review(create_operation())
    review.note = "first"
    review.save_version(by=review.recorded_by, reason="Added on the day")
    review.note = "second"
    review.save_version(by=review.recorded_by, reason="Misspelt")

    newest, middle, *_ = review.history.order_by("-history_id")
    assert (newest.note, newest.history_change_reason, newest.history_user) == (
        "second",
        "Misspelt",
        review.recorded_by,
    )
    assert (middle.note, middle.history_change_reason) == ("first", "Added on the day")


def test_a_failure_inside_an_act_leaves_nothing(monkeypatch):
    from clinic.reviews import recording

    operation = create_operation()
    nail = operation.nail_procedures.get()
    visit = {"seen_on": date(2024, 6, 10), "origin": "planned", "observer": "operator", "means": "in_person"}
    findings = recording.Findings(toes={nail: {"healing": "no such code"}})

    with pytest.raises(IntegrityError), transaction.atomic():
        recording.record_review(by=operation.operator, operation=operation, visit=visit, findings=findings, now=NOON)

    assert Review.objects.count() == 0
    assert Review.history.count() == 0


def test_practice_settings_have_limits():
    practice = Practice.objects.create(code="x", name="X (fictional)")

    assert refused(changed(practice, recurrence_standard="1.5"))
    practice.refresh_from_db()
    assert refused(changed(practice, audit_year_starts_month=13))
