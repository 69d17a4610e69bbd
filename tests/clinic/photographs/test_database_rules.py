"""What the database itself refuses, also past the forms."""

from datetime import date

import pytest
from django.db import IntegrityError, transaction
from django.db.models import ProtectedError

from clinic.photographs.models import Photograph
from tests.factories import NOON, create_photograph, create_review

pytestmark = pytest.mark.django_db


@pytest.fixture
def photograph(folder, nail):
    return create_photograph(nail)


@pytest.mark.parametrize(
    ("rule", "values"),
    [
        ("photograph_consent_for_known", {"consent_for": "publication"}),
        ("photograph_consent_given_by_known", {"consent_given_by": "nobody"}),
        ("photograph_has_consent", {"consent_given_by": "not_recorded"}),
        ("photograph_not_before_1900", {"taken_on": date(1899, 12, 31)}),
        ("photograph_not_before_1900", {"consent_given_on": date(1899, 12, 31)}),
        ("photograph_media_type_known", {"media_type": "text/html"}),
        ("photograph_width_range", {"width": 0}),
        ("photograph_height_range", {"height": 2401}),
        ("photograph_names_its_file", {"sha256": ""}),
        ("photograph_names_its_file", {"file_name": ""}),
        ("photograph_struck_with_reason", {"struck_at": NOON}),
        ("photograph_withdrawn_by_and_at", {"withdrawn_at": NOON}),
    ],
)
def test_a_broken_rule(photograph, rule, values):
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        Photograph.objects.filter(pk=photograph.pk).update(**values)

    assert rule in str(refused.value)


@pytest.mark.parametrize("name", ["consent_given_on", "taken_on", "added_by_id", "added_at", "nail_procedure_id"])
def test_nothing_that_matters_is_empty(photograph, name):
    with pytest.raises(IntegrityError), transaction.atomic():
        Photograph.objects.filter(pk=photograph.pk).update(**{name: None})


def test_a_file_belongs_to_one_photograph(photograph, nail):
    other = create_photograph(nail)

    with pytest.raises(IntegrityError), transaction.atomic():
        Photograph.objects.filter(pk=other.pk).update(file_name=photograph.file_name)


def test_a_toe_or_review_with_photographs_stays(photograph, nail):
    review = create_review(nail.operation, day=3)
    Photograph.objects.filter(pk=photograph.pk).update(review=review)

    with pytest.raises(ProtectedError):
        review.delete()
