"""Drafts: kept for one person, one form and one subject."""

import pytest
from django.http import QueryDict

from clinic.access.drafts import LARGEST_BYTES, DraftRefused, draft_of, drop_draft, keep_draft
from clinic.access.models import Draft

pytestmark = pytest.mark.django_db


def test_the_last_draft_replaces_the_earlier_one(practitioner):
    keep_draft(practitioner, "review", "abc", {"pain": "3"})
    keep_draft(practitioner, "review", "abc", {"pain": "4"})

    assert draft_of(practitioner, "review", "abc") == {"pain": "4"}
    assert Draft.objects.count() == 1


def test_posted_data_keeps_several_answers_as_a_list(practitioner):
    keep_draft(practitioner, "review", "abc", QueryDict("signs=warm&signs=swollen&pain=2"))

    assert draft_of(practitioner, "review", "abc") == {"signs": ["warm", "swollen"], "pain": "2"}


def test_tokens_passwords_and_identity_are_left_out(practitioner):
    names = ["csrfmiddlewaretoken", "once", "token", "version", "new_password1", "family_name", "toe-born_on", "pain"]
    keep_draft(practitioner, "review", "abc", dict.fromkeys(names, "x"))

    assert draft_of(practitioner, "review", "abc") == {"pain": "x"}


def test_nobody_sees_the_draft_of_somebody_else(practitioner, assistant):
    keep_draft(practitioner, "review", "abc", {"pain": "3"})

    assert draft_of(assistant, "review", "abc") is None
    drop_draft(assistant, "review", "abc")
    assert draft_of(practitioner, "review", "abc")


def test_a_dropped_draft_is_gone(practitioner):
    keep_draft(practitioner, "review", "abc", {"pain": "3"})
    drop_draft(practitioner, "review", "abc")

    assert draft_of(practitioner, "review", "abc") is None


def test_a_long_draft_is_refused_and_the_earlier_one_stays(practitioner):
    keep_draft(practitioner, "review", "abc", {"note": "short"})

    with pytest.raises(DraftRefused):
        keep_draft(practitioner, "review", "abc", {"note": "ü" * (LARGEST_BYTES // 2)})
    assert draft_of(practitioner, "review", "abc") == {"note": "short"}


@pytest.mark.parametrize("answers", [[], "text", None, 3])
def test_anything_but_named_answers_is_refused(practitioner, answers):
    with pytest.raises(DraftRefused):
        keep_draft(practitioner, "review", "abc", answers)


def test_odd_letters_do_not_break_the_database(practitioner):
    keep_draft(practitioner, "review", "abc", {"note": "a\x00b\ud800c", "n": None, "x": {"deep": 1}})

    assert draft_of(practitioner, "review", "abc")["note"] == "ab?c"
