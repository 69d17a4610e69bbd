"""What a review leaves unanswered: asked of the database, and worked out from what was just saved."""

from datetime import date, timedelta

import pytest

from clinic.reviews.models import Review
from clinic.reviews.recording import Findings
from clinic.reviews.seen import just_seen, seen_of, with_gaps
from tests.factories import add_toe, create_operation, create_review

pytestmark = pytest.mark.django_db


def fetched():
    return seen_of(with_gaps(Review.objects.all()))


@pytest.mark.parametrize(
    ("toe", "side", "lacks"),
    [
        ({}, {}, set()),
        ({"healing": "cannot_tell", "signs": "cannot_tell"}, {}, set()),
        ({"healing": "not_assessed"}, {}, {"healing"}),
        ({"signs": "not_assessed"}, {}, {"signs"}),
        ({"pain_state": "not_asked", "pain": None}, {}, {"pain"}),
        ({}, {"extent": "cannot_tell"}, {"regrowth"}),
        ({}, {"extent": "not_assessed", "symptoms": "not_assessed"}, {"regrowth", "symptoms"}),
        ({}, {"symptoms": "cannot_tell"}, {"symptoms"}),
        ({}, {"extent": "some"}, set()),
    ],
)
def test_the_database_and_the_form_agree(toe, side, lacks):
    review = create_review(create_operation(sides=("tibial", "fibular")), **toe, **side)
    nail = review.operation.nail_procedures.get()
    toes = {nail: {"healing": "dry", "signs": "none_seen", "pain_state": "scored"} | toe}
    sides = {each: {"extent": "none", "symptoms": "none"} | side for each in nail.treated_sides.all()}

    (found,) = fetched()

    assert set(found.lacks) == lacks
    assert just_seen(review, Findings(toes, sides)) == found


def test_growth_is_not_asked_where_it_is_expected():
    create_review(create_operation(technique="pna_only", agent="none"), extent="not_assessed")

    assert fetched()[0].lacks == frozenset()


def test_a_side_that_joined_later_was_not_looked_at_and_an_amputated_toe_need_not_be():
    operation = create_operation()
    create_review(operation)
    later = add_toe(operation, foot="left")
    assert fetched()[0].lacks == {"healing", "signs", "pain", "regrowth", "symptoms"}

    later.amputated_on = operation.performed_on + timedelta(days=30)
    later.save()
    assert fetched()[0].lacks == frozenset()


def test_a_report_that_waits_is_no_review_yet():
    create_review(create_operation(performed_on=date(2026, 1, 5)), observer="patient", means="phone", accepted=False)

    assert fetched() == []
