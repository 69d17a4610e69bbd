"""How old somebody has to be to read the patient's page.

Flesch-Kincaid grade level: Kincaid JP et al., Derivation of new readability formulas, US Navy Research Branch Report
8-75, 1975 (formula from memory, checked against the library). A grade plus five is about the reader's age.
"""

import re

import pytest
import textstat

from clinic.reports import wording
from clinic.reports.forms import ReportForm
from tests.factories import create_operation, create_practice

MOST_GRADE = 5.0  # readable at about ten years; UK guidance for patients asks for 9 to 11 (from memory, unverified)


@pytest.fixture(autouse=True)
def _american_hyphens():
    textstat.set_lang("en_US")  # its British dictionary of hyphens finds too few syllables


def grade(text: str) -> float:
    return textstat.flesch_kincaid_grade(text)


def grade_by_vowels(text: str) -> float:
    """The same formula with a rough count of our own: groups of vowels, a silent e at the end taken off."""
    words = re.findall(r"[a-z]+", text.lower())
    sentences = [part for part in re.split(r"[.?:]", text) if part.strip()]
    return 0.39 * len(words) / len(sentences) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


def syllables(word: str) -> int:
    groups = len(re.findall(r"[aeiouy]+", word))
    return max(1, groups - (word.endswith("e") and not word.endswith("le")))


def test_both_counts_give_the_value_of_a_text_counted_by_hand():
    """12 words, 2 sentences, 14 syllables: 0.39 * 6 + 11.8 * 14 / 12 - 15.59 = 0.52."""
    text = "The doctor looks at your toe. Then you may go home today."
    by_hand = 0.39 * 12 / 2 + 11.8 * 14 / 12 - 15.59

    assert round(by_hand, 2) == 0.52
    assert textstat.syllable_count(text) == 14
    assert abs(grade(text) - by_hand) <= 0.6  # the library rounds syllables per word to one decimal place
    assert abs(grade_by_vowels(text) - by_hand) < 0.01


def test_every_sentence_a_patient_reads_is_plain(capsys):
    found = max(grade(wording.every_text()), grade_by_vowels(wording.every_text()))

    with capsys.disabled():
        print(f"\nreading grade of the patient's page {found:.1f} (age about {found + 5:.0f}), "
              f"reading ease {textstat.flesch_reading_ease(wording.every_text())}")  # fmt: skip
    assert found <= MOST_GRADE


def test_no_sentence_is_long():
    sentences = [part for part in wording.every_text().replace("?", ".").replace(":", ".").split(".") if part.strip()]

    assert max(len(sentence.split()) for sentence in sentences) <= 20


def test_the_questions_and_answers_of_the_page_are_plain_too(db):
    operation = create_operation(create_practice(), sides=("tibial", "fibular"))
    form = ReportForm(nails=list(operation.nail_procedures.all()), takes_picture=True)
    texts = [str(field.label) for field in form]
    texts += [str(label) for field in form for _, label in getattr(field.field, "choices", ()) if not label.isdigit()]

    assert grade(" ".join(f"{text.rstrip('.?')}." for text in texts)) <= MOST_GRADE
