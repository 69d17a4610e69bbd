"""A create form makes one record, however often it is sent."""

import pytest
from django import forms
from django.core.exceptions import BadRequest
from django.db import transaction

from clinic.access.models import Submission
from clinic.access.once import OneTimeForm, claim, first_or_result, new_token


class WordForm(OneTimeForm, forms.Form):
    word = forms.CharField()


def test_every_form_has_its_own_token():
    first, second = WordForm()["once"].value(), WordForm()["once"].value()

    assert first != second
    assert len(first) >= 20


@pytest.mark.parametrize("token", ["", "short", "x" * 41, "white space in a token ok", "ü" * 24])
def test_an_odd_token_is_an_error_of_the_form(token):
    form = WordForm({"word": "a", "once": token})

    assert not form.is_valid()
    assert form.errors["once"] == ["This page is too old. Open it again."]


@pytest.mark.django_db
def test_the_second_post_finds_the_result_of_the_first(practitioner):
    token = new_token()

    with transaction.atomic():
        first = claim(practitioner, token, "/first/")
    with transaction.atomic():
        second = claim(practitioner, token, "/second/")

    assert (first, second) == (None, "/first/")
    assert first_or_result(practitioner, token) == "/first/"


@pytest.mark.django_db
def test_the_transaction_stays_usable_after_a_refused_claim(practitioner):
    token = new_token()
    claim(practitioner, token, "/first/")

    with transaction.atomic():
        claim(practitioner, token, "/second/")
        assert Submission.objects.count() == 1


@pytest.mark.django_db
def test_a_failed_record_gives_its_token_back(practitioner):
    token = new_token()

    with transaction.atomic():
        claim(practitioner, token, "/first/")
        transaction.set_rollback(True)

    assert claim(practitioner, token, "/second/") is None


@pytest.mark.django_db
def test_the_token_of_somebody_else_is_refused(practitioner, assistant):
    token = new_token()
    claim(practitioner, token, "/first/")

    assert first_or_result(assistant, token) is None
    with pytest.raises(BadRequest):
        claim(assistant, token, "/second/")


@pytest.mark.django_db
@pytest.mark.parametrize("token", ["", "short", "x" * 41, "x" * 5000])
def test_an_odd_token_that_no_form_looked_at_is_refused(practitioner, token):
    with pytest.raises(BadRequest):
        claim(practitioner, token, "/first/")


@pytest.mark.django_db(transaction=True)
def test_claiming_outside_a_transaction_is_a_mistake(practitioner):
    with pytest.raises(transaction.TransactionManagementError):
        claim(practitioner, new_token(), "/first/")


def test_six_posts_at_once_make_one_record(race):
    body = """
from clinic.access.models import Practice
from clinic.access.once import claim, new_token
member, token = create_member(create_practice()), new_token()
def attempt():
    with transaction.atomic():
        if earlier := claim(member, token, "/result/"):
            return earlier
        create_practice(name="made once")
        return "made"
def after():
    return Practice.objects.filter(name="made once").count()
"""
    results, made = race(body)

    assert sorted(results) == ["/result/"] * 5 + ["made"]
    assert made == 1
