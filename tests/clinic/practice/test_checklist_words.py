"""The checklist is read in the practice's words; what was answered keeps the words that were read then."""

import pytest
import time_machine
from django.urls import reverse

from clinic.theatre.models import CheckedItem
from clinic.vocabulary.theatre import CHECK_ITEMS, Phase
from tests.clinic.practice.browsing import text
from tests.factories import NOON, create_operation

SHIPPED, OWN, LATER = "Allergies read aloud", "Allergies read aloud and answered", "Allergies said by the patient"


@pytest.fixture
def operation(practice, practitioner):
    with time_machine.travel(NOON, tick=False):
        yield create_operation(practice, operator=practitioner, performed_on=NOON.date())


def word(practice, words: str) -> None:
    practice.checklist_wording = {"allergies": words}
    practice.save()


def test_answered_lines_keep_their_words(client_of, practitioner, practice, operation):
    client = client_of(practitioner)
    url = reverse("checklist", args=[operation.key, Phase.BEFORE_ANAESTHESIA.value])
    assert SHIPPED in text(client.get(url))
    word(practice, OWN)
    assert OWN in text(client.get(url))
    answers = {item.code: "yes" for item in CHECK_ITEMS if item.phase == Phase.BEFORE_ANAESTHESIA}
    client.post(url, {**answers, "second_initials": "TM", "version": "0"})
    word(practice, LATER)

    again = text(client.get(url))

    assert OWN in again
    assert LATER not in again
    client.post(url, {**answers, "allergies": "not_applicable", "second_initials": "TM", "version": "1"})
    item = CheckedItem.objects.get(code="allergies")
    assert (item.wording, item.answer) == (OWN, "not_applicable")
